"""The cargo as two heat stores, surface and core, derived from a slab.

Goes in: a slab (one value a member), the air step by step. Comes out: the temperatures of the outer and the
innermost cargo. Small enough for hundreds of units times dozens of members at every log interval.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise

from coldsift.cargo.heat_curve import HeatCurve, Places
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
        from_air = self.diffusion / (1.0 / biot + LAYER)
        inside = self.inside
        if curve is None:
            warm_surface, warm_core = surface, core
            surface_half, core_half = 0.5 * seconds, 0.5 * seconds
        else:
            warm_surface, surface_slope = curve.temperature(surface, food)
            warm_core, core_slope = curve.temperature(core, food)
            surface_half, core_half = 0.5 * seconds * surface_slope, 0.5 * seconds * core_slope
        inward = inside * (warm_surface - warm_core)
        to_surface = seconds * (from_air * (air - warm_surface) - inward + SURFACE_SHARE * heat)
        to_core = seconds * (inward + (1.0 - SURFACE_SHARE) * heat)
        surface_pivot = SURFACE_SHARE + surface_half * (from_air + inside)
        core_pivot = (1.0 - SURFACE_SHARE) + core_half * inside
        surface_tie, core_tie = core_half * inside, surface_half * inside
        scale = 1.0 / (surface_pivot * core_pivot - surface_tie * core_tie)
        return (
            surface + (core_pivot * to_surface + surface_tie * to_core) * scale,
            core + (surface_pivot * to_core + core_tie * to_surface) * scale,
        )


def first_eigenvalue(biot: Array) -> Array:
    """Smallest root of ζ tan ζ = Bi: the slowest term of a plate's cooling.

    Parameters
    ----------
    biot
        h L / k.
    """
    biot = np.asarray(biot, dtype=np.float64)

    def beyond(zeta: Array, bi: Array) -> Array:
        return np.asarray(zeta * np.sin(zeta) - bi * np.cos(zeta))

    find_root: Any = elementwise.find_root  # its published types leave ``args`` out
    return np.asarray(
        find_root(beyond, (np.zeros_like(biot), np.full_like(biot, np.pi / 2.0)), args=(biot,)).x
    )
