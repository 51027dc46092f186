"""Textbook refrigeration cycles of R134a: saturation by our tables, enthalpies by CoolProp.

Sources. Two engineering thermodynamics textbooks, by the numbers in an open companion that recomputes
textbook examples in Scilab. The companion was read; the books were not opened, and their titles are as other
course material gives them for the same examples.

- "Thermodynamics: An Engineering Approach", examples 11.1 (ideal cycle) and 11.2 (superheated suction,
  subcooled liquid, real compressor). Enthalpy and entropy are 0 for saturated liquid at −40 °C.
- "Fundamentals of Engineering Thermodynamics", examples 10.1 and 10.2 (ideal cycles). Enthalpies in
  its tables are 2 to 3.4 kJ/kg lower throughout, so differences are compared.
"""

from __future__ import annotations

import CoolProp.CoolProp as coolprop
import pytest

from coldsift.refrigerant import saturation, subcooling, superheat

R134A = saturation("R134a")


def enthalpy(*state: str | float) -> float:
    """Over saturated liquid at −40 °C. [kJ/kg]."""
    origin = coolprop.PropsSI("H", "T", 233.15, "Q", 0, "R134a")
    return float(coolprop.PropsSI("H", *state, "R134a") - origin) / 1e3


def entropy(*state: str | float) -> float:
    """Over saturated liquid at −40 °C. [kJ/kg K]."""
    origin = coolprop.PropsSI("S", "T", 233.15, "Q", 0, "R134a")
    return float(coolprop.PropsSI("S", *state, "R134a") - origin) / 1e3


def ideal_cycle(low: float, high: float) -> tuple[float, float, float]:
    """Enthalpy before and after the compressor, and of the liquid, between two pressures [bar absolute].

    Temperatures of the saturated states are ours: dew before the compressor, bubble after the condenser.
    """
    dew, bubble = R134A.dew_temperature(low) + 273.15, R134A.bubble_temperature(high) + 273.15
    suction = coolprop.PropsSI("S", "T", dew, "Q", 1, "R134a")
    return (
        enthalpy("T", dew, "Q", 1),
        enthalpy("P", high * 1e5, "S", suction),
        enthalpy("T", bubble, "Q", 0),
    )


def test_ideal_cycle_between_1_4_and_8_bar() -> None:
    """Example 11.1: 0.05 kg/s between 0.14 and 0.8 MPa."""
    suction, discharge, liquid = ideal_cycle(1.4, 8.0)
    # Printed to 0.01 kJ/kg from tables of four to five figures.
    assert suction == pytest.approx(239.16, abs=0.05)
    assert discharge == pytest.approx(275.39, abs=0.05)
    assert liquid == pytest.approx(95.47, abs=0.05)
    assert entropy("P", 1.4e5, "Q", 1) == pytest.approx(0.94456, abs=2e-4)
    # Heat taken up, power and COP follow from the printed states: 7.1845 kW, 1.8115 kW, 3.966.
    assert 0.05 * (suction - liquid) == pytest.approx(7.1845, rel=1e-3)
    assert 0.05 * (discharge - suction) == pytest.approx(1.8115, rel=1e-3)
    assert (suction - liquid) / (discharge - suction) == pytest.approx(3.966, rel=1e-3)


def test_real_cycle_with_superheat_and_subcooling() -> None:
    """Example 11.2: suction 0.14 MPa, −10 °C; discharge 0.8 MPa, 50 °C; liquid 0.72 MPa, 26 °C; 0.05 kg/s."""
    suction = enthalpy("P", 1.4e5, "T", 263.15)
    discharge = enthalpy("P", 8e5, "T", 323.15)
    isentropic = enthalpy("P", 8e5, "S", coolprop.PropsSI("S", "P", 1.4e5, "T", 263.15, "R134a"))
    liquid = enthalpy("T", 299.15, "Q", 0)
    assert suction == pytest.approx(246.36, abs=0.05)
    assert discharge == pytest.approx(286.69, abs=0.05)
    assert isentropic == pytest.approx(284.21, abs=0.06)
    # The book takes the subcooled liquid as saturated at its temperature.
    assert liquid == pytest.approx(87.83, abs=0.05)
    # From the printed states: 7.9265 kW, 2.0165 kW, efficiency 0.9385, COP 3.931.
    assert 0.05 * (suction - liquid) == pytest.approx(7.9265, rel=1e-3)
    assert 0.05 * (discharge - suction) == pytest.approx(2.0165, rel=1e-3)
    assert (isentropic - suction) / (discharge - suction) == pytest.approx(0.9385, abs=0.002)
    assert (suction - liquid) / (discharge - suction) == pytest.approx(3.931, rel=1e-3)


def test_superheat_and_subcooling_of_the_real_cycle_carry_its_enthalpies() -> None:
    """Superheat and subcooling in K, from the printed enthalpies over CoolProp's specific heats.

    Suction vapour rises from 239.16 (saturated, example 11.1) to 246.36 kJ/kg (example 11.2); liquid falls
    from its bubble point at 0.72 MPa to 87.83 kJ/kg at 26 °C.
    """
    vapour = sum(coolprop.PropsSI("C", "P", 1.4e5, "T", t, "R134a") for t in (254.5, 258.8, 263.1)) / 3e3
    assert superheat(1.4, -10.0, "R134a") == pytest.approx((246.36 - 239.16) / vapour, abs=0.1)
    heat = coolprop.PropsSI("C", "T", 300.0, "Q", 0, "R134a") / 1e3
    bubble = enthalpy("P", 7.2e5, "Q", 0)
    assert subcooling(7.2, 26.0, "R134a") == pytest.approx((bubble - 87.83) / heat, abs=0.02)


@pytest.mark.parametrize(
    ("evaporating", "high", "suction", "discharge", "liquid"),
    [
        # Example 10.1: saturated vapour at 0 °C, saturated liquid at 26 °C, which the book has at 6.853 bar.
        (0.0, 6.853, 247.23, 264.7, 85.75),
        # Example 10.2: saturated vapour at −10 °C, saturated liquid at 9 bar.
        (-10.0, 9.0, 241.35, 272.39, 99.56),
    ],
)
def test_ideal_cycles_with_other_tables(
    evaporating: float, high: float, suction: float, discharge: float, liquid: float
) -> None:
    found = ideal_cycle(float(R134A.dew_pressure(evaporating)), high)
    refrigerating_effect, work = found[0] - found[2], found[1] - found[0]
    assert refrigerating_effect == pytest.approx(suction - liquid, rel=0.01)
    assert work == pytest.approx(discharge - suction, rel=0.01)
    assert refrigerating_effect / work == pytest.approx((suction - liquid) / (discharge - suction), rel=0.01)


def test_saturation_pressure_of_the_ideal_cycle_condensing_at_26_degrees() -> None:
    """Example 10.1 prints 6.853 bar; 0.01 K is two in its last place."""
    assert R134A.bubble_pressure(26.0) == pytest.approx(6.853, abs=0.002)
    assert R134A.bubble_temperature(6.853) == pytest.approx(26.0, abs=0.01)
