"""The range of like units through time: is it this unit, or all of them?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from coldsift.regimes.numbered import IN_MEMORY, run_number, starts, with_numbers
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


CHANNELS = (*ABOVE_SET_POINT, *AS_THEY_ARE)


@dataclass(frozen=True, slots=True)
class Grid:
    """The stretches that a voyage is divided into: begin of the first, and length of each."""

    begin: datetime
    width: timedelta


def peer_span(timeline: pl.DataFrame) -> pl.DataFrame:
    """From when to when each unit logs, and how often.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, of some units or of all.

    Returns
    -------
    polars.DataFrame
        ``container``, ``first`` and ``last`` reading (UTC), ``interval`` (usual one, whole) [s].
    """
    return (
        timeline.lazy()
        .group_by("container", maintain_order=True)
        .agg(
            first=pl.col("time").min(),
            last=pl.col("time").max(),
            interval=(pl.col("usual_hours").first() * 3600).round().cast(pl.Int64),
        )
        .collect(engine=IN_MEMORY)
    )


def peer_grid(spans: pl.DataFrame) -> Grid | None:
    """Divide a voyage into stretches.

    Parameters
    ----------
    spans
        From :func:`peer_span`, of all units.

    Returns
    -------
    Grid or None
        None where no stretch has units enough.

    Notes
    -----
    Stretches are as long as a whole number of the commonest log interval, the same for all groups, and at
    most ``MOST_BUCKETS``. They reach from the first instant to the last at which as many units as a range
    needs had begun and not yet ended their logs: a unit with a wrong clock stretches nothing.
    """
    commonest = spans["interval"].filter(spans["interval"] > 0).mode().sort()
    if spans.height < FEWEST_UNITS or commonest.is_empty():
        return None
    first = spans["first"].sort()[FEWEST_UNITS - 1]
    last = spans["last"].sort(descending=True)[FEWEST_UNITS - 1]
    if last < first:
        return None
    interval = timedelta(seconds=commonest[0])
    return Grid(first, interval * ((last - first) // interval // MOST_BUCKETS + 1))


def peer_cells(timeline: pl.DataFrame, grid: Grid) -> pl.DataFrame:
    """Mean of every channel of each unit in each stretch.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, of some units or of all, with ``evaporating`` and
        ``condensing`` from :func:`coldsift.features.with_saturation`.
    grid
        From :func:`peer_grid`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``stretch`` (number from 0) and the channels, null where there is no reading; sorted.
        ``ABOVE_SET_POINT`` are in K above the unit's own set point at the time of the reading, all others in
        their own units. Readings in a defrost are left out, for nothing is averaged over defrosts.
    """
    width = grid.width // timedelta(microseconds=1)
    stretch = (pl.col("time") - grid.begin).dt.total_microseconds() // width
    above = (pl.col(name) - pl.col("set_point") for name in ABOVE_SET_POINT)
    return (
        timeline.lazy()
        .filter(~pl.col("defrost"))
        .select("container", *above, *AS_THEY_ARE, stretch=stretch.cast(pl.Int32))
        .filter(pl.col("stretch").is_between(0, MOST_BUCKETS - 1))
        .pipe(with_numbers)
        .group_by(cell=run_number(starts("stretch")), maintain_order=True)
        .agg(pl.col("container", "stretch").first(), pl.col(CHANNELS).mean())
        .drop("cell")
        .collect(engine=IN_MEMORY)
    )


def peer_bands(
    cells: Iterable[pl.DataFrame], grid: Grid | None, members: pl.DataFrame, chosen: pl.DataFrame
) -> pl.DataFrame:
    """What like units did through time: the middle 80 of 100, stretch by stretch.

    Parameters
    ----------
    cells
        From :func:`peer_cells`, batch by batch of units.
    grid
        That they were made with; None where there is none.
    members
        ``container``, ``peer_group``: every unit of every group.
    chosen
        ``peer_group``: the groups that units are compared with; the others are left out.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.PEER_BANDS`: 10th, 50th and 90th percentile over the units' means in each
        stretch, only where at least ``FEWEST_UNITS`` units have readings. A unit is itself among those it is
        drawn against.

    Notes
    -----
    Percentiles lie on the straight line between the two nearest units (the default rule of numpy and of
    polars' ``linear``, type 7 of Hyndman and Fan). Every unit counts, however large the group.
    """
    batches = list(cells)
    if grid is None or not batches:
        return PEER_BANDS.empty()
    whole = pl.concat(batches)
    place = ["peer_group", "stretch"]
    groups = members.join(chosen, on="peer_group", how="semi").with_columns(
        pl.col("peer_group").cast(pl.Categorical)
    )
    # One row of cells stands in as many groups as its unit does.
    rows = (
        whole.select("container", "stretch")
        .with_row_index("row")
        .join(groups, on="container")
        .drop("container")
        .sort(*place)
    )
    numbers = rows["row"]
    rows = rows.select(*place)
    mean = pl.col("mean")
    bands = [
        rows.lazy()
        .with_columns(mean=whole[channel].gather(numbers))
        .drop_nulls("mean")
        .group_by(place, maintain_order=True)
        .agg(
            low=mean.quantile(0.1, "linear"),
            middle=mean.quantile(0.5, "linear"),
            high=mean.quantile(0.9, "linear"),
            units=pl.len().cast(pl.Int64),
        )
        .filter(pl.col("units") >= FEWEST_UNITS)
        .with_columns(channel=pl.lit(channel))
        .collect(engine=IN_MEMORY)
        for channel in CHANNELS
    ]
    return PEER_BANDS.conform(
        pl.concat(bands)
        .with_columns(
            pl.col("peer_group").cast(pl.String),
            time=pl.lit(grid.begin) + pl.col("stretch") * pl.lit(grid.width) + pl.lit(grid.width // 2),
        )
        .sort("peer_group", "channel", "time")
    )
