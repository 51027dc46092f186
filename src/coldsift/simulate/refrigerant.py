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


@dataclass(frozen=True, slots=True)
class Saturation:
    """Saturated R134a at given temperatures; every field has the shape of the temperatures.

    Attributes
    ----------
    pressure
        Absolute. [bar]
    liquid_enthalpy, vapour_enthalpy
        CoolProp's reference state. [J/kg]
    liquid_density, vapour_density
        [kg/m³]
    vapour_heat
        Isobaric specific heat of the saturated vapour. [J/kg K]
    liquid_heat
        Isobaric specific heat of the saturated liquid. [J/kg K]
    """

    pressure: Array
    liquid_enthalpy: Array
    vapour_enthalpy: Array
    liquid_density: Array
    vapour_density: Array
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
        Grid rows; columns: ln pressure [bar], liquid and vapour enthalpy, ln liquid and ln vapour density,
        vapour and liquid specific heat. The logarithms are nearly straight between grid points.
    slopes
        Difference of ``values`` to the next row.
    """

    temperatures: Array
    values: Array
    slopes: Array

    def at(self, temperature: Array) -> Saturation:
        """Saturated properties at temperatures; outside the grid the nearest end is used. [°C]."""
        place = np.clip((temperature - _COLDEST) / _STEP, 0.0, len(self.temperatures) - 1.001)
        index = place.astype(np.int64)
        rows = self.values[index] + (place - index)[:, None] * self.slopes[index]
        logarithms = np.exp(rows[:, [0, 3, 4]])
        return Saturation(
            pressure=logarithms[:, 0],
            liquid_enthalpy=rows[:, 1],
            vapour_enthalpy=rows[:, 2],
            liquid_density=logarithms[:, 1],
            vapour_density=logarithms[:, 2],
            vapour_heat=rows[:, 5],
            liquid_heat=rows[:, 6],
        )

    def temperature_of_pressure(self, pressure: Array) -> Array:
        """Saturation temperature of absolute pressures. [bar] to [°C]."""
        return np.interp(np.log(pressure), self.values[:, 0], self.temperatures)

    def temperature_of_vapour_density(self, density: Array) -> Array:
        """Saturation temperature at which the vapour has a density. [kg/m³] to [°C]."""
        return np.interp(np.log(density), self.values[:, 4], self.temperatures)


@cache
def r134a() -> RefrigerantTable:
    """The table for R134a, from just above its triple point to just below its critical point."""
    temperatures = np.arange(_COLDEST, _WARMEST + _STEP / 2, _STEP)
    kelvin = temperatures + KELVIN

    def saturated(output: str, quality: int) -> Array:
        return np.asarray(PropsSI(output, "T", kelvin, "Q", quality, REFRIGERANT), dtype=np.float64)

    values = np.column_stack(
        [
            np.log(saturated("P", 1) / 1e5),
            saturated("H", 0),
            saturated("H", 1),
            np.log(saturated("D", 0)),
            np.log(saturated("D", 1)),
            saturated("C", 1),
            saturated("C", 0),
        ]
    )
    slopes = np.vstack([np.diff(values, axis=0), np.zeros((1, values.shape[1]))])
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
