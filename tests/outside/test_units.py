"""Units of measure against their exact definitions.

Sources, all from memory: the international yard and pound agreement of 1959 (1 in = 25.4 mm and 1 lb =
0.45359237 kg, both exact); standard gravity 9.80665 m/s2 and standard atmosphere 101325 Pa (General
Conference on Weights and Measures, exact); conventional density of mercury 13595.1 kg/m3; the printed factors
of NIST SP 811, appendix B.8.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from coldsift.intake.units import Reference, parse_unit
from coldsift.schema import INSIDE_UNIT, Quantity

GRAVITY = Fraction("9.80665")
INCH = Fraction("0.0254")
POUND = Fraction("0.45359237")
MERCURY = Fraction("13595.1")
ATMOSPHERE = Fraction("1.01325")


def inside(unit: str, quantity: Quantity, value: float, reference: Reference | None = None) -> float:
    parsed = parse_unit(unit)
    assert parsed is not None, unit
    scale = parsed.to_inside(quantity, reference)
    assert scale is not None, unit
    return value * scale[0] + scale[1]


@pytest.mark.parametrize(
    ("unit", "bar"),
    [
        ("psi a", POUND * GRAVITY / INCH**2 / 100_000),
        ("inHg a", INCH * MERCURY * GRAVITY / 100_000),
        ("kPa abs", Fraction(1, 100)),
        ("MPa(a)", Fraction(10)),
        ("mbar a", Fraction(1, 1000)),
        ("kgf/cm² a", Fraction("0.980665")),
        ("bara", Fraction(1)),
    ],
)
def test_pressures_follow_their_definitions(unit: str, bar: Fraction) -> None:
    for value in (0.0, 1.0, 30.0, 147.3):
        assert inside(unit, Quantity.PRESSURE, value) == pytest.approx(
            float(bar * Fraction(value)), rel=1e-14
        )


@pytest.mark.parametrize(
    ("unit", "pascal", "tolerance"),
    [("psi a", 6894.757, 5e-4), ("inHg a", 3386.389, 5e-4)],  # NIST SP 811, B.8, from memory
)
def test_pressures_agree_with_the_printed_factors(unit: str, pascal: float, tolerance: float) -> None:
    assert inside(unit, Quantity.PRESSURE, 1) * 1e5 == pytest.approx(pascal, abs=tolerance)


def test_gauge_counts_from_the_standard_atmosphere() -> None:
    for unit in ("bar g", "barg", "bar(g)", "Bar gauge", "bar(ü)"):
        assert inside(unit, Quantity.PRESSURE, 1.0) == pytest.approx(float(1 + ATMOSPHERE))
    assert inside("psig", Quantity.PRESSURE, 0.0) == float(ATMOSPHERE)
    assert inside("bar", Quantity.PRESSURE, 1.0, Reference.ABSOLUTE) == 1.0
    assert inside("bar", Quantity.PRESSURE, 1.0, Reference.GAUGE) == pytest.approx(2.01325)
    assert inside("bar a", Quantity.PRESSURE, 1.0, Reference.GAUGE) == 1.0


def test_a_vacuum_counts_down_from_the_standard_atmosphere() -> None:
    bar = ATMOSPHERE - 10 * INCH * MERCURY * GRAVITY / 100_000
    assert inside("inHg vac", Quantity.PRESSURE, 10) == pytest.approx(float(bar), rel=1e-12)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    # Computed from the definition t/°C = (t/°F - 32) x 5/9.
    [
        (32, 0.0),
        (212, 100.0),
        (-40, -40.0),
        (0, -160 / 9),
        (33, 5 / 9),
        (34, 10 / 9),
        (-0.4, -18.0),
        (98.6, 37.0),
    ],
)
def test_fahrenheit_follows_its_definition(fahrenheit: float, celsius: float) -> None:
    for unit in ("°F", "F", "degF", "deg F", "Fahrenheit"):
        assert inside(unit, Quantity.TEMPERATURE, fahrenheit) == pytest.approx(celsius, abs=1e-12)


def test_a_difference_has_no_offset() -> None:
    assert inside("°F", Quantity.TEMPERATURE_DIFFERENCE, 18) == pytest.approx(10)
    assert inside("K", Quantity.TEMPERATURE_DIFFERENCE, 7) == 7
    assert inside("°C", Quantity.TEMPERATURE_DIFFERENCE, 7) == 7
    assert inside("K", Quantity.TEMPERATURE, 273.15) == 0


def test_air_flow_in_cubic_feet_follows_the_foot() -> None:
    assert inside("cfm", Quantity.AIR_FLOW, 1) == pytest.approx(float((12 * INCH) ** 3 * 60))


@pytest.mark.parametrize("quantity", [q for q in Quantity if INSIDE_UNIT[q]])
def test_the_inside_unit_is_itself(quantity: Quantity) -> None:
    assert inside(INSIDE_UNIT[quantity], quantity, 3.5, Reference.ABSOLUTE) == 3.5


@pytest.mark.parametrize(
    ("unit", "quantity"), [("°C", Quantity.PRESSURE), ("bar", Quantity.TEMPERATURE), ("V", Quantity.CURRENT)]
)
def test_a_unit_that_cannot_measure_the_quantity_is_refused(unit: str, quantity: Quantity) -> None:
    parsed = parse_unit(unit)
    assert parsed is not None
    assert parsed.to_inside(quantity) is None


@pytest.mark.parametrize("text", ["", None, "furlong", "°", "barn", "abar", "on"])
def test_what_is_no_unit_is_none(text: str | None) -> None:
    assert parse_unit(text) is None
