"""Orders in °F and in EDIFACT against the set point of the log, by published values.

Exact conversions: check-values of the project, "Exact Fahrenheit", computed with fractions there; once more
here with :mod:`fractions`. The EDIFACT segments are read by pydifact, a general library; code 2 of data
element 6245 is the transport temperature (UN/EDIFACT directory D.00A); the forms of the number (``-18``,
``-05``, ``008``, ``13.5``) follow data element 6246 (an..3 in D.96B to D.99B, n..15 from D.00B); CEL and FAH
of UN/ECE recommendation 20 are from memory.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from pydifact.segmentcollection import RawSegmentCollection
from tests.set_points.ordered import booked, compared, kinds, logged, planned

EXACT = {
    33: Fraction(5, 9),
    34: Fraction(10, 9),
    35: Fraction(5, 3),
    36: Fraction(20, 9),
    0: Fraction(-160, 9),
}
"""33/34/35/36 °F = 0.5556/1.1111/1.6667/2.2222 °C; 0 °F = −17.7778 °C."""


def celsius(fahrenheit: Fraction) -> Fraction:
    return (fahrenheit - 32) * Fraction(5, 9)


@pytest.mark.parametrize(("fahrenheit", "exact"), EXACT.items())
def test_a_whole_fahrenheit_order_and_what_texts_print_for_it_agree(fahrenheit: int, exact: Fraction) -> None:
    """Texts print 0.55, 1.11, 1.67 and 2.22."""
    assert celsius(Fraction(fahrenheit)) == exact
    cut = float(int(exact * 100) / 100)
    for ordered in (float(exact), cut, round(float(exact), 1)):
        assert kinds(compared(logged((0, round(float(exact), 1))), booked((None, ordered)))) == ["agrees"]


@pytest.mark.parametrize(("fahrenheit", "exact"), EXACT.items())
def test_an_order_in_fahrenheit_set_as_celsius_is_a_slip(fahrenheit: int, exact: Fraction) -> None:
    (row,) = compared(logged((0, float(fahrenheit))), booked((None, float(exact))))
    assert row["kind"] == "fahrenheit"


@pytest.mark.parametrize("ordered", [-25, -20, -18, -10, -5, 0, 1, 2, 5, 8, 10, 13, 15])
def test_an_order_in_celsius_set_in_fahrenheit_is_a_slip(ordered: int) -> None:
    set_to = celsius(Fraction(ordered))
    (row,) = compared(logged((0, round(float(set_to), 1))), booked((None, float(ordered))))
    assert row["kind"] == "fahrenheit"


def test_minus_eighteen_celsius_is_about_zero_fahrenheit() -> None:
    """−18 °C = −0.4 °F."""
    assert celsius(Fraction(-4, 10)) == -18
    (row,) = compared(logged((0, 0.0)), booked((None, -18.0)))
    assert row["kind"] == "fahrenheit"


def test_minus_forty_is_the_same_in_both() -> None:
    assert celsius(Fraction(-40)) == -40
    assert kinds(compared(logged((0, -40.0)), booked((None, -40.0)))) == ["agrees"]


@pytest.mark.parametrize(
    ("segment", "set_to", "kind"),
    [
        ("TMP+2+-18:CEL'", -18.0, "agrees"),
        ("TMP+2+-18:CEL'", -27.8, "fahrenheit"),
        ("TMP+2+-18:CEL'", 18.0, "sign"),
        ("TMP+2+-05:CEL'", -5.0, "agrees"),
        ("TMP+2+008:CEL'", 8.0, "agrees"),
        ("TMP+2+008:CEL'", -13.3, "fahrenheit"),
        ("TMP+2+13.5:CEL'", 13.5, "agrees"),
        ("TMP+2+036:FAH'", 2.2, "agrees"),
        ("TMP+2+036:FAH'", 36.0, "fahrenheit"),
        ("TMP+2+000:FAH'", -18.0, "agrees"),
    ],
)
def test_the_transport_temperature_of_a_plan_is_the_order(segment: str, set_to: float, kind: str) -> None:
    (read,) = RawSegmentCollection.from_str(segment).segments
    qualifier, (number, unit) = read.elements
    assert (read.tag, qualifier) == ("TMP", "2")
    value = Fraction(number)
    ordered = float(celsius(value) if unit == "FAH" else value)
    (row,) = compared(logged((0, set_to)), plan=planned(ordered))
    assert (row["kind"], row["source"]) == (kind, "plan")
