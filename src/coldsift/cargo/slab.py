"""One-dimensional conduction through a piece of stow, with air at its faces.

Goes in: a :class:`Slab` (one value a member), the air over time. Comes out: centre, face, outer quarter and
mean over time. Finite volumes from the middle to the face, stepped with an L-stable method of second order,
so that neither fine cells nor long log intervals make it ring.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from coldsift.cargo.heat_curve import HeatCurve
from coldsift.cargo.lines import Places
from coldsift.cargo.properties import Array

PLATE, CYLINDER, SPHERE = 0, 1, 2
"""Shape of the piece: the power with which its cross-section grows outwards."""

OUTER_SHARE = 0.25
"""Share of the mass that is called the outer cargo."""

_STAGE = 1.0 - np.sqrt(0.5)
"""Singly diagonally implicit Runge-Kutta method of two stages, L-stable, of second order; from memory."""


@dataclass(frozen=True, slots=True)
class Slab:
    """Pieces of stow, one value a member.

    Attributes
    ----------
    half_thickness
        From the middle to the face. [m]
    conductivity
        [W/m K]
    heat_capacity
        By volume, unfrozen. [J/m³ K]
    heat_transfer
        From the air to the face. [W/m² K]
    shape
        :data:`PLATE`, :data:`CYLINDER` or :data:`SPHERE`.
    """

    half_thickness: Array
    conductivity: Array
    heat_capacity: Array
    heat_transfer: Array
    shape: int = PLATE


@dataclass(frozen=True, slots=True)
class SlabCourse:
    """Temperatures, shape (instants, members). [°C].

    Attributes
    ----------
    centre, face
        Innermost and outermost point.
    outer
        Mean of the outer quarter of the mass.
    mean
        Of all of it, weighted by mass.
    """

    centre: Array
    face: Array
    outer: Array
    mean: Array


def conduct(
    slab: Slab,
    seconds: Array,
    air: Array,
    start: Array,
    *,
    flow: Array | None = None,
    heat: Callable[[Array], Array] | None = None,
    curve: HeatCurve | None = None,
    food: Places | int = 0,
    cells: int = 24,
    longest_step: float = 900.0,
) -> SlabCourse:
    """Follow the temperature inside.

    Parameters
    ----------
    slab
        The pieces.
    seconds
        Length of each interval, shape (intervals,). [s]
    air
        Mean over each interval, shape (intervals,) or (intervals, members): between two readings the mean of
        the straight line. [°C]
    start
        Even temperature at the beginning, shape (members,). [°C]
    flow
        Factor on the heat transfer in each interval, of a shape like ``air``; 1 without it.
    heat
        Heat given off at temperatures of the shape (members, cells), by volume. [W/m³]
    curve, food
        Heat curves of cargo that may freeze, and which is whose, of a shape that fits (members, cells); None
        for a constant heat capacity.
    cells
        From the middle to the face.
    longest_step
        Longer intervals are divided. [s]

    Returns
    -------
    SlabCourse
        At the beginning and at the end of every interval.
    """
    members = len(start)

    def for_members(values: Array) -> Array:
        return np.broadcast_to(values.reshape(len(seconds), -1), (len(seconds), members))

    air = for_members(air)
    flow = for_members(np.ones(len(seconds)) if flow is None else flow)
    grid = _Grid.of(slab, cells)
    content = np.repeat(np.asarray(start, dtype=np.float64)[:, None], cells, axis=1)
    if curve is not None:
        content = curve.content(content, food)
    known = _temperature(content, curve, food)
    course = np.empty((4, len(seconds) + 1, members))
    course[:, 0] = grid.read(known[0], air[0], flow[0])
    for place, length in enumerate(seconds):
        parts = max(int(np.ceil(length / longest_step)), 1)
        for _ in range(parts):
            content = grid.step(content, known, air[place], flow[place], length / parts, heat, curve, food)
            known = _temperature(content, curve, food)
        course[:, place + 1] = grid.read(known[0], air[place], flow[place])
    return SlabCourse(*course)


def _temperature(content: Array, curve: HeatCurve | None, food: Places | int) -> tuple[Array, Array]:
    if curve is None:
        return content, np.ones_like(content)
    return curve.temperature(content, food)


@dataclass(frozen=True, slots=True)
class _Grid:
    """Cells of the pieces; rates are conductances against the cell's own heat capacity. [1/s].

    Attributes
    ----------
    inward, outward
        Rates to the neighbours, shape (members, cells).
    face
        Area over volume of the outermost cell, by heat capacity. [m² K/J]
    half_cell
        Resistance from the face to the middle of that cell. [m² K/W]
    heat_transfer, heat_capacity
        As of the slab, the latter of the shape (members, 1).
    mass_share, outer_share
        Weights of the cells in all of it and in the outer quarter.
    centre_reach
        The middle lies beyond the first cell by this much of its difference to the second.
    """

    inward: Array
    outward: Array
    face: Array
    half_cell: Array
    heat_transfer: Array
    heat_capacity: Array
    mass_share: Array
    outer_share: Array
    centre_reach: float

    @classmethod
    def of(cls, slab: Slab, cells: int) -> _Grid:
        power = slab.shape + 1
        edges = np.linspace(0.0, 1.0, cells + 1)
        volume = np.diff(edges**power)
        width = slab.half_thickness / cells
        between = (slab.conductivity / width / slab.heat_capacity)[:, None]
        inner = power * edges[:-1] ** slab.shape / volume / slab.half_thickness[:, None]
        outer = power * edges[1:] ** slab.shape / volume / slab.half_thickness[:, None]
        inward, outward = inner * between, outer * between
        inward[:, 0] = outward[:, -1] = 0.0
        # Mean x² of the first two cells, for a parabola through the middle.
        first = power / (power + 2.0)
        second = first * (2.0 ** (power + 2) - 1.0) / (2.0**power - 1.0)
        return cls(
            inward=inward,
            outward=outward,
            face=outer[:, -1] / slab.heat_capacity,
            half_cell=width / (2.0 * slab.conductivity),
            heat_transfer=slab.heat_transfer,
            heat_capacity=slab.heat_capacity[:, None],
            mass_share=volume,
            outer_share=np.diff(np.clip(edges**power, 1.0 - OUTER_SHARE, 1.0)) / OUTER_SHARE,
            centre_reach=first / (second - first),
        )

    def step(
        self,
        content: Array,
        known: tuple[Array, Array],
        air: Array,
        flow: Array,
        seconds: float,
        heat: Callable[[Array], Array] | None,
        curve: HeatCurve | None,
        food: Places | int,
    ) -> Array:
        """Heat contents after some seconds; the temperatures and slopes of those before are known."""
        source = 0.0 if heat is None else heat(known[0]) / self.heat_capacity
        to_air = self.face / (1.0 / (flow * self.heat_transfer) + self.half_cell)
        first = self._stage(content, content, known, air, to_air, _STAGE * seconds, source)
        base = content + (1.0 - _STAGE) / _STAGE * (first - content)
        known = _temperature(first, curve, food)
        return self._stage(base, first, known, air, to_air, _STAGE * seconds, source)

    def _stage(
        self,
        base: Array,
        guess: Array,
        known: tuple[Array, Array],
        air: Array,
        to_air: Array,
        seconds: float,
        source: Array | float,
    ) -> Array:
        """Heat content x with x = base + seconds × inflow(x), the heat curve straightened at the guess."""
        # Loaded here: only a dossier reckons slabs.
        from scipy.linalg.lapack import dgtsv

        temperature, slope = known
        rest = temperature - slope * guess
        loss = self.inward + self.outward
        loss[:, -1] += to_air
        flow = -loss * rest + source
        flow[:, 1:] += self.inward[:, 1:] * rest[:, :-1]
        flow[:, :-1] += self.outward[:, :-1] * rest[:, 1:]
        flow[:, -1] += to_air * air
        # The members' systems stand one below the other: one tridiagonal system, without ties between them.
        above, below = np.zeros_like(base), np.zeros_like(base)
        above[:, :-1] = -seconds * self.outward[:, :-1] * slope[:, 1:]
        below[:, 1:] = -seconds * self.inward[:, 1:] * slope[:, :-1]
        on = 1.0 + seconds * loss * slope
        right = base + seconds * flow
        solved: Array = dgtsv(below.ravel()[1:], on.ravel(), above.ravel()[:-1], right.ravel(), 1, 1, 1, 1)[3]
        return solved.reshape(base.shape)

    def read(self, temperature: Array, air: Array, flow: Array) -> Array:
        """Centre, face, outer quarter and mean of each member, shape (4, members)."""
        centre = temperature[:, 0] + self.centre_reach * (temperature[:, 0] - temperature[:, 1])
        stored = 1.0 / (1.0 + flow * self.heat_transfer * self.half_cell)
        face = stored * temperature[:, -1] + (1.0 - stored) * air
        return np.stack([centre, face, temperature @ self.outer_share, temperature @ self.mass_share])
