"use strict";
// Runs before all other scripts. Libraries try out what a browser can do by provoking errors; to
// tell where in a megabyte on one line each of them was, the browser would read the file again.
(() => {
  const usual = Error.stackTraceLimit;
  Error.stackTraceLimit = 0;
  addEventListener("load", () => { Error.stackTraceLimit = usual; }, {once: true});
})();
