"""What a unit's card says of the probable cause and of the check to make next.

Goes in: the chances, the evidence and the catalogue. Comes out: view models in words, and the table that the
page's script does its sums with.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import polars as pl

from coldsift.causes import (
    HEALTHY,
    NAMED_CAUSES,
    OTHER,
    SEVERAL,
    WORTH_NAMING,
    Catalogue,
    CheckTable,
    Observation,
    Risk,
    alike_and_likely,
    check_table,
    leaf_chances,
    next_checks,
    to_bring,
    yes_table,
)
from coldsift.causes.checks import (
    CONFIRM_FROM,
    LEAST_BITS,
    RISK_FACTOR,
    SETTLED,
    answered_places,
    places_to_confirm,
)
from coldsift.report import words
from coldsift.report.embedded import script_safe
from coldsift.report.model import CheckView, EvidenceView, FeatureWords, Hypothesis, KindView, ProbableCause

WORTH_TELLING = 0.05
"""A unit in which nothing was found shows its likeliest cause from this chance on."""

MOST_CHECKS = 5
"""Checks listed for whoever reads without scripts."""

RISKS: Mapping[Risk, tuple[str, str]] = {
    Risk.NONE: ("usual care", ""),
    Risk.CARGO: (
        "cargo and its seals",
        "Doors and seals only with leave of whoever answers for the cargo; write down seal numbers. Do not "
        "enter the box.",
    ),
    Risk.MOVING_PARTS: (
        "moving parts, hot pipes",
        "Fans and compressor start by themselves: look, keep hands out, and lock out before reaching in.",
    ),
    Risk.HEIGHT: (
        "work at height",
        "Approved access, fall protection and light; not alone; mind wet decks and the ship’s motion.",
    ),
    Risk.MAINS: (
        "mains voltage",
        "Mains voltage can kill. For authorised persons under local rules: lock out and prove dead, or test "
        "live only where you are permitted to. Drives hold their charge after the plug is out.",
    ),
    Risk.PRESSURE: (
        "pressure",
        "Eye and hand protection; open connections slowly. Work on the refrigerant’s circuit is for licensed "
        "persons under local rules.",
    ),
    Risk.ATMOSPHERE: (
        "air in the box",
        "The air in the box may not support life: test it before the head goes in, do not enter, and keep a "
        "second person outside.",
    ),
}
"""Each risk in a word or two, and the usual caution. Common practice, no source; the catalogue's own cautions
and local rules come first."""

_ABOUT = {
    HEALTHY: "No fault at all. Neither a log nor a few looks can prove it: that is not the same as safe.",
    OTHER: "What the log shows fits a fault, but none of the causes that are weighed here.",
    SEVERAL: "Two causes at once, each of which explains a part of what the log shows.",
}


def probable_causes(
    causes: pl.DataFrame,
    evidence: pl.DataFrame,
    catalogue: Catalogue,
    feature_words: Mapping[str, FeatureWords],
    groups: Mapping[str, str],
    seen: pl.DataFrame | None = None,
    confirm: pl.DataFrame | None = None,
) -> dict[str, ProbableCause]:
    """Word the probable cause of every unit that is shown with one.

    Parameters
    ----------
    causes, evidence
        :data:`coldsift.schema.CAUSES` and :data:`coldsift.schema.EVIDENCE`.
    catalogue
        The one they were judged with.
    feature_words
        Names of features, for evidence that has no words of its own.
    groups
        Ranking group of each container.
    seen, confirm
        As for :func:`coldsift.causes.first_checks`. The chances hold the answers of ``seen`` already: the
        page's script takes one out again when somebody answers that observation at the unit.

    Returns
    -------
    dict
        By container. Left out: units of which the log cannot tell, and those in which nothing was found and
        no cause is likelier than :data:`WORTH_TELLING`.
    """
    table = check_table(catalogue)
    several = table.leaves.index((SEVERAL, ""))
    answered, first = answered_places(seen, table), places_to_confirm(confirm, table)
    containers, chances, pairs = leaf_chances(causes, table)
    rows = causes.sort(
        "container", "place", "chance", "kind", descending=[False, False, True, False]
    ).rows_by_key("container", named=True, include_key=True)
    strength = pl.col("odds").log().abs()
    told = evidence.sort("container", "cause", strength, "feature", descending=[False, False, True, False])
    evidence_rows = told.rows_by_key(["container", "cause"], named=True, include_key=True)
    found = {}
    for container, own, pair in zip(containers, chances, pairs, strict=True):
        by_cause: dict[str, list[dict[str, Any]]] = {}
        for row in rows[container]:
            by_cause.setdefault(row["cause"], []).append(row)
        likely = {name: float(each[0]["cause_chance"]) for name, each in by_cause.items()}
        faults = sorted(likely.keys() - {HEALTHY}, key=lambda name: (-likely[name], name))
        group = groups.get(container, "cannot_tell")
        least = {"cannot_tell": 2.0, "nothing_found": WORTH_TELLING}.get(group, 0.0)
        if not faults or likely[faults[0]] < least:
            continue
        shown = [
            name
            for place, name in enumerate(faults[:NAMED_CAUSES])
            if place == 0 or likely[name] >= WORTH_NAMING
        ]
        together = alike_and_likely(faults[0], likely, catalogue)
        name, chance = lead(together, pair, likely, catalogue)
        parts, tools = to_bring(together, catalogue)
        yes = yes_table(table, pair, own)
        held, to_confirm = answered.get(container, {}), first.get(container)
        worth = next_checks(table, own, yes, list(held), to_confirm)[:MOST_CHECKS]
        found[container] = ProbableCause(
            name=name,
            chance=words.chance(chance),
            undecided=chance > likely[faults[0]],
            named=group != "nothing_found" and chance >= WORTH_NAMING,
            parts=parts,
            tools=tools,
            hypotheses=tuple(
                _hypothesis(
                    each,
                    pair,
                    catalogue,
                    by_cause[each],
                    [_evidence(row, feature_words) for row in evidence_rows.get((container, each), [])],
                    each in shown,
                )
                # More than one cause is a unit's own pair: it stands ready for when an answer brings it up.
                for each in [*shown, *({SEVERAL} & by_cause.keys() - set(shown))]
            ),
            nothing_wrong=_hypothesis(HEALTHY, pair, catalogue, by_cause.get(HEALTHY, []), (), True),
            rest=words.chance(sum(likely[each] for each in faults if each not in shown)),
            checks=tuple(check_view(catalogue.observations[each.observation]) for each in worth),
            # The unit's own column goes with it: which of two causes shows is settled here, once.
            data=script_safe(
                {
                    "chances": own.tolist(),
                    "several": yes[:, several].tolist(),
                    **({"held": list(held.items())} if held else {}),
                    **({} if to_confirm is None else {"confirm": to_confirm}),
                }
            ),
        )
    return found


def lead(
    together: Sequence[str], pair: Sequence[str], chances: Mapping[str, float], catalogue: Catalogue
) -> tuple[str, float]:
    """Name the likeliest cause, with those that the log does not tell from it.

    Parameters
    ----------
    together
        From :func:`coldsift.causes.alike_and_likely`.
    pair
        The two causes behind more than one.
    chances
        By hypothesis, 0 to 1.
    catalogue
        Names the causes.

    Returns
    -------
    tuple
        Words, and the chance of all that they name.
    """
    if len(together) == 1:
        return hypothesis_name(together[0], pair, catalogue), chances[together[0]]
    first, *others = map(catalogue.name, together)
    named = ", or ".join([first, *map(words.inside_a_sentence, others)])
    return f"{named} (the log does not tell which)", sum(chances[each] for each in together)


def hypothesis_name(cause: str, pair: Sequence[str], catalogue: Catalogue) -> str:
    """Name a hypothesis so that it can stand alone; more than one cause names its likeliest pair."""
    name = catalogue.name(cause)
    if cause != SEVERAL or not pair:
        return name
    return f"{name}: {', and '.join(words.inside_a_sentence(catalogue.name(each)) for each in pair)}"


def check_view(observation: Observation) -> CheckView:
    """Word one observation that is worth making."""
    risk, caution = RISKS[observation.risk]
    return CheckView(
        question=observation.question,
        how=observation.how,
        minutes=minutes_words(observation.minutes),
        risk=risk,
        caution=caution,
    )


def minutes_words(minutes: float) -> str:
    """A length of work: about 1 minute, about 12 minutes."""
    return f"about {minutes:g}\u00a0{'minute' if minutes == 1 else 'minutes'}"


def blank_hypotheses(catalogue: Catalogue) -> tuple[Hypothesis, ...]:
    """Every cause without chance and evidence, for when answers bring it up on a card."""
    return tuple(_hypothesis(cause, (), catalogue, [], (), True) for cause in (OTHER, *catalogue.causes))


def script_table(catalogue: Catalogue, run: str, translate: Callable[[str], str]) -> str:
    """Everything the page's script needs for its sums and its words, once for all units.

    Parameters
    ----------
    catalogue
        The one the units were judged with.
    run
        Text that tells this run from others: answers kept on the device belong to it.
    translate
        From English into the page's language.

    Returns
    -------
    str
        JSON that is safe inside a script element: the fields of :class:`coldsift.causes.CheckTable`, then
        words for all of it.
    """
    table = check_table(catalogue)
    observations = [catalogue.observations[each] for each in table.observations]

    def told(text: str) -> str:
        return words.visible(translate(text))

    return script_safe(
        {
            "run": run,
            "leaves": table.leaves,
            "observations": table.observations,
            "yes": table.yes.tolist(),
            "cost": table.cost.tolist(),
            "confirming": table.confirming,
            "settling": table.settling,
            "settled": SETTLED,
            "confirm_from": CONFIRM_FROM,
            "least_bits": LEAST_BITS,
            "several": SEVERAL,
            "healthy": HEALTHY,
            "most_hypotheses": NAMED_CAUSES,
            "worth_naming": WORTH_NAMING,
            "names": [[told(name) for name in leaf] for leaf in _leaf_names(table, catalogue)],
            "chances": [(edge, told(word)) for edge, word in words.CHANCES],
            "checks": [
                {
                    "question": told(each.question),
                    "yes": told(each.yes),
                    "no": told(each.no),
                    "how": told(each.how),
                    "minutes": told(minutes_words(each.minutes)),
                    "risk": told(RISKS[each.risk][0]),
                    "caution": told(RISKS[each.risk][1]),
                }
                for each in observations
            ],
        }
    )


def risk_weights() -> tuple[tuple[str, str], ...]:
    """Every risk, and how many ordinary minutes a minute at it counts for."""
    return tuple((RISKS[risk][0], words.number(factor, 1)) for risk, factor in RISK_FACTOR.items())


def _leaf_names(table: CheckTable, catalogue: Catalogue) -> list[list[str]]:
    """Cause and kind of each leaf in words."""
    kinds = {(cause.id, kind.id): kind.name for cause in catalogue.causes.values() for kind in cause.kinds}
    return [
        [hypothesis_name(cause, (), catalogue), kinds.get((cause, kind), "")] for cause, kind in table.leaves
    ]


def _hypothesis(
    name: str,
    pair: Sequence[str],
    catalogue: Catalogue,
    rows: Sequence[dict[str, Any]],
    evidence: Iterable[tuple[str, EvidenceView]],
    shown: bool,
) -> Hypothesis:
    chance = float(rows[0]["cause_chance"]) if rows else 0.0
    by_side: dict[str, list[EvidenceView]] = {"for": [], "against": []}
    for side, view in evidence:
        by_side[side].append(view)
    cause = catalogue.causes.get(name)
    by_kind = {row["kind"]: float(row["chance"]) for row in rows}
    kinds = cause.kinds if cause else ()
    return Hypothesis(
        id=name,
        name=hypothesis_name(name, pair, catalogue),
        chance=chance,
        words=words.chance(chance),
        about=cause.about if cause else _ABOUT[name],
        evidence_for=tuple(by_side["for"]),
        evidence_against=tuple(by_side["against"]),
        kinds=tuple(
            sorted(
                (
                    KindView(
                        kind.id,
                        kind.name,
                        by_kind.get(kind.id, 0.0),
                        words.percent(by_kind.get(kind.id, 0.0)),
                        kind.repair,
                        kind.parts,
                    )
                    for kind in kinds
                ),
                key=lambda kind: -kind.chance,
            )
        ),
        hidden_by=cause.hidden_by if cause else (),
        told_apart=cause.told_apart if cause else "",
        if_left=cause.if_left if cause else "",
        parts=cause.parts if cause else (),
        tools=cause.tools if cause else (),
        cautions=cause.cautions if cause else (),
        shown=shown,
    )


def _evidence(row: dict[str, Any], feature_words: Mapping[str, FeatureWords]) -> tuple[str, EvidenceView]:
    known = feature_words.get(row["feature"])
    said = row["words"] or (known.name if known else words.plain(row["feature"]).capitalize())
    return row["side"], EvidenceView(said, words.odds(row["odds"]), row["feature"])
