"""R134a saturation and vapour properties as tables over temperature, taken from CoolProp once.

The time loop needs the same few properties for every unit at every minute; a table on an even temperature
grid costs one gather for all of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from CoolProp.CoolProp import PropsSI
from numpy.typing import NDArray

Array = NDArray[np.float64]

KELVIN = 273.15
"""0 °C in K."""

REFRIGERANT = "R134a"

_COLDEST, _WARMEST, _STEP = -103.0, 99.0, 0.25
_ISENTROPIC_EXPONENT = 1.07
"""Exponent n of p·vⁿ along an isentrope of R134a vapour near saturation.

Fitted to CoolProp between −28 and 0 °C evaporating, 30 and 45 °C condensing; work within 2 %.
"""


def limit(value: Array, low: float | Array, high: float | Array) -> Array:
    """Keep values between two ends; several times quicker than ``numpy.clip`` on short arrays."""
    return np.minimum(np.maximum(value, low), high)


@dataclass(frozen=True, slots=True)
class Saturation:
    """Saturated R134a at given temperatures; every field has the shape of the temperatures.

    Attributes
    ----------
    pressure
        Absolute. [bar]
    liquid_density, vapour_density
        [kg/m³]
    liquid_enthalpy, vapour_enthalpy
        CoolProp's reference state. [J/kg]
    vapour_heat
        Isobaric specific heat of the saturated vapour. [J/kg K]
    liquid_heat
        Isobaric specific heat of the saturated liquid. [J/kg K]
    """

    pressure: Array
    liquid_density: Array
    vapour_density: Array
    liquid_enthalpy: Array
    vapour_enthalpy: Array
    vapour_heat: Array
    liquid_heat: Array


@dataclass(frozen=True, slots=True)
class RefrigerantTable:
    """Saturation properties on an even temperature grid.

    Attributes
    ----------
    temperatures
        Grid. [°C]
    values
        One row for each field of :class:`Saturation`, one column a grid point; pressure and densities as
        logarithms, which are nearly straight between grid points.
    slopes
        Difference of ``values`` to the next column.
    """

    temperatures: Array
    values: Array
    slopes: Array

    def at(self, temperature: Array) -> Saturation:
        """Saturated properties at temperatures; outside the grid the nearest end is used. [°C]."""
        place = limit((temperature - _COLDEST) / _STEP, 0.0, len(self.temperatures) - 1.001)
        index = place.astype(np.int64)
        rows = self.values.take(index, axis=1)
        rows += (place - index) * self.slopes.take(index, axis=1)
        np.exp(rows[:3], out=rows[:3])
        return Saturation(*rows)

    def temperature_of_pressure(self, pressure: Array) -> Array:
        """Saturation temperature of absolute pressures. [bar] to [°C]."""
        return np.interp(np.log(pressure), self.values[0], self.temperatures)

    def temperature_of_vapour_density(self, density: Array) -> Array:
        """Saturation temperature at which the vapour has a density. [kg/m³] to [°C]."""
        return np.interp(np.log(density), self.values[2], self.temperatures)


@cache
def r134a() -> RefrigerantTable:
    """The table for R134a, from just above its triple point to just below its critical point."""
    temperatures = np.arange(_COLDEST, _WARMEST + _STEP / 2, _STEP)
    kelvin = temperatures + KELVIN

    def saturated(output: str, quality: int) -> Array:
        return np.asarray(PropsSI(output, "T", kelvin, "Q", quality, REFRIGERANT), dtype=np.float64)

    values = np.stack(
        [
            np.log(saturated("P", 1) / 1e5),
            np.log(saturated("D", 0)),
            np.log(saturated("D", 1)),
            saturated("H", 0),
            saturated("H", 1),
            saturated("C", 1),
            saturated("C", 0),
        ]
    )
    slopes = np.diff(values, axis=1, append=values[:, -1:])
    return RefrigerantTable(temperatures, values, slopes)


def isentropic_work(suction_pressure: Array, discharge_pressure: Array, suction_density: Array) -> Array:
    """Work of loss-free compression per mass. [J/kg].

    Parameters
    ----------
    suction_pressure, discharge_pressure
        Absolute. [bar]
    suction_density
        [kg/m³]
    """
    ratio = np.maximum(discharge_pressure / suction_pressure, 1.0)
    rise = (_ISENTROPIC_EXPONENT - 1) / _ISENTROPIC_EXPONENT
    return suction_pressure * 1e5 / suction_density * (ratio**rise - 1.0) / rise
