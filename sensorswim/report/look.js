"use strict";
(() => {
  const look = JSON.parse(document.getElementById("look").textContent);
  const dark = matchMedia("(prefers-color-scheme: dark)");
  // Where nothing hovers, plotly's buttons would always be seen, and lie over the legend.
  const displayModeBar = matchMedia("(hover: none)").matches ? false : "hover";
  const PRINT_WIDTH_PX = 680;
  const PRINT_HEIGHT_PX = Number(document.querySelector("main").dataset.printHeight ?? 640);
  const PRINT_SHARE = 0.66;
  const PRINT_LOWEST_PX = 300;
  const NARROW_PX = 600;
  let printing = false;
  let folded = [];

  // The figures are stored once, in the light look; the dark one swaps their colours.
  const inLook = (json, theme) => theme === "light" ? json :
    Object.entries(look.dark).reduce((text, [from, to]) => text.replaceAll(from, to), json);

  const fit = (layout, width) => {
    if (width >= NARROW_PX) return;
    layout.font = {...layout.font, size: 13};
    for (const key of Object.keys(layout)) {
      if (!/^[xy]axis/.test(key)) continue;
      const title = layout[key].title;
      if (title) title.font = {...title.font, size: 13};
      layout[key].tickfont = {size: 12};
    }
  };

  const draw = (plot) => {
    const spec = plot.parentElement.querySelector("script.spec").textContent;
    const theme = dark.matches && !printing ? "dark" : "light";
    const {data, layout} = JSON.parse(inLook(spec, theme));
    const width = printing ? PRINT_WIDTH_PX : plot.clientWidth;
    if (printing) {
      layout.width = width;
      const lower = Math.max(layout.height * PRINT_SHARE, PRINT_LOWEST_PX);
      layout.height = Math.min(layout.height, lower, PRINT_HEIGHT_PX);
    }
    fit(layout, width);
    plot.style.height = `${layout.height}px`;
    return Plotly.react(plot, data, layout, {...look.config, displayModeBar, responsive: !printing});
  };

  const drawAll = () => document.querySelectorAll(".plot").forEach(draw);
  const print = (on) => {
    printing = on;
    drawAll();
    if (on) folded = [...document.querySelectorAll("details:not([open])")];
    for (const details of folded) details.open = on;
  };

  addEventListener("beforeprint", () => print(true));
  addEventListener("afterprint", () => print(false));
  dark.addEventListener("change", drawAll);
  drawAll();
  document.documentElement.dataset.drawn = "yes";
})();
