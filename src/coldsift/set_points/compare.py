"""Stretches in which a unit was set to something else than what was ordered."""

from __future__ import annotations

from datetime import UTC, datetime

import polars as pl

from coldsift.peers.words import rounded
from coldsift.schema import SET_POINTS
from coldsift.set_points.slips import slip, slip_words

TOLERANCE = 0.3
"""A set point further than this from the one ordered is another one. [K]

The whole °F next to a whole °C lies up to 0.4 °F = 0.22 K from it, a log in tenths adds 0.05 K; the half °C
next to a whole °F lies up to 0.25 K from it. The smallest step that is ordered, half a kelvin, is more.
"""

WHOLE_DEGREES_TOLERANCE = 0.5
"""The same in a log that writes whole °C only. [K]"""

FEWEST_WHOLE = 3
"""So many different air temperatures, all of them whole, show that a log writes whole °C only."""

SHORTEST_HOURS = 1.0
"""A shorter disagreement is a test by hand, or a slip seen at once. Common practice, no source. [h]"""

SETTING_UP_HOURS = 2.0
"""The same where the log begins with it: the unit is plugged in and set. Common practice, no source. [h]"""

NOW_WRONG = ("differs", "fahrenheit", "sign")
"""Kinds of :data:`coldsift.schema.SET_POINTS` that say that the set point is not the one ordered now."""

EVER = datetime(1, 1, 1, tzinfo=UTC)
"""An order without a time holds from the beginning."""

UNIT = "container"


def compare_set_points(timeline: pl.DataFrame, bookings: pl.DataFrame, plan: pl.DataFrame) -> pl.DataFrame:
    """Hold the logged set points against the ordered ones, through time.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    bookings
        :data:`coldsift.schema.BOOKINGS`; each holds from its time on, the last line of one time counts.
    plan
        :data:`coldsift.schema.PLAN`; its required temperature counts for containers without a booking.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.SET_POINTS`, by container and start. A container without an order, or without
        a reading while one holds, has no row. Of a stretch in which the set point or the order changes, the
        last ones are told. ``hours`` counts a gap after the last reading that differed as agreement.
    """
    orders = _orders(bookings, plan)
    ordered = timeline.lazy().join(orders.lazy(), on=UNIT, how="semi")
    rows = (
        ordered.select(UNIT, "time", "set_point", "hours")
        .sort("time", UNIT)
        .join_asof(orders.lazy(), on="time", by=UNIT, strategy="backward", check_sortedness=False)
        .drop_nulls("booked")
        .sort(UNIT, "time")
        .collect()
        .lazy()
    )
    compared = rows.drop_nulls("set_point").join(_tolerances(ordered), on=UNIT, maintain_order="left")
    stretches = _stretches(compared).collect()
    disagreeing = stretches.filter(_counts())
    agreeing = (
        stretches.filter(~pl.col("differs"))
        .join(disagreeing, on=UNIT, how="anti")
        .unique(UNIT, keep="last", maintain_order=True)
    )
    silent = (
        rows.group_by(UNIT)
        .agg(pl.col("set_point").count(), pl.col("booked", "source").last())
        .filter(pl.col("set_point") == 0)
        .collect()
    )
    found = pl.concat(
        [
            disagreeing.with_columns(
                kind=pl.when(pl.col("end").is_not_null()).then(pl.lit("corrected_late")).otherwise(slip())
            ),
            agreeing.select(UNIT, "source", "booked", "logged", kind=pl.lit("agrees")),
            silent.select(UNIT, "source", "booked", kind=pl.lit("no_set_point")),
        ],
        how="diagonal",
    )
    return SET_POINTS.conform(found.with_columns(words=_words()).sort(UNIT, "start"))


def wrong_now(set_points: pl.DataFrame) -> pl.DataFrame:
    """Rows of :data:`coldsift.schema.SET_POINTS` that differ at the end of the log, one a container."""
    return set_points.filter(pl.col("kind").cast(pl.String).is_in(NOW_WRONG))


def _orders(bookings: pl.DataFrame, plan: pl.DataFrame) -> pl.DataFrame:
    """``container``, ``time`` (from when on), ``booked`` [°C], ``source``, sorted by time."""
    ever = pl.lit(EVER).cast(bookings.schema["time"])
    booked = (
        bookings.with_columns(pl.col("time").fill_null(ever))
        .sort(UNIT, "time", "line")
        .unique([UNIT, "time"], keep="last", maintain_order=True)
        .select(UNIT, "time", booked="set_point", source=pl.lit("booking"))
    )
    planned = (
        plan.drop_nulls("required_temperature")
        .join(booked, on=UNIT, how="anti")
        .select(UNIT, time=ever, booked="required_temperature", source=pl.lit("plan"))
    )
    return pl.concat([booked, planned]).sort("time", UNIT)


def _tolerances(timeline: pl.LazyFrame) -> pl.LazyFrame:
    """``container``, ``tolerance``: how far its set point may lie from the order and be the same. [K]"""
    air = [pl.col(name).drop_nulls() for name in ("supply_air", "return_air")]
    whole = pl.all_horizontal((values == values.round(0)).all() for values in air)
    shown = pl.max_horizontal(values.n_unique() for values in air)
    return timeline.group_by(UNIT).agg(
        tolerance=pl.when(whole & (shown >= FEWEST_WHOLE))
        .then(pl.lit(WHOLE_DEGREES_TOLERANCE))
        .otherwise(pl.lit(TOLERANCE))
    )


def _stretches(compared: pl.LazyFrame) -> pl.LazyFrame:
    """Stretches of agreement and of disagreement in turn; ``end`` null where one lasts to the end."""
    # Rounded, or 2.0 and 1.7 would be more than 0.3 apart.
    differs = (pl.col("set_point") - pl.col("booked")).abs().round(6) > pl.col("tolerance")
    turned = pl.col("differs") != pl.col("differs").shift(1).over(UNIT)
    return (
        compared.with_columns(differs=differs)
        .with_columns(stretch=turned.fill_null(True).cum_sum().over(UNIT))
        .group_by(UNIT, "stretch", maintain_order=True)
        .agg(
            pl.col("differs").first(),
            pl.col("booked", "source").last(),
            logged=pl.col("set_point").last(),
            start=pl.col("time").first(),
            hours=(pl.col("time").last() - pl.col("time").first()).dt.total_seconds() / 3600
            + pl.col("hours").last(),
        )
        .with_columns(end=pl.col("start").shift(-1).over(UNIT), stretches=pl.col("stretch").max().over(UNIT))
    )


def _counts() -> pl.Expr:
    """A disagreement that is no blip, or the only thing that the log shows."""
    shortest = pl.when(pl.col("stretch") == 1).then(SETTING_UP_HOURS).otherwise(SHORTEST_HOURS)
    return pl.col("differs") & ((pl.col("hours").round(6) >= shortest) | (pl.col("stretches") == 1))


def _words() -> pl.Expr:
    order = pl.when(pl.col("source") == "plan").then(pl.lit("stowage plan")).otherwise(pl.lit("booking"))
    logged, booked, hours = (rounded(pl.col(name), 1) for name in ("logged", "booked", "hours"))
    start, end = (pl.col(name).dt.strftime("%Y-%m-%d %H:%M") for name in ("start", "end"))
    return (
        pl.when(pl.col("kind") == "agrees")
        .then(pl.format("Set to {} °C, as the {} orders ({} °C)", logged, order, booked))
        .when(pl.col("kind") == "no_set_point")
        .then(pl.format("The log shows no set point; the {} orders {} °C", order, booked))
        .when(pl.col("kind") == "corrected_late")
        .then(
            pl.format(
                "Was set to {} °C while the {} ordered {} °C, from {} to {} UTC ({} h){}",
                logged,
                order,
                booked,
                start,
                end,
                hours,
                slip_words(),
            )
        )
        .otherwise(
            pl.format(
                "Set to {} °C, but the {} orders {} °C, since {} UTC ({} h){}",
                logged,
                order,
                booked,
                start,
                hours,
                slip_words(),
            )
        )
    )
