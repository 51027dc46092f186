"use strict";
/* The chart of one unit on the page: panels over one time axis that zooms and reads them all together, its time
   scales, its buttons and keys, the same in tables, and on paper. */
window.coldsiftCharts = (() => {
  const { text, timeName, chartLibrary } = window.coldsift;
  const {
    HOUR, DAY, opened, nearest, ticks, unitOf, figureOf, hours, moment, number,
  } = window.coldsiftChartData;
  const { Panels, element, button, sign } = window.coldsiftChartPanels;

  const NARROW = 600; /* Below this width [px] it is a phone's. */
  const PAPER = { width: 680, height: 920 }; /* A4 or letter less margins, in CSS pixels. */
  const ROW = { screen: 28, paper: 20 };
  const COLUMN = 2; /* Width in pixels within which no two extremes can be told apart. */
  const TICK = 84; /* Least distance of two ticks. [px] */
  const DRAG = 5; /* A shorter way of the pointer is a click. [px] */

  /* Colours as the page has them now. */
  function palette(place) {
    const style = getComputedStyle(place);
    const read = (name) => style.getPropertyValue(`--chart-${name}`).trim();
    const faint = (name, share) => {
      const parts = [1, 3, 5].map((at) => parseInt(read(name).slice(at, at + 2), 16));
      return `rgba(${parts.join()},${share})`;
    };
    return { read, faint };
  }

  /* Panels by pages of paper. */
  function paged(parts) {
    const pages = [];
    let room = 0;
    for (const part of parts) {
      const needed = part.head + part.height;
      if (needed > room) {
        pages.push([]);
        room = PAPER.height;
      }
      pages[pages.length - 1].push(part);
      room -= needed;
    }
    return pages;
  }

  class Chart {
    constructor(place, figure) {
      this.place = place;
      this.figure = figure;
      this.whole = [figure.start, figure.end];
      this.view = this.whole;
      this.reading = null;
      this.paper = false;
      this.panels = new Panels(figure, { redraw: () => this.draw(), show: (view, reading) => this.show(view, reading) });
      this.build();
      this.listen();
      new ResizeObserver(() => {
        if (!this.paper && this.place.clientWidth !== this.drawnWidth) this.draw();
      }).observe(place);
    }

    /* ---- The parts that stay. ---- */
    build() {
      this.peers = this.peersButton();
      this.flag = element("output", "chart-flag");
      this.flag.setAttribute("aria-live", "off");
      this.scale = element("div", "chart-scale", this.flag);
      this.bar = element("div", "chart-bar", this.tools(), this.scale);
      this.sheets = [];
      this.addSheet();
      const [{ part, stage, plot }] = this.sheets;
      Object.assign(this, { stage, plot });
      plot.tabIndex = 0;
      this.selection = element("div", "chart-selection");
      this.selection.hidden = true;
      stage.append(this.selection);
      for (const { head, labels } of this.panels.blocks) stage.append(head, ...labels);
      const help = element("p", "chart-help", text("Drag across the chart to zoom in, double-click for the whole log. With the chart in focus: + and − zoom, ← and → move, 0 shows the whole log; with Shift, ← and → move the reading line."));
      help.id = `chart-help-${charts.size + 1}`;
      plot.setAttribute("aria-describedby", help.id);
      this.numbers = element("details", "chart-numbers", element("summary", "", text("Numbers of this chart")));
      this.place.replaceChildren(this.bar, part, help, this.numbers);
    }

    /* What plotly draws in one go: everything on the screen, a page of it on paper. */
    addSheet() {
      const plot = element("div", "chart-plot");
      plot.setAttribute("role", "img");
      const line = element("div", "chart-line");
      const foot = element("div", "chart-scale");
      const stage = element("div", "chart-stage", plot, line);
      const part = element("div", "chart-sheet", stage, foot);
      this.sheets[this.sheets.length - 1]?.part.after(part);
      this.sheets.push({ part, stage, plot, line, foot });
    }

    tools() {
      const last = (length) => () => this.show([this.whole[1] - length, this.whole[1]]);
      const made = element("div", "chart-tools",
        button("", text("Zoom in"), () => this.zoom(0.5), "+"),
        button("", text("Zoom out"), () => this.zoom(2), "−"),
        button("", text("Earlier"), () => this.move(-0.5), "←"),
        button("", text("Later"), () => this.move(0.5), "→"),
        button("", text("Last 24 h"), last(DAY), text("24 h")),
        button("", text("Last 7 days"), last(7 * DAY), text("7 days")),
        button("", "", () => this.show(this.whole), text("Whole log")));
      made.setAttribute("role", "group");
      made.setAttribute("aria-label", text("Zoom"));
      return made;
    }

    peersButton() {
      const toggle = button("chart-peers", "", () => {
        this.panels.peersShown = !this.panels.peersShown;
        toggle.setAttribute("aria-pressed", String(this.panels.peersShown));
        this.draw();
      }, sign("range"), text("Like units’ range"));
      toggle.setAttribute("aria-pressed", "true");
      toggle.hidden = !this.figure.lines.some((line) => line.peers);
      return toggle;
    }

    /* ---- What is drawn anew at every change. ---- */
    draw() {
      const width = this.paper ? PAPER.width : this.place.clientWidth;
      this.drawnWidth = width;
      if (!width) return;
      const narrow = width < NARROW;
      this.place.classList.toggle("narrow", narrow);
      /* On a phone the bar that stays in sight is kept low. */
      const beside = narrow ? this.place : this.bar;
      if (this.peers.parentElement !== beside) beside.prepend(this.peers);
      this.panels.likeWords = narrow ? text("{low} to {high} ({count})") : text("like units {low} to {high} ({count})");
      this.margin = narrow ? { l: 40, r: 8 } : { l: 52, r: 14 };
      this.plotWidth = width - this.margin.l - this.margin.r;
      this.ticks = ticks(this.view, Math.min(14, Math.max(4, Math.floor(this.plotWidth / TICK))));
      for (const block of this.panels.blocks) block.relabel();
      this.panels.read(this.readingTime());
      const parts = this.panels.blocks.map((block) => (
        { block, head: block.head.offsetHeight, height: this.heightOf(block, narrow) }
      ));
      const groups = this.paper ? paged(parts) : [parts];
      while (this.sheets.length < groups.length) this.addSheet();
      for (const sheet of this.sheets.splice(groups.length)) {
        sheet.part.remove();
        sheet.painted.then(() => Plotly.purge(sheet.plot));
      }
      const color = palette(this.place);
      groups.forEach((group, place) => this.paint(this.sheets[place], group, width, color));
      this.mark();
      this.describe();
    }

    heightOf(block, narrow) {
      if (block.folded) return 0;
      if (block.rows.length) return block.rows.length * this.row();
      const height = block.heights[narrow ? 1 : 0];
      return this.paper && height > 40 ? Math.max(52, 0.55 * height) : height;
    }
    row() {
      return this.paper ? ROW.paper : ROW.screen;
    }

    paint(sheet, parts, width, color) {
      const total = parts.reduce((height, part) => height + part.head + part.height, 0);
      const pixel = (this.view[1] - this.view[0]) / this.plotWidth;
      const size = { view: this.view, columns: Math.round(this.plotWidth / COLUMN), pixel, color };
      const layout = this.layout(width, total, color);
      const traces = [];
      let top = 0;
      let axes = 0;
      for (const { block, head, height } of parts) {
        if (block.head.parentElement !== sheet.stage) sheet.stage.append(block.head, ...block.labels);
        block.head.style.top = `${top}px`;
        top += head;
        block.labels.forEach((label, row) => {
          label.hidden = block.folded;
          label.style.top = `${top + row * this.row()}px`;
          label.style.left = `${this.margin.l}px`;
          label.style.maxWidth = `${this.plotWidth}px`;
        });
        if (!height) continue;
        axes += 1;
        const number = axes === 1 ? "" : axes;
        const painted = block.paint({ name: `y${number}` }, { ...size, height });
        traces.push(...painted.traces);
        layout.shapes.push(...(painted.shapes ?? []));
        layout[`yaxis${number}`] = {
          domain: [Math.max(0, 1 - (top + height) / total), 1 - top / total],
          anchor: "x", fixedrange: true, automargin: false, zeroline: false, ticks: "", exponentformat: "none",
          showline: true, linecolor: color.read("rule"), gridcolor: color.read("grid"),
          tickfont: { color: color.read("soft"), size: 11 }, ...painted.axis,
        };
        top += height;
      }
      sheet.stage.style.height = `${total}px`;
      sheet.painted = Plotly.react(sheet.plot, traces, layout, { staticPlot: true, responsive: false });
    }

    layout(width, height, color) {
      return {
        template: {}, width, height, margin: { ...this.margin, t: 0, b: 0, pad: 0, autoexpand: false },
        showlegend: false, hovermode: false, dragmode: false, barmode: "overlay", bargap: 0, shapes: [],
        paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
        font: { family: "system-ui, sans-serif", size: 11, color: color.read("soft") },
        xaxis: {
          type: "linear", range: [...this.view], anchor: "free", position: 0, fixedrange: true, zeroline: false,
          tickvals: this.ticks.map(({ at }) => at), showticklabels: false, ticks: "", gridcolor: color.read("grid"),
        },
      };
    }

    /* ---- The time scales and the reading line. ---- */
    x(at) {
      return this.margin.l + ((at - this.view[0]) / (this.view[1] - this.view[0])) * this.plotWidth;
    }
    at(x) {
      return this.view[0] + ((x - this.margin.l) / this.plotWidth) * (this.view[1] - this.view[0]);
    }
    isInView(at) {
      return at !== null && at >= this.view[0] && at <= this.view[1];
    }

    mark() {
      const end = this.margin.l + this.plotWidth;
      const shown = this.ticks.filter(({ at }) => this.x(at) < end - 12);
      for (const scale of [this.scale, ...this.sheets.map(({ foot }) => foot)]) {
        for (const old of scale.querySelectorAll(".tick")) old.remove();
        for (const { at, words, full } of shown) {
          const tick = element("span", full ? "tick full" : "tick", words);
          tick.style.left = `${this.x(at)}px`;
          scale.append(tick);
        }
      }
      this.markReading();
    }

    /* The reading nearest to where the reader pointed; else the last one in view. */
    readingTime() {
      const { times } = this.figure;
      return times[nearest(times, this.isInView(this.reading) ? this.reading : this.view[1])];
    }
    markReading() {
      const at = this.readingTime();
      for (const { line } of this.sheets) {
        line.hidden = !this.isInView(at);
        line.style.left = `${this.x(at)}px`;
      }
      this.flag.textContent = `${moment(at)} ${timeName()}`;
      const half = this.flag.offsetWidth / 2;
      this.flag.style.left = `${Math.min(Math.max(this.x(at), half), this.drawnWidth - half)}px`;
    }
    readAt(at) {
      this.reading = at;
      this.markReading();
      this.panels.read(this.readingTime());
    }
    stepReading(by) {
      const { times } = this.figure;
      const place = nearest(times, this.readingTime()) + by;
      const at = times[Math.min(Math.max(place, 0), times.length - 1)];
      if (!this.isInView(at)) this.move(by < 0 ? -0.5 : 0.5);
      this.readAt(at);
    }

    describe() {
      const [from, to] = this.view.map(moment);
      const words = text("Chart of the log of {container}, {from} to {to} {zone}. Its numbers stand in the table beneath.")
        .replace("{from}", from).replace("{to}", to).replace("{zone}", timeName())
        .replace("{container}", () => this.figure.container);
      for (const { plot } of this.sheets) plot.setAttribute("aria-label", words);
    }

    /* ---- Zoom, by buttons, keys and pointer. ---- */
    show([from, to], reading = this.reading) {
      const [first, last] = this.whole;
      const span = Math.min(Math.max(to - from, HOUR), last - first);
      const start = Math.min(Math.max((from + to - span) / 2, first), last - span);
      this.view = [start, start + span];
      this.reading = reading;
      this.draw();
    }
    zoom(factor) {
      const [from, to] = this.view;
      const at = this.isInView(this.reading) ? this.reading : (from + to) / 2;
      this.show([at - (at - from) * factor, at + (to - at) * factor]);
    }
    move(share) {
      const by = share * (this.view[1] - this.view[0]);
      this.show(this.view.map((edge) => edge + by));
    }

    listen() {
      this.listenToKeys();
      this.numbers.addEventListener("toggle", () => this.tell());
      const { stage, selection } = this;
      const isButton = (event) => event.target.closest("button") !== null;
      const inside = (event) => {
        const x = event.clientX - stage.getBoundingClientRect().left;
        return Math.min(Math.max(x, this.margin.l), this.margin.l + this.plotWidth);
      };
      /* A finger that moves up or down scrolls the page; only a mouse drags. */
      let from = null;
      stage.addEventListener("pointerdown", (event) => {
        if (isButton(event) || event.button !== 0) return;
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
        selection.hidden = Math.abs(x - from) < DRAG;
        selection.style.left = `${Math.min(x, from)}px`;
        selection.style.width = `${Math.abs(x - from)}px`;
      });
      const release = (event) => {
        if (from === null) return;
        const edges = [from, inside(event)].sort((one, other) => one - other).map((x) => this.at(x));
        const dragged = !selection.hidden && event.type === "pointerup";
        from = null;
        selection.hidden = true;
        if (dragged) this.show(edges);
      };
      stage.addEventListener("pointerup", release);
      stage.addEventListener("pointercancel", release);
      stage.addEventListener("dblclick", (event) => {
        if (!isButton(event)) this.show(this.whole);
      });
    }

    listenToKeys() {
      const keys = {
        "+": () => this.zoom(0.5), "=": () => this.zoom(0.5), "-": () => this.zoom(2), "−": () => this.zoom(2),
        0: () => this.show(this.whole), ArrowLeft: () => this.move(-0.25), ArrowRight: () => this.move(0.25),
      };
      const withShift = { ...keys, ArrowLeft: () => this.stepReading(-1), ArrowRight: () => this.stepReading(1) };
      this.plot.addEventListener("keydown", (event) => {
        const act = (event.shiftKey ? withShift : keys)[event.key];
        if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
        event.preventDefault();
        act();
      });
    }

    /* ---- The same in tables. ---- */
    tell() {
      if (!this.numbers.open) return;
      const { lines, regimes, states, alarms, notes } = this.figure;
      const forHours = (words, stood) => [words, hours(stood)];
      const tables = [
        table(
          text("Readings"),
          [text("Channel"), text("Unit"), text("First"), text("Last"), text("Lowest"), text("Highest"), text("Median"), text("Readings")],
          lines.map((line) => {
            const [first, last, lowest, highest, median, count] = line.numbers;
            const said = [first, last, lowest, highest, median].map((value) => figureOf(line, value));
            return [text(line.label), unitOf(line), ...said, number(count, 0)];
          }),
        ),
        table(
          text("What the unit did"), [text("Doing"), text("For")],
          regimes.names.map((name, code) => forHours(text(name), regimes.hours[code])).filter((_, code) => regimes.hours[code]),
        ),
        table(
          text("On or open"), [text("Part"), text("For")], states.map((state) => forHours(text(state.label), state.hours)),
        ),
        table(
          text("Alarms, as logged"), [text("Text"), text("Stood for")],
          [
            ...alarms.rows.map((row) => forHours(row.text, row.hours)),
            ...alarms.others.map(([words, stood]) => forHours(words, stood)),
            ...(alarms.unlisted ? [[text("{count} more").replace("{count}", String(alarms.unlisted)), ""]] : []),
          ],
        ),
        table(
          text("Work notes"), [text("Time"), text("Note")], notes.map(({ at, words }) => [`${moment(at)} ${timeName()}`, words]),
        ),
      ];
      this.numbers.replaceChildren(this.numbers.firstElementChild, ...tables.filter(Boolean));
    }

    refresh() {
      this.draw();
      this.tell();
    }
    print(paper) {
      if (paper && !this.place.clientWidth) return;
      this.paper = paper;
      this.place.classList.toggle("on-paper", paper);
      this.draw();
    }
  }

  function table(title, heads, rows) {
    if (!rows.length) return null;
    const cell = (name, words, scope) => {
      const made = element(name, /^[−\d]/.test(words) ? "figure" : "", words);
      if (scope) made.scope = scope;
      return made;
    };
    const row = ([first, ...others]) =>
      element("tr", "", cell("th", first, "row"), ...others.map((words) => cell("td", words)));
    const head = element("tr", "", ...heads.map((words) => cell("th", words, "col")));
    const made = element("table", "", element("caption", "", title),
      element("thead", "", head), element("tbody", "", ...rows.map(row)));
    const scroll = element("div", "scroll", made);
    scroll.tabIndex = 0;
    scroll.setAttribute("role", "region");
    scroll.setAttribute("aria-label", title);
    return scroll;
  }

  /* ---- All charts of the page. ---- */
  const charts = new Map();
  const wanted = new Map();

  /* Draw the packed figure into a place; resolves when it is drawn. */
  async function draw(place, packed) {
    try {
      const [figure] = await Promise.all([opened(packed), chartLibrary()]);
      const chart = new Chart(place, figure);
      charts.set(place, chart);
      chart.draw();
      if (wanted.has(place)) show(place, ...wanted.get(place));
    } catch (error) {
      place.replaceChildren(element("p", "", text("The chart could not be drawn; the tables hold the numbers.")));
      console.error(error);
    }
  }

  /* Zoom the chart in a place to a stretch of time and a little around it; as soon as it is drawn. */
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

  window.coldsift.onPreferences(() => charts.forEach((chart) => chart.refresh()));
  addEventListener("beforeprint", () => charts.forEach((chart) => chart.print(true)));
  addEventListener("afterprint", () => charts.forEach((chart) => chart.print(false)));
  return { draw, show };
})();
