"""From tables to the index: counting, choosing and wording, no physics."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import polars as pl

from coldsift.causes.checks import CONFIRM_FROM, OVERHEAD_MINUTES
from coldsift.causes.signs import MOST_STEPS, STEP
from coldsift.report import words
from coldsift.report.cause_views import risk_weights
from coldsift.report.fleet_views import fleet_view, quality_view
from coldsift.report.material import Material
from coldsift.report.model import (
    Bring,
    Choice,
    EventView,
    Group,
    Index,
    LogView,
    Missing,
    ProbableCause,
    Row,
    SetAsideView,
    SourceView,
    Totals,
    Urgency,
)
from coldsift.report.overview import Overview, in_order
from coldsift.report.ship_views import stocked
from coldsift.report.unit_views import as_it_goes_on

GROUPS = (
    Group("go_now", "Go now", "▲", "the log shows something that should not wait for the next round"),
    Group("this_round", "This round", "◆", "look at it on the round you are on"),
    Group("watch", "Watch", "●", "not plain yet; read its log again next time"),
    Group("nothing_found", "Nothing found", "○", "the log shows nothing odd; that is not the same as safe"),
    Group("cannot_tell", "Cannot tell", "?", "the log is too poor to judge; it may be well or failing"),
)
"""The ranking groups in words, most urgent first."""

NO_REASON = "Nothing odd in this log. Faults that the log cannot show may still be there."

MOST_LISTED = 500
"""Units that the index has rows and charts of, the most urgent; of more it has numbers and links."""

MOST_FILES = 500
"""Files listed, and messages; of more, those first of which something was set aside."""

TO_VISIT = ("go_now", "this_round")
"""Groups for whose probable causes something is brought along."""

LONGEST_NAME = 40
RESERVED = r"con|prn|aux|nul|com\d|lpt\d"
"""Names that a file cannot have on some systems."""

EXAMPLES = 3
"""First examples shown of each reason for setting aside."""

EVENT_KINDS = {"power_off": "Power off", "log_gap": "No readings"}


def list_rows(
    material: Material, probable: Mapping[str, ProbableCause], address: Callable[[str], str]
) -> tuple[Row, ...]:
    """Every unit's line of the list, by rank.

    Parameters
    ----------
    material
        Everything the report is made from.
    probable
        Probable cause by container.
    address
        Where the card of a unit is, by its anchor.
    """
    findings = material.findings.sort("rank", "container")
    reasons = material.reasons.sort("container", "place").rows_by_key("container", named=True)
    cargo = {row["container"]: row for row in material.cargo.iter_rows(named=True)}
    excursions = dict(
        material.excursions.filter(pl.col("kind") == "excursion").group_by("container").len().iter_rows()
    )
    groups = {group.key: group for group in GROUPS}
    rows = []
    for anchor, row in zip(_anchors(findings["container"]), findings.iter_rows(named=True), strict=True):
        container = row["container"]
        told = tuple(each["words"] for each in reasons.get(container, ())) or _otherwise(row)
        cause = probable.get(container)
        named = cause if cause and cause.named else None
        own_cargo = cargo.get(container)
        rows.append(
            Row(
                anchor=anchor,
                page=address(anchor),
                container=container,
                number_valid=row["number_valid"],
                rank=row["rank"],
                group=groups[row["group"]],
                reason=told[0],
                reasons=told,
                urgency=_urgency(row),
                chance=row["chance_of_fault"],
                hours_to_limit=row["hours_to_limit"],
                weight=row["value_at_risk"],
                set_point=words.number(row["set_point"], 1, "°C"),
                set_point_value=row["set_point"],
                regime_class=words.plain(row["regime_class"] or ""),
                cargo=own_cargo["cargo"] if own_cargo else "",
                cargo_as_now=as_it_goes_on(own_cargo) if own_cargo else "",
                cargo_hours=own_cargo["hours_as_now"]
                if own_cargo and not own_cargo["pulling_down"]
                else None,
                position=row["position"] or "",
                place=words.place(row["position"] or ""),
                bay=(row["position"] or "")[:-4],
                first_check=row["first_check"] or "",
                cause=named.name if named else "",
                cause_chance=named.chance if named else "",
                parts=named.parts if named and row["group"] in TO_VISIT else (),
                tools=named.tools if named and row["group"] in TO_VISIT else (),
                cannot_tell=row["cannot_tell"] or "",
                excursion_count=excursions.get(container, 0),
                compared_with=row["compared_with"] or "",
            )
        )
    return tuple(rows)


def log_views(material: Material, rows: Sequence[Row]) -> tuple[LogView, ...]:
    """How much of the voyage each unit's log covers, in the order of the rows."""
    spans = {row["container"]: row for row in material.overview.spans.iter_rows(named=True)}
    coverage = dict(material.findings.select("container", "coverage").iter_rows())
    views = []
    for row in rows:
        span = spans.get(row.container, {})
        share = coverage.get(row.container)
        views.append(
            LogView(
                anchor=row.anchor,
                page=row.page,
                container=row.container,
                number_valid=row.number_valid,
                coverage=words.number(100 * share, 0, "%") if share is not None else words.NONE,
                first_reading=words.moment(span.get("first")),
                last_reading=words.moment(span.get("last")),
                readings=span.get("readings", 0),
                longest_step=words.duration(span.get("longest_step")),
            )
        )
    return tuple(views)


def build_index(material: Material, rows: tuple[Row, ...], logs: tuple[LogView, ...]) -> Index:
    """Put everything the index shows into view models."""
    counts = dict(material.findings.group_by("group").len().iter_rows())
    sources = material.sources
    listed = rows[:MOST_LISTED]
    by_what_happened = sorted(sources, key=lambda source: not source.set_aside)
    return Index(
        title=material.title,
        run=run_of(sources),
        invented=material.invented,
        span=_span(material.overview),
        groups=tuple(replace(group, units=counts.get(group.key, 0)) for group in GROUPS),
        rows=rows,
        listed=listed,
        unlisted=tuple(
            (group, others)
            for group in GROUPS
            if (others := tuple(row for row in rows[MOST_LISTED:] if row.group.key == group.key))
        ),
        choices=_choices(listed),
        parts=stocked(material, _bring(rows, lambda row: row.parts)),
        tools=_bring(rows, lambda row: row.tools),
        missing=_missing(rows),
        events=tuple(map(_event, in_order(material.voyage_events))),
        sources=sources if len(sources) <= MOST_FILES else tuple(by_what_happened[:MOST_FILES]),
        totals=Totals(
            len(sources),
            *(
                sum(getattr(source, name) for source in sources)
                for name in ("rows", "used", "merged", "set_aside")
            ),
        ),
        messages=material.messages,
        set_aside=_set_aside(material.set_aside),
        most_messages=MOST_FILES,
        parameters=material.parameters,
        feature_words=material.feature_words,
        risk_weights=risk_weights(),
        check_overhead=words.number(OVERHEAD_MINUTES, 0, "min"),
        confirm_from=words.number(100 * CONFIRM_FROM, 0, "%"),
        step=words.reading(STEP),
        most_steps=words.number(MOST_STEPS, 0),
        fleet=fleet_view(material, rows, MOST_LISTED),
        quality=quality_view(material, rows, logs, MOST_LISTED),
    )


def _otherwise(row: dict[str, Any]) -> tuple[str, ...]:
    """What stands where no reason was given."""
    return (row["why"] or row["cannot_tell"] or NO_REASON,)


def _bring(rows: Sequence[Row], things: Callable[[Row], tuple[str, ...]]) -> tuple[Bring, ...]:
    """Everything to bring on the round, what most units need first."""
    found: dict[str, list[tuple[str, str]]] = {}
    for row in rows:
        for what in things(row):
            found.setdefault(what, []).append((row.container, row.page))
    by_count = sorted(found.items(), key=lambda entry: (-len(entry[1]), entry[0]))
    return tuple(Bring(what, tuple(units)) for what, units in by_count)


def _anchors(containers: Iterable[str]) -> Iterator[str]:
    """A name for each unit's card that is safe in HTML, in an address and as a file, and unique."""
    taken: set[str] = set()
    for container in containers:
        name = re.sub(r"[^A-Za-z0-9]+", "-", container).strip("-")[:LONGEST_NAME]
        if not name or re.fullmatch(RESERVED, name, re.IGNORECASE):
            name = "unnamed"
        stem = anchor = f"unit-{name}"
        place = 1
        # Some file systems take upper and lower case for the same.
        while anchor.lower() in taken:
            place += 1
            anchor = f"{stem}-{place}"
        taken.add(anchor.lower())
        yield anchor


def _choices(rows: Sequence[Row]) -> dict[str, tuple[Choice, ...]]:
    """What the list can be narrowed to; the empty value stands for units of which it is not known."""
    counts = {
        name: Counter(getattr(row, name) for row in rows)
        for name in ("bay", "cargo", "cause", "regime_class")
    }
    return {
        name: tuple(
            Choice(*each) for each in sorted(found.items(), key=lambda each: (each[0] == "", each[0]))
        )
        for name, found in counts.items()
        if len(found) > 1
    }


def run_of(sources: Sequence[SourceView]) -> str:
    """A short text that stands for the files that were read."""
    return hashlib.sha256("\n".join(source.sha256 for source in sources).encode()).hexdigest()[:16]


def _urgency(row: dict[str, Any]) -> Urgency:
    weight = row["value_at_risk"]
    return Urgency(
        chance=words.chance(row["chance_of_fault"]),
        time=words.time_to_limit(row["hours_to_limit"]),
        weight="as every other cargo (no weight given)"
        if weight in (None, 1.0)
        else f"{words.reading(weight)} times an ordinary cargo",
    )


def _missing(rows: Sequence[Row]) -> tuple[Missing, ...]:
    found: dict[str, list[tuple[str, str]]] = {}
    for row in rows:
        if row.cannot_tell:
            found.setdefault(row.cannot_tell, []).append((row.container, row.page))
    by_count = sorted(found.items(), key=lambda entry: (-len(entry[1]), entry[0]))
    return tuple(Missing(what, tuple(who)) for what, who in by_count)


def _span(overview: Overview) -> str:
    if overview.first is None:
        return "no readings"
    return f"{words.moment(overview.first)} to {words.moment(overview.last)} UTC"


def _event(row: dict[str, Any]) -> EventView:
    return EventView(
        kind=EVENT_KINDS.get(row["kind"], words.plain(row["kind"]).capitalize()),
        start=words.moment(row["start"]),
        end=words.moment(row["end"]),
        duration=words.duration((row["end"] - row["start"]).total_seconds() / 3600),
        units=str(row["units"]),
        share=words.number(100 * row["share"], 0, "%"),
    )


def _set_aside(set_aside: pl.DataFrame) -> tuple[SetAsideView, ...]:
    counted = (
        set_aside.lazy()
        .sort("file", "row", "channel")
        .with_columns(
            what=pl.when(pl.col("channel").is_null())
            .then(pl.lit("whole line"))
            .otherwise(pl.lit("one reading")),
            example=pl.format("{}, line {}: {}", "file", "row", pl.col("text").str.slice(0, 120)),
        )
        .group_by("reason", "what", maintain_order=True)
        .agg(count=pl.len(), examples=pl.col("example").head(EXAMPLES))
        .sort("count", "reason", "what", descending=[True, False, False])
        .collect()
    )
    return tuple(
        SetAsideView(row["reason"], row["what"], row["count"], tuple(row["examples"]))
        for row in counted.iter_rows(named=True)
    )
