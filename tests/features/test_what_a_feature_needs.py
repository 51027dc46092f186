"""From what on a feature is given, and where its figures stop meaning anything."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import CoolProp.CoolProp as coolprop
import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log
from tests.features.measured import measured, reason, value

from coldsift.features import FEATURES, View

HOURS = clock(48)
COLD: dict[str, Any] = {
    "set_point": -18.0,
    "supply_air": -19.5,
    "return_air": -17.6,
    "ambient_air": 30.0,
    "compressor_state": True,
}


def unit(**channels: Any) -> pl.DataFrame:
    return log(HOURS, **(COLD | channels))


CIRCUIT: dict[str, Any] = {
    "power": 3000.0,
    "compressor_frequency": 50.0,
    "suction_pressure": 0.8,
    "discharge_pressure": 8.0,
}


def test_a_frozen_unit_that_draws_less_than_an_atmosphere_has_all_figures_of_its_circuit() -> None:
    """0.8 and 8 bar absolute, 50 Hz, 1.9 K of split, 3 kW. Hand calculation."""
    found = measured(unit(**CIRCUIT))
    assert value(found, "pressure_ratio") == pytest.approx(10.0)
    assert value(found, "capacity_index") == pytest.approx(1.9 * 100 / (50 * 0.8))
    # ln 10 = 2.302585
    assert value(found, "power_for_flow") == pytest.approx(3000 * 100 / (50 * 0.8 * 2.302585), rel=1e-6)


@pytest.mark.parametrize(
    "odd",
    [
        {"compressor_frequency": 8.0},
        {"suction_pressure": 0.04, "discharge_pressure": 0.4},
        {"discharge_pressure": 0.9},
    ],
)
def test_a_compressor_that_moves_next_to_nothing_gives_no_power_for_its_flow(odd: dict[str, float]) -> None:
    """Barely turning, against a vacuum, or without a lift: the quotient would be all noise."""
    assert value(measured(unit(**(CIRCUIT | odd))), "power_for_flow") is None


@pytest.mark.parametrize("odd", [{"compressor_frequency": 8.0}, {"suction_pressure": 0.04}])
def test_a_compressor_that_moves_next_to_nothing_gives_no_capacity(odd: dict[str, float]) -> None:
    assert value(measured(unit(**(CIRCUIT | odd))), "capacity_index") is None


def test_a_coil_a_little_colder_than_the_air_shows_its_share() -> None:
    """2.5 K below the return air it could cool by as much: 1.9 K are 76 %, by hand."""
    bar = coolprop.PropsSI("P", "T", 273.15 - 17.6 - 2.5, "Q", 1, "R134a") / 1e5
    assert value(measured(unit(suction_pressure=bar)), "coil_use") == pytest.approx(0.76, abs=0.002)


def test_a_discharge_pressure_without_saturation_is_said_though_the_suction_has_one() -> None:
    found = measured(unit(suction_pressure=1.2, discharge_pressure=45.0, discharge_temperature=60.0))
    assert reason(found, "discharge_superheat") == (
        "no saturation temperature: a pressure is above the critical pressure"
    )


def test_an_outage_of_an_hour_and_three_quarters_shows_the_heat_leak() -> None:
    """The last reading without power comes 1.5 h after the first; half an hour of it the air settles."""
    off = (HOURS >= 20) & (HOURS < 21.75)
    air = np.where(off, 30.0 - 48.0 * np.exp(-(HOURS - 20) / 60.0), -18.0)
    found = measured(unit(power_state=~off, compressor_state=~off, return_air=air, supply_air=air))
    assert value(found, "warm_up_tau") == pytest.approx(60.0, rel=1e-6)


def test_a_pull_down_of_four_readings_has_its_rate() -> None:
    """From 20 to 7 °C in three quarters of an hour: 17.3 K/h. Hand calculation."""
    hours = clock(12)
    air = np.array([20.0, 15.0, 10.0, 7.0, *([3.0] * (len(hours) - 4))])
    found = measured(log(hours, set_point=3.0, supply_air=air, return_air=air + 1))
    assert value(found, "pull_down_rate") == pytest.approx(13 / 0.75)


@pytest.mark.parametrize("ahead", [11.0, -11.0])
def test_a_clock_is_found_that_is_wrong_by_nearly_half_a_day(ahead: float) -> None:
    hours = clock(168, 60)

    def deck(number: int, ahead: float = 0.0) -> pl.DataFrame:
        weather = 25 + 4 * np.sin(2 * np.pi * hours / 24) + np.random.default_rng(number).normal(0, 0.2, 168)
        start = START + timedelta(hours=ahead)
        return log(hours, f"QXAU{number:07}", start, **(COLD | {"ambient_air": weather}))

    found = measured(*(deck(number) for number in range(9)), deck(9, ahead))
    assert found.filter(pl.col("feature") == "clock_lag")["value"].to_list() == [0.0] * 9 + [ahead]


def test_a_unit_that_has_not_changed_has_no_shift_and_no_trend() -> None:
    changes = [feature for feature in FEATURES.values() if feature.view in {View.SHIFT, View.TREND}]
    assert changes
    assert {feature.usual for feature in changes} == {(0.0, 0.0)}


def test_every_feature_says_a_difference_that_is_still_ordinary_and_a_range_that_is_one() -> None:
    for feature in FEATURES.values():
        assert feature.scale > 0
        assert feature.minimum >= 1
        if feature.usual:
            assert feature.usual[0] <= feature.usual[1]
