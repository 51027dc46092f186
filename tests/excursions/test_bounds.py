"""What an excursion is at most, and how surely its begin and end are known."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log, timeline

from coldsift.excursions import find_excursions
from coldsift.regimes import Bands


def at(hour: float) -> object:
    return START + timedelta(hours=hour)


def chilled(hours: np.ndarray, air: np.ndarray, **channels: object) -> pl.DataFrame:
    values = {"set_point": 3.0, "supply_air": air, "return_air": air} | channels
    return timeline(log(hours, **values))


def only(found: pl.DataFrame) -> dict[str, object]:
    assert found.height == 1
    return found.row(0, named=True)


def test_without_a_gap_an_excursion_is_at_most_as_long_as_from_reading_inside_to_reading_inside() -> None:
    hours = clock(48)
    # Edge 5 °C: 4.6 is inside at 10 h, 7 outside from 10.25 h on, inside again at 15 h.
    air = np.select([hours < 10, hours < 10.25, hours < 15], [3.0, 4.6, 7.0], 3.04)
    row = only(find_excursions(chilled(hours, air)))
    assert (row["start_earliest"], row["start_latest"]) == (at(10), at(10.25))
    assert (row["end_earliest"], row["end_latest"]) == (at(14.75), at(15))
    assert row["hours_at_most"] == 5.0


def test_a_gap_within_counts_for_the_bound_and_not_for_the_hours() -> None:
    hours = clock(48)
    hours = hours[(hours <= 12) | (hours >= 18)]
    air = np.where((hours >= 10) & (hours < 20), 7.0, 3.0)
    row = only(find_excursions(chilled(hours, air)))
    assert row["gap_hours"] == 6.0
    # From the reading inside at 9.75 h to the one at 20 h.
    assert row["hours_at_most"] == 10.25
    assert row["hours"] == pytest.approx(2.125 + 1.875)
    assert row["peak"] == 7.0
    assert row["peak_at_most"] > 9.0  # type: ignore[operator]
    assert row["degree_hours_at_most"] > row["degree_hours"] + 6 * 2  # type: ignore[operator]


def test_a_begin_is_not_drawn_into_more_than_a_day_without_readings() -> None:
    hours = np.concatenate([clock(12), clock(12) + 40])
    row = only(find_excursions(chilled(hours, np.where((hours > 20) & (hours < 46), 9.0, 3.0))))
    assert row["start"] == at(40)
    assert row["start_earliest"] == at(11.75)
    assert row["gap_hours"] == 0.0
    assert row["hours_at_most"] == 46 - 11.75
    assert "gap in the log" in str(row["along_with"])


def test_an_end_is_not_drawn_into_more_than_a_day_without_readings() -> None:
    hours = np.concatenate([clock(12), clock(12) + 40])
    row = only(find_excursions(chilled(hours, np.where((hours >= 6) & (hours < 20), 9.0, 3.0))))
    assert row["end"] == at(11.75)
    assert row["end_latest"] == at(40)


def test_outside_before_and_after_more_than_a_day_without_readings_bounds_reach_into_the_gap() -> None:
    hours = np.concatenate([clock(12), clock(12) + 40])
    before, after = find_excursions(chilled(hours, np.where(hours >= 6, 9.0, 3.0))).iter_rows(named=True)
    assert (before["end"], before["end_latest"]) == (at(11.75), at(40))
    assert (after["start_earliest"], after["start"]) == (at(11.75), at(40))


@pytest.mark.parametrize("gap", [3.0, 30.0])
def test_seen_for_less_than_the_grace_time_beside_a_gap_is_a_possible_excursion(gap: float) -> None:
    hours = np.concatenate([clock(12), clock(12) + 11.75 + gap])
    air = np.where((hours >= 11.25) & (hours < 12), 9.0, 3.0)
    row = only(find_excursions(chilled(hours, air)))
    assert row["kind"] == "possible_excursion"
    assert 0 < row["hours"] <= 1  # type: ignore[operator]
    assert row["hours_at_most"] == pytest.approx(0.75 + gap)


def test_one_reading_outside_between_two_gaps_is_a_possible_excursion() -> None:
    hours = np.concatenate([clock(12), [15.0], clock(12) + 18])
    row = only(find_excursions(chilled(hours, np.where(hours == 15.0, 9.0, 3.0))))
    assert row["kind"] == "possible_excursion"
    assert row["hours"] == 0.0
    assert row["hours_at_most"] == 6.25


def test_a_short_rise_far_from_a_gap_stays_unlisted() -> None:
    hours = np.concatenate([clock(12), clock(12) + 15])
    air = np.where((hours >= 6) & (hours < 6.5), 9.0, 3.0)
    assert find_excursions(chilled(hours, air)).is_empty()


def test_one_lost_reading_is_bridged_and_named() -> None:
    hours = clock(24)
    air = np.where((hours >= 10) & (hours < 16), 9.0, 3.0)
    kept = hours != 12.0
    row = only(find_excursions(chilled(hours[kept], air[kept])))
    assert row["along_with"] == "readings missing"
    assert row["gap_hours"] == 0.0


def test_a_lost_reading_elsewhere_is_not_named() -> None:
    hours = clock(24)
    air = np.where((hours >= 10) & (hours < 16), 9.0, 3.0)
    kept = hours != 4.0
    assert only(find_excursions(chilled(hours[kept], air[kept])))["along_with"] == ""


def test_a_hole_of_rows_without_air_is_a_gap_too() -> None:
    hours = clock(48)
    air = np.where((hours >= 10) & (hours < 20), 7.0, 3.0)
    holed = [None if 12 < hour < 18 else value for hour, value in zip(hours, air, strict=True)]
    row = only(find_excursions(chilled(hours, air, supply_air=holed, return_air=holed)))
    assert row["gap_hours"] == 6.0
    assert "gap in the log" in str(row["along_with"])


def test_readings_that_noise_may_have_put_inside_bracket_nothing() -> None:
    """Half a step of 0.5 K: 4.5 and 5.5 may both be air at the edge, 5 °C; less or more may not."""
    hours = clock(48)
    steps = np.select(
        [hours < 9, hours < 10, hours < 11, hours < 12, hours < 20], [3.0, 4.0, 5.0, 5.5, 8.0], 3.5
    )
    row = only(find_excursions(chilled(hours, steps)))
    assert row["start_earliest"] == at(9.75)
    assert row["start_latest"] == at(11.0)
    assert row["start"] == at(10.75)


def test_noise_widens_the_bracket() -> None:
    hours = clock(96)
    slow = 3 + np.clip((hours - 30) / 10, 0, 4)
    noise = 0.1 * np.random.default_rng(5).standard_normal(len(hours))
    wide = find_excursions(chilled(hours, slow + noise)).sort("hours").row(-1, named=True)
    row = only(find_excursions(chilled(hours, slow)))
    assert row["start_latest"] - row["start_earliest"] == timedelta(minutes=15)  # type: ignore[operator]
    assert wide["start_latest"] - wide["start_earliest"] > timedelta(hours=2)
    assert wide["start_earliest"] <= at(50) <= wide["start_latest"]


def test_above_and_then_below_the_band_from_one_reading_to_the_next_are_two() -> None:
    hours = clock(24)
    air = np.select([hours < 8, hours < 12, hours < 16], [3.0, 7.0, -1.0], 3.0)
    above, below = find_excursions(chilled(hours, air)).iter_rows(named=True)
    # 7 to −1 °C in a quarter of an hour: 5 °C is passed after a quarter of it, 1 °C after three.
    assert above["end"] == at(11.75) + timedelta(minutes=15 / 4)  # type: ignore[operator]
    assert below["start"] == at(11.75) + timedelta(minutes=45 / 4)  # type: ignore[operator]
    assert (above["band_edge"], below["band_edge"]) == (5.0, 1.0)


def test_a_set_point_lowered_under_the_air_begins_between_the_two_readings() -> None:
    hours = clock(24)
    air = np.where(hours < 12, 10.0, np.maximum(3.0, 10.0 - (hours - 12)))
    row = only(find_excursions(chilled(hours, air, set_point=np.where(hours < 12, 10.0, 3.0))))
    # 2 K inside the old band, 5 K beyond the new one.
    assert row["start"] == at(11.75) + timedelta(minutes=15 * 2 / 7)  # type: ignore[operator]


@pytest.mark.parametrize("air", [3.0, 9.0])
def test_a_unit_with_one_reading_has_no_excursion(air: float) -> None:
    assert find_excursions(chilled(np.array([0.0]), np.array([air]))).is_empty()


def test_a_log_without_rows_has_no_excursion() -> None:
    assert find_excursions(chilled(clock(3), clock(3)).clear()).is_empty()


def test_nothing_hangs_on_the_other_units() -> None:
    hours = clock(48)
    air = np.where((hours >= 10) & (hours < 20), 7.0, 3.0)
    one = find_excursions(chilled(hours, air))
    others = [
        log(hours, f"QXAU000000{number}", set_point=3.0, supply_air=air[::-1] + number / 10, return_air=3.0)
        for number in (0, 2)
    ]
    together = timeline(log(hours, set_point=3.0, supply_air=air, return_air=air), *others)
    found = find_excursions(together).filter(pl.col("container") == "QXAU0000001")
    assert found.equals(one)


def test_a_contract_band_of_one_unit_leaves_the_others_alone() -> None:
    hours = clock(24)
    logs = [
        log(hours, name, set_point=3.0, supply_air=np.where(hours > 12, 4.5, 3.0))
        for name in ("QXAU0000001", "QXAU0000002")
    ]
    found = find_excursions(timeline(*logs, bands=Bands(units={"QXAU0000002": (None, 1.0)})))
    assert found["container"].to_list() == ["QXAU0000002"]
    assert found["band_edge"].to_list() == [4.0]


def test_a_contract_may_give_frozen_cargo_a_lower_edge() -> None:
    hours = clock(24)
    air = np.where(hours > 12, -23.0, -18.0)
    logs = [log(hours, name, set_point=-18.0, return_air=air) for name in ("QXAU0000001", "QXAU0000002")]
    built = timeline(*logs, bands=Bands(units={"QXAU0000001": (2.0, None)}))
    edges = built.group_by("container", maintain_order=True).agg(pl.col("band_low", "band_high").last())
    assert edges.rows() == [("QXAU0000001", -20.0, -15.0), ("QXAU0000002", None, -15.0)]
    found = find_excursions(built)
    assert found["container"].to_list() == ["QXAU0000001"]
    assert found["peak"].to_list() == [-23.0]


def test_a_peak_between_two_readings_is_at_most_where_the_lines_beside_it_meet() -> None:
    """2.013 K/h up from 10 h and down again: 3 + 2.013 × 4.5 K at 14.5 h, between readings on the hour."""
    hours = clock(30, 60)
    air = 3 + 2.013 * np.clip(4.5 - np.abs(hours - 14.5), 0, None)
    row = only(find_excursions(chilled(hours, air)))
    assert row["peak"] == pytest.approx(3 + 2.013 * 4)
    assert row["peak_at_most"] == pytest.approx(3 + 2.013 * 4.5)
    # The triangle above the edge of 5 °C; the readings cut its tip off.
    height = 2.013 * 4.5 - 2
    assert row["degree_hours"] == pytest.approx(height**2 / 2.013 - 0.5 * 2.013 * 0.5)
    assert row["degree_hours_at_most"] == pytest.approx(height**2 / 2.013, abs=0.2)
    assert row["degree_hours_at_most"] >= height**2 / 2.013 - 1e-9  # type: ignore[operator]


def test_air_that_jumped_may_have_done_so_right_after_the_reading_before() -> None:
    """3.97 K beyond the edge from a reading inside at 10 h to the next one inside at 16 h, at most."""
    hours = clock(30, 60)
    air = np.where((hours > 10) & (hours < 16), 8.97, 3.0) + 0.001 * np.sin(hours)
    row = only(find_excursions(chilled(hours, air)))
    assert row["degree_hours_at_most"] == pytest.approx(6 * 3.97, abs=0.05)
    assert row["hours_at_most"] == 6.0
