from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log, timeline

from coldsift.excursions import find_gaps
from coldsift.excursions.gaps import FASTEST_WARM_UP, LARGEST_HEAT_LEAK, LIGHT_LOAD, SETTLING, SUN
from coldsift.regimes import Bands

HOURS = clock(96)


def with_gap(begin: float, end: float, **channels: object) -> pl.DataFrame:
    """A chilled unit in its band, warm ambient, without readings between two instants."""
    hours = HOURS.copy()
    kept = (hours <= begin) | (hours >= end)
    values = {"set_point": 3.0, "supply_air": 3.0, "return_air": 3.0, "ambient_air": 30.0} | channels
    whole = {
        name: value if np.isscalar(value) else np.asarray(value)[kept]
        for name, value in values.items()
        if value is not None
    }
    return timeline(log(HOURS[kept], **whole))


def only(gaps: pl.DataFrame) -> dict[str, object]:
    assert gaps.height == 1
    return gaps.row(0, named=True)


def test_a_gap_is_listed_between_the_readings_beside_it() -> None:
    row = only(find_gaps(with_gap(40, 50)))
    assert (row["start"] - START).total_seconds() == 40 * 3600  # type: ignore[operator]
    assert (row["hours"], row["air_before"], row["air_after"]) == (10.0, 3.0, 3.0)


def test_one_lost_reading_is_no_gap() -> None:
    assert find_gaps(with_gap(40, 40.5)).is_empty()


def test_the_default_warm_up_is_the_largest_heat_leak_over_a_light_load() -> None:
    """51 W/K over 3 MJ/K: 58 824 s or 16.34 h."""
    assert (LARGEST_HEAT_LEAK, LIGHT_LOAD) == (51.0, 3.0e6)
    assert abs(FASTEST_WARM_UP - 58_824 / 3600) < 0.01


def test_the_warmest_is_a_first_order_warm_up_towards_hottest_ambient_and_sun() -> None:
    """By hand, but for the last hours in which it must cool down again: 3 + 3 K at once, then towards 40 °C
    with 16.34 h. After 20 h, 40 − 34·e^(−20/16.34) = 30.0 °C."""
    row = only(find_gaps(with_gap(40, 60)))
    assert (SETTLING, SUN) == (3.0, 10.0)
    assert row["warmest_possible"] == pytest.approx(30.0, abs=1.0)
    assert row["warmest_possible"] < 40 - 34 * np.exp(-20 / 16.34)  # type: ignore[operator]


def test_a_box_that_warmed_slowly_without_power_is_believed() -> None:
    off = (HOURS >= 10) & (HOURS < 30)
    warming = np.where(off, 30 - 27 * np.exp(-np.clip(HOURS - 10, 0, None) / 200), 3.0)
    channels = {"power_state": ~off, "supply_air": warming, "return_air": warming}
    own, usual = only(find_gaps(with_gap(40, 60, **channels))), only(find_gaps(with_gap(40, 60)))
    assert own["warmest_possible"] < usual["warmest_possible"] - 10  # type: ignore[operator]
    # 200 h × 0.7, and hardly any settling.
    assert "time constant 140.0 h" in str(own["rests_on"])
    assert "ISO 1496-2" in str(usual["rests_on"])


def test_the_ambient_of_the_days_beside_it_counts_and_not_of_the_whole_voyage() -> None:
    hot_later = np.where(HOURS > 80, 45.0, 20.0)
    cool = only(find_gaps(with_gap(30, 40, ambient_air=hot_later)))
    assert "towards 30.0 °C (the hottest ambient air near it" in str(cool["rests_on"])


def test_without_a_logged_ambient_the_hottest_there_is_counts() -> None:
    row = only(find_gaps(with_gap(40, 50, ambient_air=None)))
    assert "towards 55.0 °C (the hottest ambient air there is" in str(row["rests_on"])


def test_readings_that_ask_for_more_than_the_warm_up_widen_the_range() -> None:
    """25 K in three hours: somebody opened the door, or the box is no box."""
    air = np.where(HOURS > 42, 28.0, 3.0)
    row = only(find_gaps(with_gap(40, 43, supply_air=air, return_air=air)))
    assert row["warmest_possible"] >= 28.0  # type: ignore[operator]


@pytest.mark.parametrize("hours", [1.0, 4.0, 20.0])
def test_the_range_holds_both_readings_and_no_more_hours_than_the_gap(hours: float) -> None:
    air = np.where(HOURS > 45, 2.2, 3.9)
    row = only(find_gaps(with_gap(44, 44 + hours + 1, supply_air=air, return_air=air + 1)))
    assert row["coldest_possible"] <= 2.2  # type: ignore[operator]
    assert row["warmest_possible"] >= 3.9  # type: ignore[operator]
    assert 0 <= row["hours_outside_at_most"] <= row["hours"]  # type: ignore[operator]


def test_frozen_cargo_takes_hours_to_leave_its_band() -> None:
    """−20 + 3 K at once lies on the edge of the default band. With 6 K of band 57·e^(−t/16.34) = 54 at the
    begin, and 5·e^(t/0.5) = 11 at the end, above the −25 °C that it can be cooled towards."""
    kept = (HOURS <= 40) | (HOURS >= 60)
    frozen = log(HOURS[kept], set_point=-20.0, return_air=-20.0, supply_air=-20.0, ambient_air=30.0)
    row = only(find_gaps(timeline(frozen, bands=Bands(frozen=6.0))))
    assert row["hours"] - row["hours_outside_at_most"] == pytest.approx(  # type: ignore[operator]
        16.34 * np.log(57 / 54) + 0.5 * np.log(11 / 5), abs=0.001
    )


def test_a_unit_without_air_temperatures_has_gaps_without_a_range() -> None:
    kept = (HOURS <= 40) | (HOURS >= 60)
    row = only(find_gaps(timeline(log(HOURS[kept], humidity=85.0))))
    assert row["hours"] == 20.0
    assert row["warmest_possible"] is None
    assert str(row["rests_on"]).startswith("Nothing")


def test_a_hole_of_rows_without_air_is_listed_as_one_gap() -> None:
    air = [None if 40 < hour < 60 else 3.0 for hour in HOURS]
    built = timeline(log(HOURS, set_point=3.0, supply_air=air, return_air=air, ambient_air=30.0))
    assert only(find_gaps(built))["hours"] == 20.0


def test_gaps_at_the_very_begin_and_end_of_a_log() -> None:
    hours = np.concatenate([[0.0], clock(12) + 10, [40.0]])
    gaps = find_gaps(timeline(log(hours, set_point=3.0, supply_air=3.0, ambient_air=30.0)))
    assert gaps["hours"].to_list() == [10.0, 40 - 21.75]


def test_what_the_range_does_not_cover_is_said() -> None:
    assert "door" in str(only(find_gaps(with_gap(40, 50)))["rests_on"])
