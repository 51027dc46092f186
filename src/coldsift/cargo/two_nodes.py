"""The cargo as two heat stores, surface and core, derived from a slab.

Goes in: a slab (one value a member), the air step by step. Comes out: the temperatures of the outer and the
innermost cargo. Small enough for hundreds of units times dozens of members at every log interval.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from coldsift.cargo.heat_curve import HeatCurve
from coldsift.cargo.lines import Places
from coldsift.cargo.properties import Array
from coldsift.cargo.slab import OUTER_SHARE, PLATE, Slab

SURFACE_SHARE = 0.46
"""Share of the heat capacity in the surface store.

With :data:`LAYER` it was chosen to keep the core closest to the exact series after a step in the air.
"""

LAYER = 0.43 * SURFACE_SHARE
"""Resistance from the face to the surface store, in units of L/k."""

_AIR_SHARE, _AIR_SHARE_BIOT = 0.27, 12.0
"""Share of the air in the outer quarter: what spreads its error after a step evenly to both sides."""

_NEWTON_STEPS = 6
"""Far more digits than there are after four."""


@dataclass(frozen=True, slots=True)
class TwoNodes:
    """Parameters of the two stores, one value a member.

    Attributes
    ----------
    diffusion
        k / (ρ c L²). [1/s]
    biot
        h L / k with the fans at full speed.
    inside
        Conductance from surface store to core store, against the whole heat capacity. [1/s]
    core_reach
        The centre lies beyond the core store by this much of the difference between the stores.
    surface_reach
        The outer quarter lies beyond the surface store by this much of the difference.
    air_share
        Share of the air in the temperature of the outer quarter.
    """

    diffusion: Array
    biot: Array
    inside: Array
    core_reach: Array
    surface_reach: Array
    air_share: Array

    @classmethod
    def of_slab(cls, slab: Slab) -> TwoNodes:
        """Derive the stores from a plate.

        Parameters
        ----------
        slab
            Of shape plate.

        Notes
        -----
        Kept exactly of the series' slowest term: its time constant L²/(α ζ²), the lag of the centre behind it
        (C1), the mean of the outer quarter. Heat capacity and Biot number are the slab's own.
        """
        if slab.shape != PLATE:
            raise ValueError("two stores are derived from plates only")
        diffusion = slab.conductivity / (slab.heat_capacity * slab.half_thickness**2)
        biot = slab.heat_transfer * slab.half_thickness / slab.conductivity
        zeta = first_eigenvalue(biot)
        decay = zeta**2
        from_air = 1.0 / (1.0 / biot + LAYER)
        core_share = 1.0 - SURFACE_SHARE
        inside = core_share * decay * (from_air - SURFACE_SHARE * decay) / (from_air - decay)
        # In the slowest mode: surface store over core store, and the core store's share of an even start.
        ratio = 1.0 - core_share * decay / inside
        core = (SURFACE_SHARE * ratio + core_share) / (SURFACE_SHARE * ratio**2 + core_share)
        centre = 4.0 * np.sin(zeta) / (2.0 * zeta + np.sin(2.0 * zeta))
        outer = centre * (np.sin(zeta) - np.sin((1.0 - OUTER_SHARE) * zeta)) / (OUTER_SHARE * zeta)
        air_share = _AIR_SHARE * biot / (biot + _AIR_SHARE_BIOT)
        return cls(
            diffusion=diffusion,
            biot=biot,
            inside=diffusion * inside,
            core_reach=(centre / core - 1.0) / (1.0 - ratio),
            surface_reach=(ratio - outer / core / (1.0 - air_share)) / (1.0 - ratio),
            air_share=air_share,
        )

    def take(self, units: NDArray[np.intp]) -> TwoNodes:
        """Members of some units, one row for each place in ``units``."""
        return TwoNodes(*(getattr(self, each.name)[units] for each in fields(self)))

    def outer(self, surface: Array, core: Array, air: Array) -> Array:
        """Mean of the outer quarter. [°C]."""
        stored = surface + self.surface_reach * (surface - core)
        return np.asarray(stored + self.air_share * (air - stored))

    def centre(self, surface: Array, core: Array) -> Array:
        """Innermost point. [°C]."""
        return np.asarray(core + self.core_reach * (core - surface))

    def advance(
        self,
        surface: Array,
        core: Array,
        *,
        air: Array,
        biot: Array,
        seconds: Array | float,
        heat: Array | float = 0.0,
        curve: HeatCurve | None = None,
        food: Places | int = 0,
    ) -> tuple[Array, Array]:
        """One step by the trapezoidal rule, the heat curve straightened at its start.

        Parameters
        ----------
        surface, core
            Heat contents of the stores, see :class:`~coldsift.cargo.heat_curve.HeatCurve`; without a curve
            their temperatures. [°C]
        air
            Mean over the step. [°C]
        biot
            As it is now: lower than :attr:`biot` in still air, and with the box's wall in it where the air
            is the air outside.
        seconds
            Length of the step, 0 for none. [s]
        heat
            Warming of both stores by respiration. [K/s]
        curve, food
            Heat curves of cargo that may freeze, and which of them.

        Returns
        -------
        tuple of arrays
            Heat contents after the step; their change is the heat that flowed.
        """
        stores = Stores.of(np.stack(np.broadcast_arrays(surface, core)), curve, food)
        exchange = self.exchange(biot, seconds, curved=curve is not None)
        after = exchange.contents_after(stores, air, np.asarray(seconds * heat))
        return after[0], after[1]

    def exchange(self, biot: Array, seconds: Array | float, *, curved: bool) -> Exchange:
        """What does not change from step to step of :meth:`advance` while the fans and its length do not."""
        from_air = seconds * self.diffusion / (1.0 / biot + LAYER)
        inside = seconds * self.inside
        return Exchange.curved_of(from_air, inside) if curved else Exchange.straight_of(from_air, inside)


@dataclass(frozen=True, slots=True)
class Stores:
    """The two stores of some members, on the first axis surface and core.

    Attributes
    ----------
    content, temperature
        See :class:`~coldsift.cargo.heat_curve.HeatCurve`. [°C]
    slope
        Rise of the temperature with the heat content; None without a heat curve.
    """

    content: Array
    temperature: Array
    slope: Array | None

    @classmethod
    def of(cls, content: Array, curve: HeatCurve | None, food: Places | int) -> Stores:
        """Look up the temperatures of heat contents."""
        if curve is None:
            return cls(content, content, None)
        return cls(content, *curve.temperature(content, food))


_CORE_SHARE = 1.0 - SURFACE_SHARE


@dataclass(frozen=True, slots=True)
class Exchange:
    """One step of the stores by the trapezoidal rule, its two equations solved as far as the air tells.

    Attributes
    ----------
    terms
        Factors of some members, on the first axis; there are two sets of them, with and without a heat curve.
    """

    terms: Array

    @classmethod
    def straight_of(cls, from_air: Array, inside: Array) -> Exchange:
        """Without a heat curve: both changes by distance to the air, distance of the stores, and heat."""
        half = 0.5 * inside
        whole = SURFACE_SHARE * _CORE_SHARE + half + 0.5 * from_air * (_CORE_SHARE + half)
        even = SURFACE_SHARE * _CORE_SHARE + half
        terms = (
            (_CORE_SHARE + half) * from_air,
            _CORE_SHARE * inside,
            even,
            half * from_air,
            (SURFACE_SHARE + 0.5 * from_air) * inside,
            even + 0.5 * _CORE_SHARE * from_air,
        )
        return cls(np.stack(np.broadcast_arrays(*terms)) / whole)

    @classmethod
    def curved_of(cls, from_air: Array, inside: Array) -> Exchange:
        """With one: both conductances, their halves, and what the determinant takes of the slopes."""
        terms = (
            from_air,
            inside,
            0.5 * from_air,
            0.5 * inside,
            0.25 * from_air * inside,
            0.5 * _CORE_SHARE * (from_air + inside),
            0.5 * SURFACE_SHARE * inside,
        )
        return cls(np.stack(np.broadcast_arrays(*terms)))

    def contents_after(self, stores: Stores, air: Array, heat: Array | None = None) -> Array:
        """Heat contents after the step.

        Parameters
        ----------
        stores
            Before it.
        air
            Mean over the step. [°C]
        heat
            Warming of both stores by respiration in it. [K]
        """
        surface, core = stores.temperature
        to_air, between = air - surface, surface - core
        change = np.empty_like(stores.content)
        if stores.slope is None:
            air_in, passed, heat_in, air_through, through, heat_through = self.terms
            change[0] = air_in * to_air - passed * between
            change[1] = air_through * to_air + through * between
            if heat is not None:
                change[0] += heat_in * heat
                change[1] += heat_through * heat
            return np.asarray(stores.content + change)
        from_air, inside, half_air, half_inside, of_both, of_surface, of_core = self.terms
        surface_slope, core_slope = stores.slope
        whole = surface_slope * (of_surface + of_both * core_slope) + of_core * core_slope
        whole += SURFACE_SHARE * _CORE_SHARE
        comes_in, to_core = from_air * to_air, inside * between
        kept = comes_in - to_core
        if heat is not None:
            kept += SURFACE_SHARE * heat
            to_core += _CORE_SHARE * heat
            comes_in += heat
        comes_in *= half_inside
        change[0] = _CORE_SHARE * kept + core_slope * comes_in
        change[1] = SURFACE_SHARE * to_core + surface_slope * (half_air * to_core + comes_in)
        change /= whole
        return np.asarray(stores.content + change)


def first_eigenvalue(biot: Array) -> Array:
    """Smallest root of ζ tan ζ = Bi: the slowest term of a plate's cooling.

    Parameters
    ----------
    biot
        h L / k.

    Notes
    -----
    Newton's method, from a curve that is right at both ends; the root is that of scipy's ``find_root``
    (tests/outside), which takes every process longer to load than to find the roots of a ship.
    """
    biot = np.asarray(biot, dtype=np.float64)
    zeta = np.pi / 2.0 * np.sqrt(biot / (biot + np.pi**2 / 4.0))
    for _ in range(_NEWTON_STEPS):
        sine, cosine = np.sin(zeta), np.cos(zeta)
        zeta = zeta - (zeta * sine - biot * cosine) / ((1.0 + biot) * sine + zeta * cosine)
    return np.asarray(zeta)
