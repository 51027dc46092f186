"""Features of the log itself and of the supply: coverage, gaps, hours without power, flat lines."""

from __future__ import annotations

import polars as pl

from coldsift.features.catalogue import AIR_COOLED, DEFINITION, OWN, RUNNING_HOLD, Feature, Statistic, Worry
from coldsift.regimes.numbered import (
    IN_MEMORY,
    MICROSECONDS,
    NUMBER,
    elapsed,
    microseconds_of,
    run_number,
    starts,
    with_numbers,
)
from coldsift.schema import CHANNELS

_ALL_ROWS = pl.lit(True)


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


def with_readings_before(readings: pl.LazyFrame) -> pl.LazyFrame:
    """Add what features need of earlier readings.

    How long each of ``FLAT_CHANNELS`` has stood unchanged [h]; how far the other of ``STUCK_PAIRS`` moved
    while a reading stood for ``LEAST_STUCK_HOURS`` or longer [K]; the air readings before; whether the unit
    had power before; and how far the set point has moved in all [K].
    """
    set_point = pl.col("set_point").drop_nulls()
    return (
        readings.with_columns(
            powered_before=pl.col("powered").shift(1).over(NUMBER),
            set_point_moved=(set_point.last() - set_point.first()).over(NUMBER),
            stands=microseconds_of(pl.col("hours")),
        )
        .with_columns(
            *(_flat_hours(channel).alias(f"{channel}_flat_hours") for channel in FLAT_CHANNELS),
            *(_moved_while_still(*pair).alias(f"{pair[0]}_stuck_range") for pair in STUCK_PAIRS),
            *(pl.col(channel).shift(1).over(NUMBER).alias(f"{channel}_before") for channel, _ in STUCK_PAIRS),
        )
        .drop("stands")
    )


def _flat_hours(channel: str) -> pl.Expr:
    """Hours each reading has stood unchanged up to now, over the unit's whole log."""
    stands = pl.col("stands")
    return (elapsed(starts(channel), stands) + stands) / MICROSECONDS


def _moved_while_still(channel: str, other: str) -> pl.Expr:
    """How far the other sensor has moved while this one stood unchanged, at each reading. [K]"""
    run = run_number(starts(channel))
    stood = pl.col("stands").sum().over(run) >= LEAST_STUCK_HOURS * MICROSECONDS
    return pl.when(stood).then((pl.col(other).max() - pl.col(other).min()).over(run)).otherwise(0.0)


CLOCK_HOURS = 96
"""The day wave is compared over the last hours of a log. [h]"""

LARGEST_LAG = 12
"""Shifts searched, either way. [h]"""

CLEARER_BY = 0.1
"""A shift counts when its correlation is higher than that of no shift by this, and no worse than 0.6."""

FEWEST_CLOCKS = 8
"""Logs needed for the fleet's day wave."""


def clock_marks(timeline: pl.DataFrame) -> pl.DataFrame:
    """The day wave of the ambient air of each unit, hour by hour.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`: a batch of units, sorted by container and time.

    Returns
    -------
    polars.DataFrame
        ``container``, ``time`` (UTC, the hour), ``wave`` (ambient air above the mean of the 24 h before, K),
        ``recent`` (in the last ``CLOCK_HOURS`` of the unit's log).
    """
    hour = pl.col("time")
    return (
        timeline.lazy()
        .select("container", "ambient_air", pl.col("time").dt.truncate("1h"))
        .filter(pl.col("ambient_air").is_not_null())
        .pipe(with_numbers)
        .group_by(run_number(starts("time")).alias("hour"), maintain_order=True)
        .agg(pl.col("container", NUMBER, "time").first(), air=pl.col("ambient_air").mean())
        # What is left after the day's own mean is the day wave.
        .select(
            "container",
            "time",
            wave=pl.col("air")
            - pl.col("air").rolling_mean_by("time", window_size="24h", min_samples=12).over(NUMBER),
            recent=hour > hour.last().over(NUMBER) - pl.duration(hours=CLOCK_HOURS),
        )
        .drop_nulls("wave")
        .collect(engine=IN_MEMORY)
    )


def clock_features(marks: pl.DataFrame) -> pl.DataFrame:
    """How far each unit's clock runs ahead of the fleet's, from the day wave of the ambient air.

    Parameters
    ----------
    marks
        From :func:`clock_marks`: of all units of the voyage, sorted by container and time.

    Returns
    -------
    polars.DataFrame
        ``container``, ``feature``, ``value`` [h], ``samples`` (hours compared).
    """
    unit = "container"
    fleet = (
        marks.group_by("time")
        .agg(fleet=pl.when(pl.len() >= FEWEST_CLOCKS).then(pl.col("wave").median()))
        .drop_nulls()
    )
    recent = marks.filter("recent")
    fits = pl.concat(
        recent.join(
            fleet.with_columns(pl.col("time") + pl.duration(hours=lag)), on="time", maintain_order="left"
        )
        .group_by(unit, maintain_order=True)
        .agg(fit=pl.corr("wave", "fleet").fill_nan(None), samples=pl.len().cast(pl.Int64), lag=pl.lit(lag))
        # The smallest shift first: it wins where another fits no better.
        for lag in sorted(range(-LARGEST_LAG, LARGEST_LAG + 1), key=abs)
    )
    best = pl.col("fit").max()
    still = pl.col("fit").filter(pl.col("lag") == 0).first()
    return (
        fits.sort(unit, maintain_order=True)
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
