"use strict";
/* The panels of a unit's chart. Goes in: the data of chart_data.js. Comes out: of every panel its head with the key
   and what the reading line reads, and the traces, axis and shapes that plotly draws. Plotly is given numbers only;
   every word, also those of logs, is plain text of the page. */
window.coldsiftChartPanels = (() => {
  const { text, celsius } = window.coldsift;
  const {
    HOUR, DAY, drawn, drawnBand, squeezed, within, readingAt, peersAt,
    turned, unitOf, figureOf, quantity, hours, degrees, moment, number,
  } = window.coldsiftChartData;

  /* Looks of each line: colour (a custom property of charts.css), width, dash. Lines of one panel differ in more
     than colour. */
  const LOOKS = {
    set_point: ["set-point", 1.5, "7px,3px"], supply_air: ["supply", 1.4], return_air: ["return", 2.2],
    band_low: ["band", 1.2, "2px,3px"], band_high: ["band", 1.2, "2px,3px"], ambient_air: ["ambient", 1.4],
    cargo_probe_1: ["supply", 1.5], cargo_probe_2: ["return", 1.5, "6px,2px"],
    cargo_probe_3: ["ambient", 1.5, "2px,2px"], cargo_probe_4: ["band", 1.5, "8px,2px,2px,2px"],
    suction_pressure: ["low-side", 1.6], discharge_pressure: ["high-side", 1.6],
    evaporating: ["low-side", 1.8], condensing: ["high-side", 1.8],
    suction_temperature: ["low-side", 1.2, "4px,2px"], discharge_temperature: ["high-side", 1.2, "4px,2px"],
    evaporator_temperature: ["coil", 1.5, "8px,2px,2px,2px"], superheat: ["coil", 1.5],
    expansion_valve_opening: ["low-side", 1.7], economizer_valve: ["coil", 1.4, "6px,2px"],
    hot_gas_valve: ["high-side", 1.4, "2px,2px"],
    evaporator_fan_speed: ["supply", 1.3, "8px,2px,2px,2px"], condenser_fan_speed: ["return", 1.3, "4px,3px"],
    compressor_frequency: ["coil", 1.5],
    current_1: ["supply", 1.4], current_2: ["return", 1.4, "6px,2px"], current_3: ["ambient", 1.4, "2px,2px"],
    voltage_1: ["supply", 1.4], voltage_2: ["return", 1.4, "6px,2px"], voltage_3: ["ambient", 1.4, "2px,2px"],
    power: ["coil", 1.5], frequency: ["low-side", 1.5],
    humidity: ["supply", 1.5], humidity_set_point: ["set-point", 1.5, "7px,3px"],
    oxygen: ["supply", 1.5], carbon_dioxide: ["return", 1.5, "6px,2px"], fresh_air_vent: ["ambient", 1.5],
  };

  /* Of each panel: height on a wide screen and on a phone [px], the least range worth drawing, and what its range
     starts and ends with at least. Nothing below the lowest is drawn: a deep vacuum has saturation temperatures of
     no interest. Pressures span a hundredfold, so equal steps are equal ratios. */
  const PANELS = {
    air: { heights: [230, 180], least: 4 },
    ambient: { heights: [84, 90], least: 6 },
    cargo: { heights: [120, 110], least: 2 },
    pressures: { heights: [140, 130], logarithmic: true },
    circuit: { heights: [200, 170], least: 10, lowest: -60 },
    superheat: { heights: [110, 100], least: 6 },
    valves: { heights: [120, 110], from: 0, to: 100 },
    fans: { heights: [90, 90], from: 0, to: 100 },
    speed: { heights: [90, 90], from: 0, least: 20 },
    current: { heights: [110, 100], from: 0, least: 2 },
    power: { heights: [110, 100], from: 0, least: 500 },
    voltage: { heights: [100, 90], least: 20 },
    supply: { heights: [84, 90], least: 2 },
    humidity: { heights: [100, 100], least: 10 },
    atmosphere: { heights: [110, 100], from: 0, least: 2 },
    vent: { heights: [84, 90], from: 0, least: 20 },
  };
  const BEFORE_STRIPS = ["air", "ambient", "cargo"];
  const VACUUM = 0.1; /* Lower pressures are drawn as this one. [bar absolute] */
  const PRESSURE_TICKS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 40];
  const REGIME_PATTERNS = { off: "x", pull_down: "\\", recovery: "/", set_point_step: "|", unknown: "." };
  const COMPANIONS = { suction_pressure: "evaporating", discharge_pressure: "condensing" };
  const MOST_PEAKS = 20; /* More marks than these would hide the line. */
  const MOST_NOTES = 12; /* The latest ones; the table beneath the chart has all. */

  /* Parts of the page. */
  function element(name, className, ...inside) {
    const made = document.createElement(name);
    if (className) made.className = className;
    made.append(...inside);
    return made;
  }
  function button(className, label, press, ...inside) {
    const made = element("button", className, ...inside);
    made.type = "button";
    if (label) made.setAttribute("aria-label", label);
    made.addEventListener("click", press);
    return made;
  }
  const sign = (className) => element("span", `swatch ${className}`);
  function swatch({ name }) {
    const [tone, width, dash] = LOOKS[name];
    const SVG = "http://www.w3.org/2000/svg";
    const drawing = document.createElementNS(SVG, "svg");
    const stroke = document.createElementNS(SVG, "path");
    const looks = { d: "M0 4H24", "stroke-width": width + 0.6, "stroke-dasharray": (dash ?? "").replaceAll("px", "") };
    for (const [key, value] of Object.entries(looks)) stroke.setAttribute(key, value);
    for (const [key, value] of Object.entries({ class: `swatch tone-${tone}`, viewBox: "0 0 24 8", "aria-hidden": "true" })) {
      drawing.setAttribute(key, value);
    }
    drawing.append(stroke);
    return drawing;
  }

  const BARE = { showticklabels: false, showgrid: false };
  const inView = ([from, to]) => (at) => at >= from && at <= to;
  function strokesOf(spans, height) {
    const [x, y] = [[], []];
    for (const [start, end] of spans) {
      x.push(start, end, null);
      y.push(height, height, null);
    }
    return { type: "scatter", mode: "lines", x, y };
  }

  /* All panels of a chart, from top to bottom; what is hidden in them, and whether like units are shown. */
  class Panels {
    constructor(figure, { redraw, show }) {
      Object.assign(this, { figure, redraw, show, likeWords: "" });
      this.hidden = new Set();
      this.peersShown = true;
      const panels = figure.panels.map((panel) => this.linePanel(panel));
      const strips = [
        figure.notes.length ? this.notesStrip() : null,
        figure.alarms.rows.length ? this.alarmStrip() : null,
        figure.states.length || figure.mode ? this.stateStrip() : null,
      ].filter(Boolean);
      const place = panels.findIndex((block) => !BEFORE_STRIPS.includes(block.key));
      panels.splice(place < 0 ? panels.length : place, 0, ...strips);
      this.blocks = [this.regimeStrip(), ...panels];
    }

    /* A head of words, and below it lines or rows. */
    block(key, title, heights = []) {
      const unit = element("span", "panel-unit");
      const keys = element("div", "key");
      const fold = button("panel-fold", "", () => {
        made.folded = !made.folded;
        fold.setAttribute("aria-expanded", String(!made.folded));
        this.redraw();
      }, title);
      fold.setAttribute("aria-expanded", "true");
      const head = element("div", "panel-head", element("div", "panel-title", fold, unit), keys);
      head.setAttribute("role", "group");
      head.setAttribute("aria-label", title);
      const made = { key, head, keys, unit, heights, folded: false, labels: [], items: [], rows: [], relabel() {} };
      return made;
    }

    /* One entry of a key: a button that hides and shows, and what the reading line reads. */
    item(block, name, label, mark, read, className = "") {
      const value = element("span", "value");
      const like = element("span", "like");
      const id = `${block.key} ${name}`;
      const toggle = button("", "", () => {
        const hide = !this.hidden.delete(id);
        if (hide) this.hidden.add(id);
        toggle.setAttribute("aria-pressed", String(!hide));
        this.redraw();
      }, mark, element("span", "", label));
      toggle.setAttribute("aria-pressed", "true");
      block.keys.append(element("span", `entry ${className}`, toggle, value, like));
      block.items.push((at) => [value.textContent, like.textContent] = read(at));
    }
    isShown(block, name) {
      return !this.hidden.has(`${block.key} ${name.startsWith("band_") ? "band" : name}`);
    }

    read(at) {
      for (const block of this.blocks) {
        for (const item of block.items) item(at);
        for (const row of block.rows) row.read(at);
      }
    }

    /* ---- Panels of lines. ---- */
    linePanel({ key, title, lines: own, beside: others }) {
      const [lines, beside] = [own, others].map((places) => places.map((place) => this.figure.lines[place]));
      const looks = PANELS[key];
      const block = this.block(key, text(title), looks.heights);
      const band = lines.filter(({ name }) => name.startsWith("band_"));
      const add = (line) => this.item(block, line.name, text(line.label), swatch(line), (at) => this.readLine(line, at));
      lines.filter((line) => !band.includes(line)).forEach(add);
      if (band.length) {
        this.item(block, "band", text("Allowed band"), swatch(band[0]), (at) => [this.readBand(band, at), ""], "wide");
      }
      if (key === "air" && this.figure.excursions.length) {
        this.item(block, "excursion", text("Excursion"), sign("excursion"), (at) => [this.readExcursion(at), ""], "wide");
      }
      beside.forEach(add);
      block.relabel = () => {
        block.unit.textContent = looks.logarithmic ? text("bar absolute, equal steps are equal ratios") : unitOf(lines[0]);
      };
      block.paint = (axis, size) => this.paintLines(block, axis, size, looks, lines, beside);
      return block;
    }

    readLine(line, at) {
      const value = readingAt(line, at);
      const companion = this.figure.lines.find(({ name }) => name === COMPANIONS[line.name]);
      const saturated = companion && value !== null ? readingAt(companion, at) : null;
      const said = value === null ? "–" : quantity(line, value);
      const place = this.peersShown ? peersAt(line, at) : null;
      const like = place === null ? "" : this.likeWords
        .replace("{low}", figureOf(line, line.peers.low[place]))
        .replace("{high}", figureOf(line, line.peers.high[place]))
        .replace("{count}", String(line.peers.units[place]));
      return [saturated === null ? said : `${said} (${quantity(companion, saturated)})`, like];
    }

    readBand(band, at) {
      const edge = (which) => {
        const line = band.find(({ name }) => name === which);
        const value = line ? readingAt(line, at) : null;
        return value === null ? "" : quantity(line, value);
      };
      const [low, high] = [edge("band_low"), edge("band_high")];
      if (!low && !high) return "–";
      const words = low && high ? text("{low} to {high}") : high ? text("up to {high}") : text("from {low}");
      return words.replace("{low}", low).replace("{high}", high);
    }

    readExcursion(at) {
      const found = this.figure.excursions.find(({ start, end }) => start <= at && at <= end);
      if (!found) return text("none here");
      const said = `${text(found.kind)}, ${hours(found.hours)}`;
      return found.peak === null ? said : `${said}, ${text("peak {value}").replace("{value}", degrees(found.peak))}`;
    }

    paintLines(block, axis, size, looks, lines, beside) {
      const { view, columns, color, height } = size;
      const range = [Infinity, -Infinity];
      const widen = (...values) => {
        for (const value of values) if (value < range[0]) range[0] = value;
        for (const value of values) if (value > range[1]) range[1] = value;
      };
      const raise = (value) => (value === null ? null : Math.max(value, VACUUM));
      const drawable = (values) => (looks.logarithmic ? values.map(raise) : values);
      const traces = [];
      const add = (name, { x, y }, looksOfTrace) => {
        if (x.length) traces.push({ type: "scatter", meta: name, yaxis: axis.name, x, y: drawable(y), ...looksOfTrace });
      };
      const compared = lines.filter((line) => this.peersShown && line.peers && this.isShown(block, line.name));
      for (const line of compared) {
        const [tone] = LOOKS[line.name];
        const { outline, middle } = drawnBand(line, view);
        widen(...outline.y.filter((value) => value !== null));
        const fillcolor = color.faint(tone, compared.length > 2 ? 0.09 : 0.16);
        add("like units", outline, { mode: "lines", fill: "toself", fillcolor, line: { width: 0 } });
        add("like units", middle, { mode: "lines", line: { width: 0.8, color: color.faint(tone, 0.6) } });
      }
      for (const line of [...beside, ...lines].filter(({ name }) => this.isShown(block, name))) {
        const [tone, width, dash = "solid"] = LOOKS[line.name];
        const found = drawn(line, view, columns);
        widen(...found.range);
        const thin = beside.includes(line);
        const stroke = {
          color: thin ? color.faint(tone, 0.75) : color.read(tone), width: thin ? 0.9 : width, dash,
          shape: line.stepped ? "hv" : "linear",
        };
        const dotted = !line.stepped && found.readings < columns / 4;
        const marker = { size: 4, color: stroke.color };
        add(line.name, found, { mode: dotted ? "lines+markers" : "lines", line: stroke, marker });
        add(line.name, found.alone, { mode: "markers", marker: { ...marker, size: 5 } });
      }
      if (range[0] > range[1]) widen(looks.from ?? 0, looks.to ?? (looks.from ?? 0) + (looks.least ?? 1));
      if (looks.logarithmic) return { traces, axis: ratioAxis(range, height) };
      const drawnAxis = { range: roomy(range, looks), nticks: Math.max(3, Math.floor(height / 26)) };
      const shapes = [];
      if (block.key === "air" && this.isShown(block, "excursion")) {
        traces.push(...this.paintExcursions(axis, size, drawnAxis));
        shapes.push(...this.shadeExcursions(axis, size));
      }
      return { traces, axis: drawnAxis, shapes };
    }

    excursionsIn([from, to]) {
      return this.figure.excursions.filter(({ start, end }) => end >= from && start <= to);
    }

    /* Bars above the lines, and marks at the peaks. */
    paintExcursions(axis, { view, pixel, color }, drawnAxis) {
      const [low, high] = drawnAxis.range;
      const found = this.excursionsIn(view);
      if (!found.length) return [];
      drawnAxis.range = [low, high + 0.12 * (high - low)];
      const common = { yaxis: axis.name, meta: "excursion" };
      const bars = [true, false].map((counts) => {
        const spans = found.filter((each) => each.counts === counts);
        const wide = spans.map(({ start, end }) => [start, Math.max(end, start + 2 * pixel)]);
        const line = { width: 7, color: color.read("excursion"), dash: counts ? "solid" : "2px,2px" };
        return { ...common, ...strokesOf(wide, high + 0.07 * (high - low)), line };
      });
      const peaks = found.length > MOST_PEAKS ? [] : found.filter((each) => each.peak_at !== null);
      const marks = {
        ...common, type: "scatter", mode: "markers",
        x: peaks.map((each) => each.peak_at), y: peaks.map((each) => celsius(each.peak)),
        marker: {
          symbol: "triangle-down", size: 11, color: color.read("excursion"),
          line: { width: 1, color: color.read("ground") },
        },
      };
      return [...bars, marks].filter((trace) => trace.x.length);
    }
    shadeExcursions(axis, { view, color }) {
      return this.excursionsIn(view).filter((each) => each.counts).map(({ start, end }) => ({
        type: "rect", layer: "below", xref: "x", yref: `${axis.name} domain`, x0: start, x1: end, y0: 0, y1: 1,
        line: { width: 0 }, fillcolor: color.faint("excursion", 0.09),
      }));
    }

    /* ---- Strips. ---- */
    regimeStrip() {
      const { regimes, defrosts } = this.figure;
      const block = this.block("regimes", text("What the unit did"), [20, 20]);
      const cut = [...defrosts.starts].filter((_, place) => defrosts.terminated[place] === false);
      block.keys.classList.add("legend");
      regimes.keys.forEach((key, code) => {
        if (!regimes.hours[code]) return;
        block.keys.append(element("span", "entry", sign(`regime ${key}`), text(regimes.names[code])));
      });
      if (cut.length) block.keys.append(element("span", "entry", sign("cut"), text("Defrost without a proper end")));
      block.unit.className = "value";
      block.items.push((at) => (block.unit.textContent = this.readRegime(at)));
      block.paint = (axis, { view, pixel, color }) => {
        const traces = regimes.keys.map((key, code) => {
          const spans = squeezed(regimes, code, view, pixel);
          const shape = REGIME_PATTERNS[key];
          const tone = color.read(key);
          const pattern = { shape, size: 6, solidity: 0.4, bgcolor: color.read("ground"), fgcolor: tone };
          return {
            type: "bar", orientation: "h", yaxis: axis.name, width: 1, offset: 0, meta: key,
            base: spans.map(([start]) => start), x: spans.map(([start, end]) => end - start), y: spans.map(() => 0),
            marker: { color: tone, line: { width: 0 }, ...(shape && { pattern }) },
          };
        });
        const marks = cut.filter(inView(view));
        traces.push({
          type: "scatter", mode: "markers", yaxis: axis.name, meta: "cut", x: marks, y: marks.map(() => 0.5),
          marker: { symbol: "x", size: 8, color: color.read("excursion"), line: { width: 1, color: color.read("ground") } },
        });
        return { traces: traces.filter((trace) => trace.x.length), axis: { range: [0, 1], ...BARE } };
      };
      return block;
    }

    readRegime(at) {
      const { regimes, defrosts } = this.figure;
      const place = within(regimes, at);
      if (place < 0) return "–";
      const length = (regimes.ends[place] - regimes.starts[place]) / HOUR;
      const words = [text(regimes.names[regimes.codes[place]])];
      words.push(length < 2 ? `${number(60 * length, 0)}\u00a0min` : hours(length));
      const defrost = within(defrosts, at);
      if (defrost >= 0) {
        const warmest = defrosts.coil[defrost];
        if (warmest !== null) words.push(text("coil reached {value}").replace("{value}", degrees(warmest)));
        if (defrosts.terminated[defrost] === false) words.push(text("no proper end"));
      }
      return words.join(", ");
    }

    /* Rows of spans, each under its name; a row says in which spans it is drawn how, and what it reads. */
    rowStrip(block, rows) {
      block.rows = rows;
      block.labels = rows.map((row) => row.label);
      block.paint = (axis, { view, pixel, color }) => {
        const traces = rows.flatMap(({ spans, strokes }, place) => strokes.map(([code, tone, width]) => ({
          ...strokesOf(squeezed(spans, code, view, pixel), place + 0.78),
          yaxis: axis.name, line: { color: color.read(tone), width },
        })));
        return { traces: traces.filter((trace) => trace.x.length), axis: { range: [rows.length, 0], ...BARE } };
      };
      return block;
    }
    row(words, spans, strokes, isOn, said = () => "") {
      const label = element("span", "row-label", words);
      const read = (at) => {
        const place = within(spans, at);
        label.classList.toggle("on", place >= 0 && isOn(place));
        const now = said(place);
        if (now) label.textContent = `${words}: ${now}`;
      };
      return { label, spans, strokes, read };
    }

    alarmStrip() {
      const { alarms } = this.figure;
      const row = (words, spans) => this.row(words, spans, [[1, "alarm", 9]], () => true);
      const rows = alarms.rows.map((alarm) => row(alarm.text, alarm));
      if (alarms.starts) {
        const count = String(alarms.others.length + alarms.unlisted);
        rows.push(row(text("other alarms ({count})").replace("{count}", count), alarms));
      }
      return this.rowStrip(this.block("alarms", text("Alarms, as logged")), rows);
    }

    stateStrip() {
      const { states, mode } = this.figure;
      const rows = states.map((state) => {
        const said = state.valve ? [text("shut"), text("open")] : [text("off"), text("on")];
        const strokes = [[0, "state", 1.5], [1, "state", 9]];
        const isOn = (place) => state.codes[place] === 1;
        return this.row(text(state.label), state, strokes, isOn, (place) => (place < 0 ? "–" : said[state.codes[place]]));
      });
      if (mode) {
        /* The commonest is told from all others. */
        const spans = { ...mode, codes: mode.codes.map((code) => Math.min(code, 1)) };
        const said = (place) => (place < 0 ? "–" : mode.names[mode.codes[place]] ?? text("one of many others"));
        rows.push(this.row(text("Mode"), spans, [[0, "mode", 9], [1, "mode-other", 9]], () => true, said));
      }
      return this.rowStrip(this.block("states", text("On or off")), rows);
    }

    notesStrip() {
      const { notes } = this.figure;
      const block = this.block("notes", text("Work notes"), [24, 24]);
      notes.forEach(({ at, words }, place) => {
        if (place < notes.length - MOST_NOTES) return;
        const time = element("time");
        const when = button("", "", () => this.show([at - DAY, at + DAY], at), `${place + 1}`, " ", time);
        block.keys.append(element("span", "entry note", when, words));
        block.items.push(() => (time.textContent = moment(at)));
      });
      block.paint = (axis, { view, color }) => {
        const places = notes.map((_, place) => place).filter((place) => inView(view)(notes[place].at));
        const x = places.map((place) => notes[place].at);
        const trace = {
          type: "scatter", mode: "markers+text", yaxis: axis.name, meta: "note", x, y: x.map(() => 0.5),
          text: places.map((place) => String(place + 1)), textposition: "middle right",
          textfont: { color: color.read("ink"), size: 12 }, marker: { symbol: "diamond", size: 11, color: color.read("note") },
        };
        const shapes = x.map((at) => ({
          type: "line", layer: "below", xref: "x", yref: "paper", x0: at, x1: at, y0: 0, y1: 1,
          line: { color: color.read("note"), width: 1, dash: "2px,4px" },
        }));
        return { traces: x.length ? [trace] : [], axis: { range: [0, 1], ...BARE }, shapes };
      };
      return block;
    }
  }

  /* Range of an axis around its readings. */
  function roomy(readings, { least = 0, from, to, lowest }) {
    let [low, high] = readings;
    if (lowest !== undefined) low = Math.max(low, Math.min(celsius(lowest), high));
    if (from !== undefined) [low, high] = [Math.min(low, from), Math.max(high, to ?? from)];
    const lack = Math.max(least - (high - low), 0);
    const below = from === undefined ? lack / 2 : 0;
    const room = 0.06 * (high - low + lack);
    return [low - below - room, high + lack - below + room];
  }

  function ratioAxis([low, high], height) {
    const [bottom, top] = [Math.max(low, VACUUM) / 1.15, Math.max(high, 2 * VACUUM) * 1.15];
    const all = PRESSURE_TICKS.filter((value) => value >= 1.1 * bottom && value <= top / 1.1);
    const few = all.length * 22 > height ? all.filter((_, place) => (all.length - 1 - place) % 2 === 0) : all;
    return { type: "log", range: [Math.log10(bottom), Math.log10(top)], tickvals: few, ticktext: few.map(String) };
  }

  return { Panels, element, button, sign };
})();
