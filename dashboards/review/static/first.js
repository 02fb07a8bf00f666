"use strict";
// What is seen first: the page is laid out and its plots are drawn here, from the same components
// and figures that Dash gets, while Dash is still being read. It then takes the drawn plots over.
(() => {
  const entry = document.getElementById("react-entry-point");

  // ---- pages, from the server
  const asked = (pathname, search) => {
    const scheme = document.documentElement.dataset.mantineColorScheme;
    return {pathname, search: search ?? "", scheme};
  };
  const fetched = async (what) => {
    const answer = await fetch("/page", {method: "POST", body: JSON.stringify(what),
      headers: {"Content-Type": "application/json"}});
    if (!answer.ok) throw new Error(`no page: ${answer.status}`);
    return answer.json();
  };
  const begun = asked(location.pathname, location.search);
  let first = fetched(begun);

  const page = (pathname, search) => {
    const same = first && pathname === begun.pathname && (search ?? "") === begun.search;
    const told = same ? first : fetched(asked(pathname, search));
    first = null;
    return told;
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside, {first: {page}});

  // ---- components to elements
  const UNSEEN = ["Store", "Location", "Interval"];
  const NAMES = {className: "class", htmlFor: "for"};
  const element = (tag, {children, style, ...rest}) => {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(rest)) {
      if (value === null || value === false) continue;
      made.setAttribute(NAMES[name] ?? name.toLowerCase(), value === true ? "" : value);
    }
    Object.assign(made.style, style);
    made.append(...parts(children));
    return made;
  };
  const parts = (children) => [children ?? []].flat(Infinity).filter((one) => one !== null)
    .map((one) => typeof one !== "object" ? String(one) : one.nodeType ? one : component(one));
  const component = ({type, namespace, props}) => {
    if (namespace === "dash_html_components") return element(type, props);
    if (UNSEEN.includes(type)) return "";
    return (STAND_INS[type] ?? inside)(props);
  };

  // what the library of inputs will make, in the same size; nobody can use it yet
  const inside = ({children}) => element("div", {children});
  const span = (kind, children) => element("span", {className: `stand-in ${kind}`, children});
  const labelled = ({label, w}, children) => element("div", {
    style: {width: w ? `${w}px` : ""}, children: [span("label", label), children],
  });
  const STAND_INS = {
    Link: (props) => element("a", props),
    ColorSchemeToggle: ({lightIcon, darkIcon}) =>
      span("toggle", begun.scheme === "dark" ? darkIcon : lightIcon),
    Select: (props) => labelled(props, span("field",
      props.data.find(({value}) => value === props.value)?.label)),
    RadioGroup: (props) => labelled(props, parts(props.children)),
    Group: ({children}) => span("group", children),
    Radio: ({children, label}) => span("radio", label ?? children),
  };

  const storeIn = (part, id) => {
    if (!part || typeof part !== "object") return null;
    if (Array.isArray(part)) return part.reduce((found, one) => found ?? storeIn(one, id), null);
    if (part.props?.id === id) return part.props.data;
    return storeIn(part.props?.children, id);
  };

  // ---- shown, then handed over
  const show = async () => {
    const [frame, content] = await Promise.all([
      fetch("/_dash-layout").then((answer) => answer.json()), first]);
    const axis = storeIn(content, "axis-figure");
    if (!axis) return;
    const shown = element("div", {id: "seen-first", inert: true});
    shown.append(...parts(frame.props.children));
    shown.querySelector("#page").append(component(content));
    entry.before(shown);
    new MutationObserver((_, watch) => {
      if (!entry.querySelector("#page > *")) return;
      watch.disconnect();
      handOver(shown);
    }).observe(entry, {childList: true, subtree: true});
    window.sensorswimPlots();
    const {draw} = window.sensorswimAxis;
    await draw("strip", storeIn(content, "strip-figure"));
    await draw("axis", axis);
  };

  const handOver = (shown) => {
    for (const id of ["strip", "axis"]) {
      entry.querySelector(`#${id}`)?.append(...shown.querySelector(`#${id}`).childNodes);
    }
    shown.remove();
  };

  const painted = () => new Promise((then) => requestAnimationFrame(() => setTimeout(then)));
  const begin = async () => {
    try {
      await show();
      await painted();
    } finally {
      window.sensorswimStart();
    }
  };
  if (location.pathname === "/review") begin(); else window.sensorswimStart();
})();
