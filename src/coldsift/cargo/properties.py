"""Thermal properties of foods from their composition, heat of freezing included.

Goes in: mass shares, temperature. Comes out: density, specific heat, conductivity, ice share, enthalpy and
apparent specific heat around the initial freezing point, respiration heat. All functions take arrays.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

WATER_HEAT = 4190.0
"""Specific heat of water. [J/kg K]"""

ICE_HEAT = 1950.0
"""Specific heat of ice at -18 °C. [J/kg K] ASHRAE Refrigeration, Thermal Properties of Foods, from memory."""

FUSION_HEAT = 333.6e3
"""Heat of fusion of ice at 0 °C. [J/kg] From memory."""

RESPIRATION_HEAT = 10.7e3 / 3600.0
"""Heat for each mg CO2 given off a kg and hour: 10.7 J a mg. [W/t per mg/(kg h)] ASHRAE Refrigeration, from
memory."""

# Coefficients of 1, t and t² with t in °C: density [kg/m³], specific heat [J/kg K], conductivity [W/m K].
# Coefficients of 1986 as in ASHRAE Refrigeration, "Thermal Properties of Foods": from memory.
_DENSITY: Mapping[str, tuple[float, float, float]] = {
    "water": (997.18, 3.1439e-3, -3.7574e-3),
    "ice": (916.89, -0.13071, 0.0),
    "protein": (1329.9, -0.51840, 0.0),
    "fat": (925.59, -0.41757, 0.0),
    "carbohydrate": (1599.1, -0.31046, 0.0),
    "fibre": (1311.5, -0.36589, 0.0),
    "ash": (2423.8, -0.28063, 0.0),
}
_SPECIFIC_HEAT: Mapping[str, tuple[float, float, float]] = {
    "water": (4128.9, -0.090864, 5.4731e-3),
    "ice": (2062.3, 6.0769, 0.0),
    "protein": (2008.2, 1.2089, -1.3129e-3),
    "fat": (1984.2, 1.4733, -4.8008e-3),
    "carbohydrate": (1548.8, 1.9625, -5.9399e-3),
    "fibre": (1845.9, 1.8306, -4.6509e-3),
    "ash": (1092.6, 1.8896, -3.6817e-3),
}
_CONDUCTIVITY: Mapping[str, tuple[float, float, float]] = {
    "water": (0.57109, 1.7625e-3, -6.7036e-6),
    "ice": (2.2196, -6.2489e-3, 1.0154e-4),
    "protein": (0.17881, 1.1958e-3, -2.7178e-6),
    "fat": (0.18071, -2.7604e-4, -1.7749e-7),
    "carbohydrate": (0.20141, 1.3874e-3, -4.3312e-6),
    "fibre": (0.18331, 1.2497e-3, -3.1683e-6),
    "ash": (0.32962, 1.4011e-3, -2.9069e-6),
}


def component_density(component: str, temperature: ArrayLike) -> Array:
    """Density of a pure component. [kg/m³]."""
    return _quadratic(_DENSITY, component, temperature)


def component_specific_heat(component: str, temperature: ArrayLike) -> Array:
    """Specific heat of a pure component; water from 0 °C up. [J/kg K]."""
    return _quadratic(_SPECIFIC_HEAT, component, temperature)


def component_conductivity(component: str, temperature: ArrayLike) -> Array:
    """Conductivity of a pure component. [W/m K]."""
    return _quadratic(_CONDUCTIVITY, component, temperature)


def _quadratic(
    table: Mapping[str, tuple[float, float, float]], component: str, temperature: ArrayLike
) -> Array:
    constant, linear, square = table[component]
    t = np.asarray(temperature, dtype=np.float64)
    return np.asarray(constant + linear * t + square * t**2)


def density(composition: Mapping[str, ArrayLike], temperature: ArrayLike) -> Array:
    """Density of a food without pores. [kg/m³].

    Parameters
    ----------
    composition
        Mass shares by component.
    temperature
        [°C]
    """
    volume = sum(
        np.asarray(share) / component_density(name, temperature) for name, share in composition.items()
    )
    return np.asarray(1.0 / volume)


def specific_heat(composition: Mapping[str, ArrayLike], temperature: ArrayLike) -> Array:
    """Specific heat without change of phase, weighted by mass. [J/kg K]."""
    return np.asarray(
        sum(
            np.asarray(share) * component_specific_heat(name, temperature)
            for name, share in composition.items()
        )
    )


def conductivity(composition: Mapping[str, ArrayLike], temperature: ArrayLike) -> Array:
    """Conductivity by the parallel model, weighted by volume. [W/m K].

    Parameters
    ----------
    composition
        Mass shares by component.
    temperature
        [°C]

    Notes
    -----
    The parallel model is an upper bound; with much ice it lies well above measurements.
    """
    whole = density(composition, temperature)
    return np.asarray(
        sum(
            np.asarray(share)
            * whole
            / component_density(name, temperature)
            * component_conductivity(name, temperature)
            for name, share in composition.items()
        )
    )


def specific_heat_of_water_content(water: ArrayLike) -> Array:
    """Specific heat above freezing: 4.19 − 2.30 x − 0.628 x³ with x the share of solids. [J/kg K].

    Source: Chen's equation as in ASHRAE Refrigeration, from memory.
    """
    solids = 1.0 - np.asarray(water, dtype=np.float64)
    return np.asarray(1000.0 * (4.19 - 2.30 * solids - 0.628 * solids**3))


def conductivity_of_water_content(
    water: float, temperature: ArrayLike, freezing_point: float | None = None
) -> Array:
    """Conductivity when only the water content is known, ice below the freezing point counted. [W/m K].

    Parameters
    ----------
    water
        Mass share of water before freezing.
    temperature
        [°C]
    freezing_point
        Initial one [°C]; None for a food that stays unfrozen.

    Notes
    -----
    Solids are taken as carbohydrate: protein and fat conduct about a tenth less.
    """
    ice = np.zeros(1) if freezing_point is None else ice_share(water, freezing_point, temperature)
    composition: Mapping[str, ArrayLike] = {"water": water - ice, "ice": ice, "carbohydrate": 1.0 - water}
    return conductivity(composition, temperature).reshape(np.shape(temperature))


def ice_share(water: float, freezing_point: float, temperature: ArrayLike) -> Array:
    """Mass share of ice: 1.105 x / (1 + 0.7138 / ln(tf − t + 1)), 0 above the freezing point.

    Parameters
    ----------
    water
        Mass share x of water before freezing.
    freezing_point
        Initial freezing point tf. [°C]
    temperature
        t. [°C]

    Notes
    -----
    Source: ASHRAE Refrigeration, Thermal Properties of Foods, from memory.
    """
    depth = np.log1p(np.maximum(freezing_point - np.asarray(temperature, dtype=np.float64), 0.0))
    return np.asarray(1.105 * water * depth / (depth + 0.7138))


def enthalpy(water: float, freezing_point: float, temperature: ArrayLike) -> Array:
    """Enthalpy against the unfrozen food at its initial freezing point. [J/kg].

    Parameters
    ----------
    water
        Mass share of water before freezing.
    freezing_point
        [°C]
    temperature
        [°C]

    Notes
    -----
    Cooled unfrozen to t, then the ice frozen there: h = c (t − tf) − x_ice (L + (c_water − c_ice)(t − tf)).
    A function of state, so that heat is conserved whatever the steps.
    """
    below = np.asarray(temperature, dtype=np.float64) - freezing_point
    ice = ice_share(water, freezing_point, temperature)
    fusion = FUSION_HEAT + (WATER_HEAT - ICE_HEAT) * below
    return np.asarray(specific_heat_of_water_content(water) * below - ice * fusion)


def respiration_heat(rate: ArrayLike) -> Array:
    """Heat of respiration. [W/t].

    Parameters
    ----------
    rate
        CO2 given off. [mg/(kg h)]
    """
    return np.asarray(RESPIRATION_HEAT * np.asarray(rate, dtype=np.float64))


USUAL_Q10 = 2.5
"""Rise of the respiration rate over 10 K where the commodity gives none. Common practice, no source."""


def respiration_rate(
    points: Sequence[tuple[float, float]], temperature: ArrayLike, q10: float | None = None
) -> Array:
    """CO2 given off, log-linear between the given temperatures, by Q10 beyond them. [mg/(kg h)].

    Parameters
    ----------
    points
        (°C, mg/(kg h)), ascending.
    temperature
        [°C]
    q10
        Of the commodity; :data:`USUAL_Q10` without it.
    """
    given = np.array(points, dtype=np.float64)
    t = np.asarray(temperature, dtype=np.float64)
    inside = np.interp(t, given[:, 0], np.log(given[:, 1]))
    beyond = t - np.clip(t, given[0, 0], given[-1, 0])
    return np.asarray(np.exp(inside + beyond / 10.0 * np.log(q10 or USUAL_Q10)))
