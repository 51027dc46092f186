from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
from tests.builders import START, clock, log, timeline

from coldsift.regimes import build_timeline, find_defrosts, find_voyage_events, regime_intervals, unit_traits


def regimes(frame: pl.DataFrame) -> list[str]:
    return frame["regime"].cast(str).to_list()


def frozen(hours: np.ndarray, container: str = "QXAU0000001", **channels: object) -> pl.DataFrame:
    values = {"set_point": -18.0, "supply_air": -19.0, "return_air": -17.5, "ambient_air": 25.0} | channels
    return log(hours, container, **values)


def test_a_unit_at_its_set_point_holds() -> None:
    assert set(regimes(timeline(frozen(clock(48))))) == {"hold"}


def test_cargo_loaded_warm_is_pulled_down_first() -> None:
    hours = clock(60)
    air = -18 + 20 * np.exp(-hours / 8)
    found = timeline(frozen(hours, return_air=air))
    first_inside = hours[air <= -15][0]
    expected = ["pull_down" if hour < first_inside else "hold" for hour in hours]
    assert regimes(found) == expected


def test_a_pull_down_that_no_longer_gains_ends() -> None:
    hours = clock(72)
    air = np.where(hours < 20, 10 - hours * 0.8, -6.0)
    found = timeline(frozen(hours, return_air=air)).with_columns(hour=pl.Series(hours))
    assert set(regimes(found.filter(pl.col("hour") < 20))) == {"pull_down"}
    assert set(regimes(found.filter(pl.col("hour") > 33))) == {"hold"}


def test_frozen_cargo_is_controlled_on_return_air_and_chilled_on_supply_air() -> None:
    hours = clock(4)
    cold = timeline(frozen(hours))
    chilled = timeline(log(hours, set_point=2.0, supply_air=2.1, return_air=3.5))
    assert cold["controlling_air"].to_list() == [-17.5] * len(hours)
    assert chilled["controlling_air"].to_list() == [2.1] * len(hours)


def test_a_logged_defrost_is_a_defrost_and_what_follows_is_recovery() -> None:
    hours = clock(24)
    defrosting = (hours >= 10) & (hours < 10.5)
    warm_after = (hours >= 10.5) & (hours < 11.25)
    air = np.where(defrosting | warm_after, -12.0, -17.5)
    found = timeline(frozen(hours, return_air=air, defrost_state=defrosting))
    assert found.filter(pl.col("regime") == "defrost").height == 2
    assert found.filter(pl.col("regime") == "recovery").height == 3
    defrosts = find_defrosts(found)
    assert defrosts["from_flag"].to_list() == [True]
    assert defrosts["minutes"].to_list() == [30.0]
    assert defrosts["recovery_minutes"].to_list() == [45.0]


def test_a_defrost_without_a_flag_is_known_by_its_warm_coil() -> None:
    hours = clock(24)
    defrosting = (hours >= 10) & (hours < 10.5)
    found = timeline(
        frozen(
            hours,
            evaporator_temperature=np.where(defrosting, 12.0, -24.0),
            compressor_state=~defrosting,
        )
    )
    defrosts = find_defrosts(found)
    assert defrosts["start"].to_list() == [START + timedelta(hours=10)]
    assert defrosts["termination_temperature"].to_list() == [12.0]
    assert defrosts["from_flag"].to_list() == [False]


def test_a_compressor_that_never_starts_is_not_one_long_defrost() -> None:
    hours = clock(48)
    dead = hours > 10
    found = timeline(
        frozen(hours, evaporator_temperature=np.where(dead, 10.0, -24.0), compressor_state=~dead)
    )
    assert find_defrosts(found).is_empty()


def test_without_power_a_unit_is_off_and_then_recovers() -> None:
    hours = clock(48)
    off = (hours >= 20) & (hours < 26)
    air = np.where(off | ((hours >= 26) & (hours < 27)), -12.0, -17.5)
    found = timeline(frozen(hours, return_air=air, power_state=~off)).with_columns(hour=pl.Series(hours))
    assert set(regimes(found.filter(pl.col("hour").is_between(20, 25.9)))) == {"off"}
    assert set(regimes(found.filter(pl.col("hour").is_between(26, 26.9)))) == {"recovery"}
    assert set(regimes(found.filter(pl.col("hour") >= 27))) == {"hold"}


def test_an_ordered_set_point_change_is_a_step_then_a_recovery() -> None:
    hours = clock(48)
    set_point = np.where(hours < 24, 5.0, 0.0)
    supply = np.where(hours < 24, 5.0, np.maximum(0.0, 5.0 - (hours - 24) * 2))
    found = timeline(log(hours, set_point=set_point, supply_air=supply, return_air=supply + 1))
    assert found.filter(pl.col("regime") == "set_point_step")["time"].to_list() == [
        START + timedelta(hours=24)
    ]
    assert found.filter(pl.col("regime") == "recovery").height == 5


def test_missing_readings_are_unknown_and_never_bridged() -> None:
    hours = np.concatenate([clock(10), clock(10) + 30])
    intervals = regime_intervals(timeline(frozen(hours)))
    assert intervals["regime"].cast(str).to_list() == ["hold", "unknown", "hold"]
    unknown = intervals.row(1, named=True)
    assert unknown["start"] == START + timedelta(hours=10)
    assert unknown["end"] == START + timedelta(hours=30)


def test_a_ship_wide_blackout_is_one_event_of_the_ship() -> None:
    hours = clock(48)
    off = (hours >= 20) & (hours < 22)
    fleet = [frozen(hours, f"QXAU000000{number}", power_state=~off) for number in range(8)]
    built = build_timeline(pl.concat(fleet))
    events = find_voyage_events(regime_intervals(built))
    assert events["units"].to_list() == [8]
    assert events["start"].to_list() == [START + timedelta(hours=20)]
    assert events["end"].to_list() == [START + timedelta(hours=22)]
    assert timeline(*fleet).filter(pl.col("regime") == "off")["shared"].all()


def test_one_unit_without_power_is_its_own_matter() -> None:
    hours = clock(48)
    off = (hours >= 20) & (hours < 22)
    fleet = [frozen(hours, f"QXAU000000{number}", power_state=~(off & (number == 3))) for number in range(8)]
    built = timeline(*fleet)
    assert not built["shared"].any()


def test_a_log_of_one_reading_does_no_harm() -> None:
    built = timeline(frozen(np.array([0.0])))
    assert built["hours"].to_list() == [0.0]
    assert find_defrosts(built).is_empty()


def test_one_unit_with_a_wrong_clock_does_not_stretch_the_voyage_of_the_others() -> None:
    fleet = [frozen(clock(72), f"QXAU000000{number}") for number in range(5)]
    lost = log(clock(72), "QXAU0000009", start=START - timedelta(days=400), set_point=-18.0, return_air=-17.5)
    coverage = unit_traits(timeline(*fleet, lost))["coverage"]
    assert (coverage > 0.95).all()
