"""The readings that tell whether the air is inside its band, and what lies between two of them."""

from __future__ import annotations

import polars as pl

from coldsift.regimes.numbered import IN_MEMORY, NUMBER, with_numbers
from coldsift.regimes.timeline import GAP_FACTOR

AFTER_DEFROST_HOURS = 1.5
"""Warm air this soon after a defrost belongs to the defrost. [h] Common practice, no source."""

STIRRED_HOURS = 0.5
"""So long after power came back the fans still mix air that had settled. [h] Common practice, no source."""

LOST_FACTOR = 1.5
"""An interval longer than this many usual ones, and no gap, is bridged; it is named. A clock that jitters
stays below."""

GRIDS = (1.0, 1 / 1.8, 0.5, 0.5 / 1.8, 0.1, 0.1 / 1.8, 0.05, 0.01)
"""Steps that logs round temperatures to, in °C and in °F. [K] Common practice, no source."""

_CHANNELS = (
    *("container", "time", "set_point", "controlling_air", "band_low", "band_high"),
    *("regime", "recovering_from", "hours_since_event", "defrost", "powered", "running", "shared", "alarms"),
    *("supply_air", "return_air", "ambient_air", "evaporator_temperature", "heater_state"),
    *(f"cargo_probe_{number}" for number in range(1, 5)),
)
"""All of the timeline that excursions rest on."""

_ON_GRID = 0.95
"""Share of a unit's distinct readings that lie on the grid it is rounded to: a few may be averages."""

_OFF_GRID = 0.01
"""A reading may lie off its grid by this share of the step: logs convert and cut digits."""

MOST_NOISE = 0.2
"""A larger scatter from reading to reading is air that moves, not the probe. [K] Judgement."""

NOISE_FACTOR = 3.0
"""A reading lies within this many standard deviations of the air, 997 in 1000 of them (normal law)."""

_LEAST_DIFFERENCES = 12
"""Fewer fourth differences than this tell nothing of the noise."""


def read_air(timeline: pl.DataFrame) -> pl.DataFrame:
    """Take from the timeline the readings that an excursion can be read from.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.

    Returns
    -------
    polars.DataFrame
        The rows with a controlling air and a band, and beside columns of the timeline: ``place`` (row
        number), ``air``, ``above`` and ``below`` (how far beyond the upper and the lower edge, negative
        inside, ``below`` null without a lower edge) [K], ``side`` (+1 above the band, −1 below it, 0 inside),
        ``apart`` (in a defrost or soon after it), ``stirred`` (power came back just before), ``next_time``,
        ``next_air``, ``next_apart``, ``step`` to the next of these rows [h], ``unseen`` (that step is a gap),
        ``lost`` (a reading or so is missing in it), and ``unit_number`` (a number for each container).

    Notes
    -----
    A row without air or without set point is no reading here: a hole of such rows is a gap like any other.
    """
    air, high, low = pl.col("controlling_air"), pl.col("band_high"), pl.col("band_low")
    after_defrost = (pl.col("recovering_from") == "defrost") & (
        pl.col("hours_since_event") <= AFTER_DEFROST_HOURS
    )
    usual = pl.col("step").median().over(NUMBER)
    return (
        timeline.lazy()
        .select(pl.selectors.by_name(*_CHANNELS, require_all=False))
        .filter(air.is_not_null(), high.is_not_null())
        .pipe(with_numbers)
        .with_columns(
            place=pl.int_range(pl.len()),
            air=air,
            above=air - high,
            below=low - air,
            side=pl.when(air > high).then(1).when(air < low).then(-1).otherwise(0).cast(pl.Int8),
            apart=pl.col("defrost") | after_defrost.fill_null(False),
            stirred=(
                (pl.col("recovering_from") == "power") & (pl.col("hours_since_event") <= STIRRED_HOURS)
            ).fill_null(False),
        )
        .with_columns(next_time=of_next("time"), next_air=of_next("air"), next_apart=of_next("apart"))
        .with_columns(step=(pl.col("next_time") - pl.col("time")).dt.total_microseconds() / 3.6e9)
        .with_columns(unseen=(pl.col("step") > GAP_FACTOR * usual).fill_null(False))
        .with_columns(lost=~pl.col("unseen") & (pl.col("step") > LOST_FACTOR * usual).fill_null(False))
        .collect(engine=IN_MEMORY)
    )


def of_next(column: str) -> pl.Expr:
    """Value of the unit's next row, null at its last; rows as of :func:`read_air`."""
    unit = pl.col(NUMBER)
    return pl.when(unit == unit.shift(-1)).then(pl.col(column).shift(-1))


def of_last(column: str) -> pl.Expr:
    """Value of the unit's row before, null at its first; rows as of :func:`read_air`."""
    unit = pl.col(NUMBER)
    return pl.when(unit == unit.shift(1)).then(pl.col(column).shift(1))


def with_errors(readings: pl.DataFrame) -> pl.DataFrame:
    """Add how far each unit's readings may lie from the air they stand for.

    Parameters
    ----------
    readings
        From :func:`read_air`.

    Returns
    -------
    polars.DataFrame
        With the unit's ``resolution``, ``noise`` (standard deviation) and ``tolerance`` [K].

    Notes
    -----
    Resolution: the widest of :data:`GRIDS` that the distinct readings lie on. Noise: median of the absolute
    fourth differences over regular steps, × 1.4826 / √70 (normal law; a smooth course of the air drops out).
    Tolerance: half a step of the resolution and ``NOISE_FACTOR`` standard deviations.
    """
    air = pl.col("air")
    fourth = air - 4 * air.shift(-1) + 6 * air.shift(-2) - 4 * air.shift(-3) + air.shift(-4)
    regular = (pl.col("step").is_not_null() & ~pl.col("unseen") & ~pl.col("lost")).cast(pl.Int8)
    in_a_row = regular + regular.shift(-1) + regular.shift(-2) + regular.shift(-3) == 4
    difference = fourth.filter(in_a_row).abs()
    noise = pl.when(difference.len() >= _LEAST_DIFFERENCES).then(difference.median() * 1.4826 / 70**0.5)
    on_grid = [
        pl.when(((air / grid - (air / grid).round()).abs() < _OFF_GRID).mean() >= _ON_GRID).then(grid)
        for grid in GRIDS
    ]
    distinct = readings.lazy().select(NUMBER, "air").unique()
    resolutions = distinct.group_by(NUMBER).agg(resolution=pl.coalesce(*on_grid, pl.lit(0.0)))
    noises = readings.lazy().group_by(NUMBER).agg(noise=noise.fill_null(0.0).clip(0.0, MOST_NOISE))
    errors = resolutions.join(noises, on=NUMBER).with_columns(
        tolerance=pl.col("resolution") / 2 + NOISE_FACTOR * pl.col("noise")
    )
    return (
        readings.lazy().join(errors, on=NUMBER, how="left", maintain_order="left").collect(engine=IN_MEMORY)
    )


def steps_within(readings: pl.DataFrame, stretches: pl.DataFrame) -> pl.DataFrame:
    """Every step between two readings that overlaps a stretch of time.

    Parameters
    ----------
    readings
        From :func:`read_air`.
    stretches
        ``container``, ``start``, ``end`` (UTC) and whatever else is wanted beside each step.

    Returns
    -------
    polars.DataFrame
        The stretches' columns and the readings', a row for each step, in the order of the stretches.
    """
    unit = "container"
    times = (
        readings.select(unit, "time", "place").join(stretches.select(unit), on=unit, how="semi").sort("time")
    )
    log_begin = times.group_by(unit).agg(log_begin=pl.col("place").min())
    beside = [name for name in readings.columns if name not in {*stretches.columns, "place"}]
    return (
        stretches.join(log_begin, on=unit, how="inner", maintain_order="left")
        # The step that holds the start, and the last one that begins before the end.
        .pipe(_with_place, times, "start", "first_place", exact=True)
        .pipe(_with_place, times, "end", "last_place", exact=False)
        .with_columns(
            place=pl.int_ranges(
                pl.coalesce("first_place", "log_begin"),
                pl.coalesce("last_place", pl.col("log_begin") - 1) + 1,
            )
        )
        .drop("log_begin", "first_place", "last_place")
        .explode("place", empty_as_null=False)
        .join(readings.select("place", *beside), on="place", how="inner", maintain_order="left")
        .filter(pl.col("next_time") > pl.col("start"), pl.col("time") < pl.col("end"))
    )


def _with_place(
    stretches: pl.DataFrame, times: pl.DataFrame, at: str, name: str, *, exact: bool
) -> pl.DataFrame:
    """Add the place of the last reading before an instant, or at it where ``exact``."""
    return (
        stretches.with_row_index("order")
        .sort(at)
        .join_asof(
            times.rename({"time": at, "place": name}),
            on=at,
            by="container",
            strategy="backward",
            allow_exact_matches=exact,
            check_sortedness=False,
        )
        .sort("order")
        .drop("order")
    )
