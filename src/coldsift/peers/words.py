"""Numbers in sentences."""

from __future__ import annotations

import polars as pl


def rounded(value: pl.Expr, digits: int) -> pl.Expr:
    """A number as text with a true minus sign, and never a negative zero.

    Parameters
    ----------
    value
        Numbers.
    digits
        Places after the decimal point; 0 leaves the point out.

    Returns
    -------
    polars.Expr
        Text, null where the number is.
    """
    number = value.round(digits)
    number = pl.when(number == 0).then(0.0).otherwise(number)
    text = number.cast(pl.Int64).cast(pl.String) if digits == 0 else number.cast(pl.String)
    return text.str.replace("^-", "−")
