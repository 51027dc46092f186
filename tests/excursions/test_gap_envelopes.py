"""How far, how long and by how much air can have been outside in a gap, against curves drawn with numpy."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log, timeline

from coldsift.excursions import find_excursions, find_gaps
from coldsift.excursions.gaps import (
    COLDER_THAN_SEEN,
    FASTEST_AIR,
    FASTEST_WARM_UP,
    SETTLING,
    SUN,
    possible_air,
)
from coldsift.excursions.readings import read_air

HOURS = clock(96)
SET_POINT = 3.0
LOW, HIGH = 1.0, 5.0
"""Default band of chilled cargo. [°C]"""

_A_LITTLE = 0.1
"""What the air goes towards lies beyond where it has been by this at least. [K]"""


def chilled(air: float, ambient: float | np.ndarray, begin: float, end: float) -> pl.DataFrame:
    """A unit that holds its air, with no readings between two instants."""
    kept = (begin >= HOURS) | (end <= HOURS)
    outside = np.broadcast_to(ambient, HOURS.shape)[kept]
    return timeline(log(HOURS[kept], set_point=SET_POINT, supply_air=air, ambient_air=outside))


def going(start: float, towards: float, constant: float, hours: np.ndarray) -> np.ndarray:
    """Newton's law: first order towards a temperature."""
    return towards + (start - towards) * np.exp(-np.minimum(hours / constant, 60.0))


def back(end: float, coming_from: float, hours_left: np.ndarray) -> np.ndarray:
    """Air that will be at ``end``, as far from it as it can be so many hours before."""
    return coming_from + (end - coming_from) * np.exp(np.minimum(hours_left / FASTEST_AIR, 60.0))


def envelopes(air: float, ambient: float, hours: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Instants, and the lowest and the highest that the air can be at each."""
    at = np.linspace(0, hours, 200_001)
    hot, cold_outside = ambient + SUN, ambient - SUN
    coldest = air - COLDER_THAN_SEEN
    settled_up = air + (SETTLING if hot > air else 0.0)
    settled_down = air - (SETTLING if cold_outside < air else 0.0)
    up = going(settled_up, max(hot, settled_up + _A_LITTLE), FASTEST_WARM_UP, at)
    highest = np.minimum(up, back(air, coldest, hours - at))
    warming_back = back(air, max(hot, air + _A_LITTLE), hours - at)
    by_unit = np.maximum(going(air, coldest, FASTEST_AIR, at), warming_back)
    by_cold = going(settled_down, min(cold_outside, settled_down - _A_LITTLE), FASTEST_WARM_UP, at)
    # The way down by the cold outside is warmed back in the same way.
    return at, np.minimum(by_unit, np.maximum(by_cold, warming_back)), np.maximum(highest, air)


@pytest.mark.parametrize(("air", "ambient"), [(3.0, -20.0), (4.9, -5.0), (3.0, 28.0), (2.0, 12.0)])
def test_the_unit_and_the_cold_outside_may_each_have_made_it_too_cold(air: float, ambient: float) -> None:
    built = chilled(air, ambient, 40, 52)
    (gap,) = find_gaps(built).iter_rows(named=True)
    _, lowest, highest = envelopes(air, ambient, gap["hours"])
    assert gap["coldest_possible"] == pytest.approx(min(lowest.min(), air), abs=1e-3)
    assert gap["warmest_possible"] == pytest.approx(highest.max(), abs=1e-3)
    outside = np.mean((lowest < LOW) | (highest > HIGH)) * gap["hours"]
    assert gap["hours_outside_at_most"] == pytest.approx(outside, abs=0.02)


def test_still_air_mixes_and_starts_from_the_warmer_probe() -> None:
    """Supply air at 3 °C, return air at 4.5 °C: from there it warms, and to there it comes back."""
    kept = (HOURS <= 40) | (HOURS >= 52)
    built = timeline(log(HOURS[kept], set_point=SET_POINT, supply_air=3.0, return_air=4.5, ambient_air=28.0))
    (gap,) = find_gaps(built).iter_rows(named=True)
    at = np.linspace(0, 12, 200_001)
    up = going(4.5 + SETTLING, 28.0 + SUN, FASTEST_WARM_UP, at)
    down = back(4.5, 3.0 - COLDER_THAN_SEEN, 12 - at)
    assert gap["warmest_possible"] == pytest.approx(np.minimum(up, down).max(), abs=1e-3)


@pytest.mark.parametrize("air", [3.0, 4.5])
def test_the_largest_area_in_a_gap_lies_under_its_highest_course(air: float) -> None:
    built = chilled(air, 28.0, 40, 52)
    (gap,) = possible_air(built, read_air(built)).iter_rows(named=True)
    at, lowest, highest = envelopes(air, 28.0, 12.0)
    above = np.trapezoid(np.clip(highest - HIGH, 0, None), at)
    below = np.trapezoid(np.clip(LOW - lowest, 0, None), at)
    assert gap["area_above"] == pytest.approx(above, rel=1e-3)
    assert gap["area_below"] == pytest.approx(below, rel=1e-3)


def test_the_hottest_and_the_coldest_of_the_days_beside_a_gap_count() -> None:
    """20, 26, 35 and 24 °C, day by day; the gap lies in the second and third."""
    ambient = np.select([HOURS < 24, HOURS < 48, HOURS < 72], [20.0, 26.0, 35.0], 24.0)
    (gap,) = find_gaps(chilled(3.0, ambient, 44, 52)).iter_rows(named=True)
    assert "towards 45.0 °C (the hottest ambient air near it" in gap["rests_on"]
    assert "towards 10.0 °C outside" in gap["rests_on"]


@pytest.mark.parametrize(("without", "excursions"), [(23.75, 1), (24.25, 2)])
def test_an_excursion_goes_on_across_a_day_without_readings_and_no_longer(
    without: float, excursions: int
) -> None:
    hours = np.concatenate([clock(12), clock(12) + 11.75 + without])
    found = find_excursions(timeline(log(hours, set_point=3.0, supply_air=np.where(hours > 6, 9.0, 3.0))))
    assert found.height == excursions
