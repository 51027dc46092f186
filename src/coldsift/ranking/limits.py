"""How soon the controlling air leaves its band."""

from __future__ import annotations

import polars as pl

from coldsift.regimes.numbered import IN_MEMORY

TREND_HOURS = 12.0
"""The trend is taken over the last hours of the log. [h]"""

SLOWEST_TREND = 0.02
"""A slower approach than this is not told from noise. [K/h]"""

LEAST_CORRELATION = 0.6
"""A trend that time explains less well than this is not one."""

FARTHEST_HOURS = 240.0
"""A limit further away than this is not foretold. [h]"""


def hours_to_limit(timeline: pl.DataFrame) -> pl.DataFrame:
    """Hours until each unit's controlling air leaves its band, as its last hours go on.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, of some units or of all.

    Returns
    -------
    polars.DataFrame
        ``container``; ``hours_to_limit`` [h]: 0 when the air is outside its band at the end of the log,
        null when it does not approach an edge; ``pulling_down``: the first pull-down still lasts;
        ``air``, ``set_point``, ``beyond`` [K] at the end, ``air_name``.

    Notes
    -----
    Straight line through the last ``TREND_HOURS`` outside defrosts. The air warms before the cargo does, so
    this is the earlier of the two limits.
    """
    unit = "container"
    rows = (
        timeline.lazy()
        .filter(
            ~pl.col("defrost"), pl.col("controlling_air").is_not_null(), pl.col("band_high").is_not_null()
        )
        .filter(pl.col("time") >= pl.col("time").max().over(unit) - pl.duration(hours=TREND_HOURS))
        .with_columns(clock=(pl.col("time") - pl.col("time").max().over(unit)).dt.total_seconds() / 3600)
    )
    recent = pl.col("controlling_air").tail(3).median()
    covariance = pl.cov("clock", "controlling_air")
    ends = rows.group_by(unit).agg(
        air=recent,
        set_point=pl.col("set_point").last(),
        low=pl.col("band_low").last(),
        high=pl.col("band_high").last(),
        slope=covariance / pl.col("clock").var(),
        correlation=pl.corr("clock", "controlling_air"),
        changed=pl.col("set_point").n_unique() > 1,
        regime=pl.col("regime").last(),
        air_name=pl.when(pl.col("controlling_air").last() == pl.col("return_air").last())
        .then(pl.lit("return air"))
        .otherwise(pl.lit("supply air")),
    )
    edge = pl.when(pl.col("slope") > 0).then("high").otherwise("low")
    approaching = (
        (pl.col("slope").abs() > SLOWEST_TREND)
        & (pl.col("correlation").abs() > LEAST_CORRELATION)
        & ~pl.col("changed")
    )
    until = (edge - pl.col("air")) / pl.col("slope")
    above, below = pl.col("air") - pl.col("high"), pl.col("low") - pl.col("air")
    return (
        ends.with_columns(
            beyond=pl.max_horizontal(above, below, 0.0), pulling_down=pl.col("regime") == "pull_down"
        )
        .with_columns(
            hours_to_limit=pl.when(pl.col("pulling_down"))
            .then(None)
            .when(pl.col("beyond") > 0)
            .then(0.0)
            .when(approaching & (until >= 0) & (until <= FARTHEST_HOURS))
            .then(until)
        )
        .select(unit, "hours_to_limit", "pulling_down", "air", "set_point", "beyond", "air_name")
        .sort(unit)
        .collect(engine=IN_MEMORY)
    )
