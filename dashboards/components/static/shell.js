"use strict";
// Keeps plots, tables and the navigation in step with the page: its look and its address.
(() => {
  const root = document.documentElement;

  const tellScheme = () => {
    const scheme = root.dataset.mantineColorScheme;
    if (!scheme) return;
    document.body.dataset.agThemeMode = scheme;
    if (window.dash_clientside?.set_props && document.getElementById("main")) {
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

  // the address with the look that the page has now, so that plots can come with the page
  const asked = (pathname, search) => {
    const dark = matchMedia("(prefers-color-scheme: dark)").matches;
    const scheme = root.dataset.mantineColorScheme ?? (dark ? "dark" : "light");
    return {pathname, search: search ?? "", scheme};
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside, {shell: {asked}});

  // libraries that only some parts of a page need are fetched when one of these asks for them
  let fetched = null;
  const fetchScript = ({src}) => new Promise((then, fail) => {
    const script = Object.assign(document.createElement("script"), {src, async: false});
    script.addEventListener("load", then);
    script.addEventListener("error", () => fail(new Error(`no answer from ${src}`)));
    document.head.append(script);
  });
  // the plotting library takes long to start: best while the server works on the page
  const plots = document.querySelector("link[data-library=plots]");
  const whenIdle = window.requestIdleCallback ?? setTimeout;
  if (plots) {
    window.Plotly = new Promise((then) => whenIdle(async () => {
      await fetchScript({src: plots.href});
      then(window.Plotly);
    }));
  }

  window.sensorswimLater = () => {
    fetched ??= Promise.all([...document.querySelectorAll("script[type=later]")].map(fetchScript));
    return fetched;
  };

  let known = false;
  const watch = new MutationObserver(() => {
    const there = document.getElementById("main") !== null;
    if (there && !known) { tellScheme(); }
    known = there;
    markPage();
  });
  new MutationObserver(tellScheme).observe(root, {
    attributes: true, attributeFilter: ["data-mantine-color-scheme"],
  });
  watch.observe(document.body, {childList: true, subtree: true});
})();
