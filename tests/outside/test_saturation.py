"""Refrigerant saturation against published and independently computed values.

Sources. "Computed": CoolProp 8.0.0 called directly, its equations of state (R134a: the international standard
formulation of 1994, 170 to 455 K) and its predefined mixtures; "chemicals" is a second general library,
version 1.5.2. Others stand beside their rows. Tolerances: pure fluids 0.05 K, R404A 0.1 K, R513A and R452A
0.3 K, whose mixture parameters are partly estimated.
"""

from __future__ import annotations

import CoolProp.CoolProp as coolprop
import numpy as np
import pytest

from coldsift.intake.units import ATMOSPHERE, Reference, parse_unit
from coldsift.refrigerant import REFUSALS, saturation, subcooling, superheat
from coldsift.schema import Quantity

TOLERANCE = {"R134a": 0.05, "R1234yf": 0.05, "R744": 0.05, "R404A": 0.1, "R513A": 0.3, "R452A": 0.3}

# Computed. Bubble and dew temperature at absolute pressures; for pure fluids they are one.
TEMPERATURES = {
    "R134a": [
        (0.013, -91.678),
        (0.2, -56.410),
        (1.01325, -26.074),
        (2.0, -10.076),
        (3.0, 0.672),
        (5.0, 15.735),
        (8.1, 31.765),
        (10.1, 39.758),
        (15.0, 55.233),
        (20.0, 67.481),
        (25.0, 77.577),
        (35.0, 93.728),
    ],
    "R1234yf": [
        (0.013, -96.854),
        (0.2, -60.844),
        (1.01325, -29.458),
        (2.0, -12.770),
        (3.0, -1.511),
        (5.0, 14.322),
        (8.1, 31.227),
        (10.1, 39.671),
        (15.0, 56.032),
        (20.0, 68.974),
        (25.0, 79.620),
    ],
    "R404A": [
        (0.2, -75.054, -74.075),
        (1.01325, -46.222, -45.471),
        (2.0, -30.929, -30.268),
        (3.0, -20.625, -20.017),
        (5.0, -6.150, -5.610),
        (8.1, 9.289, 9.761),
        (10.1, 16.996, 17.435),
        (15.0, 31.930, 32.303),
        (20.0, 43.753, 44.070),
        (25.0, 53.496, 53.759),
    ],
    "R513A": [
        (0.013, -95.892, -95.248),
        (0.2, -60.264, -59.984),
        (1.01325, -29.445, -29.341),
        (2.0, -13.134, -13.083),
        (3.0, -2.153, -2.127),
        (5.0, 13.261, 13.268),
        (8.1, 29.694, 29.694),
        (10.1, 37.897, 37.898),
        (15.0, 53.790, 53.796),
        (20.0, 66.372, 66.385),
        (25.0, 76.741, 76.757),
    ],
    "R452A": [
        (0.2, -75.380, -71.581),
        (1.01325, -46.936, -42.889),
        (2.0, -31.868, -27.725),
        (3.0, -21.715, -17.529),
        (5.0, -7.440, -3.237),
        (8.1, 7.818, 11.962),
        (10.1, 15.455, 19.530),
        (15.0, 30.304, 34.142),
        (20.0, 42.134, 45.652),
        (25.0, 51.957, 55.081),
    ],
    "R744": [
        (8.1, -45.686),
        (10.1, -39.852),
        (15.0, -28.521),
        (20.0, -19.503),
        (25.0, -12.013),
        (35.0, 0.161),
        (60.0, 21.978),
        (70.0, 28.683),
    ],
}

# Computed. Bubble and dew pressure [bar absolute] at temperatures; for pure fluids they are one.
PRESSURES = {
    "R134a": [
        (-40, 0.51209),
        (-30, 0.84378),
        (-20, 1.32735),
        (-10, 2.00603),
        (0, 2.92803),
        (20, 5.71707),
        (40, 10.16593),
    ],
    "R1234yf": [
        (-40, 0.62198),
        (-30, 0.98933),
        (-20, 1.50858),
        (-10, 2.21785),
        (0, 3.15880),
        (20, 5.91836),
        (40, 10.18473),
    ],
    "R404A": [
        (-40, 1.3529, 1.3097),
        (-30, 2.0778, 2.0223),
        (-20, 3.0710, 3.0019),
        (-10, 4.3913, 4.3076),
        (0, 6.1019, 6.0033),
        (20, 10.9716, 10.8441),
        (40, 18.2941, 18.1465),
    ],
    "R513A": [
        (-40, 0.6151, 0.6104),
        (-30, 0.9883, 0.9835),
        (-20, 1.5207, 1.5163),
        (-10, 2.2542, 2.2505),
        (0, 3.2343, 3.2318),
        (20, 6.1368, 6.1363),
        (40, 10.6674, 10.6671),
    ],
    "R452A": [
        (-40, 1.4034, 1.1626),
        (-30, 2.1612, 1.8173),
        (-20, 3.2009, 2.7285),
        (-10, 4.5833, 3.9565),
        (0, 6.3731, 5.5677),
        (20, 11.4508, 10.2356),
        (40, 19.0192, 17.4057),
    ],
    "R744": [
        (-40, 10.0450),
        (-30, 14.2776),
        (-20, 19.6963),
        (-10, 26.4868),
        (0, 34.8514),
        (20, 57.2905),
    ],
}


def gauge(value: float, unit: str = "bar g") -> float:
    """A gauge reading as the intake converts it. [bar absolute]."""
    parsed = parse_unit(unit)
    assert parsed is not None
    assert parsed.reference is not Reference.UNKNOWN
    scale = parsed.to_inside(Quantity.PRESSURE)
    assert scale is not None
    return value * scale[0] + scale[1]


def fahrenheit(celsius: np.ndarray) -> float:
    return float(celsius * 9 / 5 + 32)


@pytest.mark.parametrize("name", TEMPERATURES)
def test_saturation_temperatures(name: str) -> None:
    lines = saturation(name)
    for bar, bubble, *dew in TEMPERATURES[name]:
        assert lines.bubble_temperature(bar) == pytest.approx(bubble, abs=TOLERANCE[name])
        assert lines.dew_temperature(bar) == pytest.approx(dew[0] if dew else bubble, abs=TOLERANCE[name])


@pytest.mark.parametrize("name", PRESSURES)
def test_vapour_pressures(name: str) -> None:
    lines = saturation(name)
    for celsius, bubble, *dew in PRESSURES[name]:
        # One part in a thousand is 0.03 K near 0 °C.
        assert lines.bubble_pressure(celsius) == pytest.approx(bubble, rel=1e-3)
        assert lines.dew_pressure(celsius) == pytest.approx(dew[0] if dew else bubble, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "bar", "reason"),
    [
        ("R404A", 0.013, "below the triple point"),  # CoolProp extrapolates to −108 °C; R125 freezes at −101
        ("R452A", 0.013, "below the triple point"),
        ("R744", 0.013, "below the triple point"),  # CoolProp returns −356 944 K without an error
        ("R744", 0.2, "below the triple point"),  # CoolProp returns −212.5 K without an error
        ("R744", 1.01325, "below the triple point"),  # dry ice: −78.5 °C on the solid line, no liquid
        ("R744", 5.0, "below the triple point"),  # just below 5.18 bar
        ("R134a", 60.0, "above the critical pressure"),
        ("R1234yf", 35.0, "above the critical pressure"),
        ("R134a", gauge(-1.1), "zero or below (a full vacuum is −1.013 bar gauge)"),  # by definition
        ("R134a", 0.0, "zero or below (a full vacuum is −1.013 bar gauge)"),
    ],
)
def test_a_pressure_without_a_saturation_temperature_is_refused(name: str, bar: float, reason: str) -> None:
    lines = saturation(name)
    assert REFUSALS[lines.refusal(bar)] == reason
    assert np.isnan(lines.dew_temperature(bar))
    assert np.isnan(lines.bubble_temperature(bar))


@pytest.mark.parametrize(
    ("name", "boiling", "tolerance"),
    [
        ("R134a", -26.074, 0.01),  # computed: CoolProp; chemicals, Tb 247.0762 K
        ("R134a", -26.06, 0.03),  # a published property table built on NIST data, older fit
        ("R1234yf", -29.458, 0.05),  # computed: CoolProp
        ("R1234yf", -29.485, 0.05),  # computed: chemicals, Tb 243.665 K
    ],
)
def test_normal_boiling_points(name: str, boiling: float, tolerance: float) -> None:
    assert saturation(name).dew_temperature(ATMOSPHERE) == pytest.approx(boiling, abs=tolerance)


@pytest.mark.parametrize(
    ("name", "celsius", "bar", "tolerance"),
    [
        ("R134a", 374.21 - 273.15, 40.593, 0.02),  # computed: CoolProp and chemicals agree
        ("R134a", 101.08, 40.603, 0.03),  # a published property table built on NIST data
        ("R1234yf", 94.70, 33.84, 0.05),  # computed: CoolProp; chemicals has 367.85 K, 33.822 bar
        ("R744", 30.978, 73.773, 0.02),  # computed: CoolProp and chemicals agree
    ],
)
def test_critical_points(name: str, celsius: float, bar: float, tolerance: float) -> None:
    assert saturation(name).critical_temperature == pytest.approx(celsius, abs=tolerance)
    assert saturation(name).critical_pressure == pytest.approx(bar, abs=tolerance)


def test_triple_points() -> None:
    # Computed: CoolProp and chemicals agree. R134a 169.85 K, 389.56 Pa; CO2 −56.558 °C, 5.1796 bar.
    assert saturation("R134a").lowest_pressure == pytest.approx(389.56e-5, rel=1e-3)
    assert saturation("R134a").temperature[0] == pytest.approx(169.85 - 273.15, abs=0.01)
    assert saturation("R744").lowest_pressure == pytest.approx(5.1796, rel=1e-3)
    assert saturation("R744").temperature[0] == pytest.approx(-56.558, abs=0.01)


@pytest.mark.parametrize(
    ("celsius", "bar"),
    [(0, 2.9280), (20, 5.7171)],  # the property table of ASHRAE Fundamentals, MPa to five places, from memory
)
def test_the_handbook_table_of_r134a(celsius: float, bar: float) -> None:
    assert saturation("R134a").dew_pressure(celsius) == pytest.approx(bar, abs=2e-4)


def test_deep_vacuum_agrees_with_an_older_printed_table() -> None:
    # An older printed R134a table, as restated elsewhere: 1.3869 kPa at −91 °C, 1.2605 kPa at −92 °C.
    lines = saturation("R134a")
    assert lines.dew_temperature([0.013869, 0.012605]) == pytest.approx([-91.0, -92.0], abs=0.02)
    printed = np.interp(np.log(1.300), np.log([1.2605, 1.3869]), [-92.0, -91.0])
    assert lines.dew_temperature(0.013) == pytest.approx(printed, abs=0.01)


@pytest.mark.parametrize(
    ("name", "bar", "kelvin", "tolerance"),
    [
        ("R404A", 1.01325, 0.751, 0.01),
        ("R404A", 8.1, 0.472, 0.01),
        ("R452A", 1.01325, 4.046, 0.05),
        ("R452A", 8.1, 4.144, 0.05),
        ("R407C", 1.01325, 6.995, 0.05),
        ("R410A", 1.01325, 0.078, 0.01),
        ("R507A", 1.01325, 0.002, 0.01),
        ("R134a", 8.1, 0.0, 1e-6),
    ],
)
def test_glide_is_dew_less_bubble(name: str, bar: float, kelvin: float, tolerance: float) -> None:
    # Computed.
    lines = saturation(name)
    glide = lines.dew_temperature(bar) - lines.bubble_temperature(bar)
    assert glide == pytest.approx(kelvin, abs=tolerance)


@pytest.mark.parametrize(
    ("name", "bubble", "dew"),
    [("R407C", -43.626, -36.630), ("R410A", -51.442, -51.364), ("R507A", -46.742, -46.740)],
)
def test_other_blends_at_one_atmosphere(name: str, bubble: float, dew: float) -> None:
    # Computed.
    assert saturation(name).bubble_temperature(ATMOSPHERE) == pytest.approx(bubble, abs=0.1)
    assert saturation(name).dew_temperature(ATMOSPHERE) == pytest.approx(dew, abs=0.1)


def test_the_blend_r404a_agrees_with_its_pseudo_pure_fluid() -> None:
    # A second, independent equation of state in CoolProp; 0.01 K apart at most when computed directly.
    lines = saturation("R404A")
    for bar in (0.2, 1.01325, 3.0, 8.1, 15.0, 25.0):
        for quality, found in ((0, lines.bubble_temperature(bar)), (1, lines.dew_temperature(bar))):
            pseudo = coolprop.PropsSI("T", "P", bar * 1e5, "Q", quality, "R404A") - 273.15
            assert found == pytest.approx(pseudo, abs=0.012)


@pytest.mark.parametrize(
    ("name", "bar_gauge", "pipe", "dew", "expected"),
    [
        ("R134a", 1.0, 0.0, -9.909, 9.909),
        ("R134a", 0.5, -10.0, -16.923, 6.923),
        ("R404A", 1.5, -15.0, -24.612, 9.612),
        ("R404A", 3.0, 2.0, -12.027, 14.027),
    ],
)
def test_superheat_counts_from_the_dew_temperature(
    name: str, bar_gauge: float, pipe: float, dew: float, expected: float
) -> None:
    # Computed; dew for superheat is common practice (the handbook's definition, from memory).
    assert saturation(name).dew_temperature(gauge(bar_gauge)) == pytest.approx(dew, abs=TOLERANCE[name])
    assert superheat(gauge(bar_gauge), pipe, name) == pytest.approx(expected, abs=TOLERANCE[name])


def test_gauge_read_as_absolute_would_make_a_false_superheat() -> None:
    # Computed: 1.0 bar taken as absolute gives dew −26.361 °C and a superheat of 26.36 K.
    assert superheat(1.0, 0.0, "R134a") == pytest.approx(26.361, abs=0.05)


def test_bubble_by_mistake_would_add_the_glide_to_superheat() -> None:
    # Computed: R404A at 1.5 bar gauge, pipe −15 °C.
    bubble = saturation("R404A").bubble_temperature(gauge(1.5))
    assert -15.0 - bubble == pytest.approx(10.244, abs=0.1)
    assert superheat(gauge(1.5), -15.0, "R404A") < -15.0 - bubble - 0.5


@pytest.mark.parametrize(
    ("name", "bar_gauge", "liquid", "bubble", "expected"),
    [("R134a", 9.0, 35.0, 39.437, 4.437), ("R404A", 15.0, 30.0, 34.542, 4.542)],
)
def test_subcooling_counts_from_the_bubble_temperature(
    name: str, bar_gauge: float, liquid: float, bubble: float, expected: float
) -> None:
    # Computed; bubble for subcooling is common practice (the handbook's definition, from memory).
    assert saturation(name).bubble_temperature(gauge(bar_gauge)) == pytest.approx(bubble, abs=TOLERANCE[name])
    assert subcooling(gauge(bar_gauge), liquid, name) == pytest.approx(expected, abs=TOLERANCE[name])


def test_dew_by_mistake_would_add_the_glide_to_subcooling() -> None:
    # Computed: R404A at 15.0 bar gauge, liquid 30 °C.
    assert saturation("R404A").dew_temperature(gauge(15.0)) - 30.0 == pytest.approx(4.900, abs=0.1)


@pytest.mark.parametrize(
    ("psig", "expected"), [(0, -14.93), (10, 6.66), (20, 22.19), (30, 34.56), (100, 87.66)]
)
def test_r134a_from_a_gauge_in_pounds(psig: float, expected: float) -> None:
    # Computed. [°F]
    assert fahrenheit(saturation("R134a").dew_temperature(gauge(psig, "psig"))) == pytest.approx(
        expected, abs=0.1
    )


@pytest.mark.parametrize(
    ("psig", "bubble", "dew"), [(0, -51.20, -49.85), (30, -3.83, -2.74), (100, 47.26, 48.12)]
)
def test_r404a_from_a_gauge_in_pounds(psig: float, bubble: float, dew: float) -> None:
    # Computed. [°F]
    bar = gauge(psig, "psig")
    assert fahrenheit(saturation("R404A").bubble_temperature(bar)) == pytest.approx(bubble, abs=0.2)
    assert fahrenheit(saturation("R404A").dew_temperature(bar)) == pytest.approx(dew, abs=0.2)


def test_r134a_from_a_vacuum_in_inches_of_mercury() -> None:
    # Computed: 10 inHg of vacuum.
    assert saturation("R134a").dew_temperature(gauge(10, "inHg vac")) == pytest.approx(-34.604, abs=0.05)


@pytest.mark.parametrize(
    ("name", "bar", "kelvin_per_bar"), [("R134a", 2.0, 12.66), ("R404A", 2.0, 12.06), ("R134a", 10.0, 3.71)]
)
def test_how_far_a_wrong_pressure_moves_the_temperature(name: str, bar: float, kelvin_per_bar: float) -> None:
    # Computed, on the dew line: what a pressure sensor's error does to superheat.
    colder, warmer = saturation(name).dew_temperature([bar - 0.05, bar + 0.05])
    assert (warmer - colder) / 0.1 == pytest.approx(kelvin_per_bar, abs=0.05)


@pytest.mark.parametrize(
    ("metres", "pascal", "dew"),
    [
        (0, 101325, -9.909),
        (500, 95460.8, -10.656),
        (1500, 84555.9, -12.093),
        (2250, 77058.4, -13.119),
    ],
)
def test_the_same_gauge_reading_means_a_colder_evaporator_at_altitude(
    metres: float, pascal: float, dew: float
) -> None:
    # Pressures computed with psychrolib 2.5.0; the formula is ISO 2533's, its constants from memory.
    air = 101325 * (1 - 0.0065 * metres / 288.15) ** (9.80665 / (287.05287 * 0.0065))
    assert air == pytest.approx(pascal, abs=10)
    assert saturation("R134a").dew_temperature(1.0 + pascal / 1e5) == pytest.approx(dew, abs=0.05)


def test_water_boils_cold_in_an_evacuated_circuit() -> None:
    # Computed: 13 mbar absolute. Water has no shipped table, so this one is made on the spot.
    assert saturation("water").dew_temperature(0.013) == pytest.approx(10.85, abs=0.02)
