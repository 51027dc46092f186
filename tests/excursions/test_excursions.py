from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log, timeline

from coldsift.excursions import find_excursions
from coldsift.regimes import Bands


def chilled(hours: np.ndarray, air: np.ndarray, band: float = 2.0, **channels: object) -> pl.DataFrame:
    values = {"set_point": 3.0, "supply_air": air, "return_air": air + 1} | channels
    return timeline(log(hours, **values), bands=Bands.same(band))


def ramp(hours: np.ndarray, start: float, end: float, height: float) -> np.ndarray:
    """Up from 3 °C at one hour, held, and straight back down by another, 2 h each way."""
    return 3 + height * np.clip(np.minimum((hours - start) / 2, (end - hours) / 2), 0, 1)


def test_a_triangle_seen_at_three_readings_has_its_exact_area() -> None:
    """4 → 8 → 4 °C over 8 h with readings at 0, 4 and 8 h only: 6.000 h above 5 °C, 9.000 K h.

    Hand calculation: above the limit from 1 h to 7 h, mean excess 1.5 K.
    """
    hours = np.array([0.0, 4.0, 8.0])
    found = find_excursions(chilled(hours, np.array([4.0, 8.0, 4.0])))
    row = found.row(0, named=True)
    assert row["start"] == START + timedelta(hours=1)
    assert row["end"] == START + timedelta(hours=7)
    assert row["hours"] == pytest.approx(6.0)
    assert row["degree_hours"] == pytest.approx(9.0)
    assert row["peak"] == 8.0


@pytest.mark.parametrize("minutes", [5, 15, 60])
def test_edges_lie_between_the_readings_that_saw_them(minutes: int) -> None:
    hours = clock(48, minutes)
    row = find_excursions(chilled(hours, ramp(hours, 10.3, 20.7, 6))).row(0, named=True)
    # The ramp leaves the band a third of the way up its two hours.
    true_start, true_end = START + timedelta(hours=10.3 + 2 / 3), START + timedelta(hours=20.7 - 2 / 3)
    assert row["start_earliest"] <= true_start <= row["start_latest"]
    assert row["end_earliest"] <= true_end <= row["end_latest"]
    assert row["start_latest"] - row["start_earliest"] == timedelta(minutes=minutes)
    assert abs(row["start"] - true_start) <= timedelta(minutes=minutes / 2)


def test_a_short_rise_is_not_an_excursion() -> None:
    hours = clock(48)
    air = np.where((hours >= 10) & (hours < 10.5), 8.0, 3.0)
    assert find_excursions(chilled(hours, air)).is_empty()


def test_warm_air_in_a_defrost_is_not_an_excursion() -> None:
    hours = clock(48)
    defrosting = (hours >= 10) & (hours < 11.5)
    air = np.where(defrosting, 12.0, 3.0)
    assert find_excursions(chilled(hours, air, defrost_state=defrosting)).is_empty()


def test_a_defrost_within_an_excursion_does_not_cut_it_in_two() -> None:
    hours = clock(48)
    defrosting = (hours >= 14) & (hours < 14.5)
    air = np.where(defrosting, 15.0, ramp(hours, 10, 22, 6))
    found = find_excursions(chilled(hours, air, defrost_state=defrosting))
    assert found.height == 1
    assert found["peak"].item() == pytest.approx(9.0)


def test_cargo_loaded_warm_is_listed_apart() -> None:
    hours = clock(48)
    found = find_excursions(chilled(hours, 3 + 20 * np.exp(-hours / 5)))
    assert found["kind"].to_list() == ["initial_warm_load"]
    assert found["start_earliest"].to_list() == [None]


def test_the_way_to_an_ordered_set_point_is_listed_apart() -> None:
    hours = clock(48)
    air = np.where(hours < 24, 10.0, np.maximum(3.0, 10.0 - (hours - 24)))
    found = find_excursions(chilled(hours, air, set_point=np.where(hours < 24, 10.0, 3.0)))
    assert found["kind"].to_list() == ["after_set_point_change"]


def test_a_gap_is_counted_and_never_bridged_silently() -> None:
    hours = np.concatenate([clock(12), clock(12) + 20])
    found = find_excursions(chilled(hours, ramp(hours, 6, 26, 6)))
    row = found.row(0, named=True)
    assert found.height == 1
    assert row["gap_hours"] == pytest.approx(8.25)
    elapsed = (row["end"] - row["start"]).total_seconds() / 3600
    assert row["hours"] + row["gap_hours"] == pytest.approx(elapsed, abs=0.01)
    assert "gap in the log" in row["along_with"]


def test_what_came_after_a_day_without_readings_is_another_excursion() -> None:
    hours = np.concatenate([clock(12), clock(12) + 40])
    assert find_excursions(chilled(hours, np.where(hours > 6, 9.0, 3.0))).height == 2


def test_an_excursion_that_has_not_ended_has_no_latest_end() -> None:
    hours = clock(24)
    row = find_excursions(chilled(hours, np.where(hours > 12, 9.0, 3.0))).row(0, named=True)
    assert row["end_latest"] is None
    assert row["end"] == START + timedelta(hours=float(hours[-1]))


def test_frozen_cargo_colder_than_ordered_is_no_excursion() -> None:
    hours = clock(24)
    built = timeline(log(hours, set_point=-18.0, supply_air=-30.0, return_air=-29.0))
    assert find_excursions(built).is_empty()


def test_chilled_cargo_colder_than_its_band_is_one() -> None:
    hours = clock(24)
    row = find_excursions(chilled(hours, np.where(hours > 12, -2.0, 3.0))).row(0, named=True)
    assert row["band_edge"] == 1.0
    assert row["peak"] == -2.0


def test_a_probe_that_jumps_while_all_else_stays_is_doubted() -> None:
    hours = clock(48)
    stuck = (hours >= 20) & (hours < 40)
    row = find_excursions(
        chilled(hours, np.where(stuck, 25.0, 3.0), return_air=np.full(len(hours), 3.8))
    ).row(0, named=True)
    assert row["sensor_doubt"] > 0.7
    assert "jumped faster" in row["sensor_doubt_why"]
    plain = find_excursions(chilled(hours, ramp(hours, 20, 40, 6))).row(0, named=True)
    assert plain["sensor_doubt"] < 0.3


def test_power_off_and_alarms_are_named_beside_the_excursion() -> None:
    hours = clock(48)
    off = (hours >= 20) & (hours < 26)
    air = ramp(hours, 20, 32, 7)
    found = find_excursions(
        chilled(
            hours, air, power_state=~off, alarms=[["supply air out of range"] if x > 7 else [] for x in air]
        )
    )
    assert found["along_with"].to_list() == ["power off, alarm"]
