"""How long the cargo has: if the unit stops now, and if the air goes on as it does.

Goes in: the members at the end of the log, and how the air went in its last hours. Comes out: hours until the
outer cargo of every member passes a limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import ndtri

from coldsift.cargo.follow import Followed, Load
from coldsift.cargo.properties import Array
from coldsift.regimes.numbered import IN_MEMORY

FARTHEST_HOURS = 720.0
"""Nothing is foretold beyond this. [h]"""

FIRST_STEP, STEP_GROWTH = 0.25, 1.05
"""Steps of the outlook begin with this length [h] and grow by this factor."""

TREND_HOURS = 12.0
"""The air's trend is taken over the last hours of the log, as for the air's own limit. [h]"""

NOW_HOURS = 2.0
"""The air now is the median of the last hours. [h]"""

LEAST_TREND_READINGS = 6
SLOWEST_TREND = 0.03
"""A slower trend than this is not told from the swing of day and night. [K/h]"""

TREND_CONFIDENCE = 0.95

COLDEST_AIR = -30.0
"""No unit is taken to blow colder than this. [°C] Common practice, no source."""

AMBIENT_HOURS = 24.0
AMBIENT_ROOM = (-2.0, 4.0)
"""The walls feel the mean ambient air of the last hours and this much: night, sun, neighbours. [K] Common
practice, no source."""


@dataclass(frozen=True, slots=True)
class LastHours:
    """How the log of each unit ends; arrays of the shape (units, 1).

    Attributes
    ----------
    supply, split
        Air now, defrosts left out. [°C], [K]
    slope_low, slope_high
        Range of the air's trend; both 0 where it is steady. [K/h]
    set_point
        [°C]; nan without one.
    ambient
        Mean of the last day; nan where not logged. [°C]
    flow
        Factor on the heat transfer for the fan speed.
    standing
        The log ends without power.
    """

    supply: Array
    split: Array
    slope_low: Array
    slope_high: Array
    set_point: Array
    ambient: Array
    flow: Array
    standing: NDArray[np.bool_]


def last_hours(rows: pl.DataFrame) -> LastHours:
    """See how the air goes at the end of each log.

    Parameters
    ----------
    rows
        Readings of :class:`~coldsift.cargo.air.AirCourse`, sorted.
    """
    unit = "unit"
    to_end = (pl.col("time").max().over(unit) - pl.col("time")).dt.total_microseconds() / 3.6e9
    blown = ~pl.col("still")
    ends = (
        rows.lazy()
        .with_columns(to_end=to_end)
        .group_by(unit, maintain_order=True)
        .agg(
            supply=pl.col("supply_then").filter(pl.col("to_end") <= NOW_HOURS).median(),
            split=pl.col("split_then").filter(pl.col("to_end") <= NOW_HOURS).median(),
            hours=-pl.col("to_end").filter((pl.col("to_end") <= TREND_HOURS) & blown),
            air=(pl.col("supply_then") + pl.col("split_then") / 2).filter(
                (pl.col("to_end") <= TREND_HOURS) & blown
            ),
            set_point=pl.col("set_point").last(ignore_nulls=True),
            ambient=pl.col("ambient_air").filter(pl.col("to_end") <= AMBIENT_HOURS).mean(),
            flow=pl.col("flow").filter(blown).last().fill_null(1.0),
            standing=~pl.col("powered").last(),
        )
        .sort(unit)
        .collect(engine=IN_MEMORY)
    )
    slopes = np.array([_trend(row["hours"], row["air"]) for row in ends.iter_rows(named=True)])

    def column(name: str) -> Array:
        return ends[name].cast(pl.Float64).fill_null(np.nan).to_numpy()[:, None]

    return LastHours(
        supply=column("supply"),
        split=column("split"),
        slope_low=slopes[:, :1],
        slope_high=slopes[:, 1:],
        set_point=column("set_point"),
        ambient=column("ambient"),
        flow=column("flow"),
        standing=column("standing") > 0.5,
    )


def _trend(hours: list[float], air: list[float]) -> tuple[float, float]:
    if len(hours) < LEAST_TREND_READINGS:
        return 0.0, 0.0
    slope, low, high = slope_with_range(np.array(hours), np.array(air), TREND_CONFIDENCE)
    steady = abs(slope) < SLOWEST_TREND or low * high <= 0.0
    return (0.0, 0.0) if steady else (low, high)


def slope_with_range(x: Array, y: Array, confidence: float) -> tuple[float, float, float]:
    """Slope of Theil and Sen, and the ends of its range.

    Parameters
    ----------
    x, y
        At least two points; no x twice.
    confidence
        Of the range, 0.5 to 1.

    Returns
    -------
    tuple of float
        Slope, lower and upper end, in units of y per unit of x: as scipy's ``theilslopes`` gives them
        (tests/outside), equation 2.6 of Sen (1968); loading scipy's statistics takes every process longer
        than all trends of a ship.
    """
    first, second = np.triu_indices(len(x), 1)
    slopes = np.sort((y[second] - y[first]) / (x[second] - x[first]))
    count, (_, alike) = len(y), np.unique(y, return_counts=True)

    def ordered_pairs(size: NDArray[np.intp] | int) -> Any:
        return size * (size - 1) * (2 * size + 5)

    spread = np.sqrt((ordered_pairs(count) - ordered_pairs(alike).sum()) / 18)
    half = ndtri((1.0 + confidence) / 2.0) * spread
    low = max(round((len(slopes) - half) / 2) - 1, 0)
    high = min(round((len(slopes) + half) / 2), len(slopes) - 1)
    return float(np.median(slopes)), float(slopes[low]), float(slopes[high])


class Surroundings(Protocol):
    """What the cargo meets after the log has ended."""

    @property
    def biot(self) -> Array:
        """Biot number up to the air."""

    def air(self, hours: float) -> Array:
        """Air, or air outside where the box stands between, some hours on. [°C]."""

    def at_cargo(self, hours: float, surface: Array) -> Array:
        """Air at the cargo itself some hours on, from the temperature of the surface store. [°C]."""


@dataclass(frozen=True, slots=True)
class Stopped:
    """No cooling, still air: the box warms, or cools, to the outside.

    Attributes
    ----------
    outside
        [°C]
    biot
        See :class:`Surroundings`.
    share
        Of the way from the surface store to the outside, at which the air lies.
    """

    outside: Array
    biot: Array
    share: Array

    def air(self, hours: float) -> Array:
        """As :class:`Surroundings` says."""
        return self.outside

    def at_cargo(self, hours: float, surface: Array) -> Array:
        """As :class:`Surroundings` says."""
        return np.asarray(surface + self.share * (self.outside - surface))


@dataclass(frozen=True, slots=True)
class GoingOn:
    """The air keeps its trend up to an end; who stands goes on standing.

    Attributes
    ----------
    stopped, standing
        How it is for those who stand; who does.
    biot
        See :class:`Surroundings`.
    now, slope, end
        Of the air of those who run. [°C], [K/h], [°C]
    """

    stopped: Stopped
    standing: NDArray[np.bool_]
    biot: Array
    now: Array
    slope: Array
    end: Array

    def _going(self, hours: float) -> Array:
        air = self.now + self.slope * hours
        return np.where(self.slope > 0, np.minimum(air, self.end), np.maximum(air, self.end))

    def air(self, hours: float) -> Array:
        """As :class:`Surroundings` says."""
        return np.where(self.standing, self.stopped.outside, self._going(hours))

    def at_cargo(self, hours: float, surface: Array) -> Array:
        """As :class:`Surroundings` says."""
        return np.where(self.standing, self.stopped.at_cargo(hours, surface), self._going(hours))


def when_stopped(load: Load, ends: LastHours) -> Stopped:
    """No cooling, still air: the box warms, or cools, to the outside."""
    known = ends.ambient + AMBIENT_ROOM[0] + load.members.ambient * (AMBIENT_ROOM[1] - AMBIENT_ROOM[0])
    outside = np.where(np.isnan(known), load.unknown_outside, known)
    return Stopped(outside, load.standing, load.air_in_standing)


def as_it_goes(load: Load, ends: LastHours) -> GoingOn:
    """The air keeps its trend, no warmer than outside and no colder than a unit blows.

    A trend towards the set point ends there. A unit that stands at the end of its log goes on standing.
    """
    members = load.members
    stopped = when_stopped(load, ends)
    now = ends.supply + members.air_weight * ends.split + members.air_error
    slope = ends.slope_low + members.trend * (ends.slope_high - ends.slope_low)
    middle = ends.supply + ends.split / 2
    rising = slope > 0
    end = np.where(rising, np.maximum(stopped.outside, now), np.minimum(COLDEST_AIR, now))
    # The members' air stops as far from the set point as it is now from the middle of the air.
    ordered = ends.set_point + now - middle
    arriving = np.where(rising, middle < ends.set_point, middle > ends.set_point)
    return GoingOn(
        stopped=stopped,
        standing=ends.standing,
        biot=np.where(ends.standing, stopped.biot, members.nodes.biot * ends.flow),
        now=now,
        slope=slope,
        end=np.where(arriving, ordered, end),
    )


def hours_until_limit(load: Load, state: Followed, surroundings: Surroundings) -> Array:
    """Hours until the outer cargo of each member passes a limit.

    Parameters
    ----------
    load
        With the limits.
    state
        At the end of the log.
    surroundings
        What it meets from then on.

    Returns
    -------
    numpy.ndarray
        Shape (units, members) [h]; 0 where it is beyond a limit now, infinite where it does not get there
        within :data:`FARTHEST_HOURS` or has no limit.
    """
    low, high = (
        np.array([[np.nan if edge is None else edge] for edge in edges], dtype=np.float64)
        for edges in (
            [cargo.limit_low for cargo in load.cargoes],
            [cargo.limit_high for cargo in load.cargoes],
        )
    )
    nodes = load.members.nodes

    def beyond(outer: Array) -> Array:
        return np.fmax(outer - high, low - outer)

    stores = state.stores
    before = beyond(state.outer)
    until = np.where(before >= 0.0, 0.0, np.inf)
    hours, step = 0.0, FIRST_STEP
    while hours < FARTHEST_HOURS:
        step = min(step, FARTHEST_HOURS - hours)
        seconds = 3600.0 * step
        exchange = nodes.exchange(surroundings.biot, seconds, curved=load.curve is not None)
        stores = load.after(stores, exchange, air=surroundings.air(hours + step / 2), seconds=seconds)
        surface, core = stores.temperature
        after = beyond(nodes.outer(surface, core, surroundings.at_cargo(hours + step, surface)))
        passing = np.isinf(until) & (after >= 0.0)
        until[passing] = hours + step * before[passing] / (before - after)[passing]
        hours, step, before = hours + step, step * STEP_GROWTH, after
    return until
