"""The timeline table: everything that happened to one container, in order of time, with its source."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from coldsift.dossier.model import Event
from coldsift.report.words import moment, number, plain
from coldsift.set_points import NOW_WRONG

ALARM_PAUSE_HOURS = 3.0
"""An alarm that comes back sooner than this had not gone. [h]"""

MOST_STRETCHES = 5
"""An alarm that came and went more often than this is told in one line."""

OTHER_SET_POINT = (*NOW_WRONG, "corrected_late")
"""Kinds of set-point stretches that say that it was not the one ordered."""

_LOG, _RECKONED = "log", "reckoned from the log"


def timeline_events(
    timeline: pl.DataFrame,
    excursions: pl.DataFrame,
    defrosts: pl.DataFrame,
    gaps: pl.DataFrame,
    voyage_events: pl.DataFrame,
    custody: pl.DataFrame,
    notes: pl.DataFrame,
    set_points: pl.DataFrame,
    repairs: pl.DataFrame,
) -> tuple[Event, ...]:
    """Put what happened in order.

    Parameters
    ----------
    timeline
        One unit's readings (:func:`coldsift.regimes.build_timeline`).
    excursions, defrosts, gaps, voyage_events, custody, notes, set_points, repairs
        Tables of :mod:`coldsift.schema`, the unit's rows.

    Returns
    -------
    tuple of Event
        Text of alarms, notes and custody as it was given.
    """
    found = [
        *_ends_of_log(timeline),
        *_excursions(excursions),
        *_power(timeline),
        *_set_point(timeline),
        *_alarms(timeline),
        *_defrosts(defrosts),
        *_gaps(gaps),
        *_ship(voyage_events, timeline),
        *_custody(custody),
        *_notes(notes),
        *_orders(set_points),
        *_repairs(repairs),
    ]
    return tuple(sorted(found, key=lambda event: (event.time, event.kind, event.what)))


def _ends_of_log(timeline: pl.DataFrame) -> Iterator[Event]:
    for place, words in ((0, "first reading"), (-1, "last reading")):
        row = timeline.row(place, named=True)
        air = number(row["controlling_air"], 1, "°C")
        yield Event(
            row["time"],
            None,
            "log",
            f"{words}: controlling air {air}, set point {number(row['set_point'], 1, '°C')}",
            _LOG,
        )


def _excursions(excursions: pl.DataFrame) -> Iterator[Event]:
    for row in excursions.iter_rows(named=True):
        kind = plain(row["kind"])
        side = "above" if row["peak"] > row["band_edge"] else "below"
        edge = number(row["band_edge"], 1, "°C")
        earliest = row["start_earliest"]
        since = f"not before {moment(earliest)}" if earliest else "the log begins outside"
        yield Event(
            row["start"],
            row["end"] if row["end_latest"] else None,
            "excursion",
            f"{kind} begins: air {side} {edge} ({since}); furthest {number(row['peak'], 1, '°C')}",
            _RECKONED,
        )
        if row["end_latest"] is None:
            yield Event(row["end"], None, "excursion", f"{kind} not ended when the readings end", _RECKONED)
        else:
            yield Event(
                row["end"],
                None,
                "excursion",
                f"{kind} ends: air back within {edge}, not after {moment(row['end_latest'])}",
                _RECKONED,
            )


def _power(timeline: pl.DataFrame) -> Iterator[Event]:
    runs = (
        timeline.lazy()
        .select(
            "time",
            "powered",
            "shared",
            following=pl.col("time").shift(-1),
            run=pl.col("powered").rle_id(),
        )
        .filter(~pl.col("powered"))
        .group_by("run", maintain_order=True)
        .agg(pl.col("time").first(), pl.col("following").last(), pl.col("shared").any())
        .collect()
    )
    for row in runs.iter_rows(named=True):
        whose = "the whole ship" if row["shared"] else "this unit, not the ship"
        yield Event(row["time"], row["following"], "power", f"supply off: {whose}", _LOG)


def _set_point(timeline: pl.DataFrame) -> Iterator[Event]:
    changes = (
        timeline.select("time", "set_point", before=pl.col("set_point").shift(1))
        .filter((pl.col("set_point") - pl.col("before")).abs() > 0.05)
        .iter_rows(named=True)
    )
    for row in changes:
        yield Event(
            row["time"],
            None,
            "set point",
            f"from {number(row['before'], 1, '°C')} to {number(row['set_point'], 1, '°C')}",
            _LOG,
        )


def _alarms(timeline: pl.DataFrame) -> Iterator[Event]:
    readings = (
        timeline.lazy()
        .select("time", alarm="alarms")
        .explode("alarm")
        .drop_nulls("alarm")
        .sort("alarm", "time")
        .with_columns(
            stretch=(pl.col("time").diff().dt.total_seconds() / 3600 > ALARM_PAUSE_HOURS)
            .fill_null(True)
            .cum_sum()
            .over("alarm")
        )
        .group_by("alarm", "stretch", maintain_order=True)
        .agg(first=pl.col("time").min(), last=pl.col("time").max())
        .with_columns(times=pl.len().over("alarm"))
        .collect()
    )
    for row in readings.filter(pl.col("times") <= MOST_STRETCHES).iter_rows(named=True):
        yield Event(row["first"], row["last"], "alarm", f"as logged: {row['alarm']}", _LOG)
    often = (
        readings.filter(pl.col("times") > MOST_STRETCHES)
        .group_by("alarm", maintain_order=True)
        .agg(pl.col("first").min(), pl.col("last").max(), pl.col("times").first())
    )
    for row in often.iter_rows(named=True):
        yield Event(
            row["first"],
            row["last"],
            "alarm",
            f"as logged, {row['times']} times, the first here: {row['alarm']}",
            _LOG,
        )


def _defrosts(defrosts: pl.DataFrame) -> Iterator[Event]:
    for row in defrosts.filter(~pl.col("terminated")).iter_rows(named=True):
        known = "logged" if row["from_flag"] else "by its signature"
        yield Event(
            row["start"],
            row["end"],
            "defrost",
            f"not seen to end as it should, {number(row['minutes'], 0, 'min')} ({known})",
            _LOG if row["from_flag"] else _RECKONED,
        )


def _gaps(gaps: pl.DataFrame) -> Iterator[Event]:
    for row in gaps.iter_rows(named=True):
        yield Event(
            row["start"],
            row["end"],
            "gap",
            f"no readings for {number(row['hours'], 1, 'h')}; the air can have been anywhere from "
            f"{number(row['coldest_possible'], 1, '°C')} to {number(row['warmest_possible'], 1, '°C')}",
            _RECKONED,
        )


def _ship(voyage_events: pl.DataFrame, timeline: pl.DataFrame) -> Iterator[Event]:
    first, last = timeline["time"][0], timeline["time"][-1]
    for row in voyage_events.filter(pl.col("end") > first, pl.col("start") < last).iter_rows(named=True):
        yield Event(
            row["start"],
            row["end"],
            "ship",
            f"{plain(row['kind'])} in {row['units']} units ({100 * row['share']:.0f} % of those logged)",
            "logs of all units",
        )


def _custody(custody: pl.DataFrame) -> Iterator[Event]:
    for row in custody.iter_rows(named=True):
        told = ", ".join(filter(None, (row["event"], row["place"])))
        yield Event(
            row["start"],
            row["end"],
            "custody",
            f"{row['holder']}{f' ({told})' if told else ''}",
            f"events file, line {row['line']}",
        )


def _notes(notes: pl.DataFrame) -> Iterator[Event]:
    for row in notes.iter_rows(named=True):
        said = (("seen", "observation"), ("done", "action"), ("part", "part"))
        told = "; ".join(f"{words}: {row[column]}" for words, column in said if row[column])
        yield Event(row["time"], None, "note", told, f"notes file, line {row['line']}")


def _orders(set_points: pl.DataFrame) -> Iterator[Event]:
    """Stretches in which the set point was not the one ordered."""
    sources = {"booking": "log and bookings file", "plan": "log and stowage plan"}
    for row in (
        set_points.drop_nulls("start").filter(pl.col("kind").is_in(OTHER_SET_POINT)).iter_rows(named=True)
    ):
        yield Event(row["start"], row["end"], "order", row["words"], sources[row["source"]])


def _repairs(repairs: pl.DataFrame) -> Iterator[Event]:
    for row in repairs.iter_rows(named=True):
        yield Event(row["time"], None, "after repair", row["words"], _RECKONED)
