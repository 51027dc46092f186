"use strict";
/* "Check next" on a unit's card: answers by hand, and what they do to the chances. */
(() => {
  const source = document.getElementById("check-table");
  if (!source) return;
  const { after, hypotheses, nextChecks, tellsBetween, yesTable } = window.coldsiftChecks;
  const OTHER_CHECKS = 6;
  const one = (selector, within) => within.querySelector(selector);
  const all = (selector, within) => [...within.querySelectorAll(selector)];
  const copy = (id) => document.getElementById(id).content.cloneNode(true);
  const table = JSON.parse(source.textContent);
  const placeOf = new Map(table.observations.map((id, place) => [id, place]));
  const causeNames = new Map(table.leaves.map(([cause], leaf) => [cause, table.names[leaf][0]]));
  const lower = (name) => (/^.\p{Lu}/u.test(name) ? name : name.charAt(0).toLowerCase() + name.slice(1));

  const percent = (chance) =>
    `${chance > 0.99 ? "over 99" : chance < 0.01 ? "under 1" : (100 * chance).toFixed(0)}\u00a0%`;
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
  }

  function save(container, given) {
    const answers = Object.fromEntries(given.filter(([, seen]) => seen !== null));
    const text = JSON.stringify({ coldsift_answers: 1, container, answers }, null, 1);
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([`${text}\n`], { type: "application/json" }));
    link.download = `answers-${container.replace(/[^A-Za-z0-9]+/g, "-")}.json`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  }

  /* One unit: reads its chances, takes answers, and keeps its part of the page in step. */
  function start(card) {
    const part = one(".probable", card);
    const container = part.dataset.container;
    const { chances: before, several } = JSON.parse(one(".unit-chances", part).textContent);
    const yes = yesTable(table, several);
    const list = one(".hypotheses", part);
    const rows = new Map(all(".hypothesis", list).map((row) => [row.dataset.cause, row]));
    const first = new Set(all(".hypothesis:not([hidden])", list).map((row) => row.dataset.cause));
    const panel = one(".panel", copy("check-panel"));
    let given = kept(container);

    /* A cause that was too unlikely to be shown gets its row when an answer brings it up. */
    function rowOf(cause) {
      if (!rows.has(cause)) {
        const row = all(".hypothesis", copy("blank-hypotheses")).find((each) => each.dataset.cause === cause);
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
        ? `Tells most between “${leafName(between[0])}” (yes) and “${leafName(between[1])}” (no).`
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
          change([...given, [table.observations[place], seen]]);
        };
      }
      return item;
    }

    function showGiven() {
      const answers = given.map(([id, seen]) => {
        const item = one("li", copy("given-answer"));
        const check = table.checks[placeOf.get(id)];
        one(".question", item).textContent = check.question;
        one(".seen", item).textContent = seen === null ? "cannot tell" : seen ? "yes" : "no";
        const undo = one("button", item);
        undo.setAttribute("aria-label", `Undo: ${check.question}`);
        undo.onclick = () => change(given.filter((each) => each[0] !== id));
        return item;
      });
      one(".given ol", panel).replaceChildren(...answers);
      one(".given", panel).hidden = given.length === 0;
    }

    function show() {
      const seen = new Map(given.filter((each) => each[1] !== null).map(([id, yes]) => [placeOf.get(id), yes]));
      const chances = after(before, yes, seen);
      const [leading, second] = showChances(chances);
      const open = nextChecks(table, chances, yes, given.map(([id]) => placeOf.get(id)));
      const best = one(".best", panel);
      best.hidden = open.length === 0;
      one(".nothing-more", panel).hidden = open.length > 0;
      if (open.length) fill(best, open[0].place, chances);
      const others = open.slice(1, 1 + OTHER_CHECKS);
      one(".others", panel).hidden = others.length === 0;
      one(".others ol", panel).replaceChildren(
        ...others.map(({ place }) => fill(one("li", copy("other-check")), place, chances)),
      );
      showGiven();
      const answered = seen.size === 1 ? "1 answer" : `${seen.size} answers`;
      const named = ({ cause, chance }) => `${lower(causeNames.get(cause))}, ${inWords(chance)}`;
      one(".standing", panel).textContent =
        `${seen.size ? `After ${answered}` : "Before any check"}: ${named(leading)}; then ${named(second)}.`;
      const note = one(".answered", card);
      note.hidden = seen.size === 0;
      note.textContent = `Answers given: ${seen.size}, now: ${nameOf(leading.cause)} ${percent(leading.chance)}`;
    }

    function change(answers) {
      given = answers;
      keep(container, given);
      show();
      /* The pressed button is gone: go on at the next question. */
      const next = one(".best", panel).hidden ? one(".nothing-more", panel) : one(".best", panel);
      next.focus({ preventScroll: true });
      next.scrollIntoView({ block: "nearest" });
    }

    one(".save", panel).onclick = () => save(container, given);
    one(".again", panel).onclick = () => change([]);
    show();
    one(".paper-checks", part).replaceWith(panel);
  }

  for (const card of document.querySelectorAll("details.unit")) {
    if (!one(".probable", card)) continue;
    let started = false;
    const begin = () => {
      if (started) return;
      started = true;
      start(card);
    };
    card.addEventListener("toggle", begin);
    if (card.open || kept(one(".probable", card).dataset.container).length) begin();
  }
})();
