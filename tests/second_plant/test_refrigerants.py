"""Saturation and compressor map against CoolProp and the published anchors."""

import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
from benchmarks.second_plant.refrigerants import (
    FLUIDS,
    MAP_SUPERHEAT,
    CompressorMap,
    Properties,
    ideal_cycles,
    overall_efficiency,
    volumetric_efficiency,
)

OFF_GRID = np.array([-61.3, -40.1, -26.07, -13.7, 0.2, 14.9, 33.3, 47.7, 60.2, 71.9])


@pytest.mark.parametrize("name", FLUIDS)
def test_saturation_between_grid_points_is_that_of_coolprop(name):
    state = Properties([name] * len(OFF_GRID)).at(OFF_GRID)
    for place, temperature in enumerate(OFF_GRID):
        vapour = [
            coolprop.PropsSI(what, "T", temperature + 273.15, "Q", 1, f"HEOS::{FLUIDS[name]}")
            for what in "PHC"
        ]
        liquid = coolprop.PropsSI("H", "T", temperature + 273.15, "Q", 0, f"HEOS::{FLUIDS[name]}")
        assert state.pressure[place] == pytest.approx(vapour[0] / 1e5, rel=2e-4)
        assert state.vapour[place] == pytest.approx(vapour[1], abs=30.0)
        assert state.heat[place] == pytest.approx(vapour[2], rel=1e-3)
        assert state.liquid[place] == pytest.approx(liquid, abs=30.0)


def test_saturation_stands_at_the_tabled_anchors():
    # R134a 2.928 bar at 0 °C: CoolProp 8.0.0, and ASHRAE Fundamentals (0.29280 MPa, from memory).
    # R513A dew 3.2318 bar at 0 °C, 10.6671 bar at 40 °C: CoolProp 8.0.0, predefined mixture.
    assert Properties(["R134a"]).at(np.array([0.0])).pressure[0] == pytest.approx(2.928, abs=0.002)
    for temperature, pressure in ((0.0, 3.2318), (40.0, 10.6671)):
        blend = Properties(["R513A"])
        assert blend.at(np.array([temperature])).pressure[0] == pytest.approx(pressure, abs=0.002)
        assert blend.temperature(np.array([pressure]))[0] == pytest.approx(temperature, abs=0.01)


def _on_map(name, evaporating, condensing):
    cubic = CompressorMap([name] * len(evaporating)).in_evaporating(condensing)
    powers = np.stack([np.ones_like(evaporating), evaporating, evaporating**2, evaporating**3])
    return (cubic * powers[:, None]).sum(axis=0)


@pytest.mark.parametrize("name", FLUIDS)
def test_the_polynomial_gives_back_the_cycles_it_was_fitted_to(name):
    cycles = ideal_cycles(name)
    flow, power = _on_map(name, cycles.evaporating, cycles.condensing)
    assert np.max(np.abs(flow / cycles.mass_flow - 1.0)) < 0.025
    # Power within 10 % at the corners of the envelope and 2.5 % root mean square, for the lift of a working
    # reefer; a cubic cannot follow it down to no lift at all.
    working = cycles.condensing - cycles.evaporating > 22.0
    assert np.max(np.abs(power / cycles.power - 1.0)[working]) < 0.10
    assert np.sqrt(np.mean((power / cycles.power - 1.0)[working] ** 2)) < 0.025


def test_a_frozen_cargo_cycle_off_the_grid_agrees_with_coolprop():
    # R134a, −25.5 °C to 41 °C, 10 K superheat, computed here with CoolProp's own entropy flash.
    low, high = (coolprop.PropsSI("P", "T", celsius + 273.15, "Q", 1, "R134a") for celsius in (-25.5, 41.0))
    suction = -25.5 + MAP_SUPERHEAT + 273.15
    density, enthalpy, entropy = (
        coolprop.PropsSI(what, "T", suction, "P", low, "R134a") for what in ("D", "H", "S")
    )
    work = coolprop.PropsSI("H", "P", high, "S", entropy, "R134a") - enthalpy
    ratio = np.array(high / low)
    expected = density * volumetric_efficiency(ratio)
    flow, power = _on_map("R134a", np.array([-25.5]), np.array([41.0]))
    assert flow[0] == pytest.approx(expected, rel=0.01)
    assert power[0] == pytest.approx(expected * work / overall_efficiency(ratio), rel=0.03)
