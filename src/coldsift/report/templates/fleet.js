"use strict";
/* The fleet as a whole: units by days, features against peers, defrosts by the hour; and the glossary. */
(() => {
  const { one, all, text, address, celsius, kelvins, preferences, shift, timeName, chartLibrary } = window.coldsift;
  const WORST = 20;
  const FURTHEST = 10;
  const MOST_ODD = 12;
  const PAPER = 680;
  const DAY = 86400000;
  const NO_BREAK = "\u00a0";

  /* ---- Numbers ---- */
  const KINDS = { u1: Uint8Array, i1: Int8Array, u2: Uint16Array, i2: Int16Array, i4: Int32Array };
  function unpacked({ type, digits, data }) {
    const whole = new KINDS[type](Uint8Array.from(atob(data), (each) => each.charCodeAt(0)).buffer);
    const bits = 8 * whole.BYTES_PER_ELEMENT;
    const none = type.startsWith("u") ? 2 ** bits - 1 : -(2 ** (bits - 1));
    return Float64Array.from(whole, (value) => (value === none ? NaN : value / 10 ** digits));
  }
  function number(value, digits) {
    const [whole, rest] = Math.abs(value).toFixed(digits).split(".");
    const spaced = whole.length > 3 ? whole.replace(/\B(?=(\d{3})+$)/g, "\u202f") : whole;
    const shown = rest ? `${spaced}.${rest}` : spaced;
    return value < 0 && Number(value.toFixed(digits)) !== 0 ? `−${shown}` : shown;
  }
  const figures = (value) => {
    const size = Math.abs(value);
    return size >= 100 ? 0 : size >= 10 ? 1 : size >= 0.1 || size === 0 ? 2 : 3;
  };
  const withUnit = (shown, unit) => (unit ? shown + NO_BREAK + unit : shown);
  /* In charts the numbers are the reader's; in texts base.js makes them so. */
  const fahrenheit = () => preferences.temperature === "F";
  const FAHRENHEIT = { "°C": "°F", K: "°F", "K/h": "°F/h", "K/d": "°F/d", "K·h": "°F·h" };
  const inUnits = (value, unit) => (unit === "°C" ? celsius(value) : unit in FAHRENHEIT ? kelvins(value) : value);
  const unitName = (unit) => (fahrenheit() && FAHRENHEIT[unit]) || unit;
  const median = (values) => {
    const known = values.filter((value) => !Number.isNaN(value)).sort((a, b) => a - b);
    return known.length ? known[(known.length - 1) >> 1] : NaN;
  };
  const filled = (words, values) => words.replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);

  /* ---- The page's own tables hold names, links and words; the data hold numbers only ---- */
  const data = JSON.parse(one("#fleet-data").textContent);
  const units = all(".clocks tbody tr").map((row, place) => ({
    place,
    link: one("th a", row),
    name: one("th .number", row).textContent,
    group: row.dataset.group,
    mark: row.dataset.mark,
    stowed: row.dataset.place,
  }));
  const peerGroups = unpacked(data.peerGroups);
  const jitter = unpacked(data.jitter);
  const days = Array.from({ length: data.days.count }, (_, day) =>
    new Date(Date.parse(data.days.first) + day * DAY).toISOString().slice(0, 10));
  const columns = new Map();
  const column = (name) => {
    if (!columns.has(name)) columns.set(name, name === "air_shift" ? airShift() : unpacked(data.days.columns[name]));
    return columns.get(name);
  };
  const ofUnit = (values, unit) => values.subarray(unit * days.length, (unit + 1) * days.length);
  const at = (values, unit, day) => values[unit * days.length + day];
  function airShift() {
    const air = column("air_middle");
    const usual = units.map((unit) => median([...ofUnit(air, unit.place)]));
    return air.map((value, place) => value - usual[Math.floor(place / days.length)]);
  }
  const open = (unit) => unit.link.click();
  const escaped = (words) => words.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
  const named = (unit) => `${unit.mark} ${unit.name}`;
  function make(tag, className = "", words = "") {
    const element = document.createElement(tag);
    if (className) element.className = className;
    if (words) element.textContent = words;
    return element;
  }
  function linkTo(unit) {
    const link = make("a", "as-logged", unit.name);
    link.href = unit.link.getAttribute("href");
    return link;
  }

  /* ---- Colours and widths ---- */
  let printing = false;
  function theme() {
    const style = getComputedStyle(document.documentElement);
    return new Proxy({}, { get: (_, name) => style.getPropertyValue(`--${name}`).trim() });
  }
  const widthOf = (place) => (printing ? PAPER : place.clientWidth);
  const PLAIN = { displayModeBar: false, responsive: false };
  const hoverLabel = (colours) => ({
    bgcolor: colours.card, bordercolor: colours.soft, align: "left", font: { color: colours.ink, size: 13 },
  });
  const FONT = 'system-ui, -apple-system, "Segoe UI", sans-serif';
  const canHover = matchMedia("(hover: hover)").matches;
  function opensOnClick(plot, unitOf) {
    if (plot.dataset.clickable) return;
    plot.dataset.clickable = "yes";
    plot.on("plotly_click", ({ points }) => {
      const unit = unitOf(points[0]);
      if (unit && canHover) open(unit);
    });
  }

  /* ---- Choices are form controls, and stand in the address ---- */
  function choices(section, form, changed) {
    const key = (control) => `${section.id}-${control.name}`;
    const controls = all("select", form);
    for (const control of controls) {
      const stated = address.get(key(control));
      if ([...control.options].some((option) => option.value === stated)) control.value = stated;
      control.addEventListener("change", () => {
        address.set({ [key(control)]: control.value === control.options[0].value ? "" : control.value });
        changed();
      });
    }
    form.addEventListener("submit", (event) => event.preventDefault());
    form.hidden = false;
  }

  /* ---- Units by days ----
     The strongest shade stands for the largest value there is, or for “least” where that is more; what is less than
     “nothing” of it has none. */
  const MEASURES = {
    hours_outside: { unit: "h", digits: 1, fromZero: true, least: 6 },
    degree_hours: { unit: "K·h", digits: 1, fromZero: true, least: 10, capped: true },
    hours_off: { unit: "h", digits: 1, fromZero: true, least: 6 },
    coverage: { unit: "%", digits: 0, factor: 100, fromZero: true, least: 0.5, nothing: 0.1, fewer: true },
    air_shift: { unit: "K", digits: 1, fromZero: true, least: 2, capped: true, signed: true },
    air_low: { unit: "°C", digits: 1, ownUsual: true },
    air_middle: { unit: "°C", digits: 1, ownUsual: true },
    air_high: { unit: "°C", digits: 1, ownUsual: true },
    split: { unit: "K", digits: 2, ownUsual: true },
    alarms: { unit: "", digits: 0, fromZero: true, least: 3 },
    defrosts: { unit: "", digits: 0, fromZero: true, least: 8 },
    longest_defrost: { unit: "min", digits: 0, fromZero: true, least: 60 },
    unterminated_defrosts: { unit: "", digits: 0, fromZero: true, least: 3 },
  };
  const NAMED_ROW = 18;
  const LEAST_NAMED_ROW = 10;
  const THIN_HEIGHT = 480;
  const PAPER_HEIGHT = 860;
  const LEAST_CELL = 6;
  const NUMBERED_CELL = 34;
  const MOST_NUMBERED = 2500;

  function chosenUnits(form) {
    const [kind, key] = form.filter.value.split(":");
    const chosen = units.filter((unit) =>
      !kind || (kind === "rank" ? unit.group === key : peerGroups[unit.place] === Number(key)));
    const by = { container: (unit) => unit.name, place: (unit) => unit.stowed || "\uffff" }[form.order.value];
    return by ? chosen.sort((a, b) => (by(a) < by(b) ? -1 : by(a) > by(b) ? 1 : a.place - b.place)) : chosen;
  }

  function frameOf(place) {
    if (one(".day-frame", place)) return place;
    const frame = make("div", "day-frame as-logged");
    frame.tabIndex = 0;
    frame.setAttribute("role", "region");
    const heads = make("div", "day-heads");
    heads.setAttribute("aria-hidden", "true");
    heads.append(make("span", "corner"), make("div", "day-ticks"));
    const plot = make("div", "day-plot");
    plot.setAttribute("role", "img");
    const body = make("div", "day-body");
    body.append(make("div", "day-names"), plot);
    frame.append(heads, body);
    place.append(make("p", "on-paper"), frame, make("p", "day-key as-logged"));
    return place;
  }

  function dayTicks(ticks, cell) {
    const format = new Intl.DateTimeFormat(document.documentElement.lang, {
      day: "numeric", month: "short", timeZone: "UTC",
    });
    const every = Math.max(1, Math.ceil(52 / cell));
    ticks.replaceChildren(...days.flatMap((day, place) => {
      if (place % every) return [];
      const tick = make("span", "", format.format(new Date(`${day}T00:00Z`)));
      tick.style.left = `${(place + 0.5) * cell}px`;
      return [tick];
    }));
  }

  function drawDays(section) {
    const form = one("form.choices", section);
    const name = form.measure.value;
    const measure = MEASURES[name];
    const words = form.measure.dataset.words ?? form.measure.selectedOptions[0].text;
    const place = frameOf(one(".day-chart", section));
    const shown = chosenUnits(form);
    /* On paper all rows stand on one page, for a chart cannot be cut. */
    const room = printing ? PAPER_HEIGHT : form.rows.value === "thin" ? THIN_HEIGHT : Infinity;
    const rowHeight = Math.min(NAMED_ROW, Math.max(1, room / shown.length));
    const thin = printing ? rowHeight < LEAST_NAMED_ROW : form.rows.value === "thin";
    const colours = theme();
    const factor = measure.factor ?? 1;
    const values = column(name);
    const readings = column("hours_off");
    const coverage = column("coverage");
    const says = (value) =>
      withUnit((measure.signed && value > 0 ? "+" : "") + number(inUnits(value, measure.unit) * factor, measure.digits),
        unitName(measure.unit));

    /* The darkness of a cell, in the unit of the measure. */
    const depth = (value) => (measure.fewer ? 1 - value : measure.signed ? Math.abs(value) : value);
    const depths = shown.flatMap((unit) => [...ofUnit(values, unit.place)]).filter((value) => !Number.isNaN(value))
      .map(depth).sort((a, b) => a - b);
    const positive = depths.filter((value) => value > 0);
    const lowest = measure.fromZero ? 0 : depths[0] ?? 0;
    const most = measure.capped ? positive[Math.ceil(positive.length * 0.98) - 1] : depths[depths.length - 1];
    const highest = Math.max(most ?? 0, measure.fromZero ? measure.least : lowest + 0.1);

    const names = one(".day-names", place);
    names.hidden = thin;
    names.replaceChildren(...(thin ? [] : shown.map((unit) => {
      const link = linkTo(unit);
      link.textContent = named(unit);
      link.className = `as-logged ${unit.group}`;
      link.tabIndex = -1;
      link.style.height = `${rowHeight}px`;
      link.style.lineHeight = `${rowHeight}px`;
      return link;
    })));
    /* The same width for names and heads, whatever letters the paper has. */
    names.style.width = "";
    const beside = thin ? 0 : Math.ceil(names.getBoundingClientRect().width);
    for (const each of [names, one(".corner", place)]) each.style.width = `${beside}px`;
    const across = widthOf(place) - beside - 2;
    const cell = Math.max(across / days.length, printing ? 1 : LEAST_CELL);
    const [width, height] = [Math.floor(cell * days.length), Math.round(rowHeight * shown.length)];
    dayTicks(one(".day-ticks", place), cell);
    one(".day-ticks", place).style.width = `${width}px`;

    const table = (of) => shown.map((unit) => days.map((_, day) => of(unit.place, day)));
    const withNumbers = !thin && cell >= NUMBERED_CELL && shown.length * days.length <= MOST_NUMBERED;
    const cellWords = (value) =>
      Number.isNaN(value) || (measure.fromZero && depth(value) === 0)
        ? "" : number(inUnits(value, measure.unit) * factor, Math.min(measure.digits, 1));
    const hover = (unit, day) => {
      const value = at(values, unit, day);
      const covered = at(coverage, unit, day);
      return [
        `<b>${escaped(named(units[unit]))}</b>`,
        days[day],
        Number.isNaN(at(readings, unit, day))
          ? text("no readings")
          : `${escaped(words)}: ${Number.isNaN(value) ? text("not known") : says(value)}`,
        ...(name === "coverage" || Number.isNaN(covered) ? [] :
          [`${text("readings for")} ${withUnit(number(100 * covered, 0), "%")}`]),
      ].join("<br>");
    };
    const nothing = measure.fromZero ? measure.nothing ?? 0.001 : 0;
    const scale = [[0, colours["shade-0"]], [nothing, colours["shade-0"]], [nothing, colours["shade-1"]],
      [0.5, colours["shade-2"]], [1, colours["shade-3"]]];
    /* Lines between the cells: plotly's own gaps take five times as long. */
    const lines = rowHeight < LEAST_NAMED_ROW ? "" : [
      ...shown.map((_, row) => `M-0.5,${row + 0.5}H${days.length - 0.5}`),
      ...days.map((_, day) => `M${day + 0.5},-0.5V${shown.length - 0.5}`),
    ].join("");
    const plot = one(".day-plot", place);
    const traces = [
      {
        type: "heatmap",
        /* Covers the hatching wherever there are readings. */
        z: table((unit, day) => (Number.isNaN(at(readings, unit, day)) ? null : Number(Number.isNaN(at(values, unit, day))))),
        zmin: 0, zmax: 1, colorscale: [[0, colours.card], [1, colours.void]], showscale: false, hoverinfo: "skip",
      },
      {
        type: "heatmap",
        z: table((unit, day) => (Number.isNaN(at(readings, unit, day)) ? null : depth(at(values, unit, day)))),
        zmin: lowest, zmax: highest, colorscale: scale, showscale: false,
        customdata: table(hover), hovertemplate: "%{customdata}<extra></extra>", hoverongaps: true,
        ...(withNumbers && {
          text: table((unit, day) => cellWords(at(values, unit, day))), texttemplate: "%{text}",
          textfont: { size: 11, family: FONT },
        }),
      },
    ];
    const axis = { visible: false, fixedrange: true };
    window.Plotly.react(plot, traces, {
      width, height: Math.max(height, 1), margin: { l: 0, r: 0, t: 0, b: 0 }, dragmode: false,
      xaxis: { ...axis, range: [-0.5, days.length - 0.5] }, yaxis: { ...axis, range: [shown.length - 0.5, -0.5] },
      paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", hovermode: "closest",
      shapes: lines ? [{ type: "path", path: lines, line: { color: colours.card, width: 1 } }] : [],
      font: { family: FONT }, hoverlabel: hoverLabel(colours),
    }, PLAIN);
    plot.coldsiftShown = shown;
    one(".day-chart", section).style.minHeight = "";
    opensOnClick(plot, (point) => plot.coldsiftShown[point.pointIndex[0]]);

    const title = `${words}: ${filled(text("{units} units, {days} days"), { units: shown.length, days: days.length })}`;
    one(".on-paper", place).textContent = title;
    one(".day-frame", place).setAttribute("aria-label", title);
    plot.setAttribute("aria-label", `${title}. ${text("The table after it has the numbers.")}`);
    plot.style.width = `${width}px`;
    dayKey(one(".day-key", place), says, measure, lowest, highest, highest < (depths[depths.length - 1] ?? 0));
    worstDays(one(".worst", section), name, words, shown);
  }

  function dayKey(key, says, measure, lowest, highest, more) {
    const edge = (value) => says(measure.fewer ? 1 - value : value).replace("+", "");
    const bar = make("span", measure.fromZero ? "shades from-zero" : "shades");
    const swatch = (className, words) => {
      const each = make("span", "swatch-told");
      each.append(make("span", `swatch-of ${className}`), words);
      return each;
    };
    const scale = make("span", "swatch-told");
    scale.append(edge(lowest), bar, `${edge(highest)}${more ? ` ${text("and more")}` : ""}`);
    key.replaceChildren(scale, swatch("hatched", text("no readings")), swatch("void", text("readings, but not known")));
  }

  function worstDays(place, name, words, shown) {
    const measure = MEASURES[name];
    const values = column(name);
    const readings = column("hours_off");
    const found = [];
    for (const unit of shown) {
      const own = ofUnit(values, unit.place);
      const usual = measure.ownUsual ? median([...own]) : 0;
      own.forEach((value, day) => {
        const silent = Number.isNaN(at(readings, unit.place, day));
        if (measure.fewer && silent) found.push({ unit, day, value: 0, far: 1, usual });
        else if (!Number.isNaN(value)) {
          const far = measure.fewer ? 1 - value : Math.abs(value - usual);
          if (far > 0) found.push({ unit, day, value, far, usual });
        }
      });
    }
    found.sort((a, b) => b.far - a.far || a.unit.place - b.unit.place || a.day - b.day);
    const before = one("details", place);
    const details = make("details", "on-demand");
    details.open = printing || (before?.open ?? false);
    details.dataset.was = before?.dataset.was ?? "";
    const heading = measure.fewer ? text("Days with fewest readings, as a table")
      : measure.ownUsual || measure.signed ? text("Days furthest from the unit’s own usual, as a table")
        : text("Days with most, as a table");
    details.append(make("summary", "", heading));
    if (!found.length) {
      details.append(make("p", "", text("No day of these units has any.")));
      place.replaceChildren(details);
      return;
    }
    const says = (value) => withUnit(
      (measure.signed && value > 0 ? "+" : "") + number(value * (measure.factor ?? 1), measure.digits), measure.unit);
    const table = make("table", "narrow");
    const head = table.createTHead().insertRow();
    const heads = [text("Container"), text("Day"), words, ...(measure.ownUsual ? [text("Usual day")] : [])];
    for (const each of heads) {
      const cell = make("th", "", each);
      cell.scope = "col";
      head.append(cell);
    }
    const body = table.createTBody();
    for (const { unit, day, value, usual } of found.slice(0, WORST)) {
      const row = body.insertRow();
      const cell = make("th");
      cell.scope = "row";
      cell.append(linkTo(unit));
      row.append(cell);
      row.insertCell().textContent = days[day];
      row.insertCell().textContent = says(value);
      if (measure.ownUsual) row.insertCell().textContent = says(usual);
    }
    details.append(table);
    if (found.length > WORST) {
      details.append(make("p", "", filled(text("{count} more days are in unit_days.parquet."), { count: found.length - WORST })));
    }
    place.replaceChildren(details);
  }

  /* ---- Units against their peers ---- */
  const SYMBOLS = {
    go_now: "triangle-up", this_round: "diamond", watch: "circle", nothing_found: "circle-open",
  };
  const TONES = { go_now: "go", this_round: "round", watch: "watch", nothing_found: "quiet", cannot_tell: "blind" };
  const LANE = 15;
  const [FEWEST_LANES, MOST_LANES] = [3, 6];

  const featureWords = new Map();
  for (const row of all("tr.feature")) {
    for (const variant of all("[data-feature]", row)) {
      featureWords.set(variant.dataset.feature, {
        unit: variant.dataset.unit,
        section: row.closest("details"),
        name: () => [one(".name", row), one(".variant", variant)].filter(Boolean).map((each) => each.textContent).join(", "),
        told: () => [
          [text("Taken in"), one(".regime", row.closest("details")).textContent],
          [text("Formula"), [one(".formula", row), one(".variant", variant)].filter(Boolean)
            .map((each) => each.textContent).join("; ")],
          ...(one(".by", variant) ? [[text("Compared after taking out what goes by"), one(".by", variant).textContent]] : []),
          [text("Source"), one(".source", row).textContent],
          [text("When odd, look first at"), one(".look", row).textContent],
        ],
      });
    }
  }
  const features = new Map(data.features.filter((each) => featureWords.has(each.id)).map((each) => [each.id, each]));

  function fillFeatures(select) {
    const option = (feature) => new Option(
      featureWords.get(feature.id).name() +
        (feature.odd ? ` (${filled(text("{count} odd"), { count: feature.odd })})` : ""), feature.id);
    const group = (label, chosen) => {
      if (!chosen.length) return;
      const element = make("optgroup");
      element.label = label;
      element.append(...chosen.map(option));
      select.append(element);
    };
    const every = [...features.values()];
    group(text("Most units odd"), every.filter((feature) => feature.odd).slice(0, MOST_ODD));
    for (const section of all(".features-told details")) {
      group(one("summary", section).textContent.replace(/\s*\(\d+\)$/, ""),
        every.filter((feature) => featureWords.get(feature.id).section === section));
    }
  }

  function distanceWords(distance) {
    if (Number.isNaN(distance)) return text("no peers to compare with");
    const words = distance < 0 ? text("{spreads} spreads below the middle") : text("{spreads} spreads above the middle");
    return filled(words, { spreads: number(Math.abs(distance), 1) });
  }

  function wrapped(words, room) {
    const lines = [""];
    for (const word of words.split(" ")) {
      const last = lines[lines.length - 1];
      if (last && (last.length + word.length) * 6.8 > room) lines.push(word);
      else lines[lines.length - 1] = last ? `${last} ${word}` : word;
    }
    return lines;
  }

  function drawStrips() {
    const section = one("#spread");
    const form = one("form.choices", section);
    const plot = one(".strips", section);
    const feature = features.get(form.feature.value);
    if (!feature) return;
    const told = featureWords.get(feature.id);
    const byDistance = form.scale.value === "distance";
    const colours = theme();
    const values = unpacked(feature.values);
    const distances = unpacked(feature.distances);
    const shownUnit = unitName(told.unit);
    const shownValue = (value) => withUnit(number(inUnits(value, told.unit), figures(inUnits(value, told.unit))), shownUnit);
    const plainValue = (value) => withUnit(number(value, figures(value)), told.unit);
    const coordinate = (unit) => (byDistance ? distances[unit.place] : inUnits(values[unit.place], told.unit));
    const isOdd = (unit) => Math.abs(distances[unit.place]) > data.odd;
    const known = units.filter((unit) => !Number.isNaN(coordinate(unit)));
    const range = (group) => {
      const own = feature.ranges[group];
      if (byDistance) return own && [-data.odd, 0, data.odd];
      return own?.map((value) => inUnits(value, told.unit));
    };
    const width = widthOf(plot);

    const strips = all(".peer-group").map((element, group) => ({
      group,
      name: one(".name", element).textContent,
      members: known.filter((unit) => peerGroups[unit.place] === group),
    })).filter((strip) => strip.members.length);
    const edges = [
      ...known.map(coordinate), ...strips.flatMap(({ group }) => range(group) ?? []),
    ];
    const [low, high] = [edges.reduce((a, b) => Math.min(a, b), Infinity), edges.reduce((a, b) => Math.max(a, b), -Infinity)];
    const pad = (high - low || Math.abs(high) || 1) * 0.03;
    const shapes = [];
    const annotations = [];
    const ordinary = [];
    const odd = [];
    let top = 0;
    for (const { group, name, members } of strips) {
      const oddOnes = members.filter(isOdd)
        .sort((a, b) => Math.abs(distances[b.place]) - Math.abs(distances[a.place]) || a.place - b.place);
      const lines = wrapped(
        `${name}: ${filled(text("{units} units, {odd} odd"), { units: members.length, odd: oddOnes.length })}`, width - 24);
      const lanes = Math.min(Math.max(oddOnes.length, FEWEST_LANES), MOST_LANES);
      const strip = lanes * LANE + 12;
      const start = top + 8 + lines.length * 17;
      const scattered = (unit) => start + strip / 2 + (jitter[unit.place] / 254 - 0.5) * (strip - 16);
      annotations.push({
        x: 0, xref: "paper", xanchor: "left", y: top + 4, yref: "y", yanchor: "top", align: "left", showarrow: false,
        text: lines.map(escaped).join("<br>"), font: { size: 13, color: colours.ink }, bgcolor: colours.card, borderpad: 1,
      });
      const own = range(group);
      if (own) {
        shapes.push(
          { type: "rect", x0: own[0], x1: own[2], y0: start, y1: start + strip, layer: "below", fillcolor: colours.band,
            line: { color: colours["band-edge"], width: 1 } },
          { type: "line", x0: own[1], x1: own[1], y0: start, y1: start + strip, layer: "below",
            line: { color: colours.soft, width: 1.5, dash: "dot" } });
      }
      shapes.push({ type: "line", xref: "paper", x0: 0, x1: 1, y0: start + strip + 4, y1: start + strip + 4, layer: "below",
        line: { color: colours.rule, width: 1 } });
      oddOnes.forEach((unit, place) => odd.push({
        unit,
        y: place < lanes ? start + 6 + (place + 0.5) * LANE : scattered(unit),
        /* There is no shape for "?", the mark of units that cannot be told. */
        label: [SYMBOLS[unit.group] ? "" : unit.mark, place < lanes ? unit.name : ""].join(" ").trim(),
      }));
      for (const unit of members) {
        if (!isOdd(unit)) ordinary.push({ unit, y: scattered(unit) });
      }
      top = start + strip + 8;
    }
    const hover = ({ unit }) => {
      const own = feature.ranges[peerGroups[unit.place]];
      return [
        `<b>${escaped(named(unit))}</b>`,
        shownValue(values[unit.place]),
        distanceWords(distances[unit.place]),
        ...(own ? [`${text("peers")} ${shownValue(own[0])} ${text("to")} ${shownValue(own[2])}`] : []),
      ].join("<br>");
    };
    const dots = (chosen) => ({
      type: "scatter",
      x: chosen.map(({ unit }) => coordinate(unit)),
      y: chosen.map(({ y }) => y),
      customdata: chosen.map(({ unit }) => unit.place),
      hovertext: chosen.map(hover),
      hoverinfo: "text",
    });
    const half = low + (high - low) / 2;
    const title = wrapped(
      byDistance ? form.scale.selectedOptions[0].text : withUnit(told.name(), shownUnit && `[${shownUnit}]`), width - 24);
    const below = 32 + 17 * title.length;
    const tones = odd.map(({ unit }) => colours[TONES[unit.group]]);
    window.Plotly.react(plot, [
      { ...dots(ordinary), mode: "markers",
        marker: { size: 7, color: colours.dot, opacity: 0.75, line: { width: 1, color: colours.card } } },
      { ...dots(odd), mode: "markers+text", text: odd.map(({ label }) => label && NO_BREAK + escaped(label) + NO_BREAK),
        textposition: odd.map(({ unit, label }) =>
          (label === unit.mark ? "middle center" : coordinate(unit) > half ? "middle left" : "middle right")),
        textfont: { size: 12, color: tones },
        marker: {
          size: 11, symbol: odd.map(({ unit }) => SYMBOLS[unit.group] ?? "circle"), color: tones,
          opacity: odd.map(({ unit }) => (SYMBOLS[unit.group] ? 1 : 0)), line: { width: 2, color: tones },
        } },
    ], {
      width, height: top + below + 4, margin: { l: 12, r: 12, t: 0, b: below }, dragmode: false, showlegend: false,
      xaxis: {
        range: [low - pad, high + pad], fixedrange: true, zeroline: false, gridcolor: colours.rule, linecolor: colours.soft,
        showline: true, ticks: "outside", tickcolor: colours.soft, automargin: false,
        title: { text: title.map(escaped).join("<br>"), font: { size: 13 } },
      },
      yaxis: { range: [top, 0], visible: false, fixedrange: true },
      shapes, annotations, separators: ".\u202f", hovermode: "closest", hoverlabel: hoverLabel(colours),
      paper_bgcolor: colours.card, plot_bgcolor: colours.card, font: { family: FONT, size: 12, color: colours.ink },
    }, PLAIN);
    opensOnClick(plot, (point) => units[point.customdata]);
    plot.setAttribute("aria-label", `${told.name()}. ${text("The list after it names the furthest.")}`);

    const furthest = known.filter((unit) => !Number.isNaN(distances[unit.place]))
      .sort((a, b) => Math.abs(distances[b.place]) - Math.abs(distances[a.place]) || a.place - b.place).slice(0, FURTHEST);
    const list = make("ol", "plain-order");
    for (const unit of furthest) {
      const item = make("li");
      const own = feature.ranges[peerGroups[unit.place]];
      item.append(`${unit.mark} `, linkTo(unit), ` ${plainValue(values[unit.place])}, ${distanceWords(distances[unit.place])}`);
      if (own) item.append(` (${text("peers")} ${plainValue(own[0])} ${text("to")} ${plainValue(own[2])})`);
      list.append(item);
    }
    one(".furthest", section).replaceChildren(make("h3", "", text("Furthest from their peers")), list);
    const lacking = units.length - units.filter((unit) => !Number.isNaN(values[unit.place])).length;
    one(".told", section).replaceChildren(...[
      ...told.told(),
      ...(lacking ? [[text("Without a value"), filled(text("{count} of {all} units"), { count: lacking, all: units.length })]] : []),
    ].filter(([, words]) => words).map(([what, words]) => {
      const pair = make("div");
      pair.append(make("dt", "", what), make("dd", "", words));
      return pair;
    }));
  }

  /* ---- One unit's defrosts by the hour ---- */
  let defrostTimes = null;
  function defrostsOf(unit) {
    if (!defrostTimes) {
      const [counts, after, minutes] = ["counts", "after", "minutes"].map((each) => unpacked(data.defrosts[each]));
      let place = 0;
      defrostTimes = Array.from(counts, (count) => {
        let start = Date.parse(data.days.first);
        return Array.from({ length: count }, () => {
          start += after[place] * 60000;
          const length = minutes[place];
          place += 1;
          return { start, minutes: Math.abs(length), ended: length >= 0 };
        });
      });
    }
    return defrostTimes[unit.place] ?? [];
  }
  /* A stretch of time, cut at the reader's midnights. */
  function cutAtMidnight(start, end) {
    const parts = [];
    for (let from = shift(start); from < shift(end);) {
      const day = Math.floor(from / DAY);
      const to = Math.min(shift(end), (day + 1) * DAY);
      parts.push({ day, from: (from - day * DAY) / 3600000, hours: (to - from) / 3600000 });
      from = to;
    }
    return parts;
  }

  function drawHours() {
    const section = one("#defrosts");
    const select = one("select[name=unit]", section);
    const plot = one(".hours", section);
    const unit = units[select.value === "" ? -1 : Number(select.value)];
    const words = one(".hours-told", section);
    plot.hidden = !unit;
    words.textContent = "";
    if (!unit) return;
    const colours = theme();
    const own = defrostsOf(unit);
    const bad = own.filter((each) => !each.ended).length;
    words.textContent = own.length
      ? filled(text("{count} defrosts, usually {usual}, longest {longest}; {bad} not properly ended."), {
        count: own.length, bad, usual: withUnit(number(median(own.map((each) => each.minutes)), 0), "min"),
        longest: withUnit(number(own.reduce((most, each) => Math.max(most, each.minutes), 0), 0), "min"),
      })
      : text("No defrost was found in this log.");
    const readings = column("hours_off");
    const first = Math.floor(shift(Date.parse(data.days.first)) / DAY);
    const count = days.length + (preferences.offset ? 1 : 0);
    const silent = days.flatMap((day, place) => (Number.isNaN(at(readings, unit.place, place)) ?
      cutAtMidnight(Date.parse(day), Date.parse(day) + DAY) : []));
    const parts = (chosen) => chosen.flatMap((each) =>
      cutAtMidnight(each.start, each.start + each.minutes * 60000).map((part) => ({ ...part, of: each })));
    const dayName = (day) => new Date(day * DAY).toISOString().slice(0, 10);
    const moment = (time) => new Date(shift(time)).toISOString().slice(0, 16).replace("T", " ");
    const bars = (chosen, name, marker, hover) => ({
      type: "bar", orientation: "h", name, y: chosen.map(({ day }) => day - first), base: chosen.map(({ from }) => from),
      x: chosen.map(({ hours }) => hours), marker, width: 0.8,
      ...(hover ? { hovertext: chosen.map(hover), hoverinfo: "text" } : { hoverinfo: "skip" }),
    });
    const told = ({ of }) => [`<b>${moment(of.start)} ${timeName()}</b>`, withUnit(number(of.minutes, 0), "min"),
      ...(of.ended ? [] : [text("not properly ended")])].join("<br>");
    const every = Math.max(1, Math.ceil(count / 30));
    const ticks = Array.from({ length: count }, (_, day) => day).filter((day) => day % every === 0);
    const hatch = (colour) => ({ color: colours.card, line: { color: colour, width: 1.5 },
      pattern: { shape: "/", fgcolor: colour, bgcolor: colours.card, size: 5, solidity: 0.4 } });
    window.Plotly.react(plot, [
      bars(silent, text("no readings"), { color: colours.void }),
      bars(parts(own.filter((each) => each.ended)), text("defrost"), { color: colours["shade-3"] }, told),
      bars(parts(own.filter((each) => !each.ended)), text("not properly ended"), hatch(colours.go), told),
    ], {
      width: widthOf(plot), height: count * 13 + 96, margin: { l: 84, r: 12, t: 36, b: 46 }, barmode: "overlay", dragmode: false,
      xaxis: {
        range: [0, 24], fixedrange: true, tickvals: [0, 3, 6, 9, 12, 15, 18, 21, 24], gridcolor: colours.rule,
        ticktext: [0, 3, 6, 9, 12, 15, 18, 21, 24].map((hour) => `${String(hour).padStart(2, "0")}:00`),
        title: { text: `${text("time of day")}, ${timeName()}`, font: { size: 13 } },
      },
      yaxis: { range: [count - 0.5, -0.5], fixedrange: true, tickvals: ticks, ticktext: ticks.map((day) => dayName(first + day)), gridcolor: colours.rule, zeroline: false,
        ticks: "outside", ticklen: 6, tickcolor: "rgba(0,0,0,0)" },
      legend: { orientation: "h", x: 0, y: 1, yanchor: "bottom", itemclick: false, itemdoubleclick: false }, showlegend: true,
      paper_bgcolor: colours.card, plot_bgcolor: colours.card, font: { family: FONT, size: 12, color: colours.ink },
      hovermode: "closest", hoverlabel: hoverLabel(colours), separators: ".\u202f",
    }, PLAIN);
    plot.setAttribute("aria-label", `${unit.name}: ${words.textContent}`);
  }

  /* ---- What is drawn when: a chart is drawn when it comes near the screen, and again when it looks otherwise ---- */
  const drawings = new Map();
  const near = new Set();
  const stale = new Set();
  async function draw(place) {
    stale.delete(place);
    await chartLibrary();
    drawings.get(place)();
  }
  const watch = new IntersectionObserver((entries) => {
    for (const { target, isIntersecting } of entries) {
      if (!isIntersecting) near.delete(target);
      else {
        near.add(target);
        if (stale.has(target)) draw(target);
      }
    }
  }, { rootMargin: "60% 0px" });
  function onceNear(place, form, drawing) {
    drawings.set(place, drawing);
    stale.add(place);
    choices(place.closest("section"), form, () => draw(place));
    /* The chart library stands further down. */
    addEventListener("DOMContentLoaded", () => watch.observe(place));
  }
  function drawAgain() {
    for (const place of drawings.keys()) {
      stale.add(place);
      if (near.has(place) || (printing && place.offsetParent)) draw(place);
    }
  }

  one(".without-scripts").hidden = true;
  if (units.length && days.length) {
    for (const section of all(".by-days")) {
      const place = one(".day-chart", section);
      /* Room for the rows, so that nothing moves when they are drawn. */
      place.style.minHeight = `min(76vh, ${units.length * NAMED_ROW + 30}px)`;
      onceNear(place, one("form.choices", section), () => drawDays(section));
    }
    const chooser = one("#defrosts select[name=unit]");
    chooser.append(...units.map((unit) => new Option(named(unit), String(unit.place))));
    onceNear(one(".hours-chart"), chooser.form, drawHours);
  }
  if (units.length && features.size) {
    const form = one("#spread form.choices");
    fillFeatures(form.feature);
    onceNear(one(".strips"), form, drawStrips);
  }
  window.coldsift.onPreferences(drawAgain);
  let width = innerWidth;
  let waiting = 0;
  addEventListener("resize", () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => {
      if (innerWidth !== width && !printing) drawAgain();
      width = innerWidth;
    }, 150);
  });
  for (const [event, paper] of [["beforeprint", true], ["afterprint", false]]) {
    addEventListener(event, () => {
      printing = paper;
      for (const details of all(".worst details")) {
        if (paper) {
          details.dataset.was = details.open ? "open" : "";
          details.open = true;
        } else details.open = details.dataset.was === "open";
      }
      drawAgain();
    });
  }

  /* ---- Glossary ---- */
  const search = one("#glossary input");
  if (search) {
    const terms = all(".terms > div");
    search.form.hidden = false;
    search.form.addEventListener("submit", (event) => event.preventDefault());
    search.addEventListener("input", () => {
      const wanted = search.value.toLowerCase().split(/\s+/).filter(Boolean);
      for (const term of terms) {
        const words = term.textContent.toLowerCase();
        term.hidden = !wanted.every((word) => words.includes(word));
      }
      one("output", search.form).textContent = filled(text("{shown} of {all} shown"), {
        shown: terms.filter((term) => !term.hidden).length, all: terms.length,
      });
    });
  }
})();
