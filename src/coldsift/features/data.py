"""Features of the log itself and of the supply: coverage, gaps, hours without power, flat lines."""

from __future__ import annotations

import polars as pl

from coldsift.features.catalogue import DEFINITION, OWN, RUNNING_HOLD, Feature, Statistic, Worry
from coldsift.schema import CHANNELS

_ALL_ROWS = pl.lit(True)


def _flat_hours(channel: str) -> pl.Expr:
    """Hours each reading has stood unchanged up to now, over the unit's whole log."""
    unit = "container"
    changed = (pl.col(channel) != pl.col(channel).shift(1)).fill_null(True)
    run = changed.cum_sum().over(unit)
    return pl.col("hours").cum_sum().over([pl.col(unit), run])


FLAT_CHANNELS = (
    "return_air",
    "supply_air",
    "ambient_air",
    "evaporator_temperature",
    "suction_pressure",
    "discharge_pressure",
)
"""Readings that never stand still for long in a running unit."""


def _flat(channel: str) -> Feature:
    label = CHANNELS[channel].label.lower()
    return Feature(
        f"{channel}_flat",
        "h",
        f"Longest time the {label} stood unchanged",
        "hold, compressor running",
        f"longest run of equal {channel} readings",
        f"The {label} sensor and its plug",
        needs=(channel,),
        scale=12.0,
        worry=Worry.HIGH,
        of=pl.col(f"{channel}_flat_hours"),
        where=RUNNING_HOLD,
        statistic=Statistic.MAX,
    )


DATA_FEATURES: tuple[Feature, ...] = (
    Feature(
        "off_hours",
        "h",
        "Hours without power",
        "off, not shared by the ship",
        "sum of hours without power, what the whole ship shared apart",
        "Plug, socket, circuit breaker",
        source=DEFINITION,
        minimum=1,
        scale=2.0,
        worry=Worry.HIGH,
        expected=0.0,
        of=pl.when(pl.col("regime") == "off").then("hours").otherwise(0.0),
        where=OWN,
        statistic=Statistic.SUM,
    ),
    Feature(
        "pull_down_hours",
        "h",
        "Hours in the first pull-down",
        "pull-down",
        "sum of hours before the controlling air first came into its band, or stopped falling",
        "Cargo temperature at loading, then capacity",
        source=DEFINITION,
        minimum=1,
        scale=6.0,
        worry=Worry.NONE,
        of=pl.when(pl.col("regime") == "pull_down").then("hours").otherwise(0.0),
        where=OWN,
        statistic=Statistic.SUM,
    ),
    *(_flat(channel) for channel in FLAT_CHANNELS),
    Feature(
        "log_interval",
        "min",
        "Usual log interval",
        "all",
        "median of the steps between readings",
        "Log interval set in the controller",
        source=DEFINITION,
        minimum=2,
        worry=Worry.NONE,
        of=pl.col("step_hours") * 60,
        where=_ALL_ROWS,
    ),
    Feature(
        "longest_gap",
        "h",
        "Longest gap in the log",
        "all",
        "longest step between readings",
        "Controller log memory and battery",
        source=DEFINITION,
        minimum=2,
        worry=Worry.NONE,
        of=pl.col("step_hours"),
        where=_ALL_ROWS,
        statistic=Statistic.MAX,
    ),
    Feature(
        "log_hours",
        "h",
        "Hours that the log stands for",
        "all",
        "sum of the intervals, gaps taken out",
        "Download the log again, in full",
        source=DEFINITION,
        minimum=1,
        worry=Worry.NONE,
        of=pl.col("hours"),
        where=_ALL_ROWS,
        statistic=Statistic.SUM,
    ),
    Feature(
        "ambient",
        "°C",
        "Ambient air",
        "all",
        "median of ambient_air",
        "Ambient air",
        source=DEFINITION,
        needs=("ambient_air",),
        worry=Worry.NONE,
        of=pl.col("ambient_air"),
        where=_ALL_ROWS,
        watched=True,
    ),
    Feature(
        "lift",
        "K",
        "Ambient minus set point",
        "all",
        "median of ambient_air − set_point",
        "Ambient air",
        source=DEFINITION,
        needs=("ambient_air", "set_point"),
        worry=Worry.NONE,
        of=pl.col("ambient_air") - pl.col("set_point"),
        where=_ALL_ROWS,
        watched=True,
    ),
)


def with_readings_before(timeline: pl.LazyFrame) -> pl.LazyFrame:
    """Add how long each of ``FLAT_CHANNELS`` has stood unchanged [h], and its reading before."""
    return timeline.with_columns(
        *(_flat_hours(channel).alias(f"{channel}_flat_hours") for channel in FLAT_CHANNELS),
        *(pl.col(channel).shift(1).over("container").alias(f"{channel}_before") for channel in FLAT_CHANNELS),
    )
