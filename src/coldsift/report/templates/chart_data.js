"use strict";
/* The data of a unit's chart. Goes in: a figure packed by unit_chart.py. Comes out: its lines and spans, what of
   them is drawn in a view, what they read at an instant, and numbers and times in the reader's units. */
window.coldsiftChartData = (() => {
  const { text, celsius, kelvins, temperatureUnit, shift, inflated } = window.coldsift;
  const HOUR = 3600000;
  const DAY = 24 * HOUR;

  /* Opening the packed figure: see packing.py. */
  async function opened(packed) {
    const raw = new Uint8Array(await inflated(JSON.parse(packed)).arrayBuffer());
    const end = raw.indexOf(10);
    const numbers = raw.subarray(end + 1);
    const array = ([first, count, width]) => {
      const values = new Float64Array(count);
      for (let place = 0, value = 0; place < count; place += 1) {
        let step = 0;
        for (let plane = width - 1; plane >= 0; plane -= 1) {
          step = step * 256 + numbers[first + plane * count + place];
        }
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
      const ends = starts.map((at, place) => at + 1000 * lengths[place]);
      return { starts, ends, codes: array(packed.codes) };
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
    return difference(line) && temperatureUnit() === "°F" ? "°F" : text(line.unit);
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

  /* What is drawn of a line in a view: of each narrow column the first, lowest, highest and last reading, which
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
    const reaches = (lowest, highest) => {
      range[0] = Math.min(range[0], values[lowest]);
      range[1] = Math.max(range[1], values[highest]);
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
        reaches(low, low);
        continue;
      }
      const column = (place) => Math.floor(((times[place] - from) / (to - from)) * columns);
      for (let place = first; place < end;) {
        const at = column(place);
        let [lowest, highest, last] = [place, place, place];
        for (; last + 1 < end && column(last + 1) === at; last += 1) {
          if (values[last + 1] < values[lowest]) lowest = last + 1;
          if (values[last + 1] > values[highest]) highest = last + 1;
        }
        if (times[last] >= from && times[place] <= to) reaches(lowest, highest);
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

  /* The range of like units in a view: its outline, stretch by stretch there and back, and its middle. */
  function drawnBand(line, [from, to]) {
    const { x, low, middle, high, edges } = line.peers;
    const turn = turned(line);
    const outline = { x: [], y: [] };
    const centre = { x: [], y: [] };
    const put = (into, values, places) => {
      into.x.push(...places.map((place) => x[place]));
      into.y.push(...places.map((place) => turn(values[place])));
    };
    for (let stretch = 0; stretch + 1 < edges.length; stretch += 1) {
      const [start, stop] = [edges[stretch], edges[stretch + 1]];
      const first = Math.max(start, firstFrom(x, from, start, stop) - 1);
      const end = Math.min(stop, firstFrom(x, to, start, stop) + 1);
      const places = Array.from({ length: Math.max(end - first, 0) }, (_, step) => first + step);
      put(outline, high, places);
      put(outline, low, places.toReversed());
      put(centre, middle, places);
      for (const part of [outline.x, outline.y, centre.x, centre.y]) part.push(null);
    }
    return { outline, middle: centre };
  }

  /* Spans of one code in a view; what is narrower than a pixel is widened to one, what is closer is joined. */
  function squeezed({ starts, ends, codes }, code, [from, to], pixel) {
    const spans = [];
    for (let place = 0; place < starts.length; place += 1) {
      if (codes[place] !== code || ends[place] < from || starts[place] > to) continue;
      const last = spans[spans.length - 1];
      const end = Math.max(ends[place], starts[place] + pixel);
      if (last && starts[place] - last[1] < pixel) last[1] = end;
      else spans.push([starts[place], end]);
    }
    return spans;
  }
  /* The span that an instant lies in, -1 for none. */
  const within = ({ starts, ends }, at) => {
    const place = firstFrom(starts, at + 1) - 1;
    return place >= 0 && at < ends[place] ? place : -1;
  };

  /* The readings of a line and its like units at an instant; no number across a break. */
  function readingAt(line, at) {
    const place = line.stepped ? Math.max(firstFrom(line.x, at + 1) - 1, 0) : nearest(line.x, at);
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

  /* Ticks of the time axis at full hours and days of the shown time. */
  const MINUTES = [5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 5760, 10080, 20160, 40320];
  const STEPS = MINUTES.map((minutes) => minutes * 60000);
  const tongue = document.documentElement.lang.replace(/^en$/, "en-GB");
  const day = new Intl.DateTimeFormat(tongue, { day: "numeric", month: "short", timeZone: "UTC" });
  const month = new Intl.DateTimeFormat(tongue, { month: "short", year: "numeric", timeZone: "UTC" });
  function ticks([from, to], most) {
    const step = STEPS.find((each) => (to - from) / each <= most) ?? Math.ceil((to - from) / most / DAY) * DAY;
    const ahead = shift(0);
    const found = [];
    for (let at = Math.ceil((from + ahead) / step) * step; at <= to + ahead; at += step) {
      const midnight = at % DAY === 0;
      const date = step > STEPS[STEPS.length - 1] ? month : day;
      const words = midnight ? date.format(at) : new Date(at).toISOString().slice(11, 16);
      found.push({ at: at - ahead, words, full: step < DAY && midnight });
    }
    return found;
  }

  return {
    HOUR, DAY, opened, drawn, drawnBand, squeezed, within, readingAt, peersAt, nearest, ticks,
    turned, unitOf, figureOf, quantity, hours, degrees, moment, number,
  };
})();
