"""Slips that explain a wrong set point: the unit of measure mistaken, or the sign."""

from __future__ import annotations

import polars as pl

from coldsift.peers.words import rounded

LEAST_MOVED = 2.0
"""A slip that moves the set point by less explains no more than any small change does: −40 is the same in °C
and °F, and 0 has no sign. [K]"""

SAME_NUMBER = 0.15
"""Two numbers as close as this are one: half a tenth of a °C in the log, and half a tenth of a °C in the
order, which is 0.09 °F. [°C or °F]"""


def slip() -> pl.Expr:
    """``fahrenheit``, ``sign``, or ``differs`` where neither explains ``logged`` [°C] for ``booked`` [°C]."""
    return (
        pl.when(_set_in_fahrenheit() | _ordered_in_fahrenheit())
        .then(pl.lit("fahrenheit"))
        .when(_sign_turned())
        .then(pl.lit("sign"))
        .otherwise(pl.lit("differs"))
    )


def slip_words() -> pl.Expr:
    """The end of a sentence that says what the set point looks like; empty where no slip explains it."""
    logged, booked = (rounded(pl.col(name), 1) for name in ("logged", "booked"))
    return (
        pl.when(_set_in_fahrenheit())
        .then(pl.format("; as if {} °F had been set for {} °C", booked, booked))
        .when(_ordered_in_fahrenheit())
        .then(pl.format("; as if {} °C had been set for {} °F", logged, logged))
        .when(_sign_turned())
        .then(pl.lit("; the number is right, its sign is not"))
        .otherwise(pl.lit(""))
    )


def _set_in_fahrenheit() -> pl.Expr:
    """2 °C ordered, 2 °F set; a unit that takes whole °F only gets the next one."""
    return _alone(_fits_set(), _fits_sign())


def _ordered_in_fahrenheit() -> pl.Expr:
    """36 °F ordered, 36 °C set; the papers may say 2.2 °C for it, or 2 °C."""
    return _alone(_fits_order(), _fits_sign())


def _sign_turned() -> pl.Expr:
    return _alone(_fits_sign(), _fits_set() | _fits_order())


def _alone(fits: pl.Expr, as_well: pl.Expr) -> pl.Expr:
    """A slip is named where it moved something and no other one explains it equally."""
    moved = (pl.col("logged") - pl.col("booked")).abs() >= LEAST_MOVED
    return moved & fits & ~as_well


def _fits_set() -> pl.Expr:
    return _logged_is(*((number - 32) / 1.8 for number in (pl.col("booked"), pl.col("booked").round(0))))


def _fits_order() -> pl.Expr:
    fahrenheit = pl.col("booked") * 1.8 + 32
    return _logged_is(fahrenheit, fahrenheit.round(0))


def _fits_sign() -> pl.Expr:
    return _logged_is(-pl.col("booked"))


def _logged_is(*numbers: pl.Expr) -> pl.Expr:
    return pl.any_horizontal((pl.col("logged") - number).abs() <= SAME_NUMBER for number in numbers)
