"""How long the cargo has: if the unit stops now, and if the air goes on as it does.

Goes in: the members at the end of the log, and how the air went in its last hours. Comes out: hours until the
outer cargo of every member passes a limit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.stats import theilslopes

from coldsift.cargo.follow import Followed, Load
from coldsift.cargo.properties import Array

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
        .collect()
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
    found = theilslopes(air, hours, alpha=TREND_CONFIDENCE)
    steady = abs(found.slope) < SLOWEST_TREND or found.low_slope * found.high_slope <= 0.0
    return (0.0, 0.0) if steady else (float(found.low_slope), float(found.high_slope))


Surroundings = Callable[[float, Array], tuple[Array, Array, Array]]
"""From hours on [h] and surface store [°C]: air or outside air [°C], Biot number up to it, and the air at the
cargo itself [°C]."""


def when_stopped(load: Load, ends: LastHours) -> Surroundings:
    """No cooling, still air: the box warms, or cools, to the outside."""
    members = load.members
    known = ends.ambient + AMBIENT_ROOM[0] + members.ambient * (AMBIENT_ROOM[1] - AMBIENT_ROOM[0])
    outside = np.where(np.isnan(known), load.unknown_outside, known)
    standing = load.standing(members.nodes.biot)

    def surroundings(hours: float, surface: Array) -> tuple[Array, Array, Array]:
        return outside, standing, load.air_while_standing(outside, surface)

    return surroundings


def as_it_goes(load: Load, ends: LastHours) -> Surroundings:
    """The air keeps its trend, no warmer than outside and no colder than a unit blows.

    A trend towards the set point ends there. A unit that stands at the end of its log goes on standing.
    """
    members = load.members
    stopped = when_stopped(load, ends)
    stopped_outside, standing, _ = stopped(0.0, members.start_surface)
    now = ends.supply + members.air_weight * ends.split + members.air_error
    slope = ends.slope_low + members.trend * (ends.slope_high - ends.slope_low)
    middle = ends.supply + ends.split / 2
    rising = slope > 0
    end = np.where(rising, np.maximum(stopped_outside, now), np.minimum(COLDEST_AIR, now))
    # The members' air stops as far from the set point as it is now from the middle of the air.
    ordered = ends.set_point + now - middle
    arriving = np.where(rising, middle < ends.set_point, middle > ends.set_point)
    end = np.where(arriving, ordered, end)
    biot = np.where(ends.standing, standing, members.nodes.biot * ends.flow)

    def surroundings(hours: float, surface: Array) -> tuple[Array, Array, Array]:
        going = now + slope * hours
        going = np.where(rising, np.minimum(going, end), np.maximum(going, end))
        air = np.where(ends.standing, stopped_outside, going)
        at_cargo = np.where(ends.standing, load.air_while_standing(stopped_outside, surface), going)
        return air, biot, at_cargo

    return surroundings


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

    def beyond(outer: Array) -> Array:
        return np.fmax(outer - high, low - outer)

    surface, core = state.surface, state.core
    before = beyond(state.outer)
    until = np.where(before >= 0.0, 0.0, np.inf)
    hours, step = 0.0, FIRST_STEP
    while hours < FARTHEST_HOURS:
        step = min(step, FARTHEST_HOURS - hours)
        air, biot, _ = surroundings(hours + step / 2, load.temperature(surface))
        surface, core = load.advance(surface, core, air=air, biot=biot, seconds=3600.0 * step)
        warm = load.temperature(surface)
        _, _, at_cargo = surroundings(hours + step, warm)
        after = beyond(load.members.nodes.outer(warm, load.temperature(core), at_cargo))
        passing = np.isinf(until) & (after >= 0.0)
        until[passing] = hours + step * before[passing] / (before - after)[passing]
        hours, step, before = hours + step, step * STEP_GROWTH, after
    return until
