"""What the whole ship shared: a blackout is the ship's, not the unit's."""

from __future__ import annotations

from datetime import timedelta

import polars as pl

from coldsift.regimes.numbered import IN_MEMORY, NUMBER, run_number, starts, with_numbers
from coldsift.schema import VOYAGE_EVENTS

SHARED_SHARE = 0.5
SHARED_UNITS = 5
"""At least this share, and this many, of the units logged at the time make an event a shared one."""

_SLOT = "15m"
_KINDS = {"off": "power_off", "unknown": "log_gap"}
"""Kind of event by the regime of the units in it."""

_NEXT_EVENT = timedelta(minutes=45)
"""Two stretches further apart are two events."""


def find_voyage_events(intervals: pl.DataFrame) -> pl.DataFrame:
    """Find stretches in which most of the ship was without power, or without readings.

    Parameters
    ----------
    intervals
        From :func:`coldsift.regimes.regime_intervals`: container, start, end (UTC), regime.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.VOYAGE_EVENTS`, at a resolution of 15 minutes widened to the log interval.
    """
    if intervals.is_empty():
        return VOYAGE_EVENTS.empty()
    begin, end = (pl.col(edge).dt.truncate(_SLOT) for edge in ("start", "end"))
    kind = pl.col("regime").cast(pl.String).replace_strict(_KINDS, default=None)
    missed = intervals.lazy().select(kind=kind, begin=begin, end=end).drop_nulls("kind")
    aboard = (
        intervals.lazy()
        .group_by("container")
        .agg(begin=begin.min(), end=end.max() + pl.duration(minutes=15))
        .join(missed.select("kind").unique(), how="cross")
    )
    apart = pl.col("begin") - pl.col("end").shift(1).over("kind") > _NEXT_EVENT
    return VOYAGE_EVENTS.conform(
        pl.concat([_changes(missed, units=1, logged=0), _changes(aboard, units=0, logged=1)])
        .group_by("kind", "begin")
        .agg(pl.col("units", "logged").sum())
        .sort("kind", "begin")
        .with_columns(
            pl.col("units", "logged").cum_sum().over("kind"), end=pl.col("begin").shift(-1).over("kind")
        )
        .with_columns(share=pl.col("units") / pl.col("logged"))
        .filter(pl.col("share") >= SHARED_SHARE, pl.col("units") >= SHARED_UNITS)
        .with_columns(event=apart.fill_null(True).cum_sum().over("kind"))
        .group_by("kind", "event")
        .agg(
            start=pl.col("begin").min(),
            end=pl.col("end").max(),
            units=pl.col("units").max(),
            share=pl.col("share").max(),
        )
        .sort("start", "kind")
        .collect(engine=IN_MEMORY)
    )


def shareable(intervals: pl.DataFrame) -> pl.DataFrame:
    """The few intervals that :func:`find_voyage_events` needs: those without power or readings, and the ends.

    Parameters
    ----------
    intervals
        From :func:`coldsift.regimes.regime_intervals`.
    """
    first = pl.col("start") == pl.col("start").min().over("container")
    last = pl.col("end") == pl.col("end").max().over("container")
    return intervals.filter(first | last | pl.col("regime").cast(pl.String).is_in(list(_KINDS)))


def _changes(stretches: pl.LazyFrame, units: int, logged: int) -> pl.LazyFrame:
    """By how much the counts of units change where a stretch begins and where it ends."""
    return pl.concat(
        stretches.select(
            "kind",
            begin=edge,
            units=pl.lit(sign * units, dtype=pl.Int64),
            logged=pl.lit(sign * logged, dtype=pl.Int64),
        )
        for edge, sign in (("begin", 1), ("end", -1))
    )


def mark_shared(timeline: pl.DataFrame, voyage_events: pl.DataFrame) -> pl.DataFrame:
    """Add ``shared``: the reading fell in a shared event, or in the unit's recovery from it.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    voyage_events
        From :func:`find_voyage_events`.

    Returns
    -------
    polars.DataFrame
        The timeline with one Boolean column more.
    """
    power_off = voyage_events.filter(pl.col("kind") == "power_off")
    inside = pl.lit(False)
    for start, end in power_off.select("start", "end").iter_rows():
        # One usual interval either side: a slow log sees the event late and leaves it late.
        slack = pl.duration(microseconds=(pl.col("usual_hours").fill_null(0) * 3.6e9).cast(pl.Int64))
        inside = inside | ((pl.col("time") >= start - slack) & (pl.col("time") <= end + slack))
    off = pl.col("regime") == "off"
    goes_on = ~off & pl.col("regime").is_in(["recovery", "defrost"])
    return (
        with_numbers(timeline.lazy())
        .with_columns(in_event=inside, stretch=run_number(starts() | (starts("regime") & ~goes_on)))
        # An outage that touches the event, and what the unit needs to come back from it, belong to it.
        .with_columns(
            shared=(pl.col("in_event") & off).any().over("stretch") & (off | (pl.col("regime") == "recovery"))
        )
        .drop("stretch", "in_event", NUMBER)
        .collect(engine=IN_MEMORY)
    )
