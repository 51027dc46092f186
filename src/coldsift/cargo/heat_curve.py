"""Temperature against heat content of foods, tabulated for stepping in time.

Goes in: water content and initial freezing point. Comes out: a :class:`HeatCurve`, by which heat flows can be
summed exactly while the temperature stands still at the freezing point.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coldsift.cargo.lines import Lines, Places
from coldsift.cargo.properties import Array, enthalpy, specific_heat_of_water_content

_LOWEST, _HIGHEST, _STEP = -140.0, 80.0, 0.1
_COLDEST = -75.0


@dataclass(frozen=True, slots=True)
class HeatCurve:
    """Curves of one or several foods.

    Heat content is told as the temperature [°C] the food would have if none of its water froze: its heat
    against 0 °C, divided by the specific heat above freezing. Above the freezing point the two are equal.

    Attributes
    ----------
    temperatures
        At equal steps of the heat content, shape (foods, steps). [°C]
    lines
        The same, to look up.
    """

    temperatures: Array
    lines: Lines

    @classmethod
    def of_foods(cls, foods: Sequence[tuple[float, float]]) -> HeatCurve:
        """Tabulate some foods.

        Parameters
        ----------
        foods
            Water content (mass share) and initial freezing point [°C] of each.
        """
        contents = _contents()
        temperatures = np.stack([_temperature_at(contents, *food) for food in foods])
        return cls(temperatures, Lines.through(_LOWEST, _STEP, temperatures))

    def temperature(self, content: Array, food: Places | int = 0) -> tuple[Array, Array]:
        """Temperature, and its rise with the heat content.

        Parameters
        ----------
        content
            Heat content. [°C]
        food
            Which curve; of a shape that fits ``content``.

        Returns
        -------
        tuple of arrays
            Temperature [°C] and slope, 1 above the freezing point and far smaller just below it.
        """
        return self.lines.at(content, food)

    def content(self, temperature: Array, food: Places | int = 0) -> Array:
        """Heat content at a temperature, both in °C; the inverse of :meth:`temperature`."""
        temperature, food = np.broadcast_arrays(temperature, food)
        contents = _contents()
        out = np.empty(temperature.shape)
        for row, table in enumerate(self.temperatures):
            own = food == row
            out[own] = np.interp(temperature[own], table, contents)
        return out


def _contents() -> Array:
    return np.linspace(_LOWEST, _HIGHEST, round((_HIGHEST - _LOWEST) / _STEP) + 1)


def _temperature_at(contents: Array, water: float, freezing_point: float) -> Array:
    depth = np.geomspace(1e-5, freezing_point - _COLDEST, 4000)
    frozen = np.concatenate(([freezing_point], freezing_point - depth))[::-1]
    heat = freezing_point + enthalpy(water, freezing_point, frozen) / specific_heat_of_water_content(water)
    return np.where(contents >= freezing_point, contents, np.interp(contents, heat, frozen))
