"use strict";
// One moment of the session, kept alike in the plots, the video, the words and the address.
(() => {
  const NO_VIDEO_FRAME_S = 0.02;
  const NEAR = "400px";
  const state = {t: null, moments: null, loop: null, rate: 1, playing: null, told: 0,
    fresh: false};
  const at = (id) => document.getElementById(id);
  const axis = window.sensorswimAxis, plot = axis.plot;

  // ---- the cursor over the plot
  const place = () => {
    const gd = plot();
    const scale = gd?._fullLayout.xaxis;
    if (!scale || state.t === null) return;
    let line = at("axis-cursor");
    if (!line) {
      line = Object.assign(document.createElement("div"), {id: "axis-cursor", className: "cursor"});
      at("axis-box").append(line);
    }
    const size = gd._fullLayout._size;
    const box = at("axis-box").getBoundingClientRect(), own = gd.getBoundingClientRect();
    const x = scale._offset + scale.d2p(state.t);
    const left = own.left - box.left, top = own.top - box.top;
    line.hidden = x < scale._offset || x > scale._offset + scale._length;
    line.style.height = `${size.h}px`;
    line.style.transform = `translate(${left + x}px, ${top + size.t}px)`;
  };

  const follow = () => {
    const gd = plot();
    const range = gd?._fullLayout.xaxis.range;
    if (!range || state.t === null || (state.t >= range[0] && state.t <= range[1])) return;
    const width = range[1] - range[0];
    const start = state.t - (state.playing ? 0.1 : 0.5) * width;
    window.Plotly.relayout(gd, {"xaxis.range": [start, start + width]});
  };

  // ---- words and address
  const clock = (t) => {
    const cents = Math.round(t * 100);
    const rest = `${String(Math.floor(cents / 100) % 60).padStart(2, "0")}.` +
      String(cents % 100).padStart(2, "0");
    return `${Math.floor(cents / 6000)}:${rest}`;
  };

  const tell = () => {
    if (state.t === null || !at("readout")) return;
    state.untold = false;
    const length = state.moments?.lengths.find(([, a, b]) => a <= state.t && state.t <= b);
    const where = length
      ? `length ${length[0]}, ${(state.t - length[1]).toFixed(2)} s after its push-off`
      : "between the lengths";
    at("readout").textContent = `${clock(state.t)} of the session: ${where}.`;
    const address = new URL(location.href);
    address.searchParams.set("t", state.t.toFixed(3));
    history.replaceState(history.state, "", address);
    window.dash_clientside.set_props("moment", {data: state.t});
  };

  const settle = () => {
    clearTimeout(state.told);
    state.told = setTimeout(tell, 120);
  };

  // ---- moving
  const listeners = [];
  const moveTo = (t, from) => {
    state.t = t;
    state.untold = true;
    place();
    follow();
    for (const heard of listeners) heard(t, from);
    if (!state.playing) settle();
  };

  const beside = (times, forward) => {
    const now = state.t ?? -Infinity;
    return forward ? times.find((t) => t > now + 0.002)
      : times.findLast((t) => t < now - 0.002);
  };

  const cycleAt = (t) => state.moments?.cycles.find(([a, b]) => a <= t && t < b);

  const pressed = (step, on) =>
    document.querySelector(`[data-step="${step}"]`)?.setAttribute("aria-pressed", on);

  const clockwork = (stamp) => {
    if (!state.playing) return;
    const t = state.t + ((stamp - state.playing) / 1000) * state.rate;
    state.playing = stamp;
    moveTo(state.loop && t >= state.loop[1] ? state.loop[0] : t, "clockwork");
    requestAnimationFrame(clockwork);
  };

  const play = () => {
    if (state.t === null) start();
    if (review.video?.()) return review.video().toggle();
    state.playing = state.playing ? null : performance.now();
    pressed("play", state.playing !== null);
    if (state.playing) requestAnimationFrame(clockwork);
    else tell();
  };

  const start = () => moveTo(state.moments?.lengths[0]?.[1] ?? 0, "start");

  const loop = () => {
    if (state.t === null) start();
    state.loop = state.loop ? null : cycleAt(state.t) ?? null;
    pressed("loop", state.loop !== null);
    if (!state.loop) at("readout").textContent = cycleAt(state.t) ? "No loop." :
      "No arm cycle at this moment: choose one within a length.";
    else moveTo(state.loop[0], "loop");
  };

  const frame = (forward) => {
    const stepped = review.video?.()?.frame(forward);
    if (stepped === undefined) moveTo((state.t ?? 0) + (forward ? 1 : -1) * NO_VIDEO_FRAME_S);
  };

  const starts = () => state.moments.lengths.map(([, a]) => a);
  const step = (name) => {
    if (!state.moments) return;
    const [what, way] = name.split("-");
    const forward = way === "on";
    if (name === "play") return play();
    if (name === "loop") return loop();
    if (what === "frame") return frame(forward);
    const times = {stroke: () => state.moments.strokes, breath: () => state.moments.breaths,
      length: starts}[what]();
    const t = beside(times, forward);
    if (t === undefined) at("readout").textContent = `There is no ${what} further on.`;
    else moveTo(t, "step");
  };

  const KEYS = {"ArrowLeft": "stroke-back", "ArrowRight": "stroke-on",
    "Shift+ArrowLeft": "breath-back", "Shift+ArrowRight": "breath-on", ",": "frame-back",
    ".": "frame-on", "[": "length-back", "]": "length-on", " ": "play", "c": "loop"};

  document.addEventListener("keydown", (event) => {
    const desk = event.target.closest?.("#moment-desk");
    if (!desk || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest("input, select, textarea, video")) return;
    const button = event.target.closest("button, a");
    if (button && (event.key === " " || event.key === "Enter")) return;
    const name = KEYS[(event.shiftKey && event.key.length > 1 ? "Shift+" : "") + event.key];
    if (!name) return;
    event.preventDefault();
    step(name);
  });

  // what is clicked works with the moment on the screen, not with the one told last
  document.addEventListener("click", () => { if (state.untold) tell(); }, true);

  document.addEventListener("click", (event) => {
    const name = event.target.closest?.("#moment-desk [data-step]")?.dataset.step;
    if (name) step(name);
    const asked = event.target.closest?.("[data-moment]")?.dataset.moment;
    if (!asked) return;
    moveTo(Number(asked), "asked");
    const desk = at("moment-desk");
    desk.scrollIntoView({block: "start"});
    desk.focus({preventScroll: true});
  });

  // ---- a click into the plot, but not the end of a drag
  let down = null;
  document.addEventListener("pointerdown", (event) => {
    const inside = event.target.closest?.("#axis .nsewdrag, #axis .points, #axis .bars");
    down = inside && event.button === 0 ? [event.clientX, event.clientY] : null;
  }, true);
  document.addEventListener("pointerup", (event) => {
    const gd = plot();
    if (!gd || !down) return;
    if (Math.hypot(event.clientX - down[0], event.clientY - down[1]) > 4) return;
    const scale = gd._fullLayout.xaxis;
    const x = event.clientX - gd.getBoundingClientRect().left - scale._offset;
    if (x >= 0 && x <= scale._length) moveTo(scale.p2d(x), "plot");
  }, true);

  // a session's first figure goes to the moment; later the coach may look away from it
  const shown = () => {
    if (state.fresh && plot()) {
      state.fresh = false;
      follow();
      window.dash_clientside.set_props("axis-heard", {data: "drawn"});
    }
    place();
  };

  axis.onDrawn(shown);
  axis.onMoving(place);

  const review = {
    state, moveTo, place, follow, tell, pressed,
    onMove: (heard) => listeners.push(heard),
    moments: (data) => {
      const other = state.moments?.key !== data?.key;
      state.moments = data;
      const asked = Number(new URL(location.href).searchParams.get("t") ?? NaN);
      state.fresh = true;
      shown();
      if (other) Object.assign(state, {t: null, loop: null, playing: null});
      if (other && Number.isFinite(asked)) setTimeout(() => moveTo(asked, "address"), 0);
      return window.dash_clientside.no_update;
    },
    speed: (value) => {
      state.rate = Number(value) || 1;
      review.video?.()?.speed(state.rate);
      return window.dash_clientside.no_update;
    },
    "axis-figure": (figure) => {
      if (figure) axis.draw("axis", figure);
      return window.dash_clientside.no_update;
    },
    "strip-figure": (figure) => {
      axis.draw("strip", figure);
      return window.dash_clientside.no_update;
    },
    // the table and the library that shows it wait until the reader comes near
    grid: () => {
      const near = new IntersectionObserver(async (seen) => {
        if (!seen.some((one) => one.isIntersecting)) return;
        near.disconnect();
        await window.sensorswimLater();
        window.dash_clientside.set_props("grid-there", {data: true});
      }, {rootMargin: NEAR});
      near.observe(at("sheet-box"));
      return window.dash_clientside.no_update;
    },
    row: (rows) => {
      const row = rows?.[0];
      const column = ["peak_s", "downbeat_s", "entry_s", "start_s", "session_s"]
        .find((name) => typeof row?.[name] === "number");
      if (column) moveTo(row[column], "table");
      return window.dash_clientside.no_update;
    },
  };
  window.sensorswimReview = review;
  window.dash_clientside = Object.assign({}, window.dash_clientside, {review});
})();
