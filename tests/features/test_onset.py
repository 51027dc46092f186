"""How a change came about: at once, as when a part breaks, or slowly, as when something leaks."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log
from tests.features.measured import measured, reason, value

DAYS = 8
HOURS = clock(24 * DAYS)
COLD: dict[str, Any] = {
    "set_point": -18.0,
    "ambient_air": 25.0,
    "return_air": -17.6,
    "compressor_state": True,
}
NOISE = np.random.default_rng(5).normal(0, 0.1, len(HOURS))


def split_of(split: np.ndarray) -> pl.DataFrame:
    return measured(log(HOURS, **COLD, supply_air=-17.6 - split))


def after(hour: float, over: float = 0.0) -> np.ndarray:
    """A change from 0 to 1 that begins at an hour and takes some hours."""
    if not over:
        return np.where(hour <= HOURS, 1.0, 0.0)
    return np.clip((HOURS - hour) / over, 0.0, 1.0)


# 100.5 h falls within an eight-hour slot, 104 h on its edge.
@pytest.mark.parametrize("hour", [100.5, 104.0])
def test_a_part_that_breaks_changes_all_at_once(hour: float) -> None:
    assert value(split_of(2.0 + 3.0 * after(hour) + NOISE), "split_abruptness") == pytest.approx(
        1.0, abs=0.05
    )


def test_what_leaks_for_sixty_hours_changes_slowly() -> None:
    """Two slots of 8 h show 16 of 60 h: 0.27 of the change. Hand calculation."""
    found = value(split_of(2.0 + 3.0 * after(90.0, over=60.0)), "split_abruptness")
    assert found == pytest.approx(16 / 60, abs=0.03)
    assert found < 0.4


def test_an_hour_long_disturbance_is_no_change() -> None:
    blip = np.where((HOURS > 100) & (HOURS < 101), 4.0, 0.0)
    assert value(split_of(2.0 + blip), "split_abruptness") is None


def test_what_does_not_change_has_no_onset() -> None:
    found = split_of(2.0 + NOISE)
    assert value(found, "split_abruptness") is None
    assert reason(found, "split_abruptness") == "the readings in hold do not give it"


def test_a_change_smaller_than_two_ordinary_differences_is_none() -> None:
    """0.3 K of split is ordinary between like units; a change of 0.5 K is none, of 0.7 K is one."""
    assert value(split_of(2.0 + 0.5 * after(104.0)), "split_abruptness") is None
    assert value(split_of(2.0 + 0.7 * after(104.0)), "split_abruptness") == pytest.approx(1.0)


def test_two_days_of_log_do_not_tell_a_step_from_a_slope() -> None:
    hours = clock(48)
    split = np.where(hours > 30, 5.0, 2.0)
    found = measured(log(hours, **COLD, supply_air=-17.6 - split))
    assert value(found, "split_abruptness") is None
    assert reason(found, "split_abruptness") == "6 of at least 9 readings in: hold"


def test_the_first_days_of_a_long_log_are_no_onset() -> None:
    """The cargo gives off its warmth for two days: the split of that time is no change of the unit."""
    assert value(split_of(2.0 + 3.0 * (1 - after(0.0, over=40.0))), "split_abruptness") is None


def test_a_circuit_feature_tells_its_onset_too() -> None:
    suction = np.where(HOURS >= 104, 0.6, 1.2)
    found = measured(
        log(HOURS, **COLD, supply_air=-19.5, suction_pressure=suction, suction_temperature=-15.0)
    )
    assert value(found, "superheat_abruptness") == pytest.approx(1.0)
    assert value(found, "coil_to_air_abruptness") == pytest.approx(1.0)
    assert reason(found, "valve_opening_abruptness") == "not logged: expansion valve"
