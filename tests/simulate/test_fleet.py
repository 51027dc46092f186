"""Plans, truth tables, and how sound units behave (bands of the trade: common practice, no source)."""

from dataclasses import replace
from datetime import datetime, timedelta

import polars as pl
import pytest
from stdnum import iso6346

from coldsift.schema import COMMON_LOG
from coldsift.simulate import Fleet, FleetPlan, UnitPlan, plan_fleet, sample_voyage, simulate
from coldsift.simulate.plan import container_number
from coldsift.simulate.refrigerant import r134a

from .conftest import DAYS, ONSET, START, Voyage, voyage


def share(flags: pl.Series) -> float:
    return float(flags.cast(pl.Float64).mean())  # type: ignore[arg-type]


def test_chilled_supply_is_held_at_the_set_point(hold: pl.DataFrame) -> None:
    chilled = hold.filter(pl.col("set_point") > -10)
    assert share((chilled["supply_air"] - chilled["set_point"]).abs() <= 0.5) > 0.98


def test_frozen_return_is_held_at_the_set_point(hold: pl.DataFrame) -> None:
    frozen = hold.filter(pl.col("set_point") <= -10)
    assert share((frozen["return_air"] - frozen["set_point"]).is_between(-1.0, 1.5)) > 0.98


@pytest.mark.parametrize(
    ("column", "frozen", "low", "high"),
    [
        ("split", True, 1.3, 5.0),
        ("split", False, 0.5, 2.8),
        ("superheat", True, 3.5, 9.0),
        ("discharge", True, 6.5, 14.0),
        ("discharge", False, 6.5, 14.0),
        ("suction", True, -0.6, 1.5),
        ("power", True, 1000.0, 7000.0),
    ],
)
def test_healthy_units_behave_as_in_the_trade(
    column: str, frozen: bool, low: float, high: float, hold: pl.DataFrame
) -> None:
    medians = (
        hold.filter((pl.col("set_point") <= -10) == frozen, pl.col("compressor_state"))
        .with_columns(
            split=pl.col("return_air") - pl.col("supply_air"),
            # The coil probe reads a little above the evaporating temperature.
            superheat=pl.col("suction_temperature") - pl.col("evaporator_temperature") + 0.8,
            discharge=pl.col("discharge_pressure") - 1.013,
            suction=pl.col("suction_pressure") - 1.013,
        )
        .group_by("container")
        .agg(pl.col(column).median())
    )
    assert medians.height == 8 if frozen else medians.height == 10
    assert medians.filter(~pl.col(column).is_between(low, high)).to_dicts() == []


def test_healthy_defrosts_are_few_and_end_in_time(twins: Voyage) -> None:
    minutes = (twins.fleet.defrosts["end"] - twins.fleet.defrosts["start"]).dt.total_minutes()
    assert 15 <= minutes.median() <= 40
    assert minutes.max() <= 50
    assert (twins.fleet.defrosts.group_by("container").len()["len"] / DAYS).max() <= 4


def test_sound_units_raise_no_alarm_in_hold(hold: pl.DataFrame) -> None:
    assert hold["alarms"].list.len().sum() == 0


def test_the_log_is_a_common_log(faulty: Voyage) -> None:
    COMMON_LOG.schema.validate(faulty.fleet.log)
    assert faulty.fleet.log.columns == COMMON_LOG.names
    assert faulty.fleet.log["source"].unique().to_list() == ["simulated"]


def test_standstill_discharge_pressure_is_saturation_at_ambient(twins: Voyage) -> None:
    """What lets intake tell gauge from absolute: after hours without power the high side is at rest."""
    rest = twins.log("port").filter(~pl.col("power_state")).tail(12)
    expected = r134a().at(rest["ambient_air"].to_numpy()).pressure
    assert abs(rest["discharge_pressure"].to_numpy() - expected).max() < 0.35


@pytest.fixture(scope="module")
def short_plan() -> FleetPlan:
    return replace(plan_fleet(units=9, days=1, seed=5, fault_share=0.5), blackouts=((8.0, 1.0),))


@pytest.fixture(scope="module")
def short(short_plan: FleetPlan) -> Fleet:
    return simulate(short_plan)


def test_same_seed_same_bytes(short_plan: FleetPlan, short: Fleet) -> None:
    again = simulate(short_plan)
    for name in ("log", "truth", "defrosts", "excursions"):
        assert getattr(short, name).equals(getattr(again, name))
    assert not short.log.equals(simulate(replace(short_plan, seed=6)).log)


def test_adding_a_unit_leaves_the_others_as_they_were(short_plan: FleetPlan, short: Fleet) -> None:
    fewer = replace(short_plan, units=short_plan.units[:4])
    kept = [unit.container for unit in fewer.units]
    log = short.log.filter(pl.col("container").is_in(kept))
    assert log.drop("row").equals(simulate(fewer).log.drop("row"))


def test_a_blackout_darkens_every_unit_at_once(short: Fleet) -> None:
    begin = short.plan.start + timedelta(hours=8)
    dark = short.log.filter(pl.col("time").is_between(begin, begin + timedelta(minutes=59)))
    assert not dark["power_state"].any()
    assert dark["power"].max() == 0
    assert dark["container"].n_unique() == 9


def test_truth_tables_agree_with_plan_and_log(faulty: Voyage) -> None:
    truth = faulty.fleet.truth
    assert sorted(truth["container"]) == sorted(faulty.fleet.log["container"].unique())
    assert truth.filter(pl.col("onset").is_null())["cause"].unique().to_list() == ["healthy"]
    assert truth.filter(pl.col("cause") == "healthy")["onset"].drop_nulls().len() == 0
    maxima = {"20": 26.0, "40": 48.0, "40HC": 51.0}
    assert all(
        0.7 * maxima[size] <= leak <= maxima[size] for size, leak in truth.select("size", "leak").rows()
    )


def test_logged_defrost_state_is_the_defrost_truth(twins: Voyage) -> None:
    logged = twins.log("sound -18.0 deck").filter("defrost_state")["time"]
    spans = twins.table("defrosts", "sound -18.0 deck").rows()
    assert logged.len() > 0
    assert all(any(start <= time < end for _, start, end in spans) for time in logged)


def test_an_excursion_is_recorded_for_the_box_that_warms_up(faulty: Voyage) -> None:
    excursion = faulty.table("excursions", "compressor_not_starting")
    assert excursion.height == 1
    assert excursion["start"].item() > ONSET
    assert excursion["end"].item() == START + timedelta(days=DAYS)
    assert excursion["peak"].item() > -17.0


def test_sound_units_have_no_excursion_after_the_first_day(twins: Voyage) -> None:
    sound = [container for name, container in twins.names.items() if name.startswith("sound")]
    later = twins.fleet.excursions.filter(
        pl.col("start") > START + timedelta(hours=24), pl.col("container").is_in(sound)
    )
    assert later.to_dicts() == []


def test_hard_cases_are_healthy_and_named() -> None:
    plan = plan_fleet(units=40, days=14, seed=3)
    hard = [unit for unit in plan.units if unit.hard_case]
    assert {unit.cause for unit in hard} == {"healthy"}
    assert len(hard) == 6
    assert sum(unit.cause != "healthy" for unit in plan.units) == 10


def test_an_ordered_set_point_change_is_in_log_and_truth(faulty: Voyage) -> None:
    truth, log = faulty.table("truth", "change"), faulty.log("change")
    assert truth["cause"].item() == "healthy"
    later, when = truth["set_point_later"].item(), truth["set_point_changed"].item()
    assert log.filter(pl.col("time") >= when)["set_point"].unique().to_list() == [later]
    assert log.filter(pl.col("time") < when)["set_point"].unique().to_list() == [2.0]


@pytest.mark.parametrize(
    ("name", "absent", "present"),
    [
        ("air_electric", "suction_pressure", "current_1"),
        ("air", "power_state", "return_air"),
        ("no flag", "defrost_state", "suction_pressure"),
        ("unmasked", "economizer_valve", "suction_pressure"),
    ],
)
def test_poor_logs_lack_channels(name: str, absent: str, present: str, faulty: Voyage) -> None:
    log = faulty.log(name)
    assert log[absent].null_count() == log.height
    assert log[present].null_count() == 0


def test_container_numbers_are_valid_and_different() -> None:
    numbers = [container_number(index) for index in range(3000)]
    assert len(set(numbers)) == 3000
    assert all(iso6346.is_valid(number) for number in numbers)


def test_sample_voyage_is_as_described() -> None:
    plan = sample_voyage()
    causes = [unit.cause for unit in plan.units if unit.cause != "healthy"]
    assert len(plan.units) == 43
    assert sum(unit.hard_case is not None for unit in plan.units) == 4
    assert len(causes) == len(set(causes)) == 11
    assert sum(unit.repaired_hours is not None for unit in plan.units) == 2
    assert plan.blackouts


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"cause": "gremlins"}, "gremlins"),
        ({"severity": 2.0}, "severity"),
        ({"cargo": "gold"}, "gold"),
        ({"container": "QXAU1234567"}, "ISO 6346"),
        ({"cause": "condenser_water_flow"}, "water-cooled"),
        ({"cause": "economizer_valve_stuck", "has_economizer": False}, "economizer"),
        ({"also": "condenser_water_flow"}, "water-cooled"),
        ({"also": "supply_sensor_drift"}, "supply_sensor_drift"),
        ({"cause": "short_cycling", "also": "short_cycling"}, "first one again"),
        ({"also_severity": -1.0}, "severity"),
    ],
)
def test_a_plan_that_cannot_be_says_why(changes: dict[str, object], says: str) -> None:
    arguments: dict[str, object] = {"container": container_number(0), "set_point": -18.0}
    with pytest.raises(ValueError, match=says):
        UnitPlan(**{**arguments, **changes})  # type: ignore[arg-type]


def test_a_voyage_needs_units_a_zone_and_a_known_route() -> None:
    unit = UnitPlan(container=container_number(0), set_point=-18.0)
    with pytest.raises(ValueError, match="time zone"):
        FleetPlan(seed=1, start=datetime(2031, 1, 1), days=1, route="mixed", units=(unit,))
    with pytest.raises(ValueError, match="route"):
        voyage(unit, route="moon")
    with pytest.raises(ValueError, match="repeat"):
        voyage(unit, unit)
    with pytest.raises(ValueError, match="one unit"):
        voyage()
