"""The shape of a feature, and the row masks that features are taken over."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import polars as pl

RECENT_HOURS = 48.0
"""What counts as now: the last hours of a unit's log. [h]"""

SETTLING_HOURS = 48.0
"""The first hours of a long log are no past to be held against: the cargo still gives off its warmth. [h]"""

COMMON_PRACTICE = "common practice, no source"
DEFINITION = "definition"


class Worry(StrEnum):
    """In which direction a feature worries."""

    HIGH = "high"
    LOW = "low"
    BOTH = "both"
    NONE = "none"


class View(StrEnum):
    """How a feature is looked at."""

    WHOLE = "whole"
    NOW = "now"
    SHIFT = "shift"
    TREND = "trend"


class Statistic(StrEnum):
    """How readings become one number."""

    MEDIAN = "median"
    MEAN = "mean"
    SPREAD = "spread"
    TIME_MEAN = "time_mean"
    HIGH = "high"
    LOW = "low"
    SUM = "sum"
    MAX = "max"

    def of(self, values: pl.Expr, hours: pl.Expr) -> pl.Expr:
        """Aggregate values; ``hours`` weighs the time mean."""
        match self:
            case Statistic.SPREAD:
                return values.quantile(0.9, "linear") - values.quantile(0.1, "linear")
            case Statistic.TIME_MEAN:
                return (values * hours).sum() / hours.filter(values.is_not_null()).sum()
            case Statistic.HIGH | Statistic.LOW:
                return values.quantile(0.95 if self is Statistic.HIGH else 0.05, "linear")
            case _:
                plain: pl.Expr = getattr(values, self.value)()
                return plain


@dataclass(frozen=True, slots=True)
class Feature:
    """One number about a unit.

    Attributes
    ----------
    name, unit, words
        Id, unit of measure, and the trade's words for it.
    regime
        Regime it is taken in, for the reader.
    formula, source
        What is computed, and where the definition comes from.
    needs
        Channels without which there is no value.
    minimum
        Least number of readings.
    worry
        Direction that counts against the unit.
    scale
        Difference between like units that is still ordinary: a floor for the peers' spread, in ``unit``.
    look_first
        First thing to look at when this one stands out.
    of, where, statistic
        Expression over timeline rows, the rows it is taken over, and how they become one number; ``of`` is
        None for features that a fit or the table of defrosts gives.
    watched
        Also taken over the last days (``…_now``), against the unit's own past (``…_shift``) and as a
        trend (``…_trend``).
    against
        ``lift`` (ambient minus set point), ``ambient``, their shifts, or ``set_point``: compared with
        peers after taking out its dependence on that.
    symptom
        Says that the cargo's air is wrong, not which part is: reasons that point to a part go before it.
    view, base
        How it is looked at, and the feature that it is a view of; empty for the feature itself.
    recent_hours
        What counts as now in its views. [h]
    usual
        Range in good units whatever the peers do, wide; judges a unit without enough peers, and readings
        alone. Common practice, no source.
    by_peers
        False when it is always held against ``usual``.
    saturated
        Rests on a saturation temperature, which some pressures do not have.
    """

    name: str
    unit: str
    words: str
    regime: str
    formula: str
    look_first: str
    source: str = COMMON_PRACTICE
    needs: tuple[str, ...] = ()
    minimum: int = 8
    worry: Worry = Worry.BOTH
    scale: float = 1.0
    of: pl.Expr | None = None
    where: pl.Expr | None = None
    statistic: Statistic = Statistic.MEDIAN
    watched: bool = False
    against: str | None = None
    symptom: bool = False
    view: View = View.WHOLE
    base: str = ""
    recent_hours: float = RECENT_HOURS
    usual: tuple[float, float] | None = None
    by_peers: bool = True
    saturated: bool = False

    @property
    def unit_of_change(self) -> str:
        """Unit of measure of a difference of two values: of temperatures, kelvins."""
        return "K" if self.unit == "°C" else self.unit


OWN = ~pl.col("shared")
"""Readings that are the unit's own: not in an event of the whole ship."""

ANY_HOLD = (pl.col("regime") == "hold") & OWN
HOLD = ANY_HOLD & pl.col("at_present_set_point")
RUNNING_HOLD = HOLD & pl.col("running").fill_null(True)
AIR_ONLY_HOLD = (
    HOLD & ~pl.col("running").fill_null(True) & (pl.col("evaporator_fan_speed").fill_null(100) > 0)
)

AIR_COOLED = pl.col("condenser_cooling").str.to_lowercase().fill_null("air") != "water"

STANDSTILL = pl.col("standing_hours") >= 0.25
"""Compressor off long enough for the high side to have fallen most of its way. Common practice, no source."""


def imbalance(*names: str) -> pl.Expr:
    """Imbalance of three phases: 100 × largest distance from their mean / their mean. [%]"""
    mean = pl.mean_horizontal(*names)
    known = pl.all_horizontal(pl.col(name).is_not_null() for name in names)
    return pl.when(known & (mean > 0)).then(
        100 * pl.max_horizontal((pl.col(name) - mean).abs() for name in names) / mean
    )
