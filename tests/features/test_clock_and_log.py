"""Features of the log itself: the clock, the supply, the set point, sensors that stand still."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log
from tests.features.measured import measured, reason, value

HOURS = clock(72)
COLD: dict[str, Any] = {"set_point": -18.0, "supply_air": -19.5, "return_air": -17.6, "ambient_air": 25.0}


def unit(container: str = "QXAU0000001", **channels: Any) -> pl.DataFrame:
    return log(HOURS, container, **(COLD | channels))


# The clock.
VOYAGE = clock(168, 60)


def deck(number: int, ahead: float = 0.0, **channels: Any) -> pl.DataFrame:
    """A week on deck, warm by day and cool by night; the clock may run ahead. [h]"""
    weather = 25 + 4 * np.sin(2 * np.pi * VOYAGE / 24) + np.random.default_rng(number).normal(0, 0.4, 168)
    readings = COLD | {"ambient_air": weather} | channels
    return log(VOYAGE, f"QXAU{number:07}", START + timedelta(hours=ahead), **readings)


def lags(*logs: pl.DataFrame) -> list[float | None]:
    found = measured(*logs).filter(pl.col("feature") == "clock_lag").sort("container")
    return found["value"].to_list()


@pytest.mark.parametrize("ahead", [5.0, -7.0])
def test_a_clock_that_is_wrong_is_found_and_the_others_are_right(ahead: float) -> None:
    assert lags(*(deck(number) for number in range(11)), deck(11, ahead)) == [0.0] * 11 + [ahead]


def test_a_small_fleet_has_no_common_day() -> None:
    found = measured(*(deck(number) for number in range(6)), deck(6, 5.0))
    clocks = found.filter(pl.col("feature") == "clock_lag")
    assert clocks["value"].to_list() == [None] * 7
    assert set(clocks["reason"]) == {"0 of at least 48 readings in: all"}


def test_a_unit_below_deck_without_day_and_night_keeps_its_clock() -> None:
    below = deck(11, ambient_air=np.full(168, 31.0))
    assert lags(*(deck(number) for number in range(11)), below) == [0.0] * 12


def test_without_ambient_the_clock_is_not_judged() -> None:
    blind = deck(11).with_columns(ambient_air=pl.lit(None, dtype=pl.Float64))
    found = measured(*(deck(number) for number in range(11)), blind)
    assert reason(found, "clock_lag", "QXAU0000011") == "not logged: ambient air"


# The supply.
def test_each_loss_of_power_is_one_outage() -> None:
    off = ((HOURS >= 20) & (HOURS < 26)) | ((HOURS >= 40) & (HOURS < 41))
    found = measured(unit(power_state=~off))
    assert value(found, "outages") == 2.0
    assert value(found, "off_hours") == pytest.approx(7.0)


def test_a_log_that_begins_unplugged_has_not_lost_its_power() -> None:
    assert value(measured(unit(power_state=HOURS >= 6)), "outages") == 0.0


def test_a_blackout_of_the_ship_is_no_outage_of_a_unit() -> None:
    off = (HOURS >= 20) & (HOURS < 26)
    own = off | ((HOURS >= 50) & (HOURS < 52))
    fleet = [unit(f"QXAU000000{number}", power_state=~(own if number == 5 else off)) for number in range(6)]
    found = measured(*fleet).filter(pl.col("feature") == "outages").sort("container")
    assert found["value"].to_list() == [0.0, 0.0, 0.0, 0.0, 0.0, 1.0]


# The set point.
def test_a_set_point_that_was_moved_shows_by_how_much() -> None:
    moved = unit(set_point=np.where(HOURS < 30, -18.0, -20.5))
    assert value(measured(moved), "set_point_moved") == pytest.approx(-2.5)


def test_a_set_point_that_stayed_shows_zero_also_where_readings_are_missing() -> None:
    holes = [None if hour < 2 or hour > 70 else -18.0 for hour in HOURS]
    assert value(measured(unit(set_point=holes)), "set_point_moved") == 0.0


# The condenser.
def test_water_cooling_is_a_share_of_the_time_however_it_is_spelled() -> None:
    spelled = np.where(HOURS < 18, "Water", "AIR")
    assert value(measured(unit(condenser_cooling=spelled)), "water_cooled") == pytest.approx(0.25)


def test_cooling_that_is_not_logged_is_named() -> None:
    found = measured(unit())
    assert value(found, "water_cooled") is None
    assert reason(found, "water_cooled") == "not logged: condenser cooling (air or water)"


# Sensors that stand still.
SWING = np.sin(2 * np.pi * HOURS / 6)


def test_a_sensor_that_stands_while_the_other_moves_is_measured() -> None:
    """The supply air swings by 4 K; the return sensor repeats itself from the 30th to the 50th hour."""
    stands = (HOURS >= 30) & (HOURS < 50)
    returned = np.where(stands, -17.0, -17.6 + 0.5 * SWING)
    found = measured(unit(return_air=returned, supply_air=-19.5 + 2 * SWING))
    assert value(found, "return_air_stuck") == pytest.approx(4.0, abs=0.05)
    # The supply sensor never stands for two hours.
    assert value(found, "supply_air_stuck") == 0.0


def test_both_sensors_at_rest_are_not_stuck() -> None:
    found = measured(unit())
    assert value(found, "return_air_stuck") == 0.0
    assert value(found, "supply_air_stuck") == 0.0


def test_a_reading_that_repeats_itself_for_an_hour_is_not_stuck() -> None:
    hourly = np.floor(HOURS) * 0.1
    found = measured(unit(return_air=-17.6 + hourly % 1, supply_air=-19.5 + 2 * SWING))
    assert value(found, "return_air_stuck") == 0.0


def test_a_sensor_without_power_is_not_stuck() -> None:
    """Off for ten hours the controller repeats its last reading, while the other one is still live."""
    off = (HOURS >= 30) & (HOURS < 40)
    moving = -17.6 + 0.5 * SWING
    found = measured(
        unit(power_state=~off, return_air=np.where(off, -17.6, moving), supply_air=-19.5 + 2 * SWING)
    )
    assert value(found, "return_air_stuck") == 0.0
