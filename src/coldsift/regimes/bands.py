"""Which air controls a unit, and the band it is held in."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

FROZEN_SET_POINT = -10.0
"""Set points at or below this are controlled on return air, above it on supply air. [°C]

Common practice, no source.
"""

DEEP_FROZEN_SET_POINT = -17.5
"""Set points at or below this carry quick-frozen cargo (-18 °C, Directive 89/108/EEC) with the resolution
of a set point in between. [°C]"""


@dataclass(frozen=True, slots=True)
class Bands:
    """Allowed distance of the controlling air from the set point. [K]

    Attributes
    ----------
    chilled
        Either side of the set point. Common practice, no source.
    frozen
        Above the set point; colder does no harm to frozen cargo and has no edge. Deviation in transport
        allowed by Directive 89/108/EEC for quick-frozen food.
    """

    chilled: float = 2.0
    frozen: float = 3.0

    @classmethod
    def same(cls, band: float) -> Bands:
        """One band for every cargo class. [K]"""
        return cls(chilled=band, frozen=band)


def is_frozen() -> pl.Expr:
    """True where the set point is a frozen one; null without a set point."""
    return pl.col("set_point") <= FROZEN_SET_POINT


def controlling_air() -> pl.Expr:
    """Return air at frozen set points, supply air above; the other where that one is not logged. [°C]"""
    return (
        pl.when(is_frozen())
        .then(pl.coalesce("return_air", "supply_air"))
        .otherwise(pl.coalesce("supply_air", "return_air"))
    )


def band_edges(bands: Bands) -> tuple[pl.Expr, pl.Expr]:
    """Lower and upper edge of the band around the set point. [°C]

    Parameters
    ----------
    bands
        Allowed distances. [K]

    Returns
    -------
    tuple of polars.Expr
        ``band_low`` (null at frozen set points: no lower edge) and ``band_high``.
    """
    low = pl.when(~is_frozen()).then(pl.col("set_point") - bands.chilled)
    high = pl.col("set_point") + pl.when(is_frozen()).then(bands.frozen).otherwise(bands.chilled)
    return low.alias("band_low"), high.alias("band_high")


def regime_class() -> pl.Expr:
    """Peer class of each reading from set point and ambient; null without a set point.

    Heated means a chilled set point with colder air outside; without an ambient reading it is chilled.
    """
    return (
        pl.when(pl.col("set_point").is_null())
        .then(None)
        .when(pl.col("set_point") <= DEEP_FROZEN_SET_POINT)
        .then(pl.lit("deep_frozen"))
        .when(is_frozen())
        .then(pl.lit("frozen"))
        .when(pl.col("ambient_air") < pl.col("set_point") - 2)
        .then(pl.lit("heated"))
        .otherwise(pl.lit("chilled"))
    )
