"""Saturation tables from CoolProp.

Goes in: a designation. Comes out: its bubble and dew line on a temperature grid. The only module of the
package that loads CoolProp.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

import CoolProp.CoolProp as coolprop
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from coldsift.refrigerant.names import UnknownRefrigerant, squeezed
from coldsift.refrigerant.saturation import Saturation

Array = NDArray[np.float64]

KELVIN = 273.15
"""0 °C in K."""
STEP = 0.5
"""Between grid points; straight lines between them err by less than 0.001 K. [K]"""
BELOW_CRITICAL = 0.01
"""The grid of a pure fluid ends this far below the critical point. [K]"""
BELOW_CRITICAL_BLEND = 5.0
"""That of a blend: nearer, CoolProp finds no solution or, now and then, a wrong one. [K]"""
WIDEST_GAP = 8.0
"""Temperatures without a solution are bridged up to this width. [K]"""
CROSSED = 1e-4
"""A dew line above the bubble line by more is a wrong solution, not rounding. [ln bar]"""
FEWEST = 50
"""Grid points a usable table has."""


@dataclass(frozen=True, slots=True)
class Fluid:
    """A refrigerant as CoolProp has it.

    Attributes
    ----------
    designation
        R number, or CoolProp's name when it has none.
    key
        Name that CoolProp takes.
    """

    designation: str
    key: str


@cache
def fluids() -> dict[str, Fluid]:
    """Pure fluids and predefined refrigerant blends of CoolProp, by squeezed name.

    Where CoolProp has a blend both as a mixture and as a pseudo-pure fluid, the mixture is meant: it alone
    has the deep vacuum and the same standing as the other blends.
    """
    found: dict[str, Fluid] = {}
    for name in sorted(coolprop.get_global_param_string("fluids_list").split(",")):
        spellings = [name, *coolprop.get_fluid_param_string(name, "aliases").split(",")]
        fluid = Fluid(next((word for word in spellings if re.match(r"R\d", word)), name), name)
        found |= {squeezed(word): fluid for word in spellings if word}
    for key in sorted(coolprop.get_global_param_string("predefined_mixtures").split(",")):
        if re.match(r"R\d", key) and key.endswith(".mix"):
            blend = Fluid(key.removesuffix(".mix"), key)
            found[squeezed(blend.designation)] = blend
    return found


def tabulate(designation: str) -> Saturation:
    """Bubble and dew line of a refrigerant on a grid about :data:`STEP` apart.

    Parameters
    ----------
    designation
        As :func:`coldsift.refrigerant.names.canonical` gives it.

    Returns
    -------
    Saturation
        From the highest triple point of the components to 0.01 K below the critical point; for blends
        to the last temperature at which CoolProp finds both lines, at least 5 K below it.

    Raises
    ------
    UnknownRefrigerant
        When CoolProp finds no saturation lines for it, or lines that cannot be: falling, or crossed.

    Notes
    -----
    Source: CoolProp, HEOS; blends with the compositions of its predefined mixtures. Below a component's
    triple point CoolProp goes on without an error, to values that are none; the grid does not.
    """
    try:
        state = coolprop.AbstractState("HEOS", fluids()[squeezed(designation)].key)
        critical_temperature, critical_pressure = _critical_point(state)
    except ValueError as trouble:
        raise UnknownRefrigerant(designation) from trouble
    lowest = max(
        max(coolprop.PropsSI("Ttriple", part), coolprop.PropsSI("Tmin", part)) for part in state.fluid_names()
    )
    blend = len(state.fluid_names()) > 1
    top = critical_temperature - (BELOW_CRITICAL_BLEND if blend else BELOW_CRITICAL)
    # Rounded, so that the last bits of one machine do not change the stored bytes on another.
    kelvin = np.round(np.linspace(lowest, top, int(np.ceil((top - lowest) / STEP)) + 1), 6)
    lines = np.array([_line(state, kelvin, quality) for quality in (0, 1)])
    solved = np.flatnonzero(np.isfinite(lines).all(axis=0))
    wide = np.flatnonzero(np.diff(kelvin[solved]) > WIDEST_GAP)
    if wide.size:
        solved = solved[: wide[0] + 1]
    if solved.size < FEWEST:
        raise UnknownRefrigerant(designation)
    # The flash of a blend misses single temperatures; both lines are smooth, so a spline stands in.
    grid = kelvin[solved[0] : solved[-1] + 1]
    bubble, dew = np.round(CubicSpline(kelvin[solved], lines[:, solved], axis=1)(grid), 10)
    if (np.diff([bubble, dew]) <= 0).any() or (bubble < dew - CROSSED).any():
        raise UnknownRefrigerant(designation)
    return Saturation(
        designation,
        round(critical_temperature - KELVIN, 6),
        round(critical_pressure / 1e5, 6),
        np.round(grid - KELVIN, 6),
        bubble,
        dew,
    )


def _critical_point(state: coolprop.AbstractState) -> tuple[float, float]:
    """Critical temperature and pressure. [K], [Pa]."""
    if len(state.fluid_names()) == 1:
        return state.T_critical(), state.p_critical()
    # CoolProp finds several points for some blends, some of them at negative pressure; the hottest is meant.
    return max((point.T, point.p) for point in state.all_critical_points() if point.p > 0)


def _line(state: coolprop.AbstractState, kelvin: Array, quality: int) -> Array:
    """Logarithm of the saturation pressure; NaN where there is no solution. [K] to ln [bar]."""
    line = np.full(kelvin.shape, np.nan)
    for place, temperature in enumerate(kelvin):
        try:
            state.update(coolprop.QT_INPUTS, quality, temperature)
        except ValueError:
            continue
        line[place] = np.log(state.p() / 1e5)
    return line
