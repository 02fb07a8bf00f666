"use strict";
// The plot of the time axis. It is drawn here, as a dcc.Graph draws all of it anew after each move.
(() => {
  const SETTLED_MS = 250;
  const plot = () => document.querySelector("#axis > div");
  const heard = {drawn: [], moving: []};
  let standing = null, asking = null, settled = 0;

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

  const moved = (change) => {
    const range = change["xaxis.range"] ??
      [change["xaxis.range[0]"], change["xaxis.range[1]"]];
    if (!range.every(Number.isFinite)) return;
    fetchBeside(standing, Math.min(...range), Math.max(...range));
  };

  const stand = (gd) => {
    if (standing) window.Plotly.purge(standing);
    standing = gd;
    gd.on("plotly_afterplot", () => tell("drawn"));
    gd.on("plotly_relayouting", () => tell("moving"));
    gd.on("plotly_relayout", moved);
    new ResizeObserver(() => gd.offsetWidth && window.Plotly.Plots.resize(gd)).observe(gd);
    tell("drawn");
  };

  const draw = async (figure) => {
    const gd = plot();
    asking?.abort();
    clearTimeout(settled);
    await window.Plotly;
    await window.Plotly.react(gd, figure);
    if (gd !== standing && gd.isConnected) stand(gd);
  };

  window.sensorswimAxis = {
    draw,
    plot: () => plot()?._fullLayout?.xaxis ? plot() : null,
    onDrawn: (listener) => heard.drawn.push(listener),
    onMoving: (listener) => heard.moving.push(listener),
  };
})();
