"""What the other units of the voyage did at the same hours: was it the ship or the box?"""

from __future__ import annotations

from datetime import datetime

import polars as pl

from coldsift.schema import PEERS_THEN

_FROZEN = ("frozen", "deep_frozen")


def peers_then(timeline: pl.DataFrame, container: str, start: datetime, end: datetime) -> pl.DataFrame:
    """Hour by hour, how far the other units' controlling air stood from their set points.

    Parameters
    ----------
    timeline
        Of every unit, from :func:`coldsift.regimes.build_timeline`.
    container
        The one that is compared with the others.
    start, end
        Window, UTC.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.PEERS_THEN`, in K above the set point. Others are units with a frozen set point
        where this one has one, and with a chilled or heated one where it has not. Readings in a defrost and
        in the first pull-down are left out; each unit counts once an hour, by the median of its readings.
    """
    frozen = pl.col("regime_class").is_in(_FROZEN)
    hour = pl.col("time").dt.truncate("1h")
    rows = (
        timeline.lazy()
        .filter(
            pl.col("time").is_between(start, end),
            ~pl.col("defrost"),
            pl.col("regime") != "pull_down",
            pl.col("controlling_air").is_not_null(),
            pl.col("set_point").is_not_null(),
        )
        .with_columns(hour=hour, frozen=frozen, above=pl.col("controlling_air") - pl.col("set_point"))
    )
    own = (
        timeline.lazy()
        .filter(pl.col("container") == container, pl.col("time").is_between(start, end))
        .group_by(hour=hour)
        .agg(frozen=frozen.drop_nulls().first())
    )
    others = (
        rows.filter(pl.col("container") != container)
        .group_by("hour", "frozen", "container")
        .agg(above=pl.col("above").median(), outside=~pl.col("in_band").all())
    )
    return PEERS_THEN.conform(
        others.join(own, on=["hour", "frozen"], how="semi")
        .group_by("hour")
        .agg(
            units=pl.len().cast(pl.Int64),
            outside=pl.col("outside").sum().cast(pl.Int64),
            low=pl.col("above").quantile(0.1, "linear"),
            median=pl.col("above").median(),
            high=pl.col("above").quantile(0.9, "linear"),
        )
        .rename({"hour": "time"})
        .sort("time")
        .collect()
    )
