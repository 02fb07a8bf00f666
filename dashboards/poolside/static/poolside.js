"use strict";
// Cards of the swimmers in the water: figures from a WebSocket, their age from this page's clock.
(() => {
  const LABELS = {
    stroke_rate_cycles_min: "Cycles a minute", kicks_per_cycle: "Kicks a cycle",
    roll_onto_left_deg: "Roll onto the left, degrees",
    roll_onto_right_deg: "Roll onto the right, degrees",
    side_hold_s: "On the side in a breath, s",
    side_hold_excess_s: "On the side more than without a breath, s",
    clean_speed_m_s: "Swimming speed, m/s",
  };
  const DIGITS = {
    stroke_rate_cycles_min: 1, kicks_per_cycle: 1, roll_onto_left_deg: 0, roll_onto_right_deg: 0,
    side_hold_s: 2, side_hold_excess_s: 2, clean_speed_m_s: 2, seconds: 1,
  };
  const WORDS = {
    there: ["■", "there"], below: ["▼", "below the aim"], above: ["▲", "above the aim"],
    unknown: ["?", "can't tell"],
  };
  const OLD_S = 12;
  const only = new URLSearchParams(location.search).get("only");
  const cards = new Map();
  let coach = false, columns = {}, socket = null, wait_ms = 500, heard_ms = null, tried = false;

  const make = (tag, className, text) => {
    const node = document.createElement(tag);
    if (className) node.className = className;
    if (text !== undefined) node.textContent = text;
    return node;
  };
  const put = (node, text) => { if (node.textContent !== text) node.textContent = text; };
  const shown = (value, digits) => {
    if (value === null || value === undefined) return "–";
    const size = Math.abs(value).toFixed(digits);
    return value < 0 && Number(size) > 0 ? `−${size}` : size;
  };
  const added = (value, digits) => value === null ? "" : ` (${shown(value, digits).replace(/^(?!−)/, "+")})`;
  const clock = (seconds) => {
    const whole = Math.max(0, Math.round(seconds));
    return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
  };
  const ago = (seconds) => seconds < 1 ? "now" : seconds < 90 ? `${Math.round(seconds)} s ago`
    : `${Math.round(seconds / 60)} min ago`;
  const send = (message) => {
    if (socket?.readyState === WebSocket.OPEN) socket.send(JSON.stringify(message));
    else for (const card of cards.values()) put(card.said, "Not kept: there is no connection.");
  };

  const figure = (parent, name) => {
    const box = make("div", "live-figure");
    const parts = {box, value: make("b", "", "–"), name: make("span", "name", name), age: make("div", "age", "no figure yet")};
    box.append(parts.value, parts.name, parts.age);
    parent.append(box);
    return parts;
  };

  const newCard = (key) => {
    const root = make("section", "live-card");
    const card = {root, key, message: null, received_ms: 0};
    const top = make("div", "live-top");
    card.name = make("h2");
    card.name.id = `card-${cards.size}`;
    root.setAttribute("aria-labelledby", card.name.id);
    card.doing = make("span", "live-doing");
    card.invented = make("span", "invented", "Invented demo data");
    top.append(card.name, card.doing, card.invented);
    card.aims = make("div", "live-aims");
    const figures = make("div", "live-figures");
    card.rate = figure(figures, "cycles a minute");
    card.kicks = figure(figures, "kicks a cycle");
    card.rollLeft = figure(figures, "° roll onto the left");
    card.rollRight = figure(figures, "° roll onto the right");
    const rhythm = make("div", "live-wide");
    rhythm.append(make("span", "name", "Kicks within the last arm cycles (◀ left leg, ◆ right leg)"));
    card.rhythm = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    card.rhythm.setAttribute("class", "live-rhythm");
    card.rhythm.setAttribute("role", "img");
    rhythm.append(card.rhythm);
    const breaths = make("div", "live-wide");
    card.breathsTitle = make("span", "name");
    card.breaths = make("ul", "live-breaths");
    breaths.append(card.breathsTitle, card.breaths);
    figures.append(rhythm, breaths);
    card.table = make("table", "live-table");
    card.note = make("p", "live-note");
    card.sensors = make("ul", "live-sensors");
    card.said = make("p", "live-said");
    card.said.setAttribute("role", "status");
    root.append(top, card.aims, figures);
    if (coach) root.append(buttons(key), card.said);
    root.append(card.table, card.note, card.sensors);
    if (coach) root.append(aimForm(key));
    document.getElementById("live-cards").append(root);
    return card;
  };

  const button = (text, act) => {
    const node = make("button", "", text);
    node.type = "button";
    node.addEventListener("click", act);
    return node;
  };
  const buttons = (key) => {
    const row = make("div", "live-buttons");
    const mark = (kind, more) => () => send({do: "mark", key, mark: kind, ...more});
    row.append(button("Drill starts", mark("drill starts")), button("Felt good", mark("felt good")));
    for (const beat of [2, 4, 6]) {
      row.append(button(`Felt ${beat} kicks`, mark("felt_kick_beat", {value: beat})));
    }
    return row;
  };
  const labelled = (text, field, className) => {
    const label = make("label", className, text);
    label.append(field);
    return label;
  };
  const aimForm = (key) => {
    const form = make("form", "live-form");
    const column = make("select");
    for (const name of Object.keys(columns)) column.append(new Option(LABELS[name] ?? name, name));
    column.value = "kicks_per_cycle";
    const way = make("select");
    way.append(new Option("at least", "at_least"), new Option("at most", "at_most"));
    const value = make("input");
    Object.assign(value, {type: "number", step: "0.05", value: "4", required: true});
    const note = make("input");
    note.maxLength = 200;
    const more = make("details", "live-more");
    more.append(make("summary", "", "Aim and note"), form);
    form.append(labelled("Aim", column), labelled("is", way), labelled("value", value));
    const set = make("button", "", "Set the aim");
    form.append(set, button("No aim", () => send({do: "aims", key, aims: []})));
    form.append(labelled("Note", note, "long"), button("Keep the note", () => {
      if (note.value.trim()) send({do: "mark", key, mark: "note", label: note.value.trim()});
      note.value = "";
    }));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      send({do: "aims", key, aims: [{column: column.value, [way.value]: Number(value.value)}]});
    });
    return more;
  };

  const drawRhythm = (svg, cycles) => {
    svg.replaceChildren();
    const add = (tag, attributes, text) => {
      const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
      for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
      if (text) node.textContent = text;
      svg.append(node);
    };
    const width = svg.clientWidth || 400, row = 20;
    svg.setAttribute("viewBox", `0 0 ${width} ${4 * row + 3}`);
    cycles.forEach((cycle, index) => {
      const y = index * row + 12;
      add("line", {x1: 4, x2: width - 4, y1: y, y2: y, stroke: "currentColor", "stroke-width": 1});
      for (const [side, sign] of [["left", "◀"], ["right", "◆"]]) {
        for (const phase of cycle[side]) {
          add("text", {x: 4 + phase * (width - 20), y: y + 5, style: "font-size:17px"}, sign);
        }
      }
    });
    const counts = cycles.map((c) => c.left.length + c.right.length).join(", ");
    svg.setAttribute("aria-label", cycles.length ? `Kicks in the last cycles: ${counts}` : "No cycles yet");
  };

  const drawTable = (table, lengths) => {
    table.replaceChildren();
    if (!lengths.last) return;
    const head = table.createTHead().insertRow();
    for (const text of ["", `Length ${lengths.last.length_no}`, lengths.before ? `before (${lengths.before.length_no})` : "before"]) {
      const cell = make("th", "", text);
      cell.scope = "col";
      head.append(cell);
    }
    const body = table.createTBody();
    for (const name of ["seconds", ...Object.keys(LABELS)]) {
      const cells = body.insertRow();
      cells.insertCell().textContent = name === "seconds" ? "Whole length, s" : LABELS[name];
      cells.insertCell().textContent = shown(lengths.last[name], DIGITS[name]);
      cells.insertCell().textContent = lengths.before ? shown(lengths.before[name], DIGITS[name]) : "–";
    }
  };

  const drawAims = (box, aims) => {
    box.replaceChildren();
    for (const aim of aims) {
      const row = make("div", `live-aim ${aim.word}`);
      const text = make("div");
      const bounds = [aim.at_least !== null ? `at least ${aim.at_least}` : "", aim.at_most !== null ? `at most ${aim.at_most}` : ""];
      const [shape, word] = WORDS[aim.word];
      text.append(make("div", "word", `${word}: ${shown(aim.value, DIGITS[aim.column])}`),
        make("div", "", `${LABELS[aim.column]} in the last length: aim ${bounds.filter(Boolean).join(", ")}`));
      const sign = make("div", "shape", shape);
      sign.setAttribute("aria-hidden", "true");
      row.append(sign, text);
      box.append(row);
    }
  };

  const drawBreaths = (card, breaths) => {
    put(card.breathsTitle, breaths.shown.length
      ? "On the side in the last breaths, s (+ more than rolls without a breath)"
      : "Breaths: none told yet");
    card.breaths.replaceChildren(...breaths.shown.map((breath) =>
      make("li", "", `${breath.side} ${shown(breath.hold_s, 2)}${added(breath.excess_s, 2)}`)));
  };

  const show = (message) => {
    if (only && message.key !== only) return;
    if (!cards.has(message.key)) cards.set(message.key, newCard(message.key));
    const card = cards.get(message.key);
    card.message = message;
    card.received_ms = performance.now();
    put(card.name, message.shown);
    card.invented.hidden = !message.invented;
    const figures = message.figures;
    if (figures) {
      put(card.rate.value, shown(figures.stroke_rate.cycles_min, 1));
      put(card.kicks.value, shown(figures.kicks.a_cycle, 1));
      put(card.kicks.name, figures.kicks.one_leg ? "kicks a cycle (one leg, doubled)" : "kicks a cycle");
      put(card.rollLeft.value, shown(figures.roll.onto_left_deg, 0));
      put(card.rollRight.value, shown(figures.roll.onto_right_deg, 0));
      drawRhythm(card.rhythm, figures.kicks.cycles);
      drawBreaths(card, figures.breaths);
      drawAims(card.aims, figures.lengths.aims);
      drawTable(card.table, figures.lengths);
    }
    put(card.note, message.trouble ? `The newest figures could not be worked out (${message.trouble}). Recording goes on.`
      : message.norms_provisional ? "The swimmer's own normal isn't known yet: figures are provisional."
      : "The swimmer's own normal is that of this session so far.");
    tick();
  };

  const tickCard = (card, now_ms) => {
    const {message} = card;
    if (!message || message.session_s === null) { put(card.doing, "waiting for the first sensor"); return; }
    const now_s = message.session_s + (now_ms - card.received_ms) / 1000;
    const figures = message.figures;
    if (figures) {
      const ages = [[card.rate, figures.stroke_rate.at_s], [card.kicks, figures.kicks.at_s],
        [card.rollLeft, figures.roll.at_s], [card.rollRight, figures.roll.at_s]];
      for (const [parts, at_s] of ages) {
        const old = at_s !== null && now_s - at_s > OLD_S;
        put(parts.age, at_s === null ? "no figure yet" : `${old ? "old: " : ""}${ago(now_s - at_s)}`);
        parts.box.classList.toggle("old", old);
      }
      const last = figures.lengths.last, stroke_s = figures.stroke_rate.at_s;
      const swimming = stroke_s !== null && (!last || stroke_s > last.end_s + 2);
      put(card.doing, swimming ? `length ${figures.lengths.count + 1}, swimming`
        : last ? `after length ${last.length_no}, rest ${clock(now_s - last.end_s)}` : `before the first length ${clock(now_s)}`);
    }
    const rows = message.sensors.map((sensor) => {
      const where = (sensor.placement ?? "place not known").replace("_", " ");
      const behind = sensor.newest_s === null ? "nothing yet" : `${Math.max(0, now_s - sensor.newest_s).toFixed(0)} s behind`;
      const rest = sensor.missing_packets ? `, ${sensor.missing_packets} packets to fetch` : "";
      const battery = sensor.battery_pct === null ? "" : `, battery ${sensor.battery_pct} %`;
      return `${sensor.connected ? "●" : "○ no link,"} ${where}: ${behind}${rest}${battery}`;
    });
    const items = [...card.sensors.children];
    rows.forEach((text, index) => put(items[index] ?? card.sensors.appendChild(make("li")), text));
  };

  const tick = () => {
    const now_ms = performance.now();
    for (const card of cards.values()) tickCard(card, now_ms);
    const state = document.getElementById("link-state");
    if (!state) return;
    const silent_s = heard_ms === null ? Infinity : (now_ms - heard_ms) / 1000;
    const open = socket?.readyState === WebSocket.OPEN;
    put(state, open && (silent_s < 4 || heard_ms === null) ? "● Connected"
      : heard_ms === null ? "○ No connection yet; trying again" : `○ No connection for ${Math.round(silent_s)} s; trying again. Figures below are from before.`);
    const nothing = document.getElementById("live-nothing");
    if (nothing) nothing.hidden = cards.size > 0 || !tried;
  };

  const connect = () => {
    socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/ws/live`);
    socket.addEventListener("message", (event) => {
      const message = JSON.parse(event.data);
      heard_ms = performance.now();
      if (message.kind === "hello") {
        ({coach, columns} = message);
        tried = true;
        wait_ms = 500;
      } else if (message.kind === "card") show(message);
      else if (message.kind === "said") for (const card of cards.values()) {
        if (!message.key || card.key === message.key) put(card.said, message.text);
      }
      tick();
    });
    socket.addEventListener("close", () => {
      setTimeout(connect, wait_ms * (0.7 + 0.6 * Math.random()));
      wait_ms = Math.min(2 * wait_ms, 5000);
    });
  };

  const begin = () => {
    if (!document.getElementById("live-cards")) { setTimeout(begin, 50); return; }
    connect();
    setInterval(tick, 250);
  };
  begin();
})();
