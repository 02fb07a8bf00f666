"use strict";
// The clip: follows the moment, leads it while it plays, and is measured on.
(() => {
  const review = window.sensorswimReview;
  const state = {clip: null, apart: false, expected: null, tool: null, known: 0.3, points: [],
    cross: null};
  const WANTED = {angle: 3, length: 4, line: 4};
  const el = () => document.getElementById("clip-video");
  const at = (id) => document.getElementById(id);
  const keep = window.dash_clientside;

  // ---- time
  const toPlayer = (t) => state.clip.placed[0] + state.clip.placed[1] * t;
  const toSession = (p) => (p - state.clip.placed[0]) / state.clip.placed[1];
  const linked = () => state.clip?.placed && !state.apart;

  const frameOf = (p) => {
    const {frames, gap} = state.clip;
    if (!frames) return Math.max(0, Math.floor(p / gap + 1e-4));
    let low = 0, high = frames.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (frames[middle] <= p + 1e-4) low = middle; else high = middle - 1;
    }
    return low;
  };
  const centre = (n) => {
    const {frames, gap} = state.clip;
    if (!frames) return (n + 0.5) * gap;
    const start = frames[Math.min(n, frames.length - 1)];
    return (start + (frames[n + 1] ?? start + gap)) / 2;
  };
  const lastFrame = () => state.clip.frames
    ? state.clip.frames.length - 1 : Math.round(state.clip.duration / state.clip.gap) - 1;

  const seek = (p) => {
    const video = el();
    state.expected = centre(Math.min(lastFrame(), frameOf(p)));
    video.currentTime = state.expected;
  };

  const inside = (t) => {
    const p = toPlayer(t);
    return p >= 0 && p <= state.clip.duration;
  };

  review.onMove((t, from) => {
    if (from === "video" || !el() || !linked()) return;
    el().classList.toggle("outside", !inside(t));
    if (inside(t)) seek(toPlayer(t));
  });

  const tellNow = () => keep.set_props("clip-now", {data: el()?.currentTime ?? null});

  const playing = (_now, meta) => {
    const video = el();
    if (!video) return;
    const p = meta ? meta.mediaTime : video.currentTime;
    if (linked() && !video.paused) {
      const t = toSession(p);
      const loop = review.state.loop;
      if (loop && t >= loop[1]) video.currentTime = toPlayer(loop[0]);
      review.moveTo(t, "video");
    }
    if (!video.paused) tick(video);
  };
  const tick = (video) => video.requestVideoFrameCallback
    ? video.requestVideoFrameCallback(playing) : requestAnimationFrame(() => playing());

  const clear = () => { state.points = []; state.cross = null; draw(); };

  const watch = (video) => {
    if (video.dataset.watched) return;
    video.dataset.watched = "yes";
    video.addEventListener("play", () => { clear(); review.pressed("play", true); tick(video); });
    video.addEventListener("pause", () => {
      review.pressed("play", false);
      if (linked()) review.tell();
      tellNow();
    });
    video.addEventListener("seeking", () => {
      clear();
      const own = state.expected !== null && Math.abs(video.currentTime - state.expected) < 2e-3;
      if (!own && linked() && video.paused) review.moveTo(toSession(video.currentTime), "video");
    });
    video.addEventListener("seeked", tellNow);
    const fit = () => {
      const ratio = video.videoWidth / video.videoHeight;
      if (ratio) video.parentElement.style.maxWidth = `calc(65vh * ${ratio})`;
    };
    fit();
    video.addEventListener("loadedmetadata", () => {
      fit();
      video.playbackRate = review.state.rate;
      if (linked() && review.state.t !== null && inside(review.state.t)) {
        seek(toPlayer(review.state.t));
      }
    });
  };

  review.video = () => {
    const video = el();
    if (!video || !state.clip) return null;
    const t = review.state.t;
    if (linked() && t !== null && !inside(t)) return null;
    return {
      toggle: () => video.paused ? video.play() : video.pause(),
      speed: (rate) => { video.playbackRate = rate; },
      frame: (forward) => {
        const n = Math.min(lastFrame(), Math.max(0, frameOf(video.currentTime) +
          (forward ? 1 : -1)));
        if (linked()) review.moveTo(toSession(centre(n)), "frame");
        else seek(centre(n));
        return true;
      },
    };
  };

  review.clip = (clip) => {
    state.clip = clip;
    state.apart = false;
    const look = () => {
      const video = el();
      if (!video) return;
      watch(video);
      video.playbackRate = review.state.rate;
      dress();
      if (linked() && review.state.t !== null && inside(review.state.t)) {
        seek(toPlayer(review.state.t));
      }
    };
    setTimeout(look, 0);
    setTimeout(look, 300);
    return keep.no_update;
  };

  // ---- measuring
  const SVG = "http://www.w3.org/2000/svg";
  const glass = () => at("clip-glass");

  const dress = () => {
    const place = glass();
    if (!place || place.firstChild) return;
    const picture = document.createElementNS(SVG, "svg");
    picture.setAttribute("preserveAspectRatio", "none");
    picture.setAttribute("tabindex", "0");
    picture.setAttribute("role", "application");
    picture.setAttribute("aria-label", "Frame: arrow keys move the cross, Enter sets a point");
    picture.addEventListener("pointerdown", set);
    picture.addEventListener("keydown", steer);
    place.append(picture);
    draw();
  };

  const size = () => [el()?.videoWidth || 1, el()?.videoHeight || 1];

  const angle = (a, b, c) => {
    const one = Math.atan2(a[1] - b[1], a[0] - b[0]);
    const two = Math.atan2(c[1] - b[1], c[0] - b[0]);
    const turn = Math.abs(one - two) * 180 / Math.PI;
    return turn > 180 ? 360 - turn : turn;
  };
  const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
  const slope = (a, b) => Math.atan2(b[1] - a[1], b[0] - a[0]) * 180 / Math.PI;

  const result = () => {
    const p = state.points;
    if (!state.tool || p.length < WANTED[state.tool]) return null;
    if (state.tool === "angle") return {value: angle(p[0], p[1], p[2]), unit: "deg"};
    if (state.tool === "length") {
      return {value: state.known * apart(p[2], p[3]) / Math.max(apart(p[0], p[1]), 1e-9),
        unit: "m"};
    }
    let turn = Math.abs(slope(p[2], p[3]) - slope(p[0], p[1])) % 180;
    turn = turn > 90 ? 180 - turn : turn;
    return {value: turn, unit: "deg"};
  };

  const draw = () => {
    const picture = glass()?.firstChild;
    if (!picture) return;
    const [w, h] = size();
    picture.setAttribute("viewBox", `0 0 ${w} ${h}`);
    glass().classList.toggle("on", state.tool !== null);
    picture.replaceChildren();
    const add = (name, attributes) => {
      const shape = document.createElementNS(SVG, name);
      for (const [key, value] of Object.entries(attributes)) shape.setAttribute(key, value);
      picture.append(shape);
    };
    const pairs = state.tool === "angle" ? [[0, 1], [1, 2]] : [[0, 1], [2, 3]];
    for (const [i, j] of pairs) {
      const a = state.points[i], b = state.points[j];
      if (a && b) add("line", {x1: a[0], y1: a[1], x2: b[0], y2: b[1], class: "measured"});
    }
    for (const [x, y] of state.points) add("circle", {cx: x, cy: y, r: w / 160, class: "point"});
    if (state.cross) {
      const [x, y] = state.cross;
      add("path", {d: `M${x - w / 40} ${y}h${w / 20}M${x} ${y - w / 40}v${w / 20}`, class: "cross"});
    }
    const found = result();
    const told = at("measure-told");
    if (told && state.tool && (state.points.length || !told.textContent)) {
      told.textContent = found
        ? `${found.value.toFixed(found.unit === "m" ? 3 : 1)} ${found.unit === "m" ? "m" : "degrees"}`
        : `Point ${state.points.length + 1} of ${WANTED[state.tool]}.`;
    }
    keep?.set_props("measure", {data: found && {...found, player_s: el().currentTime,
      session_s: state.clip?.placed ? toSession(el().currentTime) : null,
      points: state.points.map(([x, y]) => [x / size()[0], y / size()[1]])}});
  };

  const put = (point) => {
    if (state.points.length >= WANTED[state.tool]) state.points = [];
    state.points.push(point);
    draw();
  };

  const set = (event) => {
    if (!state.tool) return;
    el().pause();
    const box = event.currentTarget.getBoundingClientRect();
    const [w, h] = size();
    put([(event.clientX - box.left) / box.width * w, (event.clientY - box.top) / box.height * h]);
  };

  const steer = (event) => {
    if (!state.tool) return;
    const [w, h] = size();
    const step = event.shiftKey ? w / 40 : w / 320;
    const ways = {ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step],
      ArrowDown: [0, step]};
    const now = state.cross ?? [w / 2, h / 2];
    if (event.key === "Enter") put([...now]);
    else if (ways[event.key]) {
      const [dx, dy] = ways[event.key];
      state.cross = [Math.min(w, Math.max(0, now[0] + dx)), Math.min(h, Math.max(0, now[1] + dy))];
      draw();
    } else return;
    event.preventDefault();
    event.stopPropagation();
  };

  review.tool = (tool, known) => {
    const other = state.tool !== (tool ?? null);
    Object.assign(state, {tool: tool ?? null, known: Number(known) || 0.3});
    if (other) state.points = [];
    if (el()) { el().pause(); dress(); draw(); }
    return keep.no_update;
  };

  // ---- buttons of the panel
  const addClip = () => {
    const chooser = document.createElement("input");
    Object.assign(chooser, {type: "file", accept: "video/*,.mkv,.avi"});
    chooser.addEventListener("change", async () => {
      const [file] = chooser.files;
      if (!file) return;
      at("clip-told").textContent = `Taking in ${file.name}`;
      const key = review.state.moments.key;
      const answer = await fetch(`/clips/${key}?name=${encodeURIComponent(file.name)}`,
        {method: "PUT", body: file});
      const told = await answer.json();
      at("clip-told").textContent = told.problem ?? `Taken in: ${told.taken}`;
      if (answer.ok) keep.set_props("clip-turn", {data: `added ${file.name} ${Date.now()}`});
    });
    chooser.click();
  };

  document.addEventListener("click", (event) => {
    if (event.target.closest?.("[data-pick-clip]")) return addClip();
    const button = event.target.closest?.("[data-clip]");
    if (button?.dataset.clip === "apart") {
      state.apart = !state.apart;
      button.setAttribute("aria-pressed", state.apart);
    }
    if (button?.dataset.clip === "over") {
      clear();
      at("measure-told").textContent = state.tool ? `Point 1 of ${WANTED[state.tool]}.` : "";
    }
  });

  Object.assign(window.dash_clientside.review, {clip: review.clip, tool: review.tool});
})();
