"use strict";
/* The first screen and the ranked list: search, filters, sort, columns, all of it kept in the address. */
(() => {
  const { one, all, text, address } = window.coldsift;
  const narrow = matchMedia("(max-width: 60rem)");

  /* Long lists show their beginning; a button shows the rest. */
  for (const list of all("[data-most]")) {
    const items = [...list.children];
    const most = Number(narrow.matches ? list.dataset.mostNarrow : list.dataset.most);
    /* A button in place of a single line would save nothing. */
    if (items.length <= most + 1) continue;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "rest-of";
    const fold = (folded) => {
      for (const item of items.slice(most)) item.classList.toggle("beyond", folded);
      button.textContent = text(folded ? "Show all {count}" : "Show the first {count}")
        .replace("{count}", folded ? items.length : most);
      button.setAttribute("aria-expanded", String(!folded));
    };
    button.addEventListener("click", () => fold(button.getAttribute("aria-expanded") === "true"));
    fold(true);
    if (list.tagName === "TBODY") {
      list.parentElement.after(button);
    } else {
      const item = document.createElement("li");
      item.append(button);
      list.append(item);
    }
  }

  /* The mouse finds the words of a box on the plan, too; twice on the page they would weigh too much. */
  for (const bay of all(".bay")) {
    bay.addEventListener("pointerover", ({ target }) => {
      const slot = target.closest(".slot");
      if (slot) slot.title = slot.ariaLabel;
    });
  }

  const table = one(".ranking");
  if (!table) return;
  const body = one("tbody", table);
  const rows = all("tr", body);
  const heads = all("th[data-key]", table);
  const cards = all("details.unit");
  const others = one(".unlisted");
  const links = others ? all("a", others) : [];
  const unitOf = (link) => `unit-${link.getAttribute("href").replace(/^(units\/|#unit-)/, "").replace(/\.html$/, "")}`;
  const form = one("form.list");
  const search = one("#search");
  const chips = all(".chip", form);
  const choices = all(".pickers select", form);
  const sort = one("#sort");
  const reverse = one("#reverse");
  const boxes = all("#columns input", form);
  const usualColumns = () => (narrow.matches ? table.dataset.narrow : table.dataset.usual).split(" ");

  /* Search: every word, anywhere in the row, also in columns that are not shown. */
  const plain = (words) =>
    words.normalize("NFD").replace(/\p{M}|[\u202f\u2068\u2069]/gu, "").replaceAll("−", "-").replace(/\s+/g, " ").toLowerCase();
  const numbers = new Map(links.map((link) => [link, plain(link.textContent)]));
  let texts = new Map();
  const readTexts = () => (texts = new Map(rows.map((row) => [row, plain(row.textContent)])));
  readTexts();

  const told = (some, every) => text("{shown} of {all} shown").replace("{shown}", some).replace("{all}", every);
  const pressed = () => chips.filter((chip) => chip.getAttribute("aria-pressed") === "true");

  function filter() {
    const wanted = plain(search.value).split(" ").filter(Boolean);
    const groups = pressed().map((chip) => chip.dataset.group);
    const narrowed = choices.filter((choice) => choice.value);
    const shown = new Set();
    for (const row of rows) {
      const fits = (!groups.length || groups.includes(row.dataset.group)) &&
        narrowed.every((choice) => row.dataset[choice.id] === choice.value) &&
        wanted.every((word) => texts.get(row).includes(word));
      if (row.hidden === fits) row.hidden = !fits;
      if (fits) shown.add(row.dataset.unit);
    }
    const count = told(shown.size, rows.length);
    /* Of the units without a row only number and group are known here. */
    let found = 0;
    for (const link of links) {
      link.hidden = narrowed.length > 0 || (groups.length && !groups.includes(link.parentElement.dataset.group)) ||
        !wanted.every((word) => numbers.get(link).includes(word));
      if (link.hidden) continue;
      found += 1;
      shown.add(unitOf(link));
    }
    if (others) {
      one("output", others).textContent = told(found, links.length);
      others.open = wanted.length > 0 && found > 0;
    }
    for (const card of cards) card.hidden = !shown.has(card.dataset.unit);
    one("#shown").textContent = count;
    one("#none-shown").hidden = shown.size > 0;
    one("#clear").hidden = !wanted.length && !groups.length && !narrowed.length;
    one("#in-use").textContent = narrowed.length ? `(${narrowed.length})` : "";
    inWords(count);
  }

  /* What is shown, and in which order, for paper. */
  const label = (control) => one("span", control.closest("label")).textContent;
  const chosen = (control) => control.selectedOptions[0].textContent;
  function inWords(count) {
    const said = [count];
    if (search.value.trim()) said.push(`${label(search)}: “${search.value.trim()}”`);
    const groups = pressed().map((chip) => chip.textContent.trim().replace(/\s+/g, " "));
    if (groups.length) said.push(`${text("Group")}: ${groups.join(", ")}`);
    for (const choice of choices) if (choice.value) said.push(`${label(choice)}: ${chosen(choice)}`);
    if (sort.value !== "rank" || isDown()) {
      said.push(`${label(sort)}: ${chosen(sort)}${isDown() ? ` (${text("downwards")})` : ""}`);
    }
    one("#in-words").textContent = said.length > 1 ? `${said.join(". ")}.` : "";
  }

  /* Sort: stable, units without a value last either way; words by the alphabet of the page's language. */
  const alphabet = new Intl.Collator(document.documentElement.lang, { numeric: true });
  const isDown = () => reverse.getAttribute("aria-pressed") === "true";
  const largestFirst = new Set(["chance", "weight", "excursions"]);
  function sortRows() {
    const key = sort.value;
    const valued = rows.map((row) => {
      const cell = one(`td.${key}`, row);
      if (cell.dataset.value !== undefined) return [row, cell.dataset.value === "" ? null : Number(cell.dataset.value)];
      return [row, one(".said, .number, .position", cell)?.textContent.trim() ?? null];
    });
    const sign = isDown() ? -1 : 1;
    valued.sort(([, x], [, y]) => {
      if (x === null || y === null) return (x === null) - (y === null);
      return sign * (typeof x === "number" ? x - y : alphabet.compare(x, y));
    });
    body.append(...valued.map(([row]) => row));
    for (const head of heads) {
      if (head.dataset.key === key) head.setAttribute("aria-sort", isDown() ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
    }
  }
  function sortBy(key, down) {
    sort.value = key;
    reverse.setAttribute("aria-pressed", String(down));
    sortRows();
  }

  /* Columns. */
  const scroll = table.parentElement;
  const fit = () => scroll.classList.toggle("fits", table.offsetWidth <= scroll.clientWidth);
  function showColumns(keys) {
    for (const box of boxes) box.checked = keys.includes(box.value);
    const shown = heads.filter(({ dataset: { key } }) => key === "container" || keys.includes(key));
    const widths = shown.map((head) => Number(head.dataset.width));
    table.dataset.columns = shown.map((head) => head.dataset.key).join(" ");
    table.style.setProperty("--columns", widths.map((width) => `${width}fr`).join(" "));
    table.style.setProperty("--least", `${widths.reduce((sum, width) => sum + width, 0)}rem`);
    fit();
  }
  const checked = () => boxes.filter((box) => box.checked).map((box) => box.value);
  const asUsual = () => checked().join() === usualColumns().filter((key) => key !== "container").join();

  /* The state of the list, in the address and out of it. */
  const state = () => ({
    search: search.value.trim(),
    group: pressed().map((chip) => chip.dataset.group).join(","),
    ...Object.fromEntries(choices.map((choice) => [choice.id, choice.value])),
    sort: sort.value === "rank" && !isDown() ? "" : `${isDown() ? "-" : ""}${sort.value}`,
    columns: asUsual() ? "" : checked().join(","),
  });
  let waiting = 0;
  function keep() {
    clearTimeout(waiting);
    address.set(state());
  }
  function restore() {
    clearTimeout(waiting);
    search.value = address.get("search");
    const groups = address.get("group").split(",");
    for (const chip of chips) chip.setAttribute("aria-pressed", String(groups.includes(chip.dataset.group)));
    for (const choice of choices) {
      const value = address.get(choice.id);
      choice.value = [...choice.options].some((each) => each.value === value) ? value : "";
    }
    const [, down, key] = /^(-?)(.*)$/.exec(address.get("sort") || "rank");
    sortBy(heads.some((head) => head.dataset.key === key) ? key : "rank", Boolean(down));
    const columns = address.get("columns");
    showColumns(columns ? columns.split(",") : usualColumns());
    filter();
    point();
  }
  /* A unit that has no card on this page is shown in the list. */
  function point() {
    const at = address.get("at");
    for (const row of rows) row.classList.toggle("here", row.dataset.unit === at);
    if (document.getElementById(at)) return;
    const link = at && links.find((each) => unitOf(each) === at);
    if (link) {
      others.open = true;
      link.hidden = false;
      link.scrollIntoView({ block: "center" });
      link.focus({ preventScroll: true });
    }
    const row = one("tr.here", body);
    if (!row) return;
    row.hidden = false;
    row.scrollIntoView({ block: "center" });
    one("a", row).focus({ preventScroll: true });
  }

  function change() {
    filter();
    keep();
  }
  search.addEventListener("input", () => {
    filter();
    /* Browsers allow only so many changes of the address a second. */
    clearTimeout(waiting);
    waiting = setTimeout(keep, 300);
  });
  search.addEventListener("change", keep);
  for (const chip of chips) {
    chip.addEventListener("click", () => {
      chip.setAttribute("aria-pressed", String(chip.getAttribute("aria-pressed") !== "true"));
      change();
    });
  }
  for (const choice of choices) choice.addEventListener("change", change);
  function reorder(key, down) {
    sortBy(key, down);
    change();
  }
  sort.addEventListener("change", () => reorder(sort.value, largestFirst.has(sort.value)));
  reverse.addEventListener("click", () => reorder(sort.value, !isDown()));
  for (const head of heads) {
    one("button", head).addEventListener("click", () => {
      const now = head.getAttribute("aria-sort");
      reorder(head.dataset.key, now ? now === "ascending" : largestFirst.has(head.dataset.key));
    });
  }
  for (const box of boxes) {
    box.addEventListener("change", () => {
      showColumns(checked());
      keep();
    });
  }
  one("#usual").addEventListener("click", () => {
    showColumns(usualColumns());
    keep();
  });
  one("#clear").addEventListener("click", () => {
    search.value = "";
    for (const chip of chips) chip.setAttribute("aria-pressed", "false");
    for (const choice of choices) choice.value = "";
    change();
    search.focus();
  });
  for (const tile of all("a.tile")) {
    tile.addEventListener("click", () => {
      for (const chip of chips) chip.setAttribute("aria-pressed", String(chip.dataset.group === tile.dataset.group));
      change();
    });
  }

  /* The address of the list as it is, to send on. */
  one("#copy").addEventListener("click", async () => {
    keep();
    const link = address.with({ at: "units" });
    const copied = one("#copied");
    try {
      await navigator.clipboard.writeText(link);
      copied.textContent = text("Link copied");
      setTimeout(() => (copied.textContent = ""), 4000);
    } catch {
      const field = one("#link input");
      one("#link").hidden = false;
      field.value = link;
      field.select();
    }
  });

  /* Units whose checks were answered on this device. */
  function tick() {
    for (const row of rows) {
      let given = 0;
      try {
        const kept = JSON.parse(localStorage.getItem(`coldsift answers ${table.dataset.run} ${row.dataset.container}`) ?? "[]");
        given = Array.isArray(kept) ? kept.filter((each) => [true, false].includes(each?.[1])).length : 0;
      } catch {
        /* Refused or spoilt: no mark. */
      }
      const mark = one(".ticked", row);
      mark.hidden = !given;
      mark.textContent = given
        ? text(given === 1 ? "✓ 1 answer here" : "✓ {count} answers here").replace("{count}", given)
        : "";
    }
    readTexts();
  }
  for (const event of ["pageshow", "storage", "coldsift-answers"]) addEventListener(event, tick);

  window.coldsift.onPreferences(() => {
    readTexts();
    filter();
  });
  window.coldsift.onView(fit);
  addEventListener("resize", fit);
  narrow.addEventListener("change", () => {
    one("#filters").open = !narrow.matches;
    if (!address.get("columns")) showColumns(usualColumns());
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  form.hidden = false;
  one("#filters").open = !narrow.matches;
  addEventListener("hashchange", restore);
  addEventListener("DOMContentLoaded", restore);
})();
