"""Finding excursions and measuring them between samples."""

from __future__ import annotations

import polars as pl

from coldsift.excursions.kinetic import arrhenius, from_rate
from coldsift.schema import EXCURSIONS

GRACE_HOURS = 1.0
"""Shorter stretches out of the band are not excursions. [h] Common practice, no source."""

AFTER_DEFROST_HOURS = 1.5
"""Warm air this soon after a defrost belongs to the defrost. [h] Common practice, no source."""

LONGEST_BRIDGE_HOURS = 24.0
"""An excursion does not go on across a longer gap: what came after it is another. [h]"""

_SUDDEN_STEP = 6.0
"""Air cannot change faster than this from one reading to the next within half an hour. [K]"""


def find_excursions(timeline: pl.DataFrame, grace_hours: float = GRACE_HOURS) -> pl.DataFrame:
    """Find every excursion of the controlling air.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, with ``shared``.
    grace_hours
        Shortest stretch that counts. [h]

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.EXCURSIONS`: times UTC, temperatures °C, areas K h. The air is taken as
        straight between readings; a gap adds to ``gap_hours`` and to nothing else.

    Notes
    -----
    Readings in a defrost, and within ``AFTER_DEFROST_HOURS`` of one, neither begin nor end an excursion.
    The first pull-down counts as ``initial_warm_load``, the way to a new set point as
    ``after_set_point_change``; both are listed, apart.
    """
    unit = "container"
    air, low, high = pl.col("controlling_air"), pl.col("band_low"), pl.col("band_high")
    kind = (
        pl.when(pl.col("regime") == "pull_down")
        .then(pl.lit("initial_warm_load"))
        .when(
            (pl.col("regime") == "set_point_step")
            | ((pl.col("regime") == "recovery") & (pl.col("recovering_from") == "set_point"))
        )
        .then(pl.lit("after_set_point_change"))
        .otherwise(pl.lit("excursion"))
    )
    after_defrost = (pl.col("recovering_from") == "defrost") & (
        pl.col("hours_since_event") <= AFTER_DEFROST_HOURS
    )
    apart = pl.col("defrost") | after_defrost.fill_null(False) | air.is_null() | high.is_null()
    # side: +1 above the band, -1 below it, 0 inside; excess is how far beyond the edge, negative inside.
    readings = (
        timeline.lazy()
        .with_columns(
            apart=apart,
            kind=kind,
            side=pl.when(air > high).then(1).when(air < low).then(-1).otherwise(0).cast(pl.Int8),
            alarm=pl.col("alarms").list.len().fill_null(0) > 0,
        )
        .filter(~pl.col("apart") | (pl.col("side") == 0) & air.is_not_null() & high.is_not_null())
        .with_columns(
            after=pl.col("time").shift(-1).over(unit),
            step=(pl.col("time").shift(-1).over(unit) - pl.col("time")).dt.total_seconds() / 3600,
        )
        .with_columns(long_gap=pl.col("gap") & (pl.col("step") > LONGEST_BRIDGE_HOURS))
    )
    changed = (
        (pl.col("side") != pl.col("side").shift(1))
        | (pl.col("kind") != pl.col("kind").shift(1))
        | pl.col("long_gap").shift(1)
    )
    readings = readings.with_columns(
        run=changed.fill_null(True).cum_sum().over(unit),
        previous_time=pl.col("time").shift(1).over(unit),
        previous_step=pl.col("step").shift(1).over(unit),
        previous_air=air.shift(1).over(unit),
        previous_side=pl.col("side").shift(1).over(unit),
        following_air=air.shift(-1).over(unit),
        following_side=pl.col("side").shift(-1).over(unit),
    )
    runs = (
        readings.filter(pl.col("side") != 0)
        .with_columns(edge=pl.when(pl.col("side") > 0).then(high).otherwise(low))
        .group_by(unit, "run", "side", "kind", maintain_order=True)
        .agg(
            first_time=pl.col("time").first(),
            last_time=pl.col("time").last(),
            first_air=air.first(),
            last_air=air.last(),
            before_time=pl.col("previous_time").first(),
            before_air=pl.col("previous_air").first(),
            from_inside=pl.col("previous_side").first() != pl.col("side").first(),
            after_time=pl.col("after").last(),
            after_air=pl.col("following_air").last(),
            to_inside=(pl.col("following_side").last() != pl.col("side").last()) & ~pl.col("long_gap").last(),
            first_edge=pl.col("edge").first(),
            last_edge=pl.col("edge").last(),
            highest=air.max(),
            lowest=air.min(),
            power_off=(~pl.col("powered")).any(),
            shared=pl.col("shared").any(),
            set_point_change=(pl.col("set_point").n_unique() > 1),
            alarm=pl.col("alarm").any(),
            gap=pl.col("gap").any(),
            steepest=((air - pl.col("previous_air")).abs() / pl.col("previous_step").clip(0.5)).max(),
            other_apart=_other_sensor_disagrees().mean(),
            flat=(air.n_unique() == 1) & (pl.len() > 12),
        )
    )
    crossing_in = _crossing("before_time", "before_air", "first_time", "first_air", "first_edge")
    crossing_out = _crossing("last_time", "last_air", "after_time", "after_air", "last_edge")
    runs = runs.with_columns(
        start=pl.when("from_inside").then(crossing_in).otherwise("first_time"),
        end=pl.when("to_inside").then(crossing_out).otherwise("last_time"),
        start_earliest=pl.when("from_inside").then("before_time"),
        end_latest=pl.when("to_inside").then("after_time"),
    )
    measured = _areas(timeline, runs)
    return EXCURSIONS.conform(
        runs.join(measured, on=[unit, "run"], how="left")
        .with_columns(elapsed=(pl.col("end") - pl.col("start")).dt.total_seconds() / 3600)
        .filter(pl.col("elapsed") > grace_hours)
        .with_columns(
            start_latest="first_time",
            end_earliest="last_time",
            peak=pl.when(pl.col("side") > 0).then("highest").otherwise("lowest"),
            band_edge="first_edge",
            along_with=_named(
                {
                    "power off on the whole ship": pl.col("power_off") & pl.col("shared"),
                    "power off": pl.col("power_off") & ~pl.col("shared"),
                    "set-point change": pl.col("set_point_change"),
                    "alarm": pl.col("alarm"),
                    "gap in the log": pl.col("gap") | (pl.col("gap_hours") > 0),
                }
            ),
            **_sensor_doubt(),
        )
        .sort(unit, "start")
        .collect()
    )


def _crossing(time: str, air: str, later_time: str, later_air: str, edge: str) -> pl.Expr:
    """Instant at which a straight line between two readings crosses the edge."""
    share = ((pl.col(edge) - pl.col(air)) / (pl.col(later_air) - pl.col(air))).clip(0.0, 1.0)
    span = (pl.col(later_time) - pl.col(time)).dt.total_microseconds()
    return pl.col(time) + pl.duration(microseconds=(span * share).fill_nan(0.0).fill_null(0.0).cast(pl.Int64))


def _other_sensor_disagrees() -> pl.Expr:
    """The other air sensor, or a cargo probe, stays where the controlling one should be."""
    air = pl.col("controlling_air")
    other = pl.when(air == pl.col("return_air")).then("supply_air").otherwise("return_air")
    distance = (air - pl.col("set_point")).abs()
    return ((other - pl.col("set_point")).abs() < 0.35 * distance) & (
        (pl.col("cargo_probe_1") - pl.col("set_point")).abs().fill_null(0.0) < 0.5 * distance
    )


def _sensor_doubt() -> dict[str, pl.Expr]:
    sudden = pl.col("steepest").fill_null(0.0) > 2 * _SUDDEN_STEP
    against = pl.col("other_apart").fill_null(0.0) > 0.7
    doubt = (
        0.1
        + 0.35 * sudden.cast(pl.Float64)
        + 0.3 * against.cast(pl.Float64)
        + 0.4 * pl.col("flat").cast(pl.Float64)
    ).clip(0.0, 0.95)
    words = _named(
        {
            "the reading jumped faster than air can change": sudden,
            "the other air sensor stayed near the set point": against,
            "the reading stood unchanged": pl.col("flat"),
        }
    )
    return {
        "sensor_doubt": doubt,
        "sensor_doubt_why": pl.when(words == "")
        .then(pl.lit("nothing speaks against the probe"))
        .otherwise(words),
    }


def _named(conditions: dict[str, pl.Expr]) -> pl.Expr:
    """Words of the conditions that hold, joined."""
    return (
        pl.concat_list(
            pl.when(condition.fill_null(False)).then(pl.lit(words)) for words, condition in conditions.items()
        )
        .list.drop_nulls()
        .list.join(", ")
    )


def _areas(timeline: pl.DataFrame, runs: pl.LazyFrame) -> pl.LazyFrame:
    """Hours, gap hours, degree-hours and mean kinetic temperature of each run.

    The air is straight between readings, so each step's part beyond the edge is a trapezoid or, where it
    crosses, a triangle.
    """
    unit = "container"
    air = pl.col("controlling_air")
    steps = (
        timeline.lazy()
        .filter(air.is_not_null())
        .select(
            unit,
            "time",
            "gap",
            step=(pl.col("time").shift(-1).over(unit) - pl.col("time")).dt.total_seconds() / 3600,
            air=air,
            next_air=air.shift(-1).over(unit),
            next_time=pl.col("time").shift(-1).over(unit),
            edge_high="band_high",
            edge_low="band_low",
        )
    )
    inside = (
        steps.join(runs.select(unit, "run", "side", "start", "end"), on=unit)
        .filter(pl.col("next_time") > pl.col("start"), pl.col("time") < pl.col("end"))
        .with_columns(edge=pl.when(pl.col("side") > 0).then("edge_high").otherwise("edge_low"))
        .with_columns(
            d0=(pl.col("air") - pl.col("edge")) * pl.col("side"),
            d1=(pl.col("next_air") - pl.col("edge")) * pl.col("side"),
        )
    )
    d0, d1, step = pl.col("d0"), pl.col("d1"), pl.col("step")
    both, neither = (d0 >= 0) & (d1 >= 0), (d0 <= 0) & (d1 <= 0)
    share = (
        pl.when(both).then(1.0).when(neither).then(0.0).otherwise(pl.max_horizontal(d0, d1) / (d0 - d1).abs())
    )
    # Of a step that crosses the edge, the part beyond lies between the edge and the outer reading.
    first = pl.when(d0 >= 0).then("air").otherwise("edge")
    last = pl.when(d1 >= 0).then("next_air").otherwise("edge")
    mean_excess = (d0.clip(0.0) + d1.clip(0.0)) / 2
    # Simpson's rule: the rate bends where the air between two readings is straight.
    rate = (arrhenius(first) + 4 * arrhenius((first + last) / 2) + arrhenius(last)) / 6
    beyond = pl.when("gap").then(0.0).otherwise(step * share)
    return (
        inside.with_columns(beyond=beyond, area=beyond * mean_excess, rate=rate)
        .group_by(unit, "run")
        .agg(
            hours=pl.col("beyond").sum(),
            gap_hours=(
                (pl.min_horizontal("next_time", "end") - pl.max_horizontal("time", "start"))
                .dt.total_seconds()
                .filter("gap")
                .sum()
                / 3600
            ),
            degree_hours=pl.col("area").sum(),
            mean_rate=(pl.col("rate") * pl.col("beyond")).sum() / pl.col("beyond").sum(),
        )
        .with_columns(mean_kinetic_temperature=from_rate(pl.col("mean_rate")).fill_nan(None))
    )
