"""Every cause shows against the same machine in order, in the way the trade expects."""

from datetime import timedelta

import polars as pl
import pytest
from benchmarks.second_plant.upsets import UPSETS
from polars.testing import assert_frame_equal

from coldsift.simulate import CAUSES

from .conftest import LATE, START

EXPECTED = {
    "expansion_valve_not_opening": ("return_air", 5.0),
    "expansion_valve_stuck_open": ("discharge_temperature", -10.0),
    "economizer_valve_stuck": ("economizer_valve", -10.0),
    "low_refrigerant": ("return_air", 1.0),
    "overcharge_or_air": ("discharge_pressure", 2.0),
    "condenser_fouled": ("discharge_pressure", 2.0),
    "condenser_fan_failed": ("discharge_pressure", 5.0),
    "condenser_water_flow": ("discharge_pressure", 4.0),
    "evaporator_iced": ("supply_air", -1.0),
    "heater_stuck_on": ("current_1", 3.0),
    "evaporator_fan_failed": ("supply_air", -2.0),
    "compressor_worn": ("compressor_state", 0.1),
    "compressor_not_starting": ("return_air", 5.0),
    "phase_imbalance": ("voltage_3", -50.0),
    "power_interrupted": ("power_state", -0.2),
    "vent_left_open": ("current_1", 0.3),
    "door_or_seal_leak": ("compressor_state", 0.15),
    "warm_cargo": ("compressor_state", 0.15),
}
"""Mean of a channel on the last day, fault less twin, at least; signs and rough sizes common practice."""


def rows(fleet, cause, faulty):
    container = next(unit.container for unit in faulty.plan.units if unit.cause == cause)
    return fleet.log.filter(pl.col("container") == container)


def late_mean(log, channel):
    return log.filter(pl.col("time") >= LATE)[channel].cast(pl.Float64).mean()


def test_the_table_of_upsets_has_every_cause():
    assert set(UPSETS) == set(CAUSES)


@pytest.mark.parametrize("cause", CAUSES)
def test_every_cause_changes_the_log(cause, faulty, twins):
    ours, sound = (
        rows(fleet, cause, faulty).filter(pl.col("time") >= LATE).drop("row") for fleet in (faulty, twins)
    )
    assert not ours.equals(sound)


@pytest.mark.parametrize("cause", EXPECTED)
def test_a_fault_moves_its_channel_the_right_way(cause, faulty, twins):
    channel, least = EXPECTED[cause]
    moved = late_mean(rows(faulty, cause, faulty), channel) - late_mean(rows(twins, cause, faulty), channel)
    assert moved * (1 if least > 0 else -1) >= abs(least)


def test_a_unit_is_its_sound_twin_until_the_fault_comes(faulty, twins):
    before = START + timedelta(hours=8)
    later = [unit.container for unit in faulty.plan.units if unit.onset_hours > 0.0]
    early = pl.col("container").is_in(later) & (pl.col("time") < before)
    assert_frame_equal(faulty.log.filter(early).drop("row"), twins.log.filter(early).drop("row"))


def test_a_withheld_defrost_never_comes(faulty, twins):
    after = START + timedelta(hours=9)
    for fleet, expected in ((faulty, False), (twins, True)):
        container = rows(faulty, "defrost_not_starting", faulty)["container"][0]
        found = fleet.defrosts.filter((pl.col("container") == container) & (pl.col("start") > after))
        assert (len(found) > 0) is expected


@pytest.mark.parametrize("cause", ["defrost_not_terminating", "heater_failed"])
def test_a_defrost_without_end_or_without_heat_runs_to_its_limit(cause, faulty, twins):
    after = START + timedelta(hours=9)
    container = rows(faulty, cause, faulty)["container"][0]
    longest = {}
    for name, fleet in (("fault", faulty), ("twin", twins)):
        found = fleet.defrosts.filter((pl.col("container") == container) & (pl.col("start") > after))
        longest[name] = (found["end"] - found["start"]).dt.total_minutes().max()
    assert longest["fault"] > longest["twin"] + 15


def test_a_drifting_control_probe_pulls_the_cargo_air_along(faulty, twins):
    for cause, other in (("supply_sensor_drift", "return_air"), ("return_sensor_drift", "supply_air")):
        drift = faulty.truth.filter(pl.col("cause") == cause)["probe_drift"][0]
        moved = late_mean(rows(faulty, cause, faulty), other) - late_mean(rows(twins, cause, faulty), other)
        assert moved * -drift > 0
        assert abs(moved) > 1.0


def test_another_drifting_probe_is_off_by_its_drift(faulty, twins):
    truth = faulty.truth.filter(pl.col("cause") == "other_sensor_drift")
    probe, drift = truth["probe"][0], truth["probe_drift"][0]
    cause = "other_sensor_drift"
    moved = late_mean(rows(faulty, cause, faulty), probe) - late_mean(rows(twins, cause, faulty), probe)
    assert moved * drift > 0
    assert abs(moved) > 0.5 * abs(drift)


def test_a_stuck_probe_repeats_one_figure(faulty, twins):
    probe = faulty.truth.filter(pl.col("cause") == "sensor_stuck")["probe"][0]
    after = pl.col("time") > START + timedelta(hours=8.5)
    assert rows(faulty, "sensor_stuck", faulty).filter(after)[probe].drop_nulls().n_unique() == 1
    assert rows(twins, "sensor_stuck", faulty).filter(after)[probe].drop_nulls().n_unique() > 3


def test_swapped_probes_show_return_colder_than_supply(faulty, twins):
    split = {
        name: late_mean(rows(fleet, "sensors_swapped", faulty), "return_air")
        - late_mean(rows(fleet, "sensors_swapped", faulty), "supply_air")
        for name, fleet in (("fault", faulty), ("twin", twins))
    }
    assert split["twin"] > 0.5
    assert split["fault"] < -0.3


def test_a_wrong_set_point_is_logged_and_followed(faulty, twins):
    ours, sound = (rows(fleet, "set_point_wrong", faulty) for fleet in (faulty, twins))
    shift = late_mean(ours, "set_point") - late_mean(sound, "set_point")
    assert abs(shift) >= 3.0
    assert late_mean(ours, "return_air") - late_mean(sound, "return_air") == pytest.approx(shift, abs=1.5)


def test_a_tripping_protector_makes_many_starts(faulty, twins):
    starts = {
        name: rows(fleet, "short_cycling", faulty)["compressor_state"].cast(pl.Int8).diff().eq(1).sum()
        for name, fleet in (("fault", faulty), ("twin", twins))
    }
    assert starts["fault"] > 3 * (starts["twin"] + 5)


def test_a_clock_set_ahead_leaves_a_gap(faulty):
    gaps = rows(faulty, "clock_wrong", faulty)["time"].diff().drop_nulls()
    assert gaps.max() >= timedelta(hours=9)
    assert rows(faulty, "clock_wrong", faulty)["time"].is_sorted()
