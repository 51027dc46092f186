"""What the other units of the voyage did at the same hours: was it the ship or the box?"""

from __future__ import annotations

from datetime import datetime

import polars as pl

from coldsift.regimes.numbered import IN_MEMORY
from coldsift.schema import PEERS_THEN, UNIT_HOURS

_FROZEN = ("frozen", "deep_frozen")


def unit_hours(timeline: pl.DataFrame) -> pl.DataFrame:
    """Hour by hour, how far each unit's controlling air stood from its set point.

    Parameters
    ----------
    timeline
        Of any units, from :func:`coldsift.regimes.build_timeline`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.UNIT_HOURS`, a row for every hour with a reading, in K above the set point.
        Readings in a defrost and in the first pull-down do not count; a unit whose set point turns from
        frozen to chilled within an hour goes by its first reading there.
    """
    counts = (
        ~pl.col("defrost")
        & (pl.col("regime") != "pull_down")
        & pl.col("controlling_air").is_not_null()
        & pl.col("set_point").is_not_null()
    ).fill_null(False)
    return UNIT_HOURS.conform(
        timeline.lazy()
        .select(
            "container",
            hour=pl.col("time").dt.truncate("1h"),
            frozen=pl.col("regime_class").cast(pl.String).is_in(_FROZEN),
            counts=counts,
            above=pl.when(counts).then(pl.col("controlling_air") - pl.col("set_point")),
            outside=counts & ~pl.col("in_band"),
        )
        .group_by("container", "hour", maintain_order=True)
        .agg(
            frozen=pl.col("frozen").drop_nulls().first(),
            above_set_point=pl.col("above").median(),
            outside=pl.col("outside").any(),
            readings=pl.col("counts").sum(),
        )
        .collect(engine=IN_MEMORY)
    )


def peers_then(hours: pl.DataFrame, container: str, start: datetime, end: datetime) -> pl.DataFrame:
    """Hour by hour, how far the other units' controlling air stood from their set points.

    Parameters
    ----------
    hours
        Of every unit, from :func:`unit_hours`.
    container
        The one that is compared with the others.
    start, end
        Window, UTC. An hour that it touches counts whole.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.PEERS_THEN`, in K above the set point. Others are units with a frozen set point
        where this one has one, and with a chilled or heated one where it has not; each counts once an hour,
        by the median of its readings.
    """
    first = start.replace(minute=0, second=0, microsecond=0)
    then = hours.lazy().filter(pl.col("hour").is_between(first, end))
    own = then.filter(pl.col("container") == container).select("hour", "frozen")
    others = then.filter(pl.col("container") != container, pl.col("readings") > 0)
    above = pl.col("above_set_point")
    return PEERS_THEN.conform(
        others.join(own, on=["hour", "frozen"], how="semi")
        .group_by("hour")
        .agg(
            units=pl.len().cast(pl.Int64),
            outside=pl.col("outside").sum().cast(pl.Int64),
            low=above.quantile(0.1, "linear"),
            median=above.median(),
            high=above.quantile(0.9, "linear"),
        )
        .rename({"hour": "time"})
        .sort("time")
        .collect(engine=IN_MEMORY)
    )
