"""Thermal properties of foods against the equations and values of the handbooks.

Coefficients are those of 1986 as in ASHRAE Refrigeration, "Thermal Properties of Foods": from
memory. Expected values were computed from the same remembered equations apart from this code, compositions
from memory: they check the arithmetic, not the handbook.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from coldsift.cargo.properties import (
    FUSION_HEAT,
    ICE_HEAT,
    WATER_HEAT,
    component_conductivity,
    component_density,
    component_specific_heat,
    conductivity,
    conductivity_of_water_content,
    density,
    enthalpy,
    ice_share,
    respiration_heat,
    respiration_rate,
    specific_heat,
    specific_heat_of_water_content,
)

APPLE = {
    "water": 0.8393,
    "protein": 0.0019,
    "fat": 0.0036,
    "carbohydrate": 0.1255,
    "fibre": 0.027,
    "ash": 0.0026,
}
LEAN_BEEF = {"water": 0.7313, "protein": 0.2208, "fat": 0.0514, "ash": 0.0103}


def test_water_and_ice_have_their_known_properties() -> None:
    assert component_specific_heat("water", [5, 20]) == pytest.approx([4128.6, 4129.3], abs=0.1)
    assert component_conductivity("water", [5, 20]) == pytest.approx([0.57973, 0.60366], abs=1e-5)
    assert component_density("water", [5, 20]) == pytest.approx([997.10, 995.74], abs=0.01)
    assert component_specific_heat("ice", -18) == pytest.approx(1952.9, abs=0.1)
    assert component_conductivity("ice", -18) == pytest.approx(2.3650, abs=1e-4)
    assert component_density("ice", -18) == pytest.approx(919.24, abs=0.01)


@pytest.mark.parametrize(
    ("composition", "rho", "heat", "k", "alpha"),
    [  # computed, at 5 °C; the apple without its pores (a real one has some 840 kg/m³)
        (APPLE, 1055.6, 3724.7, 0.53791, 1.368e-7),
        (LEAN_BEEF, 1042.0, 3577.7, 0.48696, 1.306e-7),
    ],
)
def test_a_food_is_the_sum_of_its_parts(
    composition: dict[str, float], rho: float, heat: float, k: float, alpha: float
) -> None:
    got = density(composition, 5.0), specific_heat(composition, 5.0), conductivity(composition, 5.0)
    assert got[0] == pytest.approx(rho, abs=0.1)
    assert got[1] == pytest.approx(heat, abs=0.1)
    assert got[2] == pytest.approx(k, abs=1e-5)
    assert got[2] / (got[0] * got[1]) == pytest.approx(alpha, rel=5e-4)


def test_water_content_alone_gives_the_specific_heat() -> None:
    """4.19 − 2.30 x − 0.628 x³, from memory; computed."""
    got = specific_heat_of_water_content([0.8393, 0.7313, 0.9157])
    assert got == pytest.approx([3817.8, 3559.8, 3995.7], abs=0.1)


def test_most_of_the_water_of_lean_beef_is_ice_at_minus_18() -> None:
    """Ice fraction as in ASHRAE Refrigeration, from memory; computed for a freezing point of −1.7 °C."""
    assert ice_share(0.7313, -1.7, [-18.0, -10.0]) == pytest.approx([0.6463, 0.6121], abs=1e-4)
    assert ice_share(0.7313, -1.7, [-1.7, 0.0, 20.0]) == pytest.approx([0.0, 0.0, 0.0])


def apparent_specific_heat(water: float, freezing_point: float, temperature: float) -> float:
    """Specific heat with the freezing in it, the slope of the enthalpy worked out by hand. [J/kg K]"""
    below = temperature - freezing_point
    depth = np.log1p(max(-below, 0.0))
    slope = -1.105 * water * 0.7138 / ((depth + 0.7138) ** 2 * (1.0 - below)) if below < 0.0 else 0.0
    ice = float(ice_share(water, freezing_point, temperature))
    fusion = FUSION_HEAT + (WATER_HEAT - ICE_HEAT) * below
    return float(specific_heat_of_water_content(water)) - ice * (WATER_HEAT - ICE_HEAT) - slope * fusion


@pytest.mark.parametrize(
    ("water", "freezing_point"), [(0.84, -1.1), (0.7313, -1.7), (0.91, -0.5), (0.16, -3.0)]
)
@pytest.mark.parametrize(("cold", "warm"), [(-30.0, -10.0), (-18.0, 5.0), (-2.0, 0.0), (1.0, 20.0)])
def test_the_apparent_specific_heat_keeps_the_energy(
    water: float, freezing_point: float, cold: float, warm: float
) -> None:
    """Its integral, by scipy's quad, is the difference of enthalpy."""
    inside = [freezing_point] if cold < freezing_point < warm else None
    integral = quad(
        lambda t: apparent_specific_heat(water, freezing_point, t),
        cold,
        warm,
        points=inside,
        limit=200,
    )[0]
    gained = float(enthalpy(water, freezing_point, warm) - enthalpy(water, freezing_point, cold))
    assert integral == pytest.approx(gained, rel=1e-7)


@given(st.floats(0.3, 0.95), st.floats(-4.0, -0.3), st.floats(-40.0, 30.0), st.floats(0.01, 10.0))
def test_warmer_always_holds_more_heat(
    water: float, freezing_point: float, temperature: float, more: float
) -> None:
    assert enthalpy(water, freezing_point, temperature + more) > enthalpy(water, freezing_point, temperature)


def test_freezing_water_sets_its_heat_of_fusion_free() -> None:
    """Nearly pure water from 0 to −30 °C: 333.6 kJ/kg, and some 60 for cooling the ice; from memory."""
    released = float(enthalpy(1.0, 0.0, 0.0) - enthalpy(1.0, 0.0, -30.0))
    share = float(ice_share(1.0, 0.0, -30.0))
    assert released == pytest.approx(share * (333.6e3 + 30 * 1950) + (1 - share) * 30 * 4190, rel=1e-9)
    assert share > 0.9


def test_frozen_stow_conducts_better() -> None:
    frozen, thawed = conductivity_of_water_content(0.75, [-18.0, 5.0], -1.5)
    assert thawed == pytest.approx(float(conductivity_of_water_content(0.75, 5.0)))
    assert frozen > 2 * thawed


def test_respiration_heat_of_a_slow_breather() -> None:
    """10.7 J for a mg CO2 (ASHRAE Refrigeration, from memory): 6 mg/(kg h) are 17.83 W/t; computed."""
    assert respiration_heat(6.0) == pytest.approx(17.83, abs=0.005)


def test_respiration_goes_through_its_points_and_on_by_q10() -> None:
    points = ((0.0, 5.0), (10.0, 15.0))
    assert respiration_rate(points, [0.0, 10.0]) == pytest.approx([5.0, 15.0])
    assert respiration_rate(points, 5.0) == pytest.approx(np.sqrt(5.0 * 15.0))
    assert respiration_rate(points, [20.0, -10.0], q10=2.0) == pytest.approx([30.0, 2.5])
    assert respiration_rate(((5.0, 10.0),), 15.0, q10=3.0) == pytest.approx(30.0)


def test_a_fitted_curve_of_apples_is_met_between_its_points() -> None:
    """f (1.8 t + 32)^g, f 5.6871e-4, g 2.5977, ASHRAE Refrigeration, from memory: 4.622, 8.799, 14.733 and
    32.749 mg/(kg h) at 0, 5, 10 and 20 °C; computed. Log-linear between 0, 10 and 20 °C."""
    points = ((0.0, 4.622), (10.0, 14.733), (20.0, 32.749))
    assert respiration_rate(points, 5.0) == pytest.approx(8.799, rel=0.07)
