"""Units and runs by number: a rising whole number that stands in for the container.

Readings are sorted by container and time, so units and runs are stretches of rows. Polars groups by a sorted
number without looking at the rows, and by a container's text only through a hash of each.
"""

from __future__ import annotations

from typing import Literal

import polars as pl

NUMBER = "unit_number"
"""Column of the unit's place in the frame, from 0."""

IN_MEMORY: Literal["in-memory"] = "in-memory"
"""A batch of units fits in memory, and this engine sums in the order of the rows on any number of threads."""


MICROSECONDS = 3.6e9
"""In an hour."""


def with_numbers(readings: pl.LazyFrame) -> pl.LazyFrame:
    """Add ``unit_number`` to readings sorted by container and time."""
    return readings.with_columns(pl.col("container").rle_id().set_sorted().alias(NUMBER))


def starts(*columns: str) -> pl.Expr:
    """True at the first reading of each unit, and where one of the columns changes or is null."""
    return pl.any_horizontal(
        (pl.col(name) != pl.col(name).shift(1)).fill_null(True) for name in (NUMBER, *columns)
    )


def run_number(begins: pl.Expr) -> pl.Expr:
    """Number of the run each reading is in, from where runs begin."""
    return begins.cum_sum().set_sorted()


def microseconds_of(hours: pl.Expr) -> pl.Expr:
    """Hours as whole microseconds, which add up to the same sum in any order."""
    return (hours * MICROSECONDS).round().cast(pl.Int64)


def elapsed(begins: pl.Expr, stands: pl.Expr) -> pl.Expr:
    """What the readings of a run before this one stand for; ``stands`` in whole numbers."""
    before = stands.cum_sum() - stands
    return before - pl.when(begins).then(before).forward_fill()
