"""What the whole ship shared: a blackout is the ship's, not the unit's."""

from __future__ import annotations

import polars as pl

from coldsift.schema import VOYAGE_EVENTS

SHARED_SHARE = 0.5
SHARED_UNITS = 5
"""At least this share, and this many, of the units logged at the time make an event a shared one."""

_SLOT = "15m"


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
    slots = intervals.lazy().select(
        "container",
        kind=pl.col("regime")
        .cast(pl.String)
        .replace_strict({"off": "power_off", "unknown": "log_gap"}, default=None),
        slot=pl.datetime_ranges(
            pl.col("start").dt.truncate(_SLOT), pl.col("end").dt.truncate(_SLOT), _SLOT, closed="left"
        ),
    )
    aboard = (
        intervals.lazy()
        .group_by("container")
        .agg(pl.col("start").min(), pl.col("end").max())
        .select(
            slot=pl.datetime_ranges(
                pl.col("start").dt.truncate(_SLOT), pl.col("end").dt.truncate(_SLOT), _SLOT
            )
        )
        .explode("slot", empty_as_null=False)
        .group_by("slot")
        .agg(logged=pl.len())
    )
    return VOYAGE_EVENTS.conform(
        slots.drop_nulls("kind")
        .explode("slot", empty_as_null=False)
        .unique()
        .group_by("kind", "slot")
        .agg(units=pl.len())
        .join(aboard, on="slot")
        .with_columns(share=pl.col("units") / pl.col("logged"))
        .filter(pl.col("share") >= SHARED_SHARE, pl.col("units") >= SHARED_UNITS)
        .sort("kind", "slot")
        .with_columns(
            event=(pl.col("slot") - pl.col("slot").shift(1) > pl.duration(minutes=60))
            .fill_null(True)
            .cum_sum()
            .over("kind")
        )
        .group_by("kind", "event")
        .agg(
            start=pl.col("slot").min(),
            end=pl.col("slot").max() + pl.duration(minutes=15),
            units=pl.col("units").max().cast(pl.Int64),
            share=pl.col("share").max(),
        )
        .sort("start", "kind")
        .collect()
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
    stretch = ["container", "stretch"]
    off = pl.col("regime") == "off"
    return (
        timeline.lazy()
        .with_columns(in_event=inside)
        .with_columns(
            stretch=(
                (pl.col("regime") != pl.col("regime").shift(1))
                & (off | ~pl.col("regime").is_in(["recovery", "defrost"]))
            )
            .fill_null(True)
            .cum_sum()
            .over("container")
        )
        # An outage that touches the event, and what the unit needs to come back from it, belong to it.
        .with_columns(shared=pl.col("in_event") & off)
        .with_columns(shared=pl.col("shared").any().over(stretch) & (off | (pl.col("regime") == "recovery")))
        .drop("stretch", "in_event")
        .collect()
    )
