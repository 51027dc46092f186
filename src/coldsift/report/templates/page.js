"use strict";
(() => {
  const one = (selector, within = document) => within.querySelector(selector);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const body = one(".ranking tbody");
  const rows = all("tr", body);
  const cards = all("details.unit");
  const search = one("#search");
  const group = one("#group");
  const sort = one("#sort");
  const texts = new Map(rows.map((row) => [row, row.textContent.toLowerCase()]));

  /* Search and group filter: the list and the units below show the same. */
  function filter() {
    const wanted = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    const shown = new Set();
    for (const row of rows) {
      const fits = wanted.every((word) => texts.get(row).includes(word)) &&
        (!group.value || row.dataset.group === group.value);
      row.hidden = !fits;
      if (fits) shown.add(row.dataset.unit);
    }
    for (const card of cards) card.hidden = !shown.has(card.dataset.unit);
    one("#shown").textContent = `${shown.size} of ${rows.length} shown`;
    one("#none-shown").hidden = shown.size > 0 || rows.length === 0;
  }

  /* Sort: stable, units without a value last either way. */
  function sortBy(key, down) {
    const value = (row) => one(`[data-key="${key}"]`, row).dataset.value;
    const text = key === "container";
    const compare = (a, b) => {
      const [x, y] = [value(a), value(b)];
      if (x === "" || y === "") return (x === "") - (y === "");
      const order = text ? (x < y ? -1 : x > y ? 1 : 0) : Number(x) - Number(y);
      return down ? -order : order;
    };
    body.append(...[...rows].sort(compare));
    for (const head of all("th[data-key]")) {
      if (head.dataset.key === key) head.setAttribute("aria-sort", down ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
    }
    sort.value = key === "group" ? "rank" : key;
  }
  const largestFirst = new Set(["chance", "weight", "excursions"]);

  search.addEventListener("input", filter);
  group.addEventListener("change", filter);
  sort.addEventListener("change", () => sortBy(sort.value, largestFirst.has(sort.value)));
  for (const head of all("th[data-key]")) {
    one("button", head).addEventListener("click", () => {
      const now = head.getAttribute("aria-sort");
      sortBy(head.dataset.key, now ? now === "ascending" : largestFirst.has(head.dataset.key));
    });
  }
  for (const tile of all("a.tile")) {
    tile.addEventListener("click", () => {
      group.value = tile.dataset.group;
      filter();
    });
  }

  /* Charts: drawn when their unit is first opened. */
  const arrays = { u1: Uint8Array, u4: Uint32Array, f4: Float32Array };
  function numbers(packed) {
    if (!packed.bdata) return packed;
    const bytes = Uint8Array.from(atob(packed.bdata), (letter) => letter.charCodeAt(0));
    return new arrays[packed.dtype](bytes.buffer);
  }
  function draw(card) {
    const place = one(".chart", card);
    if (!place || place.dataset.drawn) return;
    place.dataset.drawn = "yes";
    const figure = JSON.parse(one(".figure-data", card).textContent);
    const start = Date.parse(figure.layout.meta.start);
    /* A text without a zone is shown as it stands: UTC, whatever the zone of the reader's device. */
    const date = (seconds) => new Date(start + 1000 * seconds).toISOString().slice(0, 19);
    for (const trace of figure.data) trace.x = Array.from(numbers(trace.x), date);
    figure.layout.xaxis.range = [date(0), date(figure.layout.meta.last)];
    /* On a touch screen a drag must scroll the page; the buttons zoom. */
    figure.layout.dragmode = matchMedia("(pointer: coarse)").matches ? false : "zoom";
    Plotly.newPlot(place, figure.data, figure.layout, {
      responsive: true, displaylogo: false, displayModeBar: true,
      modeBarButtons: [["zoomIn2d", "zoomOut2d", "resetScale2d"]],
    });
    addKey(place, figure.data);
  }

  /* The chart's key: one button a line or shading, which hides and shows it. */
  function addKey(place, traces) {
    const key = document.createElement("p");
    key.className = "key";
    for (const name of new Set(traces.map((trace) => trace.legendgroup))) {
      const members = traces.flatMap((trace, index) => (trace.legendgroup === name ? [index] : []));
      const first = traces[members[0]];
      const swatch = document.createElement("span");
      if (first.type === "bar") {
        swatch.className = `swatch pattern-${{ "/": "lines", x: "cross", ".": "dots" }[first.marker.pattern?.shape] ?? "full"}`;
        swatch.style.color = first.marker.color;
      } else {
        const look = first.line ?? { color: first.marker.color, width: 2 };
        swatch.className = "swatch line";
        swatch.style.borderTop = `${Math.max(2, look.width)}px ${{ dot: "dotted", dash: "dashed" }[look.dash] ?? "solid"} ${look.color}`;
      }
      const button = document.createElement("button");
      button.type = "button";
      button.setAttribute("aria-pressed", "true");
      button.append(swatch, name);
      button.addEventListener("click", () => {
        const show = button.getAttribute("aria-pressed") !== "true";
        button.setAttribute("aria-pressed", String(show));
        Plotly.restyle(place, { visible: show }, members);
      });
      key.append(button);
    }
    place.before(key);
  }
  for (const card of cards) card.addEventListener("toggle", () => card.open && draw(card));
  one("#open-urgent").addEventListener("click", () => {
    for (const card of cards) if (["go_now", "this_round"].includes(card.dataset.group)) card.open = true;
  });
  one("#close-all").addEventListener("click", () => {
    for (const card of cards) card.open = false;
  });

  /* A link to a unit opens it, also when a filter hides it. */
  function openFromAddress() {
    const section = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const card = section && section.closest("details.unit");
    if (!card) return;
    card.hidden = false;
    card.open = true;
    section.scrollIntoView();
  }
  addEventListener("hashchange", openFromAddress);
  for (const link of all('a[href^="#unit-"]')) {
    link.addEventListener("click", () => link.hash === location.hash && openFromAddress());
  }

  /* Paper is narrower than the screen. */
  const drawn = () => all(".chart[data-drawn]").filter((place) => place.closest("details.unit").open);
  addEventListener("beforeprint", () => {
    for (const card of cards) if (card.open) draw(card);
    for (const place of drawn()) Plotly.relayout(place, { autosize: false, width: 680 });
  });
  addEventListener("afterprint", () => {
    for (const place of drawn()) Plotly.relayout(place, { autosize: true, width: null });
  });

  one("form.controls").hidden = false;
  one("#openers").hidden = false;
  one("form.controls").addEventListener("submit", (event) => event.preventDefault());
  filter();
  /* The chart library stands after this script. */
  addEventListener("DOMContentLoaded", openFromAddress);
})();
