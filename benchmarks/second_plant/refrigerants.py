"""Saturation states and the compressor map of each refrigerant, both from CoolProp.

Goes in: a refrigerant's name. Comes out: :class:`Properties`, saturation tables on a fine grid, and a
:class:`CompressorMap`, ten-coefficient polynomials of mass flow and power fitted to ideal cycles times
efficiencies chosen here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import CoolProp
import CoolProp.CoolProp
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

Array = NDArray[np.float64]

KELVIN = 273.15
FLUIDS = {"R134a": "R134a", "R513A": "R513A.mix"}
"""Refrigerants of the fleet, by the name CoolProp gives each."""

COLDEST, WARMEST, STEP = -70.0, 74.0, 0.5
"""Grid of the saturation tables; the blend has no reliable liquid root above it. [°C]"""

MAP_SUPERHEAT = 10.0
"""Suction superheat of the cycles behind the compressor map. [K]"""


@dataclass(frozen=True, slots=True)
class Saturated:
    """Saturation state at one temperature, one value a unit.

    Attributes
    ----------
    pressure
        Dew pressure. [bar]
    vapour
        Enthalpy of dew vapour. [J/kg]
    liquid
        Enthalpy of bubble liquid. [J/kg]
    heat
        Specific heat of dew vapour. [J/kg K]
    """

    pressure: Array
    vapour: Array
    liquid: Array
    heat: Array


@cache
def saturation_table(name: str) -> Array:
    """Saturation states of one refrigerant on the grid.

    Parameters
    ----------
    name
        Key of :data:`FLUIDS`.

    Returns
    -------
    Array
        Rows: dew pressure [bar], vapour and liquid enthalpy [J/kg], specific heat of the vapour [J/kg K].
    """
    fluid = CoolProp.CoolProp.AbstractState("HEOS", FLUIDS[name])
    rows = []
    for temperature in np.arange(COLDEST, WARMEST + STEP / 2, STEP):
        fluid.update(CoolProp.QT_INPUTS, 1.0, float(temperature) + KELVIN)
        dew = (fluid.p() / 1e5, fluid.hmass(), fluid.cpmass())
        fluid.update(CoolProp.QT_INPUTS, 0.0, float(temperature) + KELVIN)
        rows.append((dew[0], dew[1], fluid.hmass(), dew[2]))
    return np.array(rows).T


class Properties:
    """Saturation states for a fleet of units with different refrigerants.

    Parameters
    ----------
    names
        Refrigerant of each unit, keys of :data:`FLUIDS`.
    """

    def __init__(self, names: Sequence[str]) -> None:
        kinds = list(FLUIDS)
        self._of_unit = np.array([kinds.index(name) for name in names])
        # Grid points as rows, so that one gather fetches a whole state.
        tables = np.stack([saturation_table(kind).T for kind in kinds])
        self._pressure = tables[:, :, 0]
        self._points = tables.shape[1]
        self._rows = tables.reshape(-1, tables.shape[2])
        self._first_row = self._of_unit * self._points

    def at(self, temperature: Array) -> Saturated:
        """State at a temperature [°C], linear between grid points; outside the grid its end is taken."""
        place = (np.minimum(np.maximum(temperature, COLDEST), WARMEST) - COLDEST) / STEP
        low = np.minimum(place.astype(np.int64), self._points - 2)
        row = self._first_row + low
        below, above = self._rows.take(row, axis=0), self._rows.take(row + 1, axis=0)
        pressure, vapour, liquid, heat = (below + (place - low)[:, None] * (above - below)).T
        return Saturated(pressure, vapour, liquid, heat)

    def temperature(self, pressure: Array) -> Array:
        """Dew temperature at a pressure [bar]. [°C]."""
        grid = np.arange(self._points) * STEP + COLDEST
        found = np.empty_like(pressure)
        for kind in np.unique(self._of_unit):
            of_kind = self._of_unit == kind
            found[of_kind] = np.interp(pressure[of_kind], self._pressure[kind], grid)
        return found


def volumetric_efficiency(ratio: Array) -> Array:
    """Share of the swept volume that is drawn in, falling with the pressure ratio; chosen here."""
    return 0.965 - 0.019 * ratio


def overall_efficiency(ratio: Array) -> Array:
    """Ideal work over electric work of compressor and motor, best near a ratio of four; chosen here."""
    best: Array = 0.69 * np.exp(-0.5 * (np.log(ratio / 4.0) / 1.5) ** 2)
    return best


@dataclass(frozen=True, slots=True)
class Cycles:
    """Ideal compressions of one refrigerant, one value a cycle.

    Attributes
    ----------
    evaporating, condensing
        Dew temperatures. [°C]
    mass_flow
        Per swept volume flow. [kg/s per m³/s]
    power
        Electric, per swept volume flow. [W per m³/s]
    """

    evaporating: Array
    condensing: Array
    mass_flow: Array
    power: Array


@cache
def ideal_cycles(name: str) -> Cycles:
    """Cycles over the whole envelope, efficiencies of this module applied.

    Parameters
    ----------
    name
        Key of :data:`FLUIDS`.

    Returns
    -------
    Cycles
        At :data:`MAP_SUPERHEAT`, condensing at least 8 K above evaporating, pressure ratio below 28.
    """
    fluid = CoolProp.CoolProp.AbstractState("HEOS", FLUIDS[name])
    rows = []
    for evaporating in np.linspace(-50.0, 14.0, 17):
        for condensing in np.linspace(14.0, 72.0, 15):
            fluid.update(CoolProp.QT_INPUTS, 1.0, float(evaporating) + KELVIN)
            low = fluid.p()
            fluid.update(CoolProp.QT_INPUTS, 1.0, float(condensing) + KELVIN)
            high = fluid.p()
            if condensing < evaporating + 8.0 or high / low > 28.0:
                continue
            fluid.specify_phase(CoolProp.iphase_gas)
            fluid.update(CoolProp.PT_INPUTS, low, float(evaporating) + KELVIN + MAP_SUPERHEAT)
            entropy, enthalpy, density = fluid.smass(), fluid.hmass(), fluid.rhomass()

            def surplus(kelvin: float, high: float = high, entropy: float = entropy) -> float:
                fluid.update(CoolProp.PT_INPUTS, high, kelvin)
                return float(fluid.smass() - entropy)

            brentq(surplus, condensing + KELVIN + 0.2, condensing + KELVIN + 120.0)
            work = fluid.hmass() - enthalpy
            fluid.unspecify_phase()
            ratio = np.array(high / low)
            flow = density * float(volumetric_efficiency(ratio))
            rows.append((evaporating, condensing, flow, flow * work / float(overall_efficiency(ratio))))
    return Cycles(*np.array(rows).T)


def _terms(evaporating: Array, condensing: Array) -> Array:
    low, high = evaporating, condensing
    return np.stack(
        [
            np.ones_like(low),
            low,
            high,
            low**2,
            low * high,
            high**2,
            low**3,
            high * low**2,
            low * high**2,
            high**3,
        ],
        axis=-1,
    )


@cache
def coefficients(name: str) -> Array:
    """Ten coefficients of mass flow and of power, least squares on :func:`ideal_cycles`.

    The form is that of AHRI 540 (from memory): 1, S, D, S², SD, D², S³, DS², SD², D³ with S the suction and
    D the discharge dew temperature [°C]. No coefficients of anyone else are used.

    Parameters
    ----------
    name
        Key of :data:`FLUIDS`.

    Returns
    -------
    Array
        Shape (2, 10); mass flow [kg/s per m³/s] and power [W per m³/s].
    """
    cycles = ideal_cycles(name)
    terms = _terms(cycles.evaporating, cycles.condensing)
    # Weighted so that the relative error is even: deep evaporation matters as much as warm.
    fits = []
    for target in (cycles.mass_flow, cycles.power):
        weight = (target + 0.15 * target.mean()) ** -0.75
        fits.append(np.linalg.lstsq(terms * weight[:, None], target * weight, rcond=None)[0])
    return np.array(fits)


class CompressorMap:
    """Polynomials of a fleet at given condensing temperatures.

    Parameters
    ----------
    names
        Refrigerant of each unit.
    """

    def __init__(self, names: Sequence[str]) -> None:
        self._coefficients = np.stack([coefficients(name) for name in names], axis=-1)

    def in_evaporating(self, condensing: Array) -> Array:
        """Coefficients of a cubic in evaporating temperature at a condensing temperature [°C].

        Returns
        -------
        Array
            Shape (4, 2, units): power of the evaporating temperature, mass flow or power, unit.
        """
        c = self._coefficients
        d = np.minimum(np.maximum(condensing, 14.0), 72.0)
        return np.stack(
            [
                c[:, 0] + d * (c[:, 2] + d * (c[:, 5] + d * c[:, 9])),
                c[:, 1] + d * (c[:, 4] + d * c[:, 8]),
                c[:, 3] + d * c[:, 7],
                c[:, 6],
            ]
        )
