"""From tables to unit cards: choosing and wording, no physics."""

from __future__ import annotations

import shlex
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from coldsift.report import words
from coldsift.report.model import (
    AlarmView,
    Card,
    CargoView,
    DefrostView,
    ExcursionSummary,
    ExcursionView,
    FeatureView,
    FeatureWords,
    LogView,
    ProbableCause,
    ReadingsView,
    ReasonView,
    Row,
)
from coldsift.report.peer_ranges import NO_RANGES, peer_ranges
from coldsift.report.ship_views import note_views, order_views
from coldsift.report.unit_chart import unit_chart
from coldsift.report.unit_log import EPOCH, UnitLog, unit_logs
from coldsift.schema import CHANNELS, REGIMES

MOST_FEATURES = 30
"""Features shown a unit; the tables hold them all."""

ODD = 3.0
"""Robust distance from the peers' median above which a feature is shown as odd."""

WORST = 5
"""Excursions told behind the sentence on them all."""

LAST_READINGS = 8
"""Readings told behind a sentence on the end of the log."""

MOST_ALARMS = 10
"""Alarm texts shown a unit, the latest first."""

COUNTED = "excursion"
"""Kind of the excursions that count; the others are listed apart."""

EXCURSION_KINDS: Mapping[str, tuple[str, str]] = {
    COUNTED: ("out of its band", "outside set point ± band for longer than the grace time"),
    "initial_warm_load": ("first pull-down", "not yet down to the set point after loading; counted apart"),
    "after_set_point_change": (
        "after a set-point change",
        "on the way to another set point; counted apart",
    ),
    "possible_excursion": (
        "possible",
        "seen outside no longer than the grace time, but a gap in the log leaves open whether it was longer; "
        "counted apart",
    ),
}
"""Each kind in a few words, and what it says."""

READING_COLUMNS = (
    *((name, CHANNELS[name].label) for name in ("set_point", "supply_air", "return_air", "ambient_air")),
    ("band_low", "Band from"),
    ("band_high", "Band to"),
)
"""Columns of a unit's last readings, in degrees Celsius; those without any value are left out."""

Rows = Mapping[str, Sequence[dict[str, Any]]]


@dataclass(frozen=True, slots=True)
class UnitTables:
    """What the cards of some units are made from, apart from their readings.

    Attributes
    ----------
    reasons, features, excursions, defrosts, notes, repairs, cargo, set_points, evidence
        As in :class:`coldsift.report.Material`.
    peer_groups, peer_bands
        As there. The rows of other units do no harm in any of them.
    feature_words
        Words for each feature id.
    """

    reasons: pl.DataFrame
    features: pl.DataFrame
    excursions: pl.DataFrame
    defrosts: pl.DataFrame
    notes: pl.DataFrame
    repairs: pl.DataFrame
    cargo: pl.DataFrame
    set_points: pl.DataFrame
    evidence: pl.DataFrame
    peer_groups: pl.DataFrame
    peer_bands: pl.DataFrame
    feature_words: Mapping[str, FeatureWords]


def cards(
    tables: UnitTables,
    timeline: pl.DataFrame,
    rows: Sequence[Row],
    logs: Sequence[LogView],
    probable: Mapping[str, ProbableCause],
) -> Iterator[Card]:
    """Word the card of every unit, one after the other, in the order of the rows.

    Parameters
    ----------
    tables
        Of these units.
    timeline
        Their readings, sorted by container and time.
    rows, logs
        Their lines of the list and of the data quality, in the same order.
    probable
        Probable cause by container.
    """
    readings = {log.container: log for log in unit_logs(timeline)}
    excursions = _rows(tables.excursions.sort("container", "start"))
    by_start = tables.defrosts.sort("container", "start").with_columns(
        coil=pl.col("termination_temperature").round(1)
    )
    defrosts = _rows(by_start)
    defrost_words = _defrost_words(by_start)
    notes = _rows(tables.notes.sort("container", "time"))
    group_of = dict(tables.peer_groups.select("container", "peer_group").iter_rows())
    ranges = peer_ranges(tables.peer_bands)
    features = _features(tables)
    reasons = _rows(tables.reasons.sort("container", "place"))
    alarms = _rows(_alarms(timeline))
    noted = note_views(tables.notes, tables.repairs)
    orders = order_views(tables.set_points)
    cargo = {row["container"]: _cargo(row) for row in tables.cargo.iter_rows(named=True)}
    nothing = _OwnFeatures({}, (), 0, ())
    for row, log in zip(rows, logs, strict=True):
        name = row.container
        own = features.get(name, nothing)
        own_log = readings.get(name)
        own_excursions, own_defrosts = excursions.get(name, ()), defrosts.get(name, ())
        told = tuple(map(_excursion, own_excursions))
        yield Card(
            row=row,
            reasons=tuple(
                ReasonView(each["words"], each["kind"], each["feature"] or "")
                for each in reasons.get(name, ())
            )
            or tuple(map(ReasonView, row.reasons)),
            numbers=own.views,
            last_readings=_last_readings(own_log) if own_log else None,
            cargo=cargo.get(name),
            probable=probable.get(name),
            excursions=told,
            excursion_summary=_excursion_summary(own_excursions, told),
            defrosts=defrost_words.get(name, ()),
            every_defrost=tuple(map(_defrost, own_defrosts)),
            features=own.furthest,
            features_left_out=own.left_out,
            not_assessed=own.not_assessed,
            orders=orders.get(name, ()),
            notes=noted.get(name, ()),
            alarms=tuple(map(_alarm, alarms.get(name, ()))),
            chart=unit_chart(
                own_log,
                ranges.get(group_of.get(name, ""), NO_RANGES),
                own_excursions,
                own_defrosts,
                notes.get(name, ()),
            )
            if own_log
            else "",
            log=log,
            dossier=dossier_command(name, row.anchor),
        )


def dossier_command(container: str, anchor: str) -> str:
    """Command that reconstructs what a container went through; ``LOGS`` stands for the files that were read.

    Parameters
    ----------
    container
        Number as logged: whatever it holds, a POSIX shell takes it for one word, the program for no option.
    anchor
        Name of the unit's card, safe as a name of a folder.
    """
    options = f"--out dossiers/{anchor.removeprefix('unit-')}"
    word = shlex.quote(container)
    if container.startswith("-"):
        return f"coldsift dossier {options} -- {word} LOGS"
    return f"coldsift dossier {word} LOGS {options}"


def _rows(frame: pl.DataFrame) -> Rows:
    return frame.rows_by_key("container", named=True, include_key=True)


def _cargo(row: dict[str, Any]) -> CargoView:
    def node(name: str) -> str:
        best, low, high = (words.number(row[f"{name}{edge}"], 1, "°C") for edge in ("", "_low", "_high"))
        return f"{best} ({low} to {high})"

    limits = [
        f"{word} {words.number(row[edge], 1, '°C')}"
        for word, edge in (("not below", "limit_low"), ("not above", "limit_high"))
        if row[edge] is not None
    ]
    if row["mean_kinetic_limit"] is not None:
        limits.append(
            f"mean kinetic temperature not above {words.number(row['mean_kinetic_limit'], 1, '°C')}"
        )
    known = row["surface"] is not None
    lost, life = row["life_lost_days"], row["life_days"]
    return CargoView(
        cargo=row["cargo"],
        known_from=row["known_from"],
        outer=node("surface") if known else "",
        core=node("core") if known else "",
        fitted=f"fitted to the cargo probes within {words.number(row['fit_error'], 1, 'K')}"
        if row["fitted"]
        else "reckoned from the air alone",
        limits=tuple(limits),
        limits_from=row["limit_from"] or "",
        kinetic=words.number(row["mean_kinetic_temperature"], 1, "°C"),
        life_lost=words.number(lost, 1, "days") if lost is not None and life is not None else "",
        life=words.number(life, 0) if life is not None else "",
        if_failed=hours_left(row, "hours_if_failed") if known else words.NONE,
        as_now=as_it_goes_on(row),
    )


def as_it_goes_on(row: dict[str, Any]) -> str:
    """How long the cargo has, if the unit goes on as it does."""
    if row["pulling_down"]:
        return "still being pulled down"
    return hours_left(row, "hours_as_now") if row["surface"] is not None else words.NONE


def hours_left(row: dict[str, Any], name: str) -> str:
    """Hours until the outer cargo passes a limit, with their band."""
    best, low, high = row[name], row[f"{name}_low"], row[f"{name}_high"]
    if best == 0:
        return "past its limit now"
    if best is None and low is None:
        return "not within 30 days"
    longest = words.duration(high) if high is not None else "more than 30 days"
    middle = words.duration(best) if best is not None else "more than 30 days"
    return f"{middle} ({words.duration(low)} to {longest})"


def _kind(kind: str) -> str:
    return EXCURSION_KINDS[kind][0] if kind in EXCURSION_KINDS else words.plain(kind)


def _excursion(row: dict[str, Any]) -> ExcursionView:
    doubt = row["sensor_doubt"]
    hours, area = words.duration(row["hours"]), words.number(row["degree_hours"], 1, "K·h")
    peak = words.number(row["peak"], 1, "°C")

    def other(said: str, told: str) -> str:
        """What differs from what was read."""
        return "" if said in (told, words.NONE) else said

    return ExcursionView(
        kind=_kind(row["kind"]),
        start=words.moment(row["start"]),
        start_range=f"between {words.moment(row['start_earliest'])} and {words.moment(row['start_latest'])}"
        if row["start_earliest"] is not None
        else "or earlier: no reading before it is surely inside",
        end=words.moment(row["end"]),
        end_range=f"between {words.moment(row['end_earliest'])} and {words.moment(row['end_latest'])}"
        if row["end_latest"] is not None
        else "not ended at the last reading",
        hours=hours,
        hours_at_least=other(words.duration(row["hours_at_least"]), hours),
        hours_at_most=other(words.duration(row["hours_at_most"]), hours),
        gap=words.duration(row["gap_hours"]) if row["gap_hours"] else "",
        peak=peak,
        peak_at_most=other(words.number(row["peak_at_most"], 1, "°C"), peak),
        band_edge=words.number(row["band_edge"], 1, "°C"),
        degree_hours=area,
        degree_hours_at_least=other(words.number(row["degree_hours_at_least"], 1, "K·h"), area),
        degree_hours_at_most=other(words.number(row["degree_hours_at_most"], 1, "K·h"), area),
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
        start_time=_milliseconds(row["start"]),
        end_time=_milliseconds(row["end"]),
    )


def _milliseconds(time: datetime) -> int:
    return round(1000 * time.timestamp())


def _excursion_summary(
    excursions: Sequence[Mapping[str, Any]], told: Sequence[ExcursionView]
) -> ExcursionSummary | None:
    if not excursions:
        return None
    counted = [(row, view) for row, view in zip(excursions, told, strict=True) if row["kind"] == COUNTED]
    hours, degree_hours = (sum(row[name] or 0.0 for row, _ in counted) for name in ("hours", "degree_hours"))
    largest = sorted(
        counted, key=lambda each: tuple(-(each[0][name] or 0.0) for name in ("degree_hours", "hours"))
    )
    kinds = Counter(row["kind"] for row in excursions)
    in_order = [
        *(kind for kind in EXCURSION_KINDS if kind in kinds),
        *sorted(kinds.keys() - EXCURSION_KINDS.keys()),
    ]
    return ExcursionSummary(
        count=kinds[COUNTED],
        hours=words.duration(hours),
        degree_hours=words.number(degree_hours, 1, "K·h"),
        worst=tuple(view for _, view in largest[:WORST]),
        others=tuple((_kind(kind), kinds[kind]) for kind in in_order if kind != COUNTED),
        meanings=tuple(EXCURSION_KINDS[kind] for kind in in_order if kind in EXCURSION_KINDS),
    )


def _last_readings(log: UnitLog) -> ReadingsView | None:
    last = slice(-LAST_READINGS, None)
    columns = [(label, log.readings[name][last]) for name, label in READING_COLUMNS if name in log.readings]
    known = [(label, values) for label, values in columns if np.isfinite(values).any()]
    if not known:
        return None
    times = [words.moment(EPOCH + timedelta(microseconds=time)) for time in log.times[last].tolist()]
    doing = [words.plain(REGIMES[code]) for code in log.regimes[last]]
    shown = [[words.number(each, 1, "°C") for each in values.tolist()] for _, values in known]
    return ReadingsView(
        headings=("Time, UTC", *(label for label, _ in known), "Doing"),
        rows=tuple(zip(times, *shown, doing, strict=True)),
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


def _defrost(row: dict[str, Any]) -> DefrostView:
    ends = {True: "proper", False: "no proper end", None: words.NONE}
    return DefrostView(
        start=words.moment(row["start"]),
        minutes=words.number(row["minutes"], 0, "min"),
        coil=words.number(row["termination_temperature"], 1, "°C"),
        recovery=words.number(row["recovery_minutes"], 0, "min"),
        end=ends[row["terminated"]],
        seen="as logged" if row["from_flag"] else "by its signature",
    )


def _alarms(timeline: pl.DataFrame) -> pl.DataFrame:
    """Every alarm text of each unit, the latest first."""
    return (
        timeline.lazy()
        .select("container", "time", "alarms")
        .explode("alarms")
        .drop_nulls("alarms")
        .group_by("container", "alarms")
        .agg(first=pl.col("time").min(), last=pl.col("time").max(), readings=pl.len())
        .sort("container", "last", "first", "alarms", descending=[False, True, True, False])
        .group_by("container", maintain_order=True)
        .head(MOST_ALARMS)
        .collect()
    )


def _alarm(row: dict[str, Any]) -> AlarmView:
    return AlarmView(row["alarms"], words.moment(row["first"]), words.moment(row["last"]), row["readings"])


@dataclass(frozen=True, slots=True)
class _OwnFeatures:
    """The features of one unit that its card tells of."""

    views: Mapping[str, FeatureView]
    furthest: tuple[FeatureView, ...]
    left_out: int
    not_assessed: tuple[tuple[str, tuple[str, ...]], ...]


def _features(tables: UnitTables) -> dict[str, _OwnFeatures]:
    """By container: the features furthest from the peers, and those behind some sentence."""
    key = ["container", "feature"]
    with_value = tables.features.filter(pl.col("value").is_not_null())
    by_distance = with_value.sort(
        "container", pl.col("z").abs(), "feature", descending=[False, True, False], nulls_last=True
    )
    furthest = by_distance.group_by("container", maintain_order=True).head(MOST_FEATURES)
    behind = pl.concat(frame.select(key) for frame in (furthest, tables.reasons, tables.evidence)).unique()
    told = _rows(by_distance.join(behind, on=key, how="semi", maintain_order="left"))
    assessed = dict(with_value.group_by("container").len().iter_rows())
    why_not = _rows(_not_assessed(tables.features))
    found = {}
    for container in told.keys() | why_not.keys():
        views = {row["feature"]: _feature(row, tables.feature_words) for row in told.get(container, ())}
        found[container] = _OwnFeatures(
            views,
            tuple(views.values())[:MOST_FEATURES],
            max(assessed.get(container, 0) - MOST_FEATURES, 0),
            tuple(
                (row["reason"], tuple(_name(each, tables.feature_words) for each in row["feature"]))
                for row in why_not.get(container, ())
            ),
        )
    return found


def _not_assessed(features: pl.DataFrame) -> pl.DataFrame:
    """Why features have no value, and which these are, the most first."""
    return (
        features.filter(pl.col("value").is_null())
        .sort("container", "feature")
        .group_by("container", "reason", maintain_order=True)
        .agg("feature")
        .sort("container", pl.col("feature").list.len(), "reason", descending=[False, True, False])
    )


def _name(feature: str, feature_words: Mapping[str, FeatureWords]) -> str:
    known = feature_words.get(feature)
    return known.name if known else words.plain(feature)


def _feature(row: dict[str, Any], feature_words: Mapping[str, FeatureWords]) -> FeatureView:
    known = feature_words.get(row["feature"])
    # Shares have no unit; people say them in per cent.
    factor, unit = {"": (100.0, "%"), "1/d": (100.0, "%/d")}.get(row["unit"], (1.0, row["unit"]))

    def shown(name: str) -> str:
        return words.reading(factor * row[name], unit) if row[name] is not None else words.NONE

    compared = bool(row["peers"]) and row["peer_median"] is not None
    low, middle, high = (shown(name) if compared else "" for name in ("peer_low", "peer_median", "peer_high"))
    return FeatureView(
        id=row["feature"],
        name=_name(row["feature"], feature_words),
        regime=words.plain(row["regime"]),
        value=shown("value"),
        low=low,
        middle=middle,
        high=high,
        peers=row["peers"] if compared else 0,
        distance=words.number(row["z"], 1),
        odd=row["z"] is not None and abs(row["z"]) > ODD,
        samples=row["samples"],
        formula=known.formula if known else "",
        source=known.source if known else "",
        look_first=known.look_first if known else "",
    )
