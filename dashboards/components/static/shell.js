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
