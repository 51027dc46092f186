"""Arithmetic of air that is straight between two readings."""

from __future__ import annotations

import polars as pl

from coldsift.excursions.kinetic import arrhenius


def share_beyond(first: pl.Expr, last: pl.Expr) -> pl.Expr:
    """Share of a step in which the air is beyond the edge.

    Parameters
    ----------
    first, last
        How far beyond the edge the air is at both ends, negative inside. [K]
    """
    both, neither = (first >= 0) & (last >= 0), (first <= 0) & (last <= 0)
    return (
        pl.when(both)
        .then(1.0)
        .when(neither)
        .then(0.0)
        .otherwise(pl.max_horizontal(first, last) / (first - last).abs())
    )


def mean_beyond(first: pl.Expr, last: pl.Expr) -> pl.Expr:
    """Mean distance beyond the edge over that share of the step. [K]

    A trapezoid where both ends are beyond, else the triangle that the edge cuts off.
    """
    return (first.clip(0.0) + last.clip(0.0)) / 2


def mean_rate_beyond(air: pl.Expr, next_air: pl.Expr, edge: pl.Expr, side: pl.Expr) -> pl.Expr:
    """Mean Arrhenius rate over that share of the step, relative to that at 0 °C."""
    # The part beyond lies between the edge and the outer reading.
    first = pl.when((air - edge) * side >= 0).then(air).otherwise(edge)
    last = pl.when((next_air - edge) * side >= 0).then(next_air).otherwise(edge)
    # Simpson's rule: the rate bends where the air between two readings is straight.
    return (arrhenius(first) + 4 * arrhenius((first + last) / 2) + arrhenius(last)) / 6


def crossing(time: str, later_time: str, beyond: str, later_beyond: str) -> pl.Expr:
    """Instant at which a straight line between two readings crosses the edge.

    Parameters
    ----------
    time, later_time
        Columns of the two instants.
    beyond, later_beyond
        Columns of how far beyond the edge the air is at them, each against the edge of its own set point. [K]
    """
    share = (pl.col(beyond) / (pl.col(beyond) - pl.col(later_beyond))).clip(0.0, 1.0)
    span = (pl.col(later_time) - pl.col(time)).dt.total_microseconds()
    return pl.col(time) + pl.duration(microseconds=(span * share).fill_nan(0.0).fill_null(0.0).cast(pl.Int64))
