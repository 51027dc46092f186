"""What every unit did on every day."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log, timeline

from coldsift.days import unit_days
from coldsift.excursions import by_day, find_excursions
from coldsift.peers import peer_span
from coldsift.regimes import find_defrosts
from coldsift.schema import UNIT_DAYS

FIRST = START.date()


def frozen(hours: np.ndarray, container: str = "QXAU0000001", **channels: Any) -> pl.DataFrame:
    values = {"set_point": -18.0, "supply_air": -19.5, "return_air": -17.5, "ambient_air": 25.0} | channels
    return log(hours, container, **values)


def days_of(*logs: pl.DataFrame) -> pl.DataFrame:
    built = timeline(*logs)
    return unit_days(built, find_defrosts(built), find_excursions(built))


def test_a_unit_that_holds_has_whole_days_in_its_band() -> None:
    found = days_of(frozen(clock(72.25)))
    assert found.columns == UNIT_DAYS.names
    assert found["day"].to_list() == [FIRST + timedelta(days=day) for day in range(4)]
    whole = found.head(3)
    assert whole["coverage"].to_list() == [1.0] * 3
    for column in ("hours_off", "hours_outside", "degree_hours", "defrosts", "alarms"):
        assert whole[column].to_list() == [0] * 3
    assert whole["split"].to_list() == [2.0] * 3
    assert whole["longest_defrost"].null_count() == 3


def test_the_last_reading_at_midnight_begins_a_day_of_which_nothing_can_be_covered() -> None:
    last = days_of(frozen(clock(24.25))).row(1, named=True)
    assert (last["day"], last["coverage"], last["air_middle"]) == (FIRST + timedelta(days=1), None, -17.5)


def test_a_day_is_covered_as_far_as_the_whole_voyage_reaches() -> None:
    """One unit is logged from midnight to 18:00 on the second day, the other from 12:00 to 12:00."""
    found = days_of(frozen(clock(42.25)), frozen(12 + clock(24.25), "QXAU0000002"))
    assert found["coverage"].to_list() == pytest.approx([1.0, 1.0, 0.5, 12 / 18])


def test_days_without_any_reading_stay_as_rows() -> None:
    hours = np.concatenate([clock(30), clock(30) + 96])
    found = days_of(frozen(hours))
    assert found["day"].to_list() == [FIRST + timedelta(days=day) for day in range(6)]
    # The reading at 05:45 on the second day stands for a quarter of an hour.
    assert found["coverage"].to_list() == pytest.approx([1.0, 0.25, 0.0, 0.0, 1.0, 1.0])
    empty = found.filter(pl.col("coverage") == 0).drop("container", "day", "coverage")
    assert empty.null_count().row(0) == (2,) * empty.width


def test_what_a_reading_stands_for_is_cut_at_midnight() -> None:
    """Hourly at half past: the reading of 23:30 belongs to both days by halves."""
    hours = np.arange(0.5, 48, 1.0)
    off = (hours > 20) & (hours < 30)
    found = days_of(frozen(hours, power_state=~off))
    # Off from the reading of 20:30 to that of 06:30 next day.
    assert found["hours_off"].to_list() == pytest.approx([3.5, 6.5])
    assert found["coverage"].to_list() == pytest.approx([1.0, 1.0])


def test_a_log_with_one_reading_a_day_and_a_half_covers_its_days() -> None:
    found = days_of(frozen(np.arange(6) * 36.0))
    assert found.height == 8
    assert found["coverage"].to_list()[:-1] == pytest.approx([1.0] * 7)


def test_an_excursion_over_midnight_is_divided_between_its_days() -> None:
    """From −17.5 °C straight up through the edge at −15 °C at 20:00, 1 K/h, and down again from 02:00."""
    hours = clock(48)
    air = -15 + np.where(hours < 26, hours - 20, 32 - hours).clip(-2.5)
    found = days_of(frozen(hours, return_air=air))
    assert found["hours_outside"].to_list() == pytest.approx([4.0, 8.0])
    # Half of 4 h × 4 K until midnight; of the whole triangle, 12 h × 6 K, the rest after it.
    assert found["degree_hours"].to_list() == pytest.approx([8.0, 28.0])


def test_midnight_between_two_readings_divides_the_area_under_a_straight_line() -> None:
    """Beyond the edge by 0 K at 21:00 and by 6 K at 03:00: the line crosses midnight at 3 K."""
    hours = np.arange(0, 48, 6.0) + 3
    beyond = np.array([-3.0, -3.0, -3.0, 0.0, 6.0, 6.0, -3.0, -3.0])
    found = days_of(frozen(hours, return_air=-15 + beyond))
    assert found["degree_hours"][0] == pytest.approx(3 * 3 / 2)
    assert found["hours_outside"][0] == pytest.approx(3.0)


def test_the_days_of_an_excursion_add_up_to_it_whatever_the_log_interval() -> None:
    generator = np.random.default_rng(8)
    hours = np.cumsum(generator.uniform(0.3, 1.2, 400))
    hours[200:] += 9
    air = -17 + 4 * np.sin(hours / 17) + generator.normal(0, 0.3, len(hours))
    built = timeline(frozen(hours, return_air=air))
    excursions = find_excursions(built)
    own = excursions.filter(pl.col("kind") == "excursion")
    divided = by_day(built, own)
    assert own.height >= 4
    assert divided["hours"].sum() == pytest.approx(own["hours"].sum())
    assert divided["degree_hours"].sum() == pytest.approx(own["degree_hours"].sum())
    assert divided["hours"].max() <= 24.0  # type: ignore[operator]
    assert unit_days(built, find_defrosts(built), excursions)["hours_outside"].sum() == pytest.approx(
        own["hours"].sum()
    )


def test_an_excursion_across_a_gap_counts_the_hours_that_were_read() -> None:
    hours = np.concatenate([clock(30), clock(18) + 45])
    air = np.where(hours < 20, -17.5, -10.0)
    found = days_of(frozen(hours, return_air=air))
    # Out a third of the way to 20:00; on the second day until 05:45, and again from 21:00.
    assert found["hours_outside"].to_list() == pytest.approx([4 + 0.25 * 2 / 3, 5.75 + 3, 14.75])


def test_cargo_loaded_warm_is_no_excursion_of_its_days() -> None:
    hours = clock(48)
    found = days_of(frozen(hours, return_air=-18 + 20 * np.exp(-hours / 8)))
    assert found["hours_outside"].to_list() == [0.0, 0.0]


def test_without_a_set_point_nobody_knows_whether_the_air_was_outside() -> None:
    hours = clock(48)
    found = days_of(frozen(hours, set_point=[None] * len(hours)))
    assert found["hours_outside"].null_count() == 2
    assert found["degree_hours"].null_count() == 2
    assert found["split"].null_count() == 2
    assert found["coverage"].to_list() == [1.0, 1.0]
    assert found["hours_off"].to_list() == [0.0, 0.0]


def test_defrosts_count_on_the_day_they_begin() -> None:
    hours = clock(48)
    late = (hours >= 23.75) & (hours < 24.75)
    short = (hours >= 30) & (hours < 30.5)
    at_the_end = hours >= 47.5
    found = days_of(frozen(hours, defrost_state=late | short | at_the_end))
    assert found["defrosts"].to_list() == [1, 2]
    assert found["longest_defrost"].to_list() == [60.0, 30.0]
    assert found["unterminated_defrosts"].to_list() == [0, 1]


def test_the_air_of_a_day_leaves_out_defrosts_and_hours_without_power() -> None:
    hours = clock(24)
    defrosting, off = (hours >= 2) & (hours < 5), (hours >= 10) & (hours < 16)
    air = np.where(defrosting, 5.0, np.where(off, -8.0, -17.5))
    found = days_of(frozen(hours, return_air=air, defrost_state=defrosting, power_state=~off))
    assert [found[f"air_{which}"][0] for which in ("low", "middle", "high")] == [-17.5] * 3


def test_the_range_of_a_day_is_that_of_eighty_readings_in_a_hundred() -> None:
    hours = clock(24)
    air = np.random.default_rng(2).normal(-18, 0.5, len(hours))
    row = days_of(frozen(hours, return_air=air)).row(0, named=True)
    assert [row["air_low"], row["air_middle"], row["air_high"]] == pytest.approx(
        np.percentile(air, [10, 50, 90])
    )


def test_the_split_is_taken_while_the_unit_cools() -> None:
    hours = clock(24)
    running = hours < 18
    supply = np.where(running, -19.5, -17.5)
    assert days_of(frozen(hours, supply_air=supply, compressor_state=running))["split"][0] == 2.0
    standing = np.zeros(len(hours), dtype=bool)
    assert days_of(frozen(hours, compressor_state=standing))["split"][0] is None


def test_alarms_count_by_their_texts() -> None:
    hours = clock(48)
    alarms = [["LOW SUCTION", "PROBE"] if 3 <= hour < 9 else ["PROBE"] if hour < 12 else [] for hour in hours]
    assert days_of(frozen(hours, alarms=alarms))["alarms"].to_list() == [2, 0]


def test_a_log_of_one_reading_is_a_day_of_which_nothing_is_known_to_be_covered() -> None:
    found = days_of(frozen(np.array([5.0])))
    assert found.height == 1
    row = found.row(0, named=True)
    assert row["coverage"] is None
    assert (row["air_middle"], row["hours_outside"], row["hours_off"]) == (-17.5, 0.0, 0.0)


def test_no_log_has_no_days() -> None:
    assert days_of(frozen(clock(1)).clear()).equals(UNIT_DAYS.empty())


def test_days_are_those_of_utc_and_of_each_unit_alone() -> None:
    found = days_of(frozen(clock(24)), frozen(clock(48), "QXAU0000002"))
    assert found.group_by("container", maintain_order=True).len()["len"].to_list() == [1, 2]
    assert found["day"].dtype == pl.Date
    assert found["day"].max() == date(2026, 1, 6)


def test_the_days_of_a_unit_are_the_same_in_whatever_batch_it_came() -> None:
    built = timeline(frozen(clock(42.25)), frozen(12 + clock(24.25), "QXAU0000002"))
    defrosts, excursions = find_defrosts(built), find_excursions(built)
    spans, of = peer_span(built), pl.col("container")
    alone = [
        unit_days(built.filter(of == each), defrosts.filter(of == each), excursions.filter(of == each), spans)
        for each in spans["container"]
    ]
    assert pl.concat(alone).equals(unit_days(built, defrosts, excursions))
