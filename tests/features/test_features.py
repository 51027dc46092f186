from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log
from tests.features.measured import measured, reason, value

from coldsift.features import FEATURES

HOURS = clock(72)
PLAIN: dict[str, Any] = {"set_point": -18.0, "supply_air": -19.5, "return_air": -17.6, "ambient_air": 25.0}


def test_every_feature_has_a_value_or_a_reason() -> None:
    found = measured(log(HOURS, **PLAIN))
    assert set(found["feature"]) == set(FEATURES)
    assert (found["value"].is_null() == found["reason"].is_not_null()).all()


def test_the_split_is_return_minus_supply() -> None:
    assert value(measured(log(HOURS, **PLAIN)), "split") == pytest.approx(1.9)


def test_a_defrost_does_not_enter_the_split() -> None:
    defrosting = (HOURS % 12) < 0.5
    supply = np.where(defrosting, 20.0, -19.5)
    with_defrosts = measured(log(HOURS, **(PLAIN | {"supply_air": supply, "defrost_state": defrosting})))
    assert value(with_defrosts, "split") == pytest.approx(1.9)
    assert value(with_defrosts, "defrost_interval") == pytest.approx(12.0)
    assert value(with_defrosts, "defrost_minutes") == pytest.approx(30.0)


def test_a_channel_that_is_not_logged_is_named() -> None:
    found = measured(log(HOURS, **PLAIN))
    assert reason(found, "suction_pressure_running") == "not logged: suction pressure"
    assert reason(found, "current_imbalance") == "not logged: current 1, current 2, current 3"


def test_too_few_readings_give_a_reason_and_no_value() -> None:
    found = measured(log(clock(1), **PLAIN))
    assert value(found, "split") is None
    assert reason(found, "split") == "4 of at least 8 readings in: hold"


def test_current_imbalance_follows_the_definition() -> None:
    """Currents 9, 10 and 11 A: mean 10, largest distance 1, so 10 %. Hand calculation."""
    found = measured(log(HOURS, **PLAIN, current_1=9.0, current_2=10.0, current_3=11.0))
    assert value(found, "current_imbalance") == pytest.approx(10.0)


def test_a_change_in_the_last_days_shows_against_the_units_own_past() -> None:
    hours = clock(24 * 8)
    pressure = np.where(hours > 24 * 6, 1.1, 1.6)
    found = measured(log(hours, **PLAIN, suction_pressure=pressure, compressor_state=True))
    assert value(found, "suction_pressure_running") == pytest.approx(1.6)
    assert value(found, "suction_pressure_running_now") == pytest.approx(1.1)
    assert value(found, "suction_pressure_running_shift") == pytest.approx(-0.5)


def test_a_log_of_one_day_has_no_past_to_shift_from() -> None:
    assert value(measured(log(clock(24), **PLAIN)), "split_shift") is None


def test_hours_without_power_are_summed() -> None:
    off = (HOURS >= 20) & (HOURS < 26)
    assert value(measured(log(HOURS, **PLAIN, power_state=~off)), "off_hours") == pytest.approx(6.0)


def test_a_blackout_of_the_ship_is_not_held_against_a_unit() -> None:
    off = (HOURS >= 20) & (HOURS < 26)
    fleet = [log(HOURS, f"QXAU000000{number}", **PLAIN, power_state=~off) for number in range(6)]
    found = measured(*fleet)
    assert set(found.filter(pl.col("feature") == "off_hours")["value"]) == {0.0}


def test_coverage_leaves_gaps_out() -> None:
    hours = np.concatenate([clock(24), clock(24) + 48])
    found = measured(log(hours, **PLAIN))
    assert value(found, "log_hours") == pytest.approx(48.0, abs=0.3)
    assert value(found, "longest_gap") == pytest.approx(24.25)


def test_an_unfinished_pull_down_says_how_long_it_still_needs() -> None:
    """T = −20 + 40 e^(−t/10 h) reaches the band edge at −15 °C after 10 ln 8 = 20.79 h. Hand calculation."""
    hours = clock(16)
    air = -20 + 40 * np.exp(-hours / 10)
    found = measured(log(hours, set_point=-18.0, return_air=air, supply_air=air - 3))
    assert value(found, "pull_down_tau") == pytest.approx(10.0, rel=0.01)
    assert value(found, "pull_down_end") == pytest.approx(-2.0, abs=0.05)
    assert value(found, "hours_to_set_point_predicted") == pytest.approx(10 * np.log(8) - 15.75, abs=0.1)
    assert value(found, "hours_to_set_point") is None


def test_a_straight_fall_has_no_time_constant() -> None:
    hours = clock(16)
    found = measured(log(hours, set_point=-18.0, return_air=20 - hours, supply_air=15 - hours))
    assert value(found, "pull_down_tau") is None
    assert value(found, "pull_down_rate") == pytest.approx(1.0)


def test_an_air_sensor_that_stands_still_is_measured() -> None:
    noise = np.round(np.random.default_rng(3).normal(0, 0.3, len(HOURS)), 1)
    stuck = np.where(HOURS > 40, -17.0, -17.6 + noise)
    found = measured(log(HOURS, **(PLAIN | {"return_air": stuck, "supply_air": -19.5 + noise})))
    assert value(found, "return_air_flat") == pytest.approx(31.75, abs=0.3)
    assert value(found, "supply_air_flat") < 3
