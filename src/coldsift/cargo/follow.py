"""The members' cargo followed through the log.

Goes in: cargoes, the air they felt, their members. Comes out: :class:`Followed`, the state at the end of the
log and, where wanted, the way there. All units and members at once; one loop over the steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.cargo.air import AirCourse
from coldsift.cargo.cargoes import Cargo
from coldsift.cargo.ensemble import Members
from coldsift.cargo.heat_curve import HeatCurve
from coldsift.cargo.life import Ageing
from coldsift.cargo.lines import Lines, Places
from coldsift.cargo.properties import Array, respiration_heat, respiration_rate
from coldsift.cargo.two_nodes import LAYER, SURFACE_SHARE, Exchange, Stores

_COLDEST_BREATHING, _BREATHING_STEP = -5.0, 0.5
_BREATHING = np.arange(_COLDEST_BREATHING, 35.0 + _BREATHING_STEP, _BREATHING_STEP)
"""Temperatures at which respiration is tabulated; beyond them it stays as at the ends. [°C]"""

_STEPS_AT_ONCE = 64
"""What the members meet is laid out for so many steps."""

UNKNOWN_OUTSIDE = (5.0, 35.0)
"""Ambient air where none is logged. [°C]"""


@dataclass(frozen=True, slots=True)
class Load:
    """The cargo of some units, ready for stepping.

    Attributes
    ----------
    cargoes, members
        Of the units.
    curve, food
        Heat curves of cargo that may freeze and which is whose, shape (units, members); None where none can.
    breathing, breath
        Heat by temperature, one curve a unit [W/kg], None where none breathes; what a member makes of it,
        shape (units, members) [kg K/J].
    """

    cargoes: tuple[Cargo, ...]
    members: Members
    curve: HeatCurve | None
    food: Places | int
    breathing: Lines | None
    breath: Array

    @classmethod
    def of(cls, cargoes: Sequence[Cargo], members: Members, *, freezing: bool) -> Load:
        """Collect what stepping needs; ``freezing`` when some of it may be near its freezing point."""
        curve: HeatCurve | None = None
        food: Places | int = 0
        if freezing:
            foods = sorted({food for cargo in cargoes for food in cargo.foods})
            curve = HeatCurve.of_foods(foods)
            food = np.stack(
                [
                    np.array([foods.index(each) for each in cargo.foods], dtype=np.intp)[own]
                    for cargo, own in zip(cargoes, members.food, strict=True)
                ]
            )
        breathing = None
        if any(cargo.respiration for cargo in cargoes):
            heats = np.stack([_breathing(cargo) for cargo in cargoes])
            breathing = Lines.through(_COLDEST_BREATHING, _BREATHING_STEP, heats)
        return cls(
            tuple(cargoes), members, curve, food, breathing, members.respiration / members.specific_heat
        )

    def stores(self, content: Array) -> Stores:
        """Both stores from their heat contents [°C], shape (2, units, members)."""
        return Stores.of(content, self.curve, self.food)

    def at_begin(self) -> Stores:
        """Both stores as each log begins."""
        warm = np.stack([self.members.start_surface, self.members.start_core])
        if self.curve is None:
            return Stores(warm, warm, None)
        return self.stores(np.stack([self.curve.content(each, self.food) for each in warm]))

    def after(self, stores: Stores, exchange: Exchange, *, air: Array, seconds: Array | float) -> Stores:
        """Both stores after one step in the air [°C], respiration and freezing included."""
        if self.breathing is None:
            return self.stores(exchange.contents_after(stores, air))
        # At the mean of both stores: what they differ by is small against the spread of the rates.
        heat = seconds * self.warming(mean_of_stores(stores.content))
        return self.stores(exchange.contents_after(stores, air, heat))

    @property
    def unknown_outside(self) -> Array:
        """Ambient air where none is logged. [°C]."""
        return UNKNOWN_OUTSIDE[0] + self.members.ambient * (UNKNOWN_OUTSIDE[1] - UNKNOWN_OUTSIDE[0])

    @property
    def standing(self) -> Array:
        """Biot number with the unit stopped: still air, and the wall of the box before it."""
        members = self.members
        wall = members.heat_leak / (members.mass * members.specific_heat * members.nodes.diffusion)
        return np.asarray(1.0 / (1.0 / (members.still_share * members.nodes.biot) + 1.0 / wall))

    @property
    def air_in_standing(self) -> Array:
        """Share of the way from the surface store to the air outside at which the stopped box's air lies."""
        to_air = 1.0 / (self.members.still_share * self.members.nodes.biot) + LAYER
        return np.asarray(to_air / (1.0 / self.standing + LAYER))

    def warming(self, temperature: Array) -> Array:
        """Warming by respiration, of the shape of ``temperature`` [°C]: (units, members). [K/s]."""
        if self.breathing is None:
            return np.zeros_like(temperature)
        heat, _ = self.breathing.at(temperature, np.arange(len(temperature))[:, None])
        return np.asarray(heat * self.breath)


def mean_of_stores(stores: Array) -> Array:
    """Mean of surface and core store by heat capacity, both on the first axis. [°C]."""
    surface, core = stores
    return np.asarray(SURFACE_SHARE * surface + (1.0 - SURFACE_SHARE) * core)


def _breathing(cargo: Cargo) -> Array:
    if not cargo.respiration:
        return np.zeros(len(_BREATHING))
    per_tonne = respiration_heat(respiration_rate(cargo.respiration, _BREATHING, cargo.q10))
    # Frozen it is dead; a store's heat content lies below the freezing point as soon as ice forms.
    coldest_alive = (cargo.foods[0][1] if cargo.foods else 0.0) - 1.0
    return np.where(np.less(_BREATHING, coldest_alive), 0.0, per_tonne / 1000.0)


@dataclass(frozen=True, slots=True)
class Followed:
    """Where the members have come to.

    Attributes
    ----------
    stores
        At the end of each log, shape (2, units, members).
    outer, centre
        Mean of the outer quarter and innermost point at the end, shape (units, members). [°C]
    spent
        Storage life spent beyond what the optimum would have taken, shape (units, members) [d]; nan where it
        is not known.
    way
        Temperatures of the stores at the readings that were asked for, shape (2, readings, members). [°C]
    """

    stores: Stores
    outer: Array
    centre: Array
    spent: Array
    way: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Met:
    """What the members' cargo meets in some steps.

    The fans and the length of a step stay the same for many steps on end; such a run is told once.

    Attributes
    ----------
    air
        Mean over each step, shape (steps, units, members). [°C]
    step, unit
        Where and whose each run begins, in order of the steps.
    biot
        Biot number towards the air in each run, shape (runs, members).
    seconds
        Length of its steps, shape (runs, 1). [s]
    """

    air: Array
    step: NDArray[np.intp]
    unit: NDArray[np.intp]
    biot: Array
    seconds: Array


def met(load: Load, course: AirCourse, begin: int, end: int) -> Met:
    """Tell what the members meet in the steps from one to before another."""
    members = load.members
    supply, split, outside, place = (
        values[begin:end, :, None]
        for values in (course.supply, course.split, course.outside, course.gap_place)
    )
    seconds, flow, still, otherwise = (
        values[begin:end] for values in (course.seconds, course.flow, course.still, course.otherwise)
    )
    air = members.air_weight * split
    air += members.air_error
    air += supply
    step, unit = np.nonzero(otherwise)
    air[step, unit] += members.otherwise_share[unit] * otherwise[step, unit][:, None]
    in_gap = ~np.isnan(place[:, :, 0])
    new = np.ones(seconds.shape, dtype=np.bool_)
    new[1:] = in_gap[1:] | in_gap[:-1]
    for values in (seconds, flow, still):
        new[1:] |= values[1:] != values[:-1]
    step, unit = np.nonzero(new)
    biot = members.nodes.biot[unit]
    biot = np.where(
        still[step, unit][:, None], members.still_share[unit] * biot, biot * flow[step, unit][:, None]
    )
    if in_gap.any():
        stood = (place >= members.off_begin) & (place < members.off_end)
        air = np.where(stood, np.where(np.isnan(outside), load.unknown_outside, outside), air)
        biot = np.where(stood[step, unit], load.standing[unit], biot)
    return Met(air, step, unit, biot, np.asarray(seconds[step, unit][:, None], dtype=np.float64))


def follow(load: Load, course: AirCourse, readings: pl.DataFrame | None = None) -> Followed:
    """Step the members through the log.

    Parameters
    ----------
    load
        Its units in the order of the course's.
    course
        The air.
    readings
        Some of the course's, at which the temperatures are kept.
    """
    members, nodes = load.members, load.members.nodes
    stores = load.at_begin()
    ageing = Ageing.of(load.cargoes)
    spent = np.full(members.mass.shape, np.nan if ageing is None else 0.0)
    way = _Way.at(readings, members.mass.shape[1])
    exchange = nodes.exchange(nodes.biot, 0.0, curved=load.curve is not None)
    for begin in range(0, len(course.seconds), _STEPS_AT_ONCE):
        end = min(begin + _STEPS_AT_ONCE, len(course.seconds))
        part = met(load, course, begin, end)
        runs = nodes.take(part.unit).exchange(part.biot, part.seconds, curved=load.curve is not None)
        first = np.searchsorted(part.step, np.arange(end - begin + 1))
        for step in range(begin, end):
            way.keep(step, stores)
            new = slice(first[step - begin], first[step - begin + 1])
            exchange.terms[:, part.unit[new]] = runs.terms[:, new]
            seconds = course.seconds[step][:, None]
            stores = load.after(stores, exchange, air=part.air[step - begin], seconds=seconds)
            if ageing is not None:
                spent += ageing.beyond_optimum(mean_of_stores(stores.temperature), seconds / 86400.0)
    way.keep(len(course.seconds), stores)
    surface, core = stores.temperature
    return Followed(
        stores=stores,
        outer=nodes.outer(surface, core, last_air(members, course)),
        centre=nodes.centre(surface, core),
        spent=spent,
        way=way.kept,
    )


@dataclass(frozen=True, slots=True)
class _Way:
    """Temperatures kept on the way: of which readings, in order of the steps before them."""

    order: NDArray[np.intp]
    first: NDArray[np.intp]
    unit: NDArray[np.intp]
    kept: NDArray[np.float32]

    @classmethod
    def at(cls, readings: pl.DataFrame | None, members: int) -> _Way:
        if readings is None:
            readings = pl.DataFrame(schema={"unit": pl.Int64, "step": pl.Int64})
        step = readings["step"].to_numpy()
        order = np.argsort(step, kind="stable")
        first = np.searchsorted(step[order], np.arange(step.max(initial=0) + 2))
        kept = np.empty((2, readings.height, members), dtype=np.float32)
        return cls(order, first, readings["unit"].to_numpy(), kept)

    def keep(self, step: int, stores: Stores) -> None:
        """Keep the readings that so many steps lie before."""
        if step + 1 < len(self.first) and self.first[step] < self.first[step + 1]:
            own = self.order[self.first[step] : self.first[step + 1]]
            self.kept[:, own] = stores.temperature[:, self.unit[own]]


def way_at(load: Load, way: NDArray[np.float32], readings: pl.DataFrame) -> tuple[Array, Array]:
    """Outer quarter and centre at some readings, shape (readings, members). [°C].

    Parameters
    ----------
    load
        Of the units.
    way
        As :attr:`Followed.way`, of these readings.
    readings
        Some of the course's.
    """
    surface, core = way.astype(np.float64)
    unit = readings["unit"].to_numpy()
    nodes = load.members.nodes.take(unit)
    supply, split = (readings[name].to_numpy()[:, None] for name in ("supply_then", "split_then"))
    air = supply + load.members.air_weight[unit] * split + load.members.air_error[unit]
    return nodes.outer(surface, core, air), nodes.centre(surface, core)


def last_air(members: Members, course: AirCourse) -> Array:
    """Air that each member's cargo felt at its log's last reading. [°C]."""
    last = course.rows.group_by("unit", maintain_order=True).last().sort("unit")
    supply, split = (last[name].to_numpy()[:, None] for name in ("supply_then", "split_then"))
    return np.asarray(supply + members.air_weight * split + members.air_error)
