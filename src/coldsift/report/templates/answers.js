"use strict";
/* Checks on a unit's card: answers by hand, and what they do to the chances. */
(() => {
  const table = window.coldsiftCheckTable;
  if (!table) return;
  const { after, before, hypotheses, nextChecks, tellsBetween, yesTable } = window.coldsiftChecks;
  const OTHER_CHECKS = 6;
  const { one, all, text } = window.coldsift;
  /* A sentence in the page's language with its {placeholders} filled. */
  const told = (words, values) => words.replace(/\{(\w+)\}/g, (whole, name) => values[name]);
  const copy = (id) => document.getElementById(id).content.cloneNode(true);
  /* Rows of causes that no card shows at first; our own escaped HTML. */
  const blanks = document.createElement("template");
  blanks.innerHTML = window.coldsiftBlankHypotheses;
  const placeOf = new Map(table.observations.map((id, place) => [id, place]));
  const causeNames = new Map(table.leaves.map(([cause], leaf) => [cause, table.names[leaf][0]]));
  const lower = (name) => (/^.\p{Lu}/u.test(name) ? name : name.charAt(0).toLowerCase() + name.slice(1));

  const percent = (chance) =>
    `${chance > 0.99 ? text("over 99") : chance < 0.01 ? text("under 1") : (100 * chance).toFixed(0)}\u00a0%`;
  const inWords = (chance) =>
    `${table.chances.find(([edge]) => chance >= edge || edge === 0)[1]} (${percent(chance)})`;

  /* Answers stay on the device where the browser lets a page keep anything; a file may be refused. */
  const key = (container) => `coldsift answers ${table.run} ${container}`;
  function kept(container) {
    try {
      const read = JSON.parse(localStorage.getItem(key(container)) ?? "[]");
      return Array.isArray(read)
        ? read.filter((each) => Array.isArray(each) && placeOf.has(each[0]) && [true, false, null].includes(each[1]))
        : [];
    } catch {
      return [];
    }
  }
  function keep(container, given) {
    try {
      if (given.length) localStorage.setItem(key(container), JSON.stringify(given));
      else localStorage.removeItem(key(container));
    } catch {
      /* Refused: the answers last as long as the page is open. */
    }
    /* The list marks units with answers. */
    dispatchEvent(new Event("coldsift-answers"));
  }

  function save(container, given) {
    const answers = Object.fromEntries(given.filter(([, seen]) => seen !== null));
    const file = JSON.stringify({ coldsift_answers: 1, container, answers }, null, 1);
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([`${file}\n`], { type: "application/json" }));
    link.download = `answers-${container.replace(/[^A-Za-z0-9]+/g, "-")}.json`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  }

  /* One unit: reads its chances, takes answers, and keeps its part of the page in step. */
  function start(unit) {
    const part = one(".card", unit);
    const container = part.dataset.container;
    /* Papers and notes answered what is held: the chances have it in them already. */
    const { chances: logged, several, held = [], confirm = null } = JSON.parse(one(".unit-chances", part).textContent);
    const yes = yesTable(table, several);
    const list = one(".hypotheses", part);
    const rows = new Map(all(".hypothesis", list).map((row) => [row.dataset.cause, row]));
    const first = new Set(all(".hypothesis:not([hidden])", list).map((row) => row.dataset.cause));
    const panel = one(".panel", copy("check-panel"));
    const others = one(".others", copy("other-checks"));
    let given = kept(container);

    /* A cause that was too unlikely to be shown gets its row when an answer brings it up. */
    function rowOf(cause) {
      if (!rows.has(cause)) {
        const row = all(".hypothesis", blanks.content.cloneNode(true)).find((each) => each.dataset.cause === cause);
        list.append(row);
        rows.set(cause, row);
      }
      return rows.get(cause);
    }
    /* More than one cause names this unit's pair, which stands in its row only. */
    const nameOf = (cause) => (rows.has(cause) ? one(".name", rows.get(cause)).textContent : causeNames.get(cause));
    const leafName = (leaves) =>
      (leaves.length === 1 && table.names[leaves[0]][1]) || nameOf(table.leaves[leaves[0]][0]);

    function showChances(chances) {
      const found = hypotheses(table, chances);
      const ordered = found.filter(({ cause }) => cause !== table.healthy).sort((a, b) => b.chance - a.chance);
      const likely = ordered.slice(0, table.most_hypotheses).filter(({ chance }) => chance >= table.worth_naming);
      const shown = new Set([...first, ...likely.map(({ cause }) => cause)]);
      let rest = 0;
      for (const { cause, chance, leaves } of [...ordered, found.find(({ cause }) => cause === table.healthy)]) {
        if (!shown.has(cause)) {
          rest += chance;
          if (rows.has(cause)) rows.get(cause).hidden = true;
          continue;
        }
        const row = rowOf(cause);
        row.hidden = false;
        one(".chance", row).textContent = inWords(chance);
        one(".bar > span", row).style.width = `${100 * chance}%`;
        for (const kind of all(".kinds > li", row)) {
          const leaf = leaves.find((each) => table.leaves[each][1] === kind.dataset.kind);
          one(".chance", kind).textContent = percent(chances[leaf]);
        }
        list.append(row);
      }
      one(".rest .chance", part).textContent = inWords(rest);
      return [...found].sort((a, b) => b.chance - a.chance);
    }

    function fill(item, place, chances) {
      const check = table.checks[place];
      const between = tellsBetween(table, chances, yes[place]);
      one(".question", item).textContent = check.question;
      one(".how", item).textContent = check.how;
      one(".cost", item).textContent = `${check.minutes}, ${check.risk}`;
      one(".mind", item).textContent = check.caution;
      one(".mind", item).hidden = !check.caution;
      one(".tells", item).textContent = between
        ? told(text("Tells most between “{yes}” (yes) and “{no}” (no)."), {
            yes: leafName(between[0]), no: leafName(between[1]),
          })
        : "";
      const buttons = one(".buttons", item);
      buttons.setAttribute("aria-label", check.question);
      one('[data-seen="yes"] .words', item).textContent = check.yes;
      one('[data-seen="no"] .words', item).textContent = check.no;
      for (const button of all("button", buttons)) {
        button.onclick = (event) => {
          /* The second click of a double click would answer the next question. */
          if (event.detail > 1) return;
          const seen = { yes: true, no: false, skip: null }[button.dataset.seen];
          change([...given, [table.observations[place], seen]], event.target.closest(".others"));
        };
      }
      return item;
    }

    function showGiven() {
      const answers = given.map(([id, seen]) => {
        const item = one("li", copy("given-answer"));
        const check = table.checks[placeOf.get(id)];
        one(".question", item).textContent = check.question;
        one(".seen", item).textContent = seen === null ? text("cannot tell") : seen ? text("yes") : text("no");
        const undo = one("button", item);
        undo.setAttribute("aria-label", told(text("Undo: {question}"), { question: check.question }));
        undo.onclick = () => change(given.filter((each) => each[0] !== id));
        return item;
      });
      one(".given ol", panel).replaceChildren(...answers);
      one(".given", panel).hidden = given.length === 0;
    }

    function show() {
      const seen = new Map(given.filter((each) => each[1] !== null).map(([id, yes]) => [placeOf.get(id), yes]));
      /* What somebody sees at the unit takes the place of what the papers said. */
      const replaced = new Map(held.filter(([place]) => seen.has(place)));
      const chances = after(table, replaced.size ? before(table, logged, yes, replaced) : logged, yes, seen);
      const [leading, second] = showChances(chances);
      const made = given.map(([id]) => placeOf.get(id));
      const asked = [...held.map(([place]) => place), ...made];
      const open = nextChecks(table, chances, yes, asked, made.includes(confirm) ? null : confirm);
      const best = one(".best", panel);
      best.hidden = open.length === 0;
      one(".nothing-more", panel).hidden = open.length > 0;
      if (open.length) fill(best, open[0].place, chances);
      const rest = open.slice(1, 1 + OTHER_CHECKS);
      one(".no-others", others).hidden = rest.length > 0;
      one("ol", others).replaceChildren(
        ...rest.map(({ place }) => fill(one("li", copy("other-check")), place, chances)),
      );
      showGiven();
      const named = ({ cause, chance }) => `${lower(causeNames.get(cause))}, ${inWords(chance)}`;
      const standing = seen.size === 1
        ? text("After 1 answer: {first}; then {second}.")
        : text("After {count} answers: {first}; then {second}.");
      one(".so-far", panel).textContent = seen.size
        ? told(standing, { count: seen.size, first: named(leading), second: named(second) })
        : "";
      const note = one(".answered", unit);
      if (!note) return;
      note.hidden = seen.size === 0;
      note.textContent = told(text("Answers given: {count}, now: {cause} {chance}"), {
        count: seen.size, cause: nameOf(leading.cause), chance: percent(leading.chance),
      });
    }

    /* The pressed button is gone: go on at the next question, or among the other checks. */
    function change(answers, among = null) {
      given = answers;
      keep(container, given);
      show();
      const best = one(".best", panel);
      const next = among ?? (best.hidden ? one(".nothing-more", panel) : best);
      next.focus({ preventScroll: true });
      next.scrollIntoView({ block: "nearest" });
    }

    one(".save", panel).onclick = () => save(container, given);
    one(".again", panel).onclick = () => change([]);
    show();
    one(".paper-first", part).replaceWith(panel);
    one(".paper-checks", part).replaceWith(others);
  }

  for (const card of all(".unit")) {
    if (!one(".unit-chances", card)) continue;
    let started = false;
    const begin = () => {
      if (started) return;
      started = true;
      start(card);
    };
    card.addEventListener("toggle", begin);
    if ((card.open ?? true) || kept(one(".card", card).dataset.container).length) begin();
  }
})();
