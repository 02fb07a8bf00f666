"use strict";
// Runs before all other scripts.
(() => {
  // Libraries try out what a browser can do by provoking errors; to tell where in a megabyte on
  // one line each of them was, the browser would read the file again.
  const usual = Error.stackTraceLimit;
  Error.stackTraceLimit = 0;
  addEventListener("load", () => { Error.stackTraceLimit = usual; }, {once: true});

  // the look, as the component library will find it, for what is seen before that
  let chosen = null;
  try {
    chosen = localStorage.getItem("mantine-color-scheme-value");
  } catch {
    // a browser that keeps nothing
  }
  const dark = chosen === "dark" ||
    (chosen !== "light" && matchMedia("(prefers-color-scheme: dark)").matches);
  document.documentElement.dataset.mantineColorScheme = dark ? "dark" : "light";
})();
