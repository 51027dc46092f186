"""The parts of a pre-trip inspection, found in the log: what was ordered, and how far the air had come."""

from __future__ import annotations

import polars as pl

from coldsift.regimes import SET_POINT_STEP, Bands, build_timeline
from coldsift.regimes.bands import is_frozen
from coldsift.regimes.timeline import is_powered
from coldsift.schema import PRE_TRIP_PHASES

ARRIVED = 1.0
"""Controlling air this near its set point has arrived; frozen air may be colder. [K] Common practice, no
source."""

BREAK_HOURS = 4.0
"""A log that stands still or has no power for so long had another occasion before it. [h]"""

LONGEST_HOURS = 24.0
"""A longer inspection looks like more than one. [h]"""

PHASE = pl.Enum(PRE_TRIP_PHASES)

TIMED = ("pull_down_chilled", "pull_down_frozen", "heating", "return")
"""Phases that end when the air arrives."""


def last_session(log: pl.DataFrame) -> pl.DataFrame:
    """Cut each log down to its last inspection.

    Parameters
    ----------
    log
        Common log, sorted by container and time.

    Returns
    -------
    polars.DataFrame
        The rows after the last break of ``BREAK_HOURS`` in the readings or in the power; a unit that stands
        without power at the end keeps what came before it.
    """
    unit = "container"
    run = [unit, "run"]
    step = (pl.col("time") - pl.col("time").shift(1).over(unit)).dt.total_seconds() / 3600
    return (
        log.lazy()
        .with_columns(powered_here=is_powered())
        .with_columns(
            run=(pl.col("powered_here") != pl.col("powered_here").shift(1))
            .fill_null(True)
            .cum_sum()
            .over(unit)
        )
        .with_columns(
            idle=~pl.col("powered_here")
            & ((pl.col("time").last().over(run) - pl.col("time").first().over(run)) >= _hours(BREAK_HOURS))
        )
        .filter(~pl.col("idle"))
        .with_columns(session=(step >= BREAK_HOURS).fill_null(False).cum_sum().over(unit))
        .filter(pl.col("session") == pl.col("session").filter("powered_here").max().over(unit))
        .select(log.columns)
        .collect()
    )


def _hours(hours: float) -> pl.Expr:
    return pl.duration(minutes=round(hours * 60))


def with_phases(log: pl.DataFrame) -> pl.DataFrame:
    """Say of every reading which part of the inspection it belongs to.

    Parameters
    ----------
    log
        Common log of inspections, sorted by container and time.

    Returns
    -------
    polars.DataFrame
        The timeline of :func:`coldsift.regimes.build_timeline` with the band ``ARRIVED``, and ``phase``
        (null where set point or air is not logged) and ``run``: a set point and its phase, or one defrost
        and what follows it.

    Notes
    -----
    A set point below the air that it finds is pulled down to, one above it heated to. Fans only is before the
    compressor first runs. A defrost on the way to the set point does not end the way.
    """
    unit = "container"
    segment = [unit, "segment"]
    timeline = build_timeline(log, Bands.same(ARRIVED)).lazy()
    set_point = pl.col("set_point").forward_fill().over(unit)
    fans = (
        ~pl.col("running")
        & ~pl.col("running").fill_null(False).cum_max().over(unit)
        & (pl.col("evaporator_fan_speed").fill_null(100) > 0)
        & ~pl.col("heater_state").fill_null(False)
        & pl.col("powered")
        & ~pl.col("defrost")
    )
    frozen = is_frozen()
    return (
        timeline.with_columns(
            fans=fans.fill_null(False),
            segment=((set_point - set_point.shift(1).over(unit)).abs() > SET_POINT_STEP)
            .fill_null(False)
            .cum_sum()
            .over(unit),
            defrosts=(pl.col("defrost") & ~pl.col("defrost").shift(1).over(unit).fill_null(False))
            .cum_sum()
            .over(unit),
        )
        .with_columns(
            upwards=(pl.col("controlling_air") < pl.col("band_low").fill_null(pl.col("set_point") - ARRIVED))
            .first()
            .over(segment),
            there=(pl.col("in_band") & pl.col("powered") & ~pl.col("defrost") & ~pl.col("fans"))
            .fill_null(False)
            .cum_max()
            .over(segment),
        )
        .with_columns(
            phase=pl.when(~pl.col("powered"))
            .then(pl.lit("off"))
            .when("defrost")
            .then(pl.lit("defrost"))
            .when("fans")
            .then(pl.lit("fans_only"))
            .when(pl.col("controlling_air").is_null() | pl.col("set_point").is_null())
            .then(None)
            .when(
                pl.col("there")
                & (pl.col("regime") == "recovery")
                & (pl.col("recovering_from") == "defrost").fill_null(False)
            )
            .then(pl.lit("return"))
            .when(~pl.col("there"))
            .then(
                pl.when("upwards")
                .then(pl.lit("heating"))
                .when(frozen)
                .then(pl.lit("pull_down_frozen"))
                .otherwise(pl.lit("pull_down_chilled"))
            )
            .when(frozen)
            .then(pl.lit("frozen_hold"))
            .when("upwards")
            .then(pl.lit("warm_hold"))
            .otherwise(pl.lit("chilled_hold"))
            .cast(PHASE)
        )
        .with_columns(
            run=pl.when(pl.col("phase").is_in(["defrost", "return"]))
            .then(pl.col("defrosts"))
            .otherwise(pl.col("segment"))
        )
        .drop("fans", "defrosts", "upwards", "there", "segment")
        .collect()
    )


def find_phases(timeline: pl.DataFrame) -> pl.DataFrame:
    """List the parts of each inspection.

    Parameters
    ----------
    timeline
        From :func:`with_phases`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``phase``, ``run``, ``start``, ``end`` (UTC; the next reading after it), ``minutes``,
        ``finished`` (something followed), ``set_point``, ``ambient``, ``frequency`` (means), ``chosen``: the
        last finished run of each phase, or the last where none is, which is the one to be judged.
    """
    unit = "container"
    key = [unit, "phase", "run"]
    following = pl.col("time").shift(-1).over(unit)
    return (
        timeline.lazy()
        .with_columns(
            until=pl.when(~pl.col("gap")).then(following).otherwise("time").fill_null(pl.col("time"))
        )
        .with_columns(log_end=pl.col("time").max().over(unit))
        .drop_nulls("phase")
        .group_by(key, maintain_order=True)
        .agg(
            start=pl.col("time").first(),
            end=pl.col("until").last(),
            finished=pl.col("time").last() < pl.col("log_end").last(),
            set_point=pl.col("set_point").last(),
            ambient=pl.col("ambient_air").mean(),
            frequency=pl.col("frequency").mean(),
        )
        .with_columns(minutes=(pl.col("end") - pl.col("start")).dt.total_seconds() / 60)
        .sort(unit, "start")
        .with_columns(
            chosen=pl.col("start")
            == pl.coalesce(
                pl.col("start").filter("finished").max().over(unit, "phase"),
                pl.col("start").max().over(unit, "phase"),
            )
        )
        .collect()
    )
