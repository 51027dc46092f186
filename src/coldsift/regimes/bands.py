"""Which air controls a unit, and the band it is held in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

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
    units
        Distance below and above the set point by container, where it is another, from a contract say. None
        leaves that side as the class has it; a distance below gives a frozen set point a lower edge.
    """

    chilled: float = 2.0
    frozen: float = 3.0
    units: Mapping[str, tuple[float | None, float | None]] = field(default_factory=dict)

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
        ``band_low`` (null at frozen set points without a distance of the unit's own: no lower edge) and
        ``band_high``.
    """
    below: pl.Expr = pl.when(~is_frozen()).then(pl.lit(bands.chilled))
    above: pl.Expr = pl.when(is_frozen()).then(bands.frozen).otherwise(bands.chilled)
    if bands.units:
        below = pl.coalesce(_of_unit(bands, 0), below)
        above = pl.coalesce(_of_unit(bands, 1), above)
    return (
        (pl.col("set_point") - below).alias("band_low"),
        (pl.col("set_point") + above).alias("band_high"),
    )


def _of_unit(bands: Bands, side: int) -> pl.Expr:
    """The unit's own distance on one side, null where the class's counts. [K]"""
    distances = {container: own[side] for container, own in bands.units.items()}
    return pl.col("container").replace_strict(distances, default=None, return_dtype=pl.Float64)


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
