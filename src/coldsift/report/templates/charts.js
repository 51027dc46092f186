"use strict";
/* The chart of one unit: panels over one time axis. Goes in: a figure packed by unit_chart.py. Plotly draws lines
   and bars and is given numbers only; every word, also those of logs, is plain text of the page. */
window.coldsiftCharts = (() => {
  const { text, celsius, kelvins, temperatureUnit, shift, timeName } = window.coldsift;
  const HOUR = 3600000;
  const DAY = 24 * HOUR;
  const PAPER_WIDTH = 680; /* A4 less its margins, in CSS pixels. */
  const PAPER_HEIGHT = 950;

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
    hot_gas_valve: ["high-side", 1.4, "2px,2px"], evaporator_fan_speed: ["supply", 1.3, "8px,2px,2px,2px"],
    condenser_fan_speed: ["return", 1.3, "4px,3px"], compressor_frequency: ["coil", 1.5],
    current_1: ["supply", 1.4], current_2: ["return", 1.4, "6px,2px"], current_3: ["ambient", 1.4, "2px,2px"],
    voltage_1: ["supply", 1.4], voltage_2: ["return", 1.4, "6px,2px"], voltage_3: ["ambient", 1.4, "2px,2px"],
    power: ["coil", 1.5], frequency: ["low-side", 1.5], humidity: ["supply", 1.5],
    humidity_set_point: ["set-point", 1.5, "7px,3px"], oxygen: ["supply", 1.5],
    carbon_dioxide: ["return", 1.5, "6px,2px"], fresh_air_vent: ["ambient", 1.5],
  };
  /* Of each panel: height on a wide screen and on a phone, the least range worth drawing, what its range starts
     and ends with at least, and the lowest that is drawn: deep vacuum has saturation temperatures of no interest. Pressures span a hundredfold: equal steps there are equal ratios. */
  const PANELS = {
    air: { heights: [230, 180], least: 4 }, ambient: { heights: [84, 90], least: 6 },
    cargo: { heights: [120, 110], least: 2 }, pressures: { heights: [140, 130], logarithmic: true },
    circuit: { heights: [200, 170], least: 10, lowest: -60 }, superheat: { heights: [110, 100], least: 6 },
    valves: { heights: [120, 110], from: 0, to: 100 }, fans: { heights: [90, 90], from: 0, to: 100 }, speed: { heights: [90, 90], from: 0, least: 20 },
    current: { heights: [110, 100], from: 0, least: 2 }, power: { heights: [110, 100], from: 0, least: 500 },
    voltage: { heights: [100, 90], least: 20 }, supply: { heights: [84, 90], least: 2 },
    humidity: { heights: [100, 100], least: 10 }, atmosphere: { heights: [110, 100], from: 0, least: 2 },
    vent: { heights: [84, 90], from: 0, least: 20 },
  };
  const REGIME_PATTERNS = {
    off: "x", pull_down: "\\", hold: "", defrost: "", recovery: "/", set_point_step: "|", unknown: ".",
  };
  const COMPANIONS = { suction_pressure: "evaporating", discharge_pressure: "condensing" };
  const ROW = 28;
  const VACUUM = 0.1; /* Lower pressures are drawn as this one. [bar absolute] */

  /* Opening the packed figure: see packing.py. */
  async function opened(packed) {
    const bytes = Uint8Array.from(atob(JSON.parse(packed)), (letter) => letter.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    const raw = new Uint8Array(await new Response(stream).arrayBuffer());
    const end = raw.indexOf(10);
    const numbers = raw.subarray(end + 1);
    const array = ([first, count, width]) => {
      const values = new Float64Array(count);
      for (let place = 0, value = 0; place < count; place += 1) {
        let step = 0;
        for (let plane = width - 1; plane >= 0; plane -= 1) step = step * 256 + numbers[first + plane * count + place];
        value += step % 2 ? -(step + 1) / 2 : step / 2;
        values[place] = value;
      }
      return values;
    };
    return readable(JSON.parse(new TextDecoder().decode(raw.subarray(0, end))), array);
  }

  /* Times in milliseconds, readings in the units of the log. */
  function readable(figure, array) {
    const { start } = figure;
    const times = (place) => array(place).map((seconds) => start + 1000 * seconds);
    const scaled = (place, scale) => array(place).map((value) => value / scale);
    const rows = times(figure.rows);
    const spans = (packed) => {
      const starts = times(packed.starts);
      const lengths = array(packed.lengths);
      return { starts, ends: starts.map((at, place) => at + 1000 * lengths[place]), codes: packed.codes && array(packed.codes) };
    };
    const breaks = (place, count) => [0, ...array(place), count];
    for (const line of figure.lines) {
      line.y = scaled(line.values, line.scale);
      line.x = line.rows ? Float64Array.from(array(line.rows), (row) => rows[row]) : rows;
      line.edges = breaks(line.breaks, line.y.length);
      const band = line.peers;
      if (band) {
        band.x = times(band.times);
        band.edges = breaks(band.breaks, band.x.length);
        band.units = array(band.units);
        for (const edge of ["low", "middle", "high"]) band[edge] = scaled(band[edge], line.scale);
      }
    }
    const moment = (seconds) => (seconds === null ? null : start + 1000 * seconds);
    for (const each of figure.excursions) {
      for (const edge of ["start", "end", "peak_at"]) each[edge] = moment(each[edge]);
    }
    figure.notes = figure.notes.map(([seconds, words]) => ({ at: moment(seconds), words }));
    for (const rowed of [figure.regimes, figure.defrosts, figure.mode, ...figure.states, ...figure.alarms.rows]) {
      if (rowed) Object.assign(rowed, spans(rowed));
    }
    if (figure.alarms.starts) Object.assign(figure.alarms, spans(figure.alarms));
    return Object.assign(figure, { end: moment(figure.end), times: rows });
  }

  /* Numbers and times in the reader's units. */
  const difference = (line) => line.quantity === "temperature difference";
  const turned = (line) =>
    line.quantity === "temperature" ? celsius : difference(line) ? kelvins : (value) => value;
  function unitOf(line) {
    if (line.quantity === "temperature") return temperatureUnit();
    if (difference(line)) return temperatureUnit() === "°F" ? "°F" : "K";
    return text(line.unit);
  }
  function number(value, digits) {
    const [whole, rest] = Math.abs(value).toFixed(digits).split(".");
    const grouped = whole.replace(/\B(?=(\d{3})+$)/g, "\u202f") + (rest ? `.${rest}` : "");
    return value < 0 && /[1-9]/.test(grouped) ? `−${grouped}` : grouped;
  }
  const figureOf = (line, value) => number(turned(line)(value), line.digits);
  const quantity = (line, value) => `${figureOf(line, value)}\u00a0${unitOf(line)}`;
  const hours = (value) => `${number(value, value < 10 ? 1 : 0)}\u00a0h`;
  const degrees = (value) => `${number(celsius(value), 1)}\u00a0${temperatureUnit()}`;
  const moment = (at) => new Date(shift(at)).toISOString().slice(0, 16).replace("T", " ");

  /* Places in sorted arrays: the first not before, and the nearest. */
  function firstFrom(sorted, value, low = 0, high = sorted.length) {
    while (low < high) {
      const middle = (low + high) >> 1;
      if (sorted[middle] < value) low = middle + 1;
      else high = middle;
    }
    return low;
  }
  function nearest(sorted, value) {
    const after = firstFrom(sorted, value);
    if (after === 0) return 0;
    if (after === sorted.length) return after - 1;
    return sorted[after] - value < value - sorted[after - 1] ? after : after - 1;
  }

  /* What is drawn of a line in a view: of each column of pixels the first, lowest, highest and last reading, which
     looks the same as all of them (Jugel et al., "M4", Proceedings of the VLDB Endowment 7(10), 2014). */
  function drawn(line, [from, to], columns) {
    const [x, y, alone] = [[], [], { x: [], y: [] }];
    const range = [Infinity, -Infinity];
    const turn = turned(line);
    const { x: times, y: values, edges } = line;
    const put = (place) => {
      x.push(times[place]);
      y.push(turn(values[place]));
    };
    let readings = 0;
    for (let stretch = 0; stretch + 1 < edges.length; stretch += 1) {
      const [low, high] = [edges[stretch], edges[stretch + 1]];
      const first = Math.max(low, firstFrom(times, from, low, high) - 1);
      const end = Math.min(high, firstFrom(times, to, low, high) + 1);
      if (end <= first || times[end - 1] < from || times[first] > to) continue;
      if (high - low === 1) {
        alone.x.push(times[low]);
        alone.y.push(turn(values[low]));
      }
      const column = (place) => Math.floor(((times[place] - from) / (to - from)) * columns);
      for (let place = first; place < end;) {
        const at = column(place);
        let [lowest, highest, last] = [place, place, place];
        for (; last + 1 < end && column(last + 1) === at; last += 1) {
          if (values[last + 1] < values[lowest]) lowest = last + 1;
          if (values[last + 1] > values[highest]) highest = last + 1;
        }
        if (times[last] >= from && times[place] <= to) {
          range[0] = Math.min(range[0], values[lowest]);
          range[1] = Math.max(range[1], values[highest]);
        }
        const chosen = [place, Math.min(lowest, highest), Math.max(lowest, highest), last];
        for (const [order, each] of chosen.entries()) if (order === 0 || each > chosen[order - 1]) put(each);
        place = last + 1;
      }
      readings += end - first;
      x.push(null);
      y.push(null);
    }
    return { x, y, alone, readings, range: range.map(turn) };
  }

  /* Spans of one code in a view; what is narrower than a pixel is widened to one, what is closer is joined. */
  function squeezed({ starts, ends, codes }, code, [from, to], pixel) {
    const spans = [];
    for (let place = 0; place < starts.length; place += 1) {
      if ((codes && codes[place] !== code) || ends[place] < from || starts[place] > to) continue;
      const last = spans[spans.length - 1];
      const end = Math.max(ends[place], starts[place] + pixel);
      if (last && starts[place] - last[1] < pixel) last[1] = end;
      else spans.push([starts[place], end]);
    }
    return spans;
  }
  const within = ({ starts, ends }, at) =>
    starts.findIndex((start, place) => start <= at && (at < ends[place] || start === at));

  /* The readings of a line and its like units at an instant; no number across a break. */
  function readingAt(line, at) {
    let place = line.stepped ? Math.max(firstFrom(line.x, at + 1) - 1, 0) : nearest(line.x, at);
    const stretch = line.edges.findLastIndex((edge) => edge <= place);
    const [first, last] = [line.edges[stretch], line.edges[stretch + 1] - 1];
    const usual = line.x.length > 1 ? (line.x[line.x.length - 1] - line.x[0]) / (line.x.length - 1) : 0;
    const reach = Math.min(usual, HOUR) / 2;
    return at >= line.x[first] - reach && at <= line.x[last] + reach ? line.y[place] : null;
  }
  function peersAt({ peers: band }, at) {
    if (!band) return null;
    const place = nearest(band.x, at);
    const width = band.x.length > 1 ? band.x[1] - band.x[0] : DAY;
    return Math.abs(band.x[place] - at) <= width ? place : null;
  }

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
  function swatch(line) {
    const [tone, width, dash] = LOOKS[line.name];
    const SVG = "http://www.w3.org/2000/svg";
    const drawing = document.createElementNS(SVG, "svg");
    const stroke = document.createElementNS(SVG, "path");
    drawing.setAttribute("class", `swatch tone-${tone}`);
    drawing.setAttribute("viewBox", "0 0 24 8");
    drawing.setAttribute("aria-hidden", "true");
    stroke.setAttribute("d", "M0 4H24");
    stroke.setAttribute("stroke-width", String(width + 0.6));
    if (dash) stroke.setAttribute("stroke-dasharray", dash.replaceAll("px", ""));
    drawing.append(stroke);
    return drawing;
  }
  const sign = (className) => element("span", `swatch ${className}`);

  /* Colours as the page has them now. */
  function palette(place) {
    const style = getComputedStyle(place);
    const read = (name) => style.getPropertyValue(`--chart-${name}`).trim();
    const faint = (name, share) => {
      const [red, green, blue] = [1, 3, 5].map((at) => parseInt(read(name).slice(at, at + 2), 16));
      return `rgba(${red},${green},${blue},${share})`;
    };
    return { read, faint };
  }

  /* Ticks of the time axis at full hours and days of the shown time. */
  const STEPS = [5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 5760, 10080, 20160, 40320].map((minutes) => minutes * 60000);
  const day = new Intl.DateTimeFormat(document.documentElement.lang.replace(/^en$/, "en-GB"), { day: "numeric", month: "short", timeZone: "UTC" });
  function ticks([from, to], most) {
    const step = STEPS.find((each) => (to - from) / each <= most) ?? 2 * STEPS[STEPS.length - 1];
    const ahead = shift(0);
    const found = [];
    for (let at = Math.ceil((from + ahead) / step) * step; at <= to + ahead; at += step) {
      found.push({ at: at - ahead, words: at % DAY ? new Date(at).toISOString().slice(11, 16) : day.format(at), full: step < DAY && at % DAY === 0 });
    }
    return found;
  }

  class Chart {
    constructor(place, figure) {
      this.place = place;
      this.figure = figure;
      this.whole = [figure.start, figure.end];
      this.view = this.whole;
      this.reading = null;
      this.hidden = new Set();
      this.peersShown = true;
      this.paper = false;
      this.build();
      new ResizeObserver(() => {
        if (!this.paper && this.width() !== this.drawnWidth) this.draw();
      }).observe(place);
    }

    /* ---- The parts that stay. ---- */
    build() {
      const { figure } = this;
      this.peers = this.peersButton();
      this.bar = element("div", "chart-bar", this.tools(), (this.scale = element("div", "chart-scale")));
      this.flag = element("output", "chart-flag");
      this.flag.setAttribute("aria-live", "off");
      this.scale.append(this.flag);
      this.plot = element("div", "chart-plot");
      this.plot.tabIndex = 0;
      this.plot.setAttribute("role", "img");
      this.line = element("div", "chart-line");
      this.selection = element("div", "chart-selection");
      this.selection.hidden = true;
      this.stage = element("div", "chart-stage", this.plot, this.line, this.selection);
      this.foot = element("div", "chart-scale");
      for (const scale of [this.scale, this.foot, this.line, this.selection]) scale.setAttribute("aria-hidden", "true");
      this.flag.removeAttribute("aria-hidden");
      this.blocks = this.makeBlocks();
      for (const block of this.blocks) this.stage.append(block.head, ...block.labels);
      this.help = element("p", "chart-help", text("Drag across the chart to zoom in, double-click for the whole log. With the chart in focus: + and − zoom, ← and → move, 0 shows the whole log; with Shift, ← and → move the reading line."));
      this.help.id = `${figure.container}-chart-help`;
      this.plot.setAttribute("aria-describedby", this.help.id);
      this.numbers = element("details", "chart-numbers", element("summary", "", text("Numbers of this chart")));
      this.place.replaceChildren(this.bar, this.stage, this.foot, this.help, this.numbers);
      this.listen();
    }

    tools() {
      const last = (length) => () => this.show([this.whole[1] - length, this.whole[1]]);
      const zoom = element("div", "chart-tools",
        button("", text("Zoom in"), () => this.zoom(0.5), "+"),
        button("", text("Zoom out"), () => this.zoom(2), "−"),
        button("", text("Earlier"), () => this.move(-0.5), "←"),
        button("", text("Later"), () => this.move(0.5), "→"),
        button("", text("Last 24 h"), last(DAY), text("24 h")),
        button("", text("Last 7 days"), last(7 * DAY), text("7 days")),
        button("", "", () => this.show(this.whole), text("Whole log")));
      zoom.setAttribute("role", "group");
      zoom.setAttribute("aria-label", text("Zoom"));
      return zoom;
    }

    peersButton() {
      const toggle = button("chart-peers", "", () => {
        this.peersShown = !this.peersShown;
        toggle.setAttribute("aria-pressed", String(this.peersShown));
        this.draw();
      }, sign("range"), text("Like units’ range"));
      toggle.setAttribute("aria-pressed", "true");
      toggle.hidden = !this.figure.lines.some((line) => line.peers);
      return toggle;
    }

    /* A block: a head of words, and below it a panel of lines or rows. */
    block(key, title, unit, heights) {
      const name = element("span", "panel-name", title);
      const shown = element("span", "panel-unit", unit);
      const fold = button("panel-fold", "", () => {
        block.folded = !block.folded;
        fold.setAttribute("aria-expanded", String(!block.folded));
        this.draw();
      }, name);
      fold.setAttribute("aria-expanded", "true");
      const keys = element("div", "key");
      const head = element("div", "panel-head", element("div", "panel-title", fold, shown), keys);
      head.setAttribute("role", "group");
      head.setAttribute("aria-label", title);
      const block = { key, head, keys, unit: shown, heights, folded: false, labels: [], items: [], rows: [] };
      return block;
    }

    /* One entry of a key: a button that hides and shows, and what the reading line reads. */
    item(block, name, label, mark, read, className = "") {
      const value = element("span", "value");
      const like = element("span", "like");
      const entry = element("span", `entry ${className}`);
      const id = `${block.key} ${name}`;
      const toggle = button("", "", () => {
        const hide = !this.hidden.delete(id);
        if (hide) this.hidden.add(id);
        toggle.setAttribute("aria-pressed", String(!hide));
        this.draw();
      }, mark, element("span", "", label));
      toggle.setAttribute("aria-pressed", "true");
      entry.append(toggle, value, like);
      block.keys.append(entry);
      block.items.push({ value, like, read });
    }
    isHidden(block, name) {
      return this.hidden.has(`${block.key} ${name}`);
    }

    makeBlocks() {
      const { figure } = this;
      const panels = figure.panels.map((panel) => this.linePanel(panel));
      const beforeCircuit = panels.findIndex((block) => !["air", "ambient", "cargo"].includes(block.key));
      const strips = [
        figure.notes.length ? this.notesStrip() : null,
        figure.alarms.rows.length ? this.alarmStrip() : null,
        figure.states.length || figure.mode ? this.stateStrip() : null,
      ].filter(Boolean);
      panels.splice(beforeCircuit < 0 ? panels.length : beforeCircuit, 0, ...strips);
      return [this.regimeStrip(), ...panels];
    }

    linePanel(panel) {
      const lines = panel.lines.map((place) => this.figure.lines[place]);
      const beside = panel.beside.map((place) => this.figure.lines[place]);
      const looks = PANELS[panel.key];
      const block = this.block(panel.key, text(panel.title), "", looks.heights);
      const isBand = (line) => line.name.startsWith("band_");
      const band = lines.filter(isBand);
      for (const line of lines.filter((each) => !isBand(each))) {
        this.item(block, line.name, text(line.label), swatch(line), (at) => this.readLine(line, at));
      }
      if (band.length) {
        this.item(block, "band", text("Allowed band"), swatch(band[0]), (at) => {
          const [low, high] = ["band_low", "band_high"].map((name) => band.find((line) => line.name === name));
          const [from, to] = [low, high].map((line) => line && readingAt(line, at));
          if (from == null && to == null) return [null];
          if (from == null) return [text("up to {high}").replace("{high}", quantity(high, to))];
          if (to == null) return [text("from {low}").replace("{low}", quantity(low, from))];
          return [text("{low} to {high}").replace("{low}", figureOf(low, from)).replace("{high}", quantity(high, to))];
        }, "wide");
      }
      if (panel.key === "air" && this.figure.excursions.length) {
        this.item(block, "excursion", text("Excursion"), sign("excursion"), (at) => {
          const found = this.figure.excursions.find((each) => each.start <= at && at <= each.end);
          if (!found) return [text("none here")];
          const peak = found.peak === null ? "" : `, ${text("peak")} ${degrees(found.peak)}`;
          return [`${text(found.kind)}, ${hours(found.hours)}${peak}`];
        }, "wide");
      }
      for (const line of beside) {
        this.item(block, line.name, text(line.label), swatch(line), (at) => this.readLine(line, at));
      }
      block.relabel = () => {
        block.unit.textContent = looks.logarithmic ? text("bar absolute, equal steps are equal ratios") : unitOf(lines[0]);
      };
      block.paint = (axis, size) => this.paintLines(block, axis, size, looks, lines, beside);
      return block;
    }

    readLine(line, at) {
      const value = readingAt(line, at);
      const companion = this.figure.lines.find((each) => each.name === COMPANIONS[line.name]);
      const saturated = companion && value !== null ? readingAt(companion, at) : null;
      const said = value === null ? null
        : quantity(line, value) + (saturated === null ? "" : ` (${quantity(companion, saturated)})`);
      const place = this.peersShown ? peersAt(line, at) : null;
      const like = place === null ? "" : this.likeWords
        .replace("{low}", figureOf(line, line.peers.low[place]))
        .replace("{high}", figureOf(line, line.peers.high[place]))
        .replace("{count}", String(line.peers.units[place]));
      return [said, like];
    }

    regimeStrip() {
      const { regimes, defrosts } = this.figure;
      const block = this.block("regimes", text("What the unit did"), "", [20, 20]);
      block.keys.classList.add("legend");
      regimes.keys.forEach((key, code) => {
        if (regimes.hours[code]) block.keys.append(element("span", "entry", sign(`regime ${key}`), text(regimes.names[code])));
      });
      const cut = defrosts.terminated.some((each) => each === false);
      if (cut) block.keys.append(element("span", "entry", sign("cut"), text("Defrost without a proper end")));
      const value = element("span", "value");
      block.unit.replaceWith(value);
      block.unit = value;
      block.items.push({ value, like: element("span"), read: (at) => [this.doing(at)] });
      block.paint = (axis, size) => {
        const { view, pixel, color } = size;
        const traces = regimes.keys.map((key, code) => {
          const spans = squeezed(regimes, code, view, pixel);
          const pattern = REGIME_PATTERNS[key];
          return {
            type: "bar", orientation: "h", yaxis: axis.name, width: 1, offset: 0, meta: key,
            base: spans.map(([start]) => start), x: spans.map(([start, end]) => end - start), y: spans.map(() => 0),
            marker: {
              color: color.read(key), line: { width: 0 },
              ...(pattern ? { pattern: { shape: pattern, size: 6, solidity: 0.4, fillmode: "replace", bgcolor: color.read("ground"), fgcolor: color.read(key) } } : {}),
            },
          };
        }).filter((trace) => trace.x.length);
        const unended = [...defrosts.starts].filter((at, place) => defrosts.terminated[place] === false && at >= view[0] && at <= view[1]);
        if (unended.length) {
          traces.push({
            type: "scatter", mode: "markers", yaxis: axis.name, x: unended, y: unended.map(() => 0.5),
            marker: { symbol: "x", size: 8, color: color.read("excursion"), line: { width: 1, color: color.read("ground") } },
          });
        }
        return { traces, axis: { range: [0, 1], showticklabels: false, showgrid: false } };
      };
      return block;
    }

    doing(at) {
      const { regimes, defrosts } = this.figure;
      const place = within(regimes, at);
      if (place < 0) return null;
      const words = [text(regimes.names[regimes.codes[place]])];
      const length = (regimes.ends[place] - regimes.starts[place]) / HOUR;
      words.push(length < 2 ? `${number(60 * length, 0)}\u00a0min` : hours(length));
      const defrost = within(defrosts, at);
      if (defrost >= 0) {
        const warmest = defrosts.coil[defrost];
        if (warmest !== null) words.push(`${text("coil reached")} ${degrees(warmest)}`);
        if (defrosts.terminated[defrost] === false) words.push(text("no proper end"));
      }
      return words.join(", ");
    }

    /* Rows of spans, each under its name. */
    rowStrip(block, rows) {
      block.rows = rows;
      block.labels = rows.map((row) => (row.label = element("span", "row-label", row.words)));
      block.heights = [rows.length * ROW, rows.length * ROW];
      block.paint = (axis, { view, pixel, color }) => {
        const traces = [];
        for (const [place, row] of rows.entries()) {
          for (const [code, tone, width] of row.strokes) {
            const [x, y] = [[], []];
            for (const [start, end] of squeezed(row.spans, code, view, pixel)) {
              x.push(start, end, null);
              y.push(place + 0.78, place + 0.78, null);
            }
            if (x.length) traces.push({ type: "scatter", mode: "lines", yaxis: axis.name, x, y, line: { color: color.read(tone), width } });
          }
        }
        return { traces, axis: { range: [rows.length, 0], showticklabels: false, showgrid: false } };
      };
      return block;
    }

    alarmStrip() {
      const { alarms } = this.figure;
      const rows = alarms.rows.map((row) => ({ words: row.text, spans: row, strokes: [[1, "alarm", 9]] }));
      if (alarms.starts) {
        const count = String(alarms.others.length + alarms.unlisted);
        rows.push({ words: text("other alarms ({count})").replace("{count}", count), spans: alarms, strokes: [[1, "alarm", 9]] });
      }
      return this.rowStrip(this.block("alarms", text("Alarms, as logged"), "", [0, 0]), rows);
    }

    stateStrip() {
      const { states, mode } = this.figure;
      const rows = states.map((row) => ({
        words: text(row.label), spans: row, strokes: [[0, "state", 1.5], [1, "state", 9]], name: text(row.label),
        said: row.valve ? [text("shut"), text("open")] : [text("off"), text("on")],
      }));
      if (mode) {
        const strokes = mode.names.map((_, code) => [code, code % 2 ? "mode-odd" : "mode", 9]);
        rows.push({ words: text("Mode"), spans: mode, strokes, name: text("Mode"), names: mode.names });
      }
      return this.rowStrip(this.block("states", text("On or off"), "", [0, 0]), rows);
    }

    notesStrip() {
      const { notes } = this.figure;
      const block = this.block("notes", text("Work notes"), "", [24, 24]);
      notes.forEach(({ at, words }, place) => {
        const when = button("", "", () => this.show([at - DAY, at + DAY], at), `${place + 1}`, " ", (block.items[place] = { value: element("time"), like: element("span"), read: () => [moment(at)] }).value);
        block.keys.append(element("span", "entry note", when, words));
      });
      block.paint = (axis, { view, color }) => {
        const shown = notes.map(({ at }, place) => ({ at, place })).filter(({ at }) => at >= view[0] && at <= view[1]);
        return {
          traces: [{
            type: "scatter", mode: "markers+text", yaxis: axis.name, x: shown.map(({ at }) => at), y: shown.map(() => 0.5),
            text: shown.map(({ place }) => String(place + 1)), textposition: "middle right", textfont: { color: color.read("ink"), size: 12 },
            marker: { symbol: "diamond", size: 11, color: color.read("note") },
          }],
          axis: { range: [0, 1], showticklabels: false, showgrid: false },
          shapes: shown.map(({ at }) => ({
            type: "line", layer: "below", xref: "x", yref: "paper", x0: at, x1: at, y0: 0, y1: 1,
            line: { color: color.read("note"), width: 1, dash: "2px,4px" },
          })),
        };
      };
      return block;
    }

    /* ---- What is drawn anew at every change. ---- */
    paintLines(block, axis, size, looks, lines, beside) {
      const { view, columns, color, height } = size;
      const traces = [];
      const range = [Infinity, -Infinity];
      const widen = (low, high) => {
        if (low < range[0]) range[0] = low;
        if (high > range[1]) range[1] = high;
      };
      const raised = looks.logarithmic ? (values) => values.map((value) => (value === null ? null : Math.max(value, VACUUM))) : (values) => values;
      const isShown = (line) => !this.isHidden(block, line.name.startsWith("band_") ? "band" : line.name);
      const compared = this.peersShown ? lines.filter((each) => each.peers && isShown(each)) : [];
      for (const line of compared) traces.push(...this.paintPeers(line, axis, { ...size, share: compared.length > 2 ? 0.09 : 0.16 }, widen, raised));
      for (const line of [...beside, ...lines].filter(isShown)) {
        const [tone, width, dash] = LOOKS[line.name];
        const thin = beside.includes(line);
        const found = drawn(line, view, columns);
        widen(...found.range);
        const stroke = { color: thin ? color.faint(tone, 0.75) : color.read(tone), width: thin ? 0.9 : width, dash: dash ?? "solid", shape: line.stepped ? "hv" : "linear" };
        const dots = !line.stepped && found.readings < columns / 8;
        if (found.x.length > 2 * found.alone.x.length) {
          traces.push({ type: "scatter", mode: dots ? "lines+markers" : "lines", yaxis: axis.name, x: found.x, y: raised(found.y), line: stroke, marker: { size: 4, color: stroke.color }, meta: line.name });
        }
        if (found.alone.x.length) {
          traces.push({ type: "scatter", mode: "markers", yaxis: axis.name, x: found.alone.x, y: raised(found.alone.y), marker: { size: 5, color: stroke.color }, meta: line.name });
        }
      }
      if (range[0] > range[1]) widen(looks.from ?? 0, looks.to ?? (looks.from ?? 0) + (looks.least ?? 1));
      if (looks.logarithmic) return { traces, axis: this.ratioAxis(range, height) };
      if (looks.lowest !== undefined) range[0] = Math.max(range[0], Math.min(celsius(looks.lowest), range[1]));
      if (looks.from !== undefined) widen(looks.from, looks.to ?? looks.from);
      const lack = (looks.least ?? 0) - (range[1] - range[0]);
      if (lack > 0) widen(range[0] - (looks.from === undefined ? lack / 2 : 0), range[1] + (looks.from === undefined ? lack / 2 : lack));
      const room = 0.06 * (range[1] - range[0]);
      const drawnAxis = { range: [range[0] - room, range[1] + room], nticks: Math.max(3, Math.floor(height / 32)) };
      if (block.key !== "air" || this.isHidden(block, "excursion") || !this.figure.excursions.length) return { traces, axis: drawnAxis };
      return { traces: [...traces, ...this.paintExcursions(axis, size, drawnAxis)], axis: drawnAxis, shapes: this.shadeExcursions(axis, size) };
    }

    paintPeers(line, axis, { view, color, share }, widen, raised) {
      const { peers: band } = line;
      const turn = turned(line);
      const [tone] = LOOKS[line.name];
      const [outline, middle] = [{ x: [], y: [] }, { x: [], y: [] }];
      for (let stretch = 0; stretch + 1 < band.edges.length; stretch += 1) {
        const [low, high] = [band.edges[stretch], band.edges[stretch + 1]];
        const first = Math.max(low, firstFrom(band.x, view[0], low, high) - 1);
        const end = Math.min(high, firstFrom(band.x, view[1], low, high) + 1);
        if (end <= first) continue;
        const places = Array.from({ length: end - first }, (_, step) => first + step);
        for (const place of places) {
          outline.x.push(band.x[place]);
          outline.y.push(turn(band.high[place]));
          widen(turn(band.low[place]), turn(band.high[place]));
        }
        for (const place of places.toReversed()) {
          outline.x.push(band.x[place]);
          outline.y.push(turn(band.low[place]));
        }
        middle.x.push(...places.map((place) => band.x[place]), null);
        middle.y.push(...places.map((place) => turn(band.middle[place])), null);
        outline.x.push(null);
        outline.y.push(null);
      }
      const common = { type: "scatter", mode: "lines", yaxis: axis.name, meta: "like units" };
      return [
        { ...common, ...outline, y: raised(outline.y), fill: "toself", fillcolor: color.faint(tone, share), line: { width: 0 } },
        { ...common, ...middle, y: raised(middle.y), line: { width: 0.8, color: color.faint(tone, 0.6) } },
      ];
    }

    paintExcursions(axis, { view, pixel, color }, drawnAxis) {
      const [low, high] = drawnAxis.range;
      const top = high + 0.07 * (high - low);
      drawnAxis.range = [low, high + 0.12 * (high - low)];
      const inView = this.figure.excursions.filter((each) => each.end >= view[0] && each.start <= view[1]);
      const bars = (counts) => {
        const [x, y] = [[], []];
        for (const each of inView.filter((excursion) => excursion.counts === counts)) {
          x.push(each.start, Math.max(each.end, each.start + 2 * pixel), null);
          y.push(top, top, null);
        }
        return { type: "scatter", mode: "lines", yaxis: axis.name, x, y, meta: "excursion", line: { width: 7, color: color.read("excursion"), dash: counts ? "solid" : "2px,2px" } };
      };
      const peaks = inView.filter((each) => each.peak_at !== null);
      return [
        bars(true), bars(false),
        {
          type: "scatter", mode: "markers", yaxis: axis.name, x: peaks.map((each) => each.peak_at), y: peaks.map((each) => celsius(each.peak)), meta: "peak",
          marker: { symbol: "triangle-down", size: 11, color: color.read("excursion"), line: { width: 1, color: color.read("ground") } },
        },
      ].filter((trace) => trace.x.length);
    }
    shadeExcursions(axis, { view, color }) {
      return this.figure.excursions
        .filter((each) => each.counts && each.end >= view[0] && each.start <= view[1])
        .map((each) => ({
          type: "rect", layer: "below", xref: "x", yref: `${axis.name} domain`, x0: each.start, x1: each.end, y0: 0, y1: 1,
          line: { width: 0 }, fillcolor: color.faint("excursion", 0.09),
        }));
    }

    ratioAxis([low, high], height) {
      const [bottom, top] = [Math.max(low, VACUUM) / 1.15, Math.max(high, 2 * VACUUM) * 1.15];
      const all = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 40].filter((value) => value >= bottom && value <= top);
      const few = all.length * 22 > height ? all.filter((_, place) => (all.length - 1 - place) % 2 === 0) : all;
      return { type: "log", range: [Math.log10(bottom), Math.log10(top)], tickvals: few, ticktext: few.map(String) };
    }

    width() {
      return this.paper ? PAPER_WIDTH : this.place.clientWidth;
    }

    draw() {
      const width = this.width();
      this.drawnWidth = width;
      if (!width) return;
      const narrow = width < 600;
      this.place.classList.toggle("narrow", narrow);
      /* On a phone the bar that stays in sight is kept low. */
      const beside = narrow ? this.place : this.bar;
      if (this.peers.parentElement !== beside) beside.prepend(this.peers);
      this.likeWords = narrow ? text("{low} to {high} ({count})") : text("like units {low} to {high} ({count})");
      const margin = narrow ? { l: 40, r: 8 } : { l: 52, r: 14 };
      this.margin = margin;
      this.plotWidth = width - margin.l - margin.r;
      const color = palette(this.place);
      for (const block of this.blocks) block.relabel?.();
      this.read();
      const heights = this.blocks.map((block) => (block.folded ? 0 : block.heights[narrow ? 1 : 0]));
      const heads = this.blocks.map((block) => block.head.offsetHeight);
      const sum = (values) => values.reduce((total, value) => total + value, 0);
      const squeeze = this.paper ? Math.min(1, Math.max(0.4, (PAPER_HEIGHT - sum(heads)) / sum(heights))) : 1;
      const total = sum(heads) + sum(heights) * squeeze;
      const layout = this.layout(total, width, color);
      const size = { view: this.view, columns: Math.round(this.plotWidth), pixel: (this.view[1] - this.view[0]) / this.plotWidth, color };
      const traces = [];
      let top = 0;
      let axes = 0;
      for (const [place, block] of this.blocks.entries()) {
        block.head.style.top = `${top}px`;
        top += heads[place];
        const height = heights[place] * squeeze;
        block.labels.forEach((label, row) => {
          label.hidden = block.folded;
          label.style.top = `${top + (row * height) / block.labels.length}px`;
          label.style.left = `${margin.l}px`;
          label.style.maxWidth = `${this.plotWidth}px`;
        });
        if (!height) continue;
        axes += 1;
        const axis = { name: axes === 1 ? "y" : `y${axes}` };
        const painted = block.paint(axis, { ...size, height });
        traces.push(...painted.traces);
        layout.shapes.push(...(painted.shapes ?? []));
        layout[axis.name.replace("y", "yaxis")] = {
          domain: [Math.max(0, 1 - (top + height) / total), 1 - top / total], anchor: "x", fixedrange: true, automargin: false,
          zeroline: false, showline: true, linecolor: color.read("rule"), gridcolor: color.read("grid"), exponentformat: "none",
          tickfont: { color: color.read("soft"), size: 11 }, ticks: "", ...painted.axis,
        };
        top += height;
      }
      this.stage.style.width = this.paper ? `${width}px` : "";
      this.stage.style.height = `${total}px`;
      Plotly.react(this.plot, traces, layout, { staticPlot: true, responsive: false });
      this.mark();
      this.describe();
    }

    layout(height, width, color) {
      this.ticks = ticks(this.view, Math.min(14, Math.max(4, Math.floor(this.plotWidth / 84))));
      return {
        template: {}, height, width, margin: { ...this.margin, t: 0, b: 0, pad: 0, autoexpand: false }, showlegend: false, hovermode: false, dragmode: false,
        barmode: "overlay", bargap: 0, paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
        font: { family: "system-ui, sans-serif", size: 11, color: color.read("soft") }, shapes: [],
        xaxis: { type: "linear", range: [...this.view], anchor: "free", position: 0, tickvals: this.ticks.map(({ at }) => at), showticklabels: false, ticks: "", zeroline: false, gridcolor: color.read("grid"), fixedrange: true },
      };
    }

    /* The time scales, the reading line and what it reads. */
    x(at) {
      return this.margin.l + ((at - this.view[0]) / (this.view[1] - this.view[0])) * this.plotWidth;
    }
    at(x) {
      return this.view[0] + ((x - this.margin.l) / this.plotWidth) * (this.view[1] - this.view[0]);
    }
    mark() {
      for (const scale of [this.scale, this.foot]) {
        for (const old of scale.querySelectorAll(".tick")) old.remove();
        for (const { at, words, full } of this.ticks.filter((tick) => this.x(tick.at) < this.margin.l + this.plotWidth - 12)) {
          const tick = element("span", full ? "tick full" : "tick", words);
          tick.style.left = `${this.x(at)}px`;
          scale.append(tick);
        }
      }
      this.markReading();
    }
    readingTime() {
      const { times } = this.figure;
      const inView = this.reading !== null && this.reading >= this.view[0] && this.reading <= this.view[1];
      const wanted = inView ? this.reading : this.view[1];
      return times[nearest(times, wanted)];
    }
    markReading() {
      const at = this.readingTime();
      const x = this.x(at);
      const seen = at >= this.view[0] && at <= this.view[1];
      this.line.hidden = !seen;
      this.line.style.left = `${x}px`;
      this.flag.textContent = `${moment(at)} ${timeName()}`;
      const half = this.flag.offsetWidth / 2;
      const width = this.margin.l + this.plotWidth + this.margin.r;
      this.flag.style.left = `${Math.min(Math.max(x, half), width - half)}px`;
    }
    read() {
      const at = this.readingTime();
      for (const block of this.blocks) {
        for (const { value, like, read } of block.items) {
          const [said, peers] = read(at);
          value.textContent = said ?? "–";
          like.textContent = peers ?? "";
        }
        for (const row of block.rows) {
          const place = within(row.spans, at);
          const code = place < 0 ? null : row.spans.codes ? row.spans.codes[place] : 1;
          row.label.classList.toggle("on", code !== null && (code > 0 || Boolean(row.names)));
          if (!row.name) continue;
          const said = code === null ? "–" : row.names ? row.names[code] : row.said[code];
          row.label.textContent = `${row.name}: ${said}`;
        }
      }
    }
    readAt(at) {
      this.reading = at;
      this.markReading();
      this.read();
    }

    describe() {
      const [from, to] = this.view.map(moment);
      this.plot.setAttribute("aria-label",
        text("Chart of the log of {container}, {from} to {to} {zone}. Its numbers stand in the table beneath.")
          .replace("{container}", this.figure.container).replace("{from}", from).replace("{to}", to).replace("{zone}", timeName()));
    }

    /* ---- Zoom. ---- */
    show([from, to], reading = null) {
      const [first, last] = this.whole;
      const span = Math.min(Math.max(to - from, Math.min(HOUR, last - first)), last - first);
      const middle = (from + to) / 2;
      const start = Math.min(Math.max(middle - span / 2, first), last - span);
      this.view = [start, start + span];
      if (reading !== null) this.reading = reading;
      this.draw();
    }
    zoom(factor) {
      const [from, to] = this.view;
      const at = this.reading !== null && this.reading >= from && this.reading <= to ? this.reading : (from + to) / 2;
      this.show([at - (at - from) * factor, at + (to - at) * factor]);
    }
    move(share) {
      const by = share * (this.view[1] - this.view[0]);
      this.show(this.view.map((edge) => edge + by));
    }
    stepReading(by) {
      const { times } = this.figure;
      const place = Math.min(Math.max(nearest(times, this.readingTime()) + by, 0), times.length - 1);
      const at = times[place];
      const outside = at < this.view[0] || at > this.view[1];
      this.readAt(at);
      if (outside) this.move(by < 0 ? -0.5 : 0.5);
    }

    listen() {
      const { stage, selection } = this;
      const inside = (event) => {
        const x = event.clientX - stage.getBoundingClientRect().left;
        return Math.min(Math.max(x, this.margin.l), this.margin.l + this.plotWidth);
      };
      let from = null;
      stage.addEventListener("pointerdown", (event) => {
        if (event.target.closest("button") || event.button !== 0) return;
        if (event.pointerType === "mouse") {
          from = inside(event);
          stage.setPointerCapture(event.pointerId);
          event.preventDefault();
          this.plot.focus({ preventScroll: true });
        }
        this.readAt(this.at(inside(event)));
      });
      stage.addEventListener("pointermove", (event) => {
        const x = inside(event);
        this.readAt(this.at(x));
        if (from === null) return;
        selection.hidden = Math.abs(x - from) < 5;
        selection.style.left = `${Math.min(x, from)}px`;
        selection.style.width = `${Math.abs(x - from)}px`;
      });
      const release = (event) => {
        if (from === null) return;
        const edges = [from, inside(event)].sort((one, other) => one - other).map((x) => this.at(x));
        const dragged = !selection.hidden;
        from = null;
        selection.hidden = true;
        if (dragged && event.type === "pointerup") this.show(edges);
      };
      stage.addEventListener("pointerup", release);
      stage.addEventListener("pointercancel", release);
      stage.addEventListener("dblclick", (event) => event.target.closest("button") || this.show(this.whole));
      const keys = {
        "+": () => this.zoom(0.5), "=": () => this.zoom(0.5), "-": () => this.zoom(2), "−": () => this.zoom(2),
        ArrowLeft: () => this.move(-0.25), ArrowRight: () => this.move(0.25), 0: () => this.show(this.whole),
      };
      const stepping = { ArrowLeft: () => this.stepReading(-1), ArrowRight: () => this.stepReading(1) };
      this.plot.addEventListener("keydown", (event) => {
        if (event.ctrlKey || event.metaKey || event.altKey) return;
        const act = event.shiftKey && stepping[event.key] ? stepping[event.key] : keys[event.key];
        if (!act) return;
        event.preventDefault();
        act();
      });
      this.numbers.addEventListener("toggle", () => this.tell());
    }

    /* ---- The same as words and numbers. ---- */
    tell() {
      if (!this.numbers.open) return;
      const { figure } = this;
      const summary = this.numbers.firstElementChild;
      const lines = figure.lines.map((line) => [
        text(line.label), unitOf(line), ...line.numbers.slice(0, 5).map((value) => figureOf(line, value)), number(line.numbers[5], 0),
      ]);
      const parts = [table(text("Readings"), ["Channel", "Unit", "First", "Last", "Lowest", "Highest", "Median", "Readings"].map((word) => HEADS[word]()), lines)];
      const doing = figure.regimes.keys.map((key, code) => [text(figure.regimes.names[code]), hours(figure.regimes.hours[code])]);
      parts.push(table(text("What the unit did"), [text("Doing"), text("For")], doing.filter((_, code) => figure.regimes.hours[code])));
      if (figure.states.length) {
        parts.push(table(text("On or open"), [text("Part"), text("For")], figure.states.map((row) => [text(row.label), hours(row.hours)])));
      }
      const alarms = [...figure.alarms.rows.map((row) => [row.text, row.hours]), ...figure.alarms.others];
      if (alarms.length) {
        const rows = alarms.map(([words, stood]) => [words, hours(stood)]);
        if (figure.alarms.unlisted) rows.push([text("{count} more").replace("{count}", String(figure.alarms.unlisted)), ""]);
        parts.push(table(text("Alarms, as logged"), [text("Text"), text("Stood for")], rows));
      }
      if (figure.notes.length) {
        parts.push(table(text("Work notes"), [text("Time"), text("Note")], figure.notes.map(({ at, words }) => [`${moment(at)} ${timeName()}`, words])));
      }
      this.numbers.replaceChildren(summary, ...parts);
    }

    refresh() {
      this.draw();
      this.tell();
    }
    print(paper) {
      this.paper = paper;
      this.draw();
    }
  }

  const HEADS = {
    Channel: () => text("Channel"), Unit: () => text("Unit"), First: () => text("First"), Last: () => text("Last"),
    Lowest: () => text("Lowest"), Highest: () => text("Highest"), Median: () => text("Median"), Readings: () => text("Readings"),
  };
  function table(title, heads, rows) {
    const cell = (name, words, place) => {
      const made = element(name, place && /^[−\d]/.test(words) ? "figure" : "", words);
      if (name === "th") made.scope = "col";
      return made;
    };
    const row = (words) => {
      const [first, ...others] = words.map((each, place) => cell(place ? "td" : "th", each, place));
      first.scope = "row";
      return element("tr", "", first, ...others);
    };
    const made = element("table", "", element("caption", "", title),
      element("thead", "", element("tr", "", ...heads.map((each) => cell("th", each, 0)))),
      element("tbody", "", ...rows.map(row)));
    const scroll = element("div", "scroll", made);
    scroll.tabIndex = 0;
    scroll.setAttribute("role", "region");
    scroll.setAttribute("aria-label", title);
    return scroll;
  }

  /* ---- All charts of the page. ---- */
  const charts = new Map();
  const wanted = new Map();

  async function draw(place, packed) {
    try {
      const chart = new Chart(place, await opened(packed));
      charts.set(place, chart);
      chart.draw();
      if (wanted.has(place)) show(place, ...wanted.get(place));
    } catch (error) {
      place.replaceChildren(element("p", "", text("The chart could not be drawn; the tables hold the numbers.")));
      console.error(error);
    }
  }
  function show(place, start, end) {
    const chart = charts.get(place);
    if (!chart) {
      wanted.set(place, [start, end]);
      return;
    }
    wanted.delete(place);
    const around = Math.max((end - start) / 3, 3 * HOUR);
    chart.show([start - around, end + around], start);
    place.scrollIntoView({ block: "start" });
    chart.plot.focus({ preventScroll: true });
  }

  const drawAll = () => charts.forEach((chart) => chart.refresh());
  window.coldsift.onPreferences(drawAll);
  addEventListener("beforeprint", () => charts.forEach((chart) => chart.print(true)));
  addEventListener("afterprint", () => charts.forEach((chart) => chart.print(false)));
  return { draw, show };
})();
