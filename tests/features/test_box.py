"""Features of the box: humidity, vent, cargo, and how fast it warms without power."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log
from tests.features.measured import measured, reason, value

HOURS = clock(72)
COLD: dict[str, Any] = {"set_point": -18.0, "supply_air": -19.5, "return_air": -17.6, "ambient_air": 30.0}


def unit(container: str = "QXAU0000001", **channels: Any) -> pl.DataFrame:
    return log(HOURS, container, **(COLD | channels))


def test_humidity_in_a_defrost_is_not_that_of_the_hold() -> None:
    defrosting = HOURS % 6 < 2
    found = measured(unit(defrost_state=defrosting, humidity=np.where(defrosting, 60.0, 85.0)))
    assert value(found, "humidity_in_hold") == 85.0


def test_the_fresh_air_vent_is_that_of_the_hold() -> None:
    assert value(measured(unit(fresh_air_vent=35.0)), "vent_flow") == 35.0


def test_cargo_is_held_against_the_supply_air() -> None:
    """Probes at −17 and −16 °C: 3 K above supply air at −19.5 °C. Hand calculation."""
    found = measured(unit(cargo_probe_1=-17.0, cargo_probe_2=-16.0))
    assert value(found, "cargo_above_supply") == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("feature", "missing"),
    [
        ("humidity_in_hold", "relative humidity"),
        ("vent_flow", "fresh-air vent"),
        ("cargo_above_supply", "cargo probe 1"),
    ],
)
def test_box_channels_that_are_not_logged_are_named(feature: str, missing: str) -> None:
    found = measured(unit())
    assert value(found, feature) is None
    assert reason(found, feature) == f"not logged: {missing}"


def warming(hours: float, tau: float, start: float = 20.0, container: str = "QXAU0000001") -> pl.DataFrame:
    """A unit that loses its power for some hours and warms with the time constant ``tau``. [h]"""
    since = HOURS - start
    off = (since >= 0) & (since < hours)
    air = np.where(off, 30.0 - 48.0 * np.exp(-since / tau), -18.0)
    return unit(container, power_state=~off, compressor_state=~off, return_air=air, supply_air=air)


@pytest.mark.parametrize("tau", [20.0, 60.0, 432.1])
def test_the_time_constant_of_a_warm_up_is_found(tau: float) -> None:
    assert value(measured(warming(6.0, tau)), "warm_up_tau") == pytest.approx(tau, rel=1e-6)


def test_of_several_outages_the_middle_one_counts() -> None:
    """Time constants of 40, 60 and 200 h in three outages: 60 h."""
    air = np.full(len(HOURS), -18.0)
    off = np.zeros(len(HOURS), dtype=bool)
    for start, tau in ((10.0, 40.0), (30.0, 60.0), (50.0, 200.0)):
        since = HOURS - start
        here = (since >= 0) & (since < 5)
        air = np.where(here, 30.0 - 48.0 * np.exp(-since / tau), air)
        off |= here
    found = measured(unit(power_state=~off, return_air=air, supply_air=air))
    assert value(found, "warm_up_tau") == pytest.approx(60.0, rel=1e-6)


def test_a_blackout_of_the_ship_shows_the_heat_leak_too() -> None:
    fleet = [warming(6.0, 60.0, container=f"QXAU000000{number}") for number in range(6)]
    found = measured(*fleet)
    assert set(found.filter(pl.col("feature") == "off_hours")["value"]) == {0.0}
    taus = found.filter(pl.col("feature") == "warm_up_tau")["value"]
    assert taus.to_list() == pytest.approx([60.0] * 6, rel=1e-6)


def test_a_gap_in_the_log_is_no_warm_up() -> None:
    """Six hours are missing, and the air is warmer after them: what went on in between is not known."""
    kept = (HOURS < 20) | (HOURS >= 26)
    air = np.where((HOURS >= 26) & (HOURS < 30), -10.0, -18.0)[kept]
    gap = log(HOURS[kept], **(COLD | {"return_air": air, "supply_air": air, "power_state": True}))
    assert value(measured(gap), "warm_up_tau") is None


def test_readings_that_end_with_the_supply_are_no_warm_up() -> None:
    """The controller logs one hour on its battery, then falls silent until the supply is back."""
    whole = warming(8.0, 60.0)
    silent = whole.filter(~pl.Series((HOURS >= 21) & (HOURS < 28)))
    assert value(measured(silent), "warm_up_tau") is None


def test_an_hour_without_power_shows_the_air_settling_not_the_box_warming() -> None:
    found = measured(warming(1.0, 60.0))
    assert value(found, "warm_up_tau") is None
    assert reason(found, "warm_up_tau") == "0 of at least 1 readings in: off"


def test_a_box_about_as_warm_as_its_surroundings_shows_no_leak() -> None:
    found = measured(
        unit(
            set_point=27.0,
            supply_air=np.where(HOURS < 20, 27.0, 27.0 + 0.1 * (HOURS - 20)),
            return_air=27.0,
            power_state=HOURS < 20,
        )
    )
    assert value(found, "warm_up_tau") is None


def test_without_ambient_there_is_no_warm_up() -> None:
    found = measured(warming(6.0, 60.0).with_columns(ambient_air=pl.lit(None, dtype=pl.Float64)))
    assert reason(found, "warm_up_tau") == "not logged: ambient air"
