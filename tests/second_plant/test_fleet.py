"""Frames, plan, truth, blackouts, hard cases."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from benchmarks.second_plant import simulate
from benchmarks.second_plant.fleet import build_machines
from benchmarks.second_plant.weather import TRACKS, sail_through

from coldsift.schema import COMMON_LOG
from coldsift.simulate import plan_fleet

from .conftest import START


def of_case(odd, **wanted):
    return next(
        unit for unit in odd.plan.units if all(getattr(unit, name) == value for name, value in wanted.items())
    )


def rows(odd, unit):
    return odd.log.filter(pl.col("container") == unit.container)


def test_the_same_plan_gives_the_same_bytes():
    plan = plan_fleet(units=12, days=1, seed=77, fault_share=0.5)
    first, second = simulate(plan), simulate(plan)
    for name in ("log", "truth", "defrosts", "excursions"):
        ours, again = getattr(first, name), getattr(second, name)
        assert ours.equals(again)
        assert ours.write_json() == again.write_json()


def test_the_log_is_a_common_log_and_its_rows_are_counted(faulty):
    assert faulty.log.columns == COMMON_LOG.names
    assert faulty.log["row"].to_list() == list(range(1, len(faulty.log) + 1))
    assert faulty.log["source"].unique().to_list() == ["second plant"]
    assert faulty.log.select("container", "time").is_unique().all()


def test_a_few_rows_are_missed_and_a_few_readings_blank(faulty):
    per_unit = 2.5 * 288
    share = 1.0 - len(faulty.log) / (per_unit * len(faulty.plan.units))
    assert 0.0005 < share < 0.02
    blank = faulty.log["return_air"].null_count() / len(faulty.log)
    assert 0.0 < blank < 0.005


def test_truth_says_what_was_planned_and_what_was_drawn(faulty):
    truth = {row["container"]: row for row in faulty.truth.iter_rows(named=True)}
    machines = build_machines(faulty.plan)
    for index, unit in enumerate(faulty.plan.units):
        row = truth[unit.container]
        for name in ("cause", "severity", "hard_case", "set_point", "cargo", "size", "stow", "cooling"):
            assert row[name] == getattr(unit, name)
        assert row["onset"] == START + timedelta(hours=unit.onset_hours)
        assert row["refrigerant"] == machines.refrigerants[index]
        assert row["time_constant"] == pytest.approx(row["heat_capacity"] / row["leak"] / 3600.0)
        assert 200.0 < row["time_constant"] < 1200.0
        assert (row["probe"] is not None) == ("sensor_" in unit.cause)


def test_a_blackout_darkens_every_unit(odd):
    middle = START + timedelta(hours=20.75)
    near = odd.log.filter((pl.col("time") - middle).abs() < timedelta(minutes=30))
    told = near.filter(pl.col("power_state").is_not_null())
    assert told["container"].n_unique() >= len(odd.plan.units) // 2
    assert not told["power_state"].any()
    assert told["voltage_1"].drop_nulls().max() == 0.0
    # A unit without a battery logger leaves a gap instead.
    for unit in odd.plan.units:
        here = rows(odd, unit).filter((pl.col("time") - middle).abs() < timedelta(minutes=30))
        assert here.is_empty() or unit.channels == "air" or here["power_state"].is_not_null().all()


def test_after_a_blackout_every_unit_comes_back(odd):
    later = odd.log.filter(pl.col("time") > START + timedelta(hours=24))
    dark_ashore = of_case(odd, hard_case="port_power_off").container
    states = later.filter(pl.col("container") != dark_ashore)["power_state"].drop_nulls()
    assert states.all()


def test_a_unit_without_a_socket_in_port_is_dark_for_hours(odd):
    log = rows(odd, of_case(odd, hard_case="port_power_off"))
    dark = log.filter(~pl.col("power_state")).height * 15
    gap = log["time"].diff().max().total_seconds() / 60.0
    assert max(dark, gap) > 200


def test_an_ordered_change_of_set_point_is_in_log_and_truth(odd):
    unit = of_case(odd, hard_case="set_point_change")
    truth = odd.truth.filter(pl.col("container") == unit.container).row(0, named=True)
    log = rows(odd, unit)
    after = log.filter(pl.col("time") >= truth["set_point_changed"] + timedelta(minutes=1))
    before = log.filter(pl.col("time") < truth["set_point_changed"])
    assert set(before["set_point"]) == {unit.set_point}
    assert set(after["set_point"]) == {truth["set_point_later"]}
    assert truth["set_point_later"] != unit.set_point


def test_a_warm_load_starts_warm(odd):
    unit = of_case(odd, hard_case="warm_load")
    truth = odd.truth.filter(pl.col("container") == unit.container).row(0, named=True)
    assert truth["cargo_start"] > unit.set_point + 6.0
    split = rows(odd, unit)["return_air"] - rows(odd, unit)["supply_air"]
    assert split[1:7].mean() > 1.2 * split[-7:].mean()


def test_a_unit_logs_only_its_channel_set_at_its_interval(odd):
    air = rows(odd, of_case(odd, channels="air"))
    assert air["suction_pressure"].is_null().all()
    assert air["power_state"].is_null().all()
    assert air["return_air"].is_not_null().mean() > 0.99
    electric = rows(odd, of_case(odd, channels="air_electric"))
    assert electric["suction_pressure"].is_null().all()
    assert electric["compressor_state"].is_not_null().all()
    assert rows(odd, of_case(odd, logs_defrost=False))["defrost_state"].is_null().all()
    for unit in odd.plan.units:
        step = rows(odd, unit)["time"].diff().drop_nulls().mode()[0]
        assert step == timedelta(minutes=unit.interval_minutes)


def test_a_second_fault_adds_to_the_first(odd):
    one = of_case(odd, cause="condenser_fouled", also="healthy")
    both = of_case(odd, cause="condenser_fouled", also="heater_stuck_on")
    assert odd.truth.filter(pl.col("container") == both.container)["also"][0] == "heater_stuck_on"
    late = pl.col("time") > START + timedelta(hours=34)
    assert rows(odd, both).filter(late)["heater_state"].mean() > 0.95
    assert rows(odd, one).filter(late)["heater_state"].mean() < 0.3


@pytest.mark.parametrize("route", TRACKS)
def test_weather_is_that_of_the_route(route):
    # Sizes common knowledge, no source: trades near 28 °C, North Atlantic winter single figures.
    weather = sail_through(route, START, 14 * 1440, 4)
    assert np.all((weather.moisture > 0.0) & (weather.moisture < 0.03))
    assert weather.roof_sun.min() == 0.0
    assert 300.0 < weather.roof_sun.max() < 1100.0
    first, last = weather.air[:1440].mean(), weather.air[-1440:].mean()
    if route == "tropics":
        assert 24.0 < weather.air.mean() < 31.0
    elif route == "winter":
        assert 0.0 < weather.air.mean() < 14.0
    else:
        assert last > first + 12.0
