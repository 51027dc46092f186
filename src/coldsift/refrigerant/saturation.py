"""Dew and bubble line of a refrigerant, superheat and subcooling.

Goes in: pressures in bar absolute or temperatures in °C, of any shape. Comes out: arrays of the same shape,
NaN where there is no answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray

from coldsift.refrigerant.names import KNOWN, canonical

Array = NDArray[np.float64]

TABLES = Path(__file__).with_name("saturation.parquet")

REFUSALS = (
    "",
    "zero or below (a full vacuum is −1.013 bar gauge)",
    "below the triple point",
    "above the critical pressure",
    "too near the critical point",
)
"""Why a pressure has no saturation temperature, by the code of :meth:`Saturation.refusal`; 0 is none."""

_ZERO, _SOLID, _SUPERCRITICAL, _NEAR_CRITICAL = 1, 2, 3, 4


@dataclass(frozen=True, slots=True, eq=False)
class Saturation:
    """The saturation lines of one refrigerant.

    Linear interpolation of temperature over the logarithm of pressure, in a table of 0.5 K steps. The table
    runs from the triple point (of a blend: the highest one of its components) to 0.01 K below the critical
    point. For blends it ends 5 K or more below it, where CoolProp still finds both lines: R404A 33.5 bar,
    R513A 33.1, R452A 34.4, R407C 40.8, R410A 43.1, R507A 32.6.

    Attributes
    ----------
    name
        Designation.
    critical_temperature, critical_pressure
        [°C], [bar absolute]
    temperature
        Of the table, rising. [°C]
    ln_bubble, ln_dew
        Natural logarithm of the pressures at ``temperature``. [bar absolute]

    Notes
    -----
    Source: CoolProp, HEOS equations of state. The tests hold the lines to direct calls within 0.002 K.
    """

    name: str
    critical_temperature: float
    critical_pressure: float
    temperature: Array
    ln_bubble: Array
    ln_dew: Array

    @property
    def lowest_pressure(self) -> float:
        """Lowest pressure with a saturation temperature. [bar absolute]."""
        return float(np.exp(self.ln_bubble[0]))

    @property
    def highest_pressure(self) -> float:
        """Highest pressure with a saturation temperature. [bar absolute]."""
        return float(np.exp(self.ln_dew[-1]))

    def dew_temperature(self, pressure: ArrayLike) -> Array:
        """Temperature at which the last liquid evaporates; superheat counts from it.

        Parameters
        ----------
        pressure
            [bar absolute]

        Returns
        -------
        numpy.ndarray
            [°C], NaN where :meth:`refusal` has a reason or the pressure is NaN.
        """
        return self._temperature(pressure, self.ln_dew)

    def bubble_temperature(self, pressure: ArrayLike) -> Array:
        """Temperature at which the last vapour condenses; subcooling counts from it.

        Parameters
        ----------
        pressure
            [bar absolute]

        Returns
        -------
        numpy.ndarray
            [°C], NaN where :meth:`refusal` has a reason or the pressure is NaN.
        """
        return self._temperature(pressure, self.ln_bubble)

    def dew_pressure(self, temperature: ArrayLike) -> Array:
        """Pressure of the dew line. [°C] to [bar absolute], NaN outside the table."""
        return self._pressure(temperature, self.ln_dew)

    def bubble_pressure(self, temperature: ArrayLike) -> Array:
        """Pressure of the bubble line. [°C] to [bar absolute], NaN outside the table."""
        return self._pressure(temperature, self.ln_bubble)

    def refusal(self, pressure: ArrayLike) -> NDArray[np.int8]:
        """Why a pressure has no saturation temperature.

        Parameters
        ----------
        pressure
            [bar absolute]

        Returns
        -------
        numpy.ndarray
            Place in :data:`REFUSALS`; 0 where it has one, or where the pressure is NaN.
        """
        bar = np.asarray(pressure, dtype=np.float64)
        return np.select(
            [
                bar <= 0,
                bar < self.lowest_pressure,
                bar > self.critical_pressure,
                bar > self.highest_pressure,
            ],
            [np.int8(code) for code in (_ZERO, _SOLID, _SUPERCRITICAL, _NEAR_CRITICAL)],
            np.int8(0),
        )

    def _temperature(self, pressure: ArrayLike, line: Array) -> Array:
        bar = np.asarray(pressure, dtype=np.float64)
        answered = np.isfinite(bar) & (self.refusal(bar) == 0)
        logarithm = np.log(bar, out=np.full(bar.shape, np.nan), where=answered)
        return np.where(answered, np.interp(logarithm, line, self.temperature), np.nan)

    def _pressure(self, temperature: ArrayLike, line: Array) -> Array:
        celsius = np.asarray(temperature, dtype=np.float64)
        return np.exp(np.interp(celsius, self.temperature, line, left=np.nan, right=np.nan))


def saturation(name: str) -> Saturation:
    """The saturation lines of a refrigerant, kept once made.

    Parameters
    ----------
    name
        Any spelling :func:`coldsift.refrigerant.names.canonical` takes.

    Raises
    ------
    UnknownRefrigerant
        When there is no such refrigerant.
    """
    return _saturation(canonical(name))


def superheat(suction_pressure: ArrayLike, suction_temperature: ArrayLike, refrigerant: str) -> Array:
    """Superheat: suction pipe temperature over dew temperature.

    Parameters
    ----------
    suction_pressure, suction_temperature
        Shapes that broadcast. [bar absolute], [°C]
    refrigerant
        Name.

    Returns
    -------
    numpy.ndarray
        [K], NaN where the pressure has no dew temperature.
    """
    return np.asarray(suction_temperature, np.float64) - saturation(refrigerant).dew_temperature(
        suction_pressure
    )


def subcooling(discharge_pressure: ArrayLike, liquid_temperature: ArrayLike, refrigerant: str) -> Array:
    """Subcooling: bubble temperature over liquid pipe temperature.

    Parameters
    ----------
    discharge_pressure, liquid_temperature
        Shapes that broadcast. [bar absolute], [°C]
    refrigerant
        Name.

    Returns
    -------
    numpy.ndarray
        [K], NaN where the pressure has no bubble temperature.
    """
    return saturation(refrigerant).bubble_temperature(discharge_pressure) - np.asarray(
        liquid_temperature, np.float64
    )


@lru_cache(maxsize=64)
def _saturation(designation: str) -> Saturation:
    if designation in KNOWN:
        return _shipped()[designation]
    from coldsift.refrigerant.tabulate import tabulate

    return tabulate(designation)


@cache
def _shipped() -> dict[str, Saturation]:
    lines = ("temperature", "ln_bubble", "ln_dew")
    return {
        row["name"]: Saturation(**row | {line: np.array(row[line]) for line in lines})
        for row in pl.read_parquet(TABLES).iter_rows(named=True)
    }
