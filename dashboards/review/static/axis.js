"use strict";
// The plots that are seen first: the strip of the lengths and the time axis. They are drawn here,
// as a dcc.Graph draws all of it anew after each move, and can't be there before Dash.
(() => {
  const SETTLED_MS = 250;
  const plotIn = (id) => document.querySelector(`#${id} > div`);
  const plot = () => plotIn("axis");
  const heard = {drawn: [], moving: []};
  const standing = {};
  let asking = null, settled = 0;

  const tell = (what) => heard[what].forEach((listener) => listener());

  // what lies beside comes from the server; only what was asked for last is shown
  const fetchBeside = async (gd, start_s, end_s) => {
    asking?.abort();
    asking = new AbortController();
    const turn = gd.layout.uirevision;
    const scheme = document.documentElement.dataset.mantineColorScheme;
    const query = new URLSearchParams({start_s, end_s, turn, scheme});
    const key = window.sensorswimReview.state.moments.key;
    try {
      const answer = await fetch(`/axis/${key}?${query}`, {signal: asking.signal});
      const told = await answer.json();
      if (!answer.ok || plot() !== gd || gd.layout.uirevision !== turn) return;
      await window.Plotly.react(gd, told.figure);
      clearTimeout(settled);
      settled = setTimeout(() => {
        window.dash_clientside.set_props("axis-words", {children: told.words});
        window.dash_clientside.set_props("moved", {data: {start_s, end_s, turn}});
      }, SETTLED_MS);
    } catch (problem) {
      if (problem.name !== "AbortError") throw problem;
    }
  };

  const moved = (gd, change) => {
    const range = change["xaxis.range"] ??
      [change["xaxis.range[0]"], change["xaxis.range[1]"]];
    if (!range.every(Number.isFinite)) return;
    fetchBeside(gd, Math.min(...range), Math.max(...range));
  };

  const chosen = ({points}) => {
    const length = points[0].customdata;
    if (Array.isArray(length)) window.dash_clientside.set_props("length", {value: `${length[0]}`});
  };

  const wire = {
    strip: (gd) => gd.on("plotly_click", chosen),
    axis: (gd) => {
      gd.on("plotly_afterplot", () => tell("drawn"));
      gd.on("plotly_relayouting", () => tell("moving"));
      gd.on("plotly_relayout", (change) => moved(gd, change));
      tell("drawn");
    },
  };

  // an observer tells of the size that is there at first, too, which would draw all of it twice
  const fit = (gd) => {
    const width = gd.offsetWidth;
    if (width && Math.abs(width - gd._fullLayout.width) >= 1) window.Plotly.Plots.resize(gd);
  };

  const stand = (id, gd) => {
    if (standing[id]) window.Plotly.purge(standing[id]);
    standing[id] = gd;
    wire[id](gd);
    new ResizeObserver(() => fit(gd)).observe(gd);
  };

  const added = (id) => {
    const gd = document.createElement("div");
    document.getElementById(id).append(gd);
    return gd;
  };

  // draws into the element of this id; a figure that stands there already is left alone
  const draw = async (id, figure) => {
    const gd = plotIn(id) ?? added(id);
    if (gd.layout === figure.layout) return;
    if (id === "axis") {
      asking?.abort();
      clearTimeout(settled);
    }
    await window.Plotly;
    await window.Plotly.react(gd, figure);
    if (gd !== standing[id] && gd.isConnected) stand(id, gd);
  };

  window.sensorswimAxis = {
    draw,
    plot: () => plot()?._fullLayout?.xaxis ? plot() : null,
    onDrawn: (listener) => heard.drawn.push(listener),
    onMoving: (listener) => heard.moving.push(listener),
  };
})();
