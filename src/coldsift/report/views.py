"""From tables to view models: counting, choosing and wording, no physics."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import polars as pl

from coldsift.causes import Catalogue
from coldsift.causes.checks import CONFIRM_FROM, OVERHEAD_MINUTES
from coldsift.causes.signs import MOST_STEPS, STEP
from coldsift.report import charts, words
from coldsift.report.cause_views import blank_hypotheses, probable_causes, risk_weights, script_table
from coldsift.report.model import (
    CargoView,
    EventView,
    ExcursionView,
    FeatureView,
    FeatureWords,
    Group,
    MessageView,
    Missing,
    Page,
    SetAsideView,
    SourceView,
    Totals,
    Unit,
    Urgency,
)

GROUPS = (
    Group("go_now", "Go now", "▲", "the log shows something that should not wait for the next round"),
    Group("this_round", "This round", "◆", "look at it on the round you are on"),
    Group("watch", "Watch", "●", "not plain yet; read its log again next time"),
    Group("nothing_found", "Nothing found", "○", "the log shows nothing odd; that is not the same as safe"),
    Group("cannot_tell", "Cannot tell", "?", "the log is too poor to judge; it may be well or failing"),
)
"""The ranking groups in words, most urgent first."""

NO_REASON = "Nothing odd in this log. Faults that the log cannot show may still be there."
MOST_FEATURES = 30
"""Features shown a unit; the tables hold them all."""

ODD = 3.0
"""Robust distance from the peers' median above which a feature is shown as odd."""

EXAMPLES = 3
"""First examples shown of each reason for setting aside."""

EVENT_KINDS = {"power_off": "Power off", "log_gap": "No readings"}

Rows = Mapping[str, Sequence[dict[str, Any]]]


def build_page(
    *,
    findings: pl.DataFrame,
    features: pl.DataFrame,
    excursions: pl.DataFrame,
    defrosts: pl.DataFrame,
    cargo: pl.DataFrame,
    voyage_events: pl.DataFrame,
    set_aside: pl.DataFrame,
    timeline: pl.DataFrame,
    causes: pl.DataFrame,
    evidence: pl.DataFrame,
    catalogue: Catalogue,
    sources: Sequence[SourceView],
    messages: Sequence[MessageView],
    parameters: Mapping[str, str],
    feature_words: Mapping[str, FeatureWords],
    reasons: Mapping[str, tuple[str, ...]],
    title: str,
    invented: bool,
) -> Page:
    """Put everything the page shows into view models; the arguments are those of ``build_report``."""
    logs = _by_container(timeline.select(charts.COLUMNS).sort("container", "time"))
    excursions = excursions.sort("container", "start")
    defrosts = defrosts.sort("container", "start")
    excursion_rows, defrost_rows = _by_container(excursions), _by_container(defrosts)
    with_value = features.filter(pl.col("value").is_not_null())
    assessed = dict(with_value.group_by("container").len().iter_rows())
    feature_rows, spans = _rows(_furthest(with_value)), _rows(_log_spans(timeline))
    reasons_why_not = _rows(_not_assessed(features))
    defrost_words = _defrost_words(defrosts)
    cargo_views = {row["container"]: _cargo(row) for row in cargo.iter_rows(named=True)}
    findings = findings.sort("rank", "container")
    groups = {group.key: group for group in GROUPS}
    probable = probable_causes(
        causes, evidence, catalogue, feature_words, dict(findings.select("container", "group").iter_rows())
    )
    units = []
    for anchor, row in zip(_anchors(findings["container"]), findings.iter_rows(named=True), strict=True):
        container = row["container"]
        own_excursions = excursion_rows.get(container, excursions.clear())
        span = next(iter(spans.get(container, [])), {})
        log = logs.get(container)
        units.append(
            Unit(
                anchor=anchor,
                container=container,
                number_valid=row["number_valid"],
                rank=row["rank"],
                group=groups[row["group"]],
                reasons=_reasons(row, reasons),
                urgency=_urgency(row),
                chance=row["chance_of_fault"],
                hours_to_limit=row["hours_to_limit"],
                weight=row["value_at_risk"],
                set_point=words.number(row["set_point"], 1, "°C"),
                set_point_value=row["set_point"],
                regime_class=words.plain(row["regime_class"] or ""),
                cargo=cargo_views.get(container),
                compared_with=row["compared_with"] or "",
                position=row["position"] or "",
                first_check=row["first_check"] or "",
                probable=probable.get(container),
                cannot_tell=row["cannot_tell"] or "",
                excursion_count=own_excursions.filter(pl.col("kind") == "excursion").height,
                excursions=tuple(map(_excursion, own_excursions.iter_rows(named=True))),
                defrosts=defrost_words.get(container, ()),
                features=tuple(_feature(each, feature_words) for each in feature_rows.get(container, [])),
                features_left_out=max(assessed.get(container, 0) - MOST_FEATURES, 0),
                not_assessed=tuple(
                    (each["reason"], each["len"]) for each in reasons_why_not.get(container, [])
                ),
                chart=charts.unit_chart(log, own_excursions, defrost_rows.get(container, defrosts.clear()))
                if log is not None
                else "",
                coverage=words.number(100 * row["coverage"], 0, "%")
                if row["coverage"] is not None
                else words.NONE,
                first_reading=words.moment(span.get("first")),
                last_reading=words.moment(span.get("last")),
                readings=span.get("readings", 0),
                longest_step=words.duration(span.get("longest_step")),
            )
        )
    counts = dict(findings.group_by("group").len().iter_rows())
    return Page(
        title=title,
        invented=invented,
        span=_span(timeline),
        groups=tuple(replace(group, units=counts.get(group.key, 0)) for group in GROUPS),
        units=tuple(units),
        missing=_missing(units),
        events=tuple(map(_event, voyage_events.sort("start", "kind").iter_rows(named=True))),
        sources=tuple(sources),
        totals=Totals(
            len(sources),
            *(
                sum(getattr(source, name) for source in sources)
                for name in ("rows", "used", "merged", "set_aside")
            ),
        ),
        messages=tuple(messages),
        set_aside=_set_aside(set_aside),
        parameters=parameters,
        feature_words=feature_words,
        check_table=script_table(catalogue, _run(sources)) if probable else "",
        blank_hypotheses=blank_hypotheses(catalogue) if probable else (),
        risk_weights=risk_weights(),
        check_overhead=words.number(OVERHEAD_MINUTES, 0, "min"),
        confirm_from=words.number(100 * CONFIRM_FROM, 0, "%"),
        step=words.reading(STEP),
        most_steps=words.number(MOST_STEPS, 0),
        show_weight=any(unit.weight not in (None, 1.0) for unit in units),
        show_position=any(unit.position for unit in units),
    )


def _run(sources: Sequence[SourceView]) -> str:
    """A short text that stands for the files that were read."""
    return hashlib.sha256("\n".join(source.sha256 for source in sources).encode()).hexdigest()[:16]


def _by_container(frame: pl.DataFrame) -> dict[str, pl.DataFrame]:
    parts = frame.partition_by("container", as_dict=True, maintain_order=True)
    return {str(key[0]): part for key, part in parts.items()}


def _rows(frame: pl.DataFrame) -> Rows:
    return frame.rows_by_key("container", named=True, include_key=True)


def _anchors(containers: Iterable[str]) -> Iterator[str]:
    """An id for each unit's section that is safe in HTML and in an address, and unique."""
    taken: set[str] = set()
    for container in containers:
        stem = anchor = "unit-" + (re.sub(r"[^A-Za-z0-9]+", "-", container).strip("-") or "unnamed")
        place = 1
        while anchor in taken:
            place += 1
            anchor = f"{stem}-{place}"
        taken.add(anchor)
        yield anchor


def _reasons(row: dict[str, Any], reasons: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    given = reasons.get(row["container"], ()) or ((row["why"],) if row["why"] else ())
    if given:
        return given
    return (row["cannot_tell"],) if row["cannot_tell"] else (NO_REASON,)


def _urgency(row: dict[str, Any]) -> Urgency:
    weight = row["value_at_risk"]
    return Urgency(
        chance=words.chance(row["chance_of_fault"]),
        time=words.time_to_limit(row["hours_to_limit"]),
        weight="as every other cargo (no weight given)"
        if weight in (None, 1.0)
        else f"{words.reading(weight)} times an ordinary cargo",
    )


def _cargo(row: dict[str, Any]) -> CargoView:
    def node(name: str) -> str:
        best, low, high = (words.number(row[f"{name}{edge}"], 1) for edge in ("", "_low", "_high"))
        return f"{best} ({low} to {high})"

    limits = [
        f"{word} {words.number(row[edge], 1, '°C')}"
        for word, edge in (("not below", "limit_low"), ("not above", "limit_high"))
        if row[edge] is not None
    ]
    if row["mean_kinetic_limit"] is not None:
        kinetic, allowed = (
            words.number(row[name], 1, "°C") for name in ("mean_kinetic_temperature", "mean_kinetic_limit")
        )
        limits.append(f"mean kinetic temperature not above {allowed} (the air's so far: {kinetic})")
    known = row["surface"] is not None
    return CargoView(
        cargo=row["cargo"],
        known_from=row["known_from"],
        temperatures=f"outer {node('surface')}, core {node('core')} °C" if known else "not reckoned",
        fitted=f"fitted to the cargo probes within {words.number(row['fit_error'], 1, 'K')}"
        if row["fitted"]
        else "reckoned from the air alone",
        limits=f"{', '.join(limits)}: {row['limit_from']}" if limits else "none known",
        if_failed=_hours_left(row, "hours_if_failed") if known else words.NONE,
        as_now="still being pulled down"
        if row["pulling_down"]
        else _hours_left(row, "hours_as_now")
        if known
        else words.NONE,
    )


def _hours_left(row: dict[str, Any], name: str) -> str:
    """Hours until the outer cargo passes a limit, with their band."""
    best, low, high = row[name], row[f"{name}_low"], row[f"{name}_high"]
    if best == 0:
        return "past its limit now"
    if best is None and low is None:
        return "not within 30 days"
    longest = words.duration(high) if high is not None else "more than 30 days"
    middle = words.duration(best) if best is not None else "more than 30 days"
    return f"{middle} ({words.duration(low)} to {longest})"


def _missing(units: Sequence[Unit]) -> tuple[Missing, ...]:
    found: dict[str, list[tuple[str, str]]] = {}
    for unit in units:
        if unit.cannot_tell:
            found.setdefault(unit.cannot_tell, []).append((unit.container, unit.anchor))
    by_count = sorted(found.items(), key=lambda entry: (-len(entry[1]), entry[0]))
    return tuple(Missing(what, tuple(who)) for what, who in by_count)


def _excursion(row: dict[str, Any]) -> ExcursionView:
    ended = row["end_latest"] is not None
    doubt = row["sensor_doubt"]
    return ExcursionView(
        kind=words.plain(row["kind"]),
        start=words.moment(row["start"]),
        start_range=f"between {words.moment(row['start_earliest'])} and {words.moment(row['start_latest'])}"
        if row["start_earliest"] is not None
        else "or earlier: no reading before it is surely inside",
        end=words.moment(row["end"]),
        end_range=f"between {words.moment(row['end_earliest'])} and {words.moment(row['end_latest'])}"
        if ended
        else "not ended at the last reading",
        duration=words.duration(row["hours"])
        + (f", and {words.duration(row['gap_hours'])} without readings" if row["gap_hours"] else "")
        + (
            f"; at most {words.duration(row['hours_at_most'])}"
            if row["hours_at_most"] is not None and row["hours_at_most"] > row["hours"] + 0.01
            else ""
        ),
        peak=f"{words.number(row['peak'], 1, '°C')} (edge {words.number(row['band_edge'], 1, '°C')})",
        degree_hours=words.number(row["degree_hours"], 1, "K·h"),
        mean_kinetic=words.number(row["mean_kinetic_temperature"], 1, "°C"),
        doubt="; ".join(
            part
            for part in (
                f"{words.chance(doubt)} that the sensor erred" if doubt is not None else "",
                row["sensor_doubt_why"] or "",
            )
            if part
        ),
        along_with=row["along_with"] or "",
    )


def _defrost_words(defrosts: pl.DataFrame) -> dict[str, tuple[str, ...]]:
    """A few plain lines about each unit's defrosts."""
    summary = (
        defrosts.lazy()
        .with_columns(between=(pl.col("start") - pl.col("start").shift(1).over("container")))
        .group_by("container", maintain_order=True)
        .agg(
            count=pl.len(),
            between=pl.col("between").dt.total_seconds().median() / 3600,
            minutes=pl.col("minutes").median(),
            longest=pl.col("minutes").max(),
            coldest=pl.col("termination_temperature").min(),
            warmest=pl.col("termination_temperature").max(),
            unterminated=(~pl.col("terminated")).sum(),
            recovery=pl.col("recovery_minutes").median(),
            from_flag=pl.col("from_flag").all(),
            from_signature=(~pl.col("from_flag")).all(),
        )
        .collect()
    )
    return {row["container"]: tuple(_defrost_lines(row)) for row in summary.iter_rows(named=True)}


def _defrost_lines(row: dict[str, Any]) -> Iterator[str]:
    seen = (
        "as logged"
        if row["from_flag"]
        else "by their signature"
        if row["from_signature"]
        else "some as logged"
    )
    yield f"{row['count']} found ({seen})"
    if row["between"] is not None:
        yield f"usually {words.duration(row['between'])} from start to start"
    if row["minutes"] is not None:
        usual, longest = (words.number(row[name], 0, "min") for name in ("minutes", "longest"))
        yield f"usually {usual}, longest {longest}"
    if row["coldest"] is not None:
        coldest, warmest = (words.number(row[name], 1, "°C") for name in ("coldest", "warmest"))
        yield f"warmest coil reading in each {coldest} to {warmest}"
    if row["recovery"] is not None:
        yield f"air usually back in its band {words.number(row['recovery'], 0, 'min')} after"
    if row["unterminated"]:
        yield f"{row['unterminated']} without a proper end"


def _furthest(with_value: pl.DataFrame) -> pl.DataFrame:
    """Each unit's features furthest from its peers, the furthest first."""
    return (
        with_value.sort(
            "container", pl.col("z").abs(), "feature", descending=[False, True, False], nulls_last=True
        )
        .group_by("container", maintain_order=True)
        .head(MOST_FEATURES)
    )


def _not_assessed(features: pl.DataFrame) -> pl.DataFrame:
    """Why features have no value, and how many for each reason."""
    return (
        features.filter(pl.col("value").is_null())
        .group_by("container", "reason")
        .len()
        .sort("container", "len", "reason", descending=[False, True, False])
    )


def _feature(row: dict[str, Any], feature_words: Mapping[str, FeatureWords]) -> FeatureView:
    known = feature_words.get(row["feature"])
    low, middle, high = (words.reading(row[name]) for name in ("peer_low", "peer_median", "peer_high"))
    odd = row["z"] is not None and abs(row["z"]) > ODD
    return FeatureView(
        name=known.name if known else words.plain(row["feature"]),
        regime=words.plain(row["regime"]),
        value=words.reading(row["value"], row["unit"]),
        peers=f"{low} to {high}, middle {middle} ({row['peers']} units)"
        if row["peers"] and row["peer_median"] is not None
        else "no peers",
        distance=words.number(row["z"], 1),
        odd=odd,
        samples=row["samples"],
    )


def _log_spans(timeline: pl.DataFrame) -> pl.DataFrame:
    return (
        timeline.lazy()
        .sort("container", "time")
        .group_by("container", maintain_order=True)
        .agg(
            first=pl.col("time").min(),
            last=pl.col("time").max(),
            readings=pl.len(),
            longest_step=pl.col("time").diff().max().dt.total_seconds() / 3600,
        )
        .collect()
    )


def _span(timeline: pl.DataFrame) -> str:
    if timeline.is_empty():
        return "no readings"
    first, last = timeline.select(first=pl.col("time").min(), last=pl.col("time").max()).row(0)
    return f"{words.moment(first)} to {words.moment(last)} UTC"


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
