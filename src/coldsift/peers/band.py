"""The range of like units through time: is it this unit, or all of them?"""

from __future__ import annotations

from datetime import timedelta

import polars as pl

from coldsift.schema import PEER_BANDS

FEWEST_UNITS = 5
"""With fewer units there is no range: a tenth of them would be nobody."""

MOST_BUCKETS = 240
"""Stretches that a voyage is divided into at most; charts need no more."""

ABOVE_SET_POINT = ("supply_air", "return_air")
"""Taken as the difference from the unit's own set point, so that units at different ones compare. [K]"""

AS_THEY_ARE = (
    "ambient_air",
    "humidity",
    "oxygen",
    "carbon_dioxide",
    "suction_pressure",
    "discharge_pressure",
    "evaporating",
    "condensing",
    "suction_temperature",
    "discharge_temperature",
    "evaporator_temperature",
    "superheat",
    "expansion_valve_opening",
    "economizer_valve",
    "hot_gas_valve",
    "compressor_frequency",
    "evaporator_fan_speed",
    "condenser_fan_speed",
    "voltage_1",
    "current_1",
    "current_2",
    "current_3",
    "power",
    "frequency",
)
"""Taken as logged, in the channel's own unit; ``evaporating`` and ``condensing`` in °C."""


def peer_bands(timeline: pl.DataFrame, members: pl.DataFrame, chosen: pl.DataFrame) -> pl.DataFrame:
    """What like units did through time: the middle 80 of 100, stretch by stretch.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, with ``evaporating`` and ``condensing`` from
        :func:`coldsift.features.with_saturation`.
    members
        ``container``, ``peer_group``: every unit of every group.
    chosen
        ``peer_group``: the groups that units are compared with; the others are left out.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.PEER_BANDS`: 10th, 50th and 90th percentile over the units' means in each
        stretch, only where at least ``FEWEST_UNITS`` units have readings. A unit is itself among those it is
        drawn against. ``ABOVE_SET_POINT`` are in K above the unit's own set point at the time of the
        reading, all others in their own units.

    Notes
    -----
    Stretches are as long as a whole number of the commonest log interval, the same for all groups, and at
    most ``MOST_BUCKETS``. They reach from the first instant to the last at which as many units as a range
    needs had begun and not yet ended their logs: a unit with a wrong clock stretches nothing. Readings in a
    defrost are left out, for nothing is averaged over defrosts. Percentiles lie on the straight line between
    the two nearest units (the default rule of numpy and of polars' ``linear``, type 7 of Hyndman and Fan).
    """
    grid = _grid(timeline)
    if grid is None:
        return PEER_BANDS.empty()
    begin, width = grid
    stretch = (pl.col("time") - begin).dt.total_microseconds() // width
    above = (pl.col(name) - pl.col("set_point") for name in ABOVE_SET_POINT)
    means = (
        timeline.lazy()
        .filter(~pl.col("defrost"))
        .select("container", *above, *AS_THEY_ARE, stretch=stretch)
        .filter(pl.col("stretch").is_between(0, MOST_BUCKETS - 1))
        # In order: sums of threads that finish as they may differ in the last digit.
        .group_by("container", "stretch", maintain_order=True)
        .agg(pl.col(*ABOVE_SET_POINT, *AS_THEY_ARE).mean())
        .unpivot(index=["container", "stretch"], variable_name="channel", value_name="mean")
        .drop_nulls("mean")
    )
    mean = pl.col("mean")
    return PEER_BANDS.conform(
        means.join(members.lazy().join(chosen.lazy(), on="peer_group", how="semi"), on="container")
        .group_by("peer_group", "channel", "stretch")
        .agg(
            low=mean.quantile(0.1, "linear"),
            middle=mean.quantile(0.5, "linear"),
            high=mean.quantile(0.9, "linear"),
            units=pl.len().cast(pl.Int64),
        )
        .filter(pl.col("units") >= FEWEST_UNITS)
        .with_columns(time=begin + pl.duration(microseconds=pl.col("stretch") * width + width // 2))
        .sort("peer_group", "channel", "time")
        .collect()
    )


def _grid(timeline: pl.DataFrame) -> tuple[pl.Expr, int] | None:
    """Begin of the first stretch, and length of each [µs]; None where no stretch has units enough."""
    units = (
        timeline.lazy()
        .group_by("container")
        .agg(
            first=pl.col("time").min(),
            last=pl.col("time").max(),
            interval=(pl.col("usual_hours").first() * 3600).round().cast(pl.Int64),
        )
        .collect()
    )
    commonest = units["interval"].filter(units["interval"] > 0).mode().sort()
    if units.height < FEWEST_UNITS or commonest.is_empty():
        return None
    first = units["first"].sort()[FEWEST_UNITS - 1]
    last = units["last"].sort(descending=True)[FEWEST_UNITS - 1]
    if last < first:
        return None
    interval = timedelta(seconds=commonest[0])
    width = interval * ((last - first) // interval // MOST_BUCKETS + 1)
    return pl.lit(first), width // timedelta(microseconds=1)
