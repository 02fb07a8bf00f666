"use strict";
// Keeps plots, tables and the navigation in step with the page: its look and its address.
(() => {
  const root = document.documentElement;
  const madeByDash = () => document.querySelector("#react-entry-point main");

  const tellScheme = () => {
    const scheme = root.dataset.mantineColorScheme;
    document.body.dataset.agThemeMode = scheme;
    if (window.dash_clientside?.set_props && madeByDash()) {
      window.dash_clientside.set_props("scheme", {data: scheme});
    }
  };

  const markPage = () => {
    for (const link of document.querySelectorAll(".nav-link")) {
      const here = new URL(link.href).pathname === location.pathname;
      if (here) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
  };

  const once = (make) => {
    let made = null;
    return () => made ??= make();
  };
  const fetchScript = (src) => new Promise((then, fail) => {
    const script = Object.assign(document.createElement("script"), {src, async: false});
    script.addEventListener("load", then);
    script.addEventListener("error", () => fail(new Error(`no answer from ${src}`)));
    document.head.append(script);
  });
  // the plotting library takes long to start: at once where a plot is seen first, else best while
  // the server works on the page
  const plots = document.querySelector("link[data-library=plots]");
  const whenIdle = window.requestIdleCallback ?? setTimeout;
  if (plots) {
    let tell = null;
    window.Plotly = new Promise((then) => { tell = then; });
    window.sensorswimPlots = once(async () => {
      await fetchScript(plots.href);
      tell(window.Plotly);
    });
    whenIdle(window.sensorswimPlots);
  }

  // libraries that only some parts of a page need are fetched when one of these asks for them
  const fetchAll = (type) => Promise.all(
    [...document.querySelectorAll(`script[type=${type}][src]`)].map(({src}) => fetchScript(src)));
  window.sensorswimLater = once(() => fetchAll("later"));

  // Dash itself, where the page shows something before it; its scripts stand last on the page
  const parsed = new Promise((then) => {
    document.addEventListener("DOMContentLoaded", then, {once: true});
  });
  window.sensorswimStart = once(async () => {
    await parsed;
    await fetchAll("dash");
    const {text} = document.querySelector("script[type=dash]:not([src])");
    document.head.append(Object.assign(document.createElement("script"), {text}));
  });

  let known = false;
  const watch = new MutationObserver(() => {
    const there = madeByDash() !== null;
    if (there && !known) { tellScheme(); }
    known = there;
    markPage();
  });
  new MutationObserver(tellScheme).observe(root, {
    attributes: true, attributeFilter: ["data-mantine-color-scheme"],
  });
  watch.observe(document.body, {childList: true, subtree: true});
})();
