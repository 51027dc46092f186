"""The members' cargo followed through the log.

Goes in: cargoes, the air they felt, their members. Comes out: :class:`Followed`, the state at the end of the
log and, where wanted, the way there. All units and members at once; one loop over the steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from coldsift.cargo.air import AirCourse
from coldsift.cargo.cargoes import Cargo
from coldsift.cargo.ensemble import Members
from coldsift.cargo.heat_curve import HeatCurve, Places
from coldsift.cargo.life import Ageing
from coldsift.cargo.properties import Array, respiration_heat, respiration_rate
from coldsift.cargo.two_nodes import LAYER, SURFACE_SHARE

_BREATHING_STEP = 0.5
_BREATHING = np.arange(-5.0, 35.0 + _BREATHING_STEP, _BREATHING_STEP)
"""Temperatures at which respiration is tabulated; beyond them it stays as at the ends. [°C]"""

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
    breathing
        Heat by :data:`_BREATHING` temperature, shape (units, temperatures) [W/kg]; None where none breathes.
    """

    cargoes: tuple[Cargo, ...]
    members: Members
    curve: HeatCurve | None
    food: Places | int
    breathing: Array | None

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
            breathing = np.stack([_breathing(cargo) for cargo in cargoes])
        return cls(tuple(cargoes), members, curve, food, breathing)

    def temperature(self, content: Array) -> Array:
        """Temperature of a store from its heat content, both in °C."""
        return content if self.curve is None else self.curve.temperature(content, self.food)[0]

    def content(self, temperature: Array) -> Array:
        """Heat content of a store from its temperature, both in °C."""
        return temperature if self.curve is None else self.curve.content(temperature, self.food)

    def advance(
        self, surface: Array, core: Array, *, air: Array, biot: Array, seconds: Array | float
    ) -> tuple[Array, Array]:
        """One step of both stores' heat contents, respiration and freezing included."""
        return self.members.nodes.advance(
            surface,
            core,
            air=air,
            biot=biot,
            seconds=seconds,
            # At the mean of both stores: what they differ by is small against the spread of the rates.
            heat=self.breath(mean_of_stores(surface, core)) if self.breathing is not None else 0.0,
            curve=self.curve,
            food=self.food,
        )

    @property
    def unknown_outside(self) -> Array:
        """Ambient air where none is logged. [°C]."""
        return UNKNOWN_OUTSIDE[0] + self.members.ambient * (UNKNOWN_OUTSIDE[1] - UNKNOWN_OUTSIDE[0])

    def standing(self, biot: Array) -> Array:
        """Biot number with the unit stopped: still air, and the wall of the box before it."""
        members = self.members
        wall = members.heat_leak / (members.mass * members.specific_heat * members.nodes.diffusion)
        return np.asarray(1.0 / (1.0 / (members.still_share * biot) + 1.0 / wall))

    def air_while_standing(self, outside: Array, surface: Array) -> Array:
        """Air in the stopped box, between the wall and the surface store. [°C]."""
        biot = self.members.nodes.biot
        to_air = 1.0 / (self.members.still_share * biot) + LAYER
        through = 1.0 / self.standing(biot) + LAYER
        return np.asarray(surface + to_air / through * (outside - surface))

    def breath(self, temperature: Array) -> Array:
        """Warming by respiration, of the shape of ``temperature`` [°C]: (units, members). [K/s]."""
        if self.breathing is None:
            return np.zeros_like(temperature)
        place = (np.clip(temperature, _BREATHING[0], _BREATHING[-1] - 1e-9) - _BREATHING[0]) / _BREATHING_STEP
        lower = place.astype(np.intp)
        flat = lower + np.arange(len(self.breathing))[:, None] * self.breathing.shape[1]
        table = self.breathing.ravel()
        left = table.take(flat)
        heat = left + (place - lower) * (table.take(flat + 1) - left)
        return np.asarray(heat * self.members.respiration / self.members.specific_heat)


def mean_of_stores(surface: Array, core: Array) -> Array:
    """Mean of both stores by heat capacity. [°C]."""
    return SURFACE_SHARE * surface + (1.0 - SURFACE_SHARE) * core


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
    surface, core
        Heat contents of the stores at the end of each log, shape (units, members). [°C]
    outer, centre
        Mean of the outer quarter and innermost point at the end, shape (units, members). [°C]
    spent
        Storage life spent beyond what the optimum would have taken, shape (units, members) [d]; nan where it
        is not known.
    way_surface, way_core
        Temperatures of the stores before each step and after the last, shape (steps + 1, units, members);
        empty unless asked for. [°C]
    """

    surface: Array
    core: Array
    outer: Array
    centre: Array
    spent: Array
    way_surface: Array
    way_core: Array


def follow(load: Load, course: AirCourse, *, keep_way: bool = False) -> Followed:
    """Step the members through the log.

    Parameters
    ----------
    load
        Its units in the order of the course's.
    course
        The air.
    keep_way
        Keep the temperatures of every step.
    """
    members, nodes = load.members, load.members.nodes
    surface, core = load.content(members.start_surface), load.content(members.start_core)
    steps = len(course.seconds)
    way = np.empty((2, (steps + 1) if keep_way else 0, *surface.shape), dtype=np.float32)
    ageing = Ageing.of(load.cargoes)
    spent = np.full(surface.shape, np.nan if ageing is None else 0.0)
    for step in range(steps):
        if keep_way:
            way[:, step] = load.temperature(surface), load.temperature(core)
        seconds = course.seconds[step][:, None]
        air, biot = air_and_biot(load, course, step)
        surface, core = load.advance(surface, core, air=air, biot=biot, seconds=seconds)
        if ageing is not None:
            mean = mean_of_stores(load.temperature(surface), load.temperature(core))
            spent += ageing.beyond_optimum(mean, seconds / 86400.0)
    warm_surface, warm_core = load.temperature(surface), load.temperature(core)
    if keep_way:
        way[:, steps] = warm_surface, warm_core
    return Followed(
        surface=surface,
        core=core,
        outer=nodes.outer(warm_surface, warm_core, last_air(members, course)),
        centre=nodes.centre(warm_surface, warm_core),
        spent=spent,
        way_surface=way[0],
        way_core=way[1],
    )


def way_at(load: Load, course: AirCourse, followed: Followed, rows: pl.DataFrame) -> tuple[Array, Array]:
    """Outer quarter and centre at some readings, shape (readings, members). [°C].

    Parameters
    ----------
    load, course, followed
        Followed with its way kept.
    rows
        Some of the course's readings.
    """
    unit, step = rows["unit"].to_numpy(), rows["step"].to_numpy()
    surface = followed.way_surface[step, unit].astype(np.float64)
    core = followed.way_core[step, unit].astype(np.float64)
    nodes = load.members.nodes.take(unit)
    supply, split = (rows[name].to_numpy()[:, None] for name in ("supply_then", "split_then"))
    air = supply + load.members.air_weight[unit] * split + load.members.air_error[unit]
    return nodes.outer(surface, core, air), nodes.centre(surface, core)


def air_and_biot(load: Load, course: AirCourse, step: int) -> tuple[Array, Array]:
    """Mean air that each member's cargo meets in a step [°C], and the Biot number towards it."""
    members, nodes = load.members, load.members.nodes
    supply, split, otherwise, flow, place = (
        values[step][:, None]
        for values in (course.supply, course.split, course.otherwise, course.flow, course.gap_place)
    )
    air = supply + members.air_weight * split + members.otherwise_share * otherwise + members.air_error
    biot = nodes.biot * flow
    if course.still[step].any():
        biot = np.where(course.still[step][:, None], members.still_share * nodes.biot, biot)
    if not np.isnan(place).all():
        stood = (place >= members.off_begin) & (place < members.off_end)
        outside = course.outside[step][:, None]
        air = np.where(stood, np.where(np.isnan(outside), load.unknown_outside, outside), air)
        biot = np.where(stood, load.standing(nodes.biot), biot)
    return air, biot


def last_air(members: Members, course: AirCourse) -> Array:
    """Air that each member's cargo felt at its log's last reading. [°C]."""
    last = course.rows.group_by("unit", maintain_order=True).last().sort("unit")
    supply, split = (last[name].to_numpy()[:, None] for name in ("supply_then", "split_then"))
    return np.asarray(supply + members.air_weight * split + members.air_error)
