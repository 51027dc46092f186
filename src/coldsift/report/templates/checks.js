"use strict";
/* The sums of src/coldsift/causes/checks.py, number for number; tests hold the two against each other.
   A table has leaves [[cause, kind]], observations [id], yes [observation][leaf], cost [observation],
   several (the id of more than one cause), confirming {cause: [place of observation]}, confirm_from,
   settling {place of observation: leaf that a yes is}, settled and least_bits. The first leaf is a good unit. */
window.coldsiftChecks = (() => {
  const sum = (values) => values.reduce((total, value) => total + value, 0);
  const dot = (left, right) => left.reduce((total, value, place) => total + value * right[place], 0);
  const entropy = (chance) => -(chance * Math.log2(chance) + (1 - chance) * Math.log2(1 - chance));

  /* The table's chances of a yes, with one unit's own column for more than one cause. */
  function yesTable(table, several) {
    const own = table.leaves.findIndex(([cause]) => cause === table.several);
    return table.yes.map((row, place) => row.map((chance, leaf) => (leaf === own ? several[place] : chance)));
  }

  /* Leaves that a yes among the answers is. */
  const settledBy = (table, answers) => (
    Object.entries(table.settling).filter(([place]) => answers.get(Number(place))).map(([, leaf]) => leaf)
  );

  /* Chances after what was seen, by Bayes' rule; answers is a Map from an observation's place to yes or no. */
  function after(table, chances, yes, answers) {
    let updated = [...chances];
    for (const [place, seen] of [...answers].sort(([one], [other]) => one - other)) {
      updated = updated.map((chance, leaf) => chance * (seen ? yes[place][leaf] : 1 - yes[place][leaf]));
    }
    const whole = sum(updated);
    updated = updated.map((chance) => chance / whole);
    for (const leaf of settledBy(table, answers)) {
      const moved = table.settled * updated[0];
      updated[0] -= moved;
      updated[leaf] += moved;
    }
    return updated;
  }

  /* Chances as they were before what was seen: takes after back. */
  function before(table, chances, yes, answers) {
    let earlier = [...chances];
    for (const leaf of settledBy(table, answers).reverse()) {
      const whole = earlier[0] / (1 - table.settled);
      earlier[leaf] -= whole - earlier[0];
      earlier[0] = whole;
    }
    /* What was nearly all moved comes back with a rounding. */
    earlier = earlier.map((chance) => Math.max(chance, 0));
    for (const [place, seen] of [...answers].sort(([one], [other]) => one - other)) {
      earlier = earlier.map((chance, leaf) => chance / (seen ? yes[place][leaf] : 1 - yes[place][leaf]));
    }
    const whole = sum(earlier);
    return earlier.map((chance) => chance / whole);
  }

  /* Expected information of every observation. [bit] */
  function information(chances, yes) {
    return yes.map((row) => Math.max(entropy(dot(row, chances)) - dot(row.map(entropy), chances), 0));
  }

  /* Places of the observations that confirm the leading cause, when it is likely enough. */
  function confirming(table, chances) {
    const sure = hypotheses(table, chances).find(
      ({ cause, chance }) => cause in table.confirming && chance >= table.confirm_from,
    );
    return sure ? table.confirming[sure.cause] : [];
  }

  /* Observations worth making, the best first; answered holds the places of those already made, and confirm
     the place of one that goes before all others, answered or not. */
  function nextChecks(table, chances, yes, answered = [], confirm = null) {
    const made = new Set(answered);
    const first = [...(confirm === null ? [] : [confirm]), ...confirming(table, chances)];
    const rank = (place) => (first.includes(place) ? first.indexOf(place) : first.length);
    return information(chances, yes)
      .map((bits, place) => ({
        observation: table.observations[place], place, bits, bitsPerMinute: bits / table.cost[place],
      }))
      .filter(({ bits, place }) => place === confirm || (bits >= table.least_bits && !made.has(place)))
      .sort((one, other) => rank(one.place) - rank(other.place) || other.bitsPerMinute - one.bitsPerMinute);
  }

  /* Hypotheses with their kinds' chances together: [{cause, chance, leaves}], in the table's order. */
  function hypotheses(table, chances) {
    const found = new Map();
    table.leaves.forEach(([cause], leaf) => {
      if (!found.has(cause)) found.set(cause, { cause, chance: 0, leaves: [] });
      const own = found.get(cause);
      own.leaves.push(leaf);
      own.chance += chances[leaf];
    });
    return [...found.values()];
  }

  /* The two hypotheses, or two kinds of one cause, that an answer tells most between: those whose chances of a
     yes differ most, weighted with both chances. Each is a list of leaves, the one that a yes speaks for first. */
  function tellsBetween(table, chances, row) {
    const point = (leaves) => {
      const chance = sum(leaves.map((leaf) => chances[leaf]));
      return { leaves, chance, yes: chance > 0 ? sum(leaves.map((leaf) => chances[leaf] * row[leaf])) / chance : 0 };
    };
    const whole = hypotheses(table, chances);
    const rivals = [whole.map(({ leaves }) => point(leaves))];
    for (const { leaves } of whole) rivals.push(leaves.map((leaf) => point([leaf])));
    let best = { worth: 0, pair: null };
    for (const group of rivals) {
      group.forEach((one, place) => {
        for (const other of group.slice(place + 1)) {
          const worth = one.chance * other.chance * Math.abs(one.yes - other.yes);
          if (worth > best.worth) best = { worth, pair: one.yes >= other.yes ? [one, other] : [other, one] };
        }
      });
    }
    return best.pair && best.pair.map(({ leaves }) => leaves);
  }

  return { after, before, hypotheses, information, nextChecks, tellsBetween, yesTable };
})();
