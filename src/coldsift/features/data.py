"""Features of the log itself and of the supply: coverage, gaps, hours without power, flat lines."""

from __future__ import annotations

import polars as pl

from coldsift.features.catalogue import AIR_COOLED, DEFINITION, OWN, RUNNING_HOLD, Feature, Statistic, Worry
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


STUCK_PAIRS = (("return_air", "supply_air"), ("supply_air", "return_air"))
"""Each air sensor, and the one that shows that the air has moved."""

LEAST_STUCK_HOURS = 2.0
"""A reading that stands shorter than this has not stood still. [h]"""


def _moved_while_still(channel: str, other: str) -> pl.Expr:
    """How far the other sensor has moved while this one stood unchanged, at each reading. [K]"""
    unit = "container"
    run = [pl.col(unit), (pl.col(channel) != pl.col(channel).shift(1)).fill_null(True).cum_sum().over(unit)]
    moved = pl.col(other).max().over(run) - pl.col(other).min().over(run)
    return pl.when(pl.col("hours").sum().over(run) >= LEAST_STUCK_HOURS).then(moved).otherwise(0.0)


def _stuck(channel: str, other: str) -> Feature:
    label, moving = CHANNELS[channel].label.lower(), CHANNELS[other].label.lower()
    return Feature(
        f"{channel}_stuck",
        "K",
        f"Movement of the {moving} while the {label} stood still",
        "powered",
        f"largest range of {other} within one run of equal {channel} readings of {LEAST_STUCK_HOURS:g} h "
        "or longer",
        f"The {label} sensor and its plug",
        needs=(channel, other),
        scale=0.4,
        worry=Worry.HIGH,
        usual=(0.0, 0.0),
        of=pl.col(f"{channel}_stuck_range"),
        where=OWN & pl.col("powered"),
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
        usual=(0.0, 0.0),
        of=pl.when(pl.col("regime") == "off").then("hours").otherwise(0.0),
        where=OWN,
        statistic=Statistic.SUM,
    ),
    Feature(
        "outages",
        "times",
        "Power lost",
        "off, not shared by the ship",
        "stretches without power, what the whole ship shared apart",
        "Plug, socket, circuit breaker",
        source=DEFINITION,
        minimum=1,
        scale=1.5,
        worry=Worry.HIGH,
        of=((pl.col("regime") == "off") & pl.col("powered_before").fill_null(False)).cast(pl.Float64),
        where=OWN,
        statistic=Statistic.SUM,
    ),
    Feature(
        "water_cooled",
        "",
        "Share of time the condenser is water-cooled",
        "all",
        "readings with condenser_cooling water / readings",
        "Condenser: air or water",
        source=DEFINITION,
        needs=("condenser_cooling",),
        minimum=1,
        scale=0.1,
        worry=Worry.NONE,
        usual=(0.0, 0.0),
        by_peers=False,
        of=(~AIR_COOLED).cast(pl.Float64),
        where=pl.col("condenser_cooling").is_not_null(),
        statistic=Statistic.MEAN,
    ),
    Feature(
        "set_point_moved",
        "K",
        "Set point now against the first",
        "all",
        "last set_point − first set_point",
        "Booked set point against the unit's",
        source=DEFINITION,
        needs=("set_point",),
        minimum=2,
        worry=Worry.NONE,
        of=pl.col("set_point_moved"),
        where=_ALL_ROWS,
        statistic=Statistic.MEDIAN,
    ),
    Feature(
        "clock_lag",
        "h",
        "Clock ahead of the fleet's",
        "all",
        "shift at which the day wave of ambient_air fits that of the fleet's median best, over the last "
        "96 h; 0 where another shift fits no better",
        "Controller clock against ship's time",
        needs=("ambient_air",),
        minimum=48,
        scale=1.0,
        worry=Worry.NONE,
        usual=(0.0, 0.0),
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
    *(_stuck(channel, other) for channel, other in STUCK_PAIRS),
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
    """Add what features need of earlier readings.

    How long each of ``FLAT_CHANNELS`` has stood unchanged [h], its reading before, whether the unit had power
    before, and how far the set point has moved in all [K].
    """
    set_point = pl.col("set_point").drop_nulls()
    return timeline.with_columns(
        powered_before=pl.col("powered").shift(1).over("container"),
        set_point_moved=(set_point.last() - set_point.first()).over("container"),
    ).with_columns(
        *(_flat_hours(channel).alias(f"{channel}_flat_hours") for channel in FLAT_CHANNELS),
        *(pl.col(channel).shift(1).over("container").alias(f"{channel}_before") for channel in FLAT_CHANNELS),
        *(_moved_while_still(*pair).alias(f"{pair[0]}_stuck_range") for pair in STUCK_PAIRS),
    )


CLOCK_HOURS = 96
"""The day wave is compared over the last hours of a log. [h]"""

LARGEST_LAG = 12
"""Shifts searched, either way. [h]"""

CLEARER_BY = 0.1
"""A shift counts when its correlation is higher than that of no shift by this, and no worse than 0.6."""

FEWEST_CLOCKS = 8
"""Logs needed for the fleet's day wave."""


def clock_features(timeline: pl.DataFrame) -> pl.LazyFrame:
    """How far each unit's clock runs ahead of the fleet's, from the day wave of the ambient air.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.

    Returns
    -------
    polars.LazyFrame
        ``container``, ``feature``, ``value`` [h], ``samples`` (hours compared).
    """
    unit = "container"
    hourly = (
        timeline.lazy()
        .filter(pl.col("ambient_air").is_not_null())
        .group_by(unit, pl.col("time").dt.truncate("1h"))
        .agg(air=pl.col("ambient_air").mean())
        .sort(unit, "time")
        # What is left after the day's own mean is the day wave.
        .with_columns(
            wave=pl.col("air")
            - pl.col("air").rolling_mean_by("time", window_size="24h", min_samples=12).over(unit),
            last=pl.col("time").max().over(unit),
        )
        .drop_nulls("wave")
    )
    fleet = hourly.group_by("time").agg(
        fleet=pl.when(pl.len() >= FEWEST_CLOCKS).then(pl.col("wave").median())
    )
    recent = hourly.filter(pl.col("time") > pl.col("last") - pl.duration(hours=CLOCK_HOURS))
    lags = pl.LazyFrame({"lag": range(-LARGEST_LAG, LARGEST_LAG + 1)}, schema={"lag": pl.Int64})
    fits = (
        recent.join(lags, how="cross")
        .with_columns(at=pl.col("time").dt.offset_by(pl.format("{}h", -pl.col("lag"))))
        .join(fleet, left_on="at", right_on="time")
        .drop_nulls("fleet")
        .group_by(unit, "lag")
        .agg(fit=pl.corr("wave", "fleet").fill_nan(None), samples=pl.len().cast(pl.Int64))
    )
    best = pl.col("fit").max()
    still = pl.col("fit").filter(pl.col("lag") == 0).first()
    return (
        fits.sort(unit, pl.col("lag").abs(), "lag")
        .group_by(unit, maintain_order=True)
        .agg(
            value=pl.when((best >= 0.6) & (best - still >= CLEARER_BY))
            .then(pl.col("lag").get(pl.col("fit").arg_max()))
            .otherwise(0)
            .cast(pl.Float64),
            samples=pl.col("samples").max(),
        )
        .select(unit, pl.lit("clock_lag").alias("feature"), "value", "samples")
    )
