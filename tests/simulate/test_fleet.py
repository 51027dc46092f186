"""Plans, truth tables, and how sound units behave (bands of the trade: common practice, no source)."""

from dataclasses import replace
from datetime import datetime, timedelta

import polars as pl
import pytest
from stdnum import iso6346

from coldsift.schema import COMMON_LOG
from coldsift.simulate import CAUSES, Fleet, FleetPlan, UnitPlan, plan_fleet, sample_voyage, simulate
from coldsift.simulate.plan import container_number

from .conftest import START, voyage


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


def test_healthy_defrosts_are_few_and_end_in_time(healthy: Fleet) -> None:
    minutes = (healthy.defrosts["end"] - healthy.defrosts["start"]).dt.total_minutes()
    assert 15 <= minutes.median() <= 40
    assert minutes.max() <= 50
    per_day = healthy.defrosts.group_by("container").len()["len"] / healthy.plan.days
    assert per_day.max() <= 4


def test_sound_units_raise_no_alarm_in_hold(hold: pl.DataFrame) -> None:
    assert hold["alarms"].list.len().sum() == 0


def test_the_log_is_a_common_log(faulty: Fleet) -> None:
    COMMON_LOG.schema.validate(faulty.log)
    assert faulty.log.columns == COMMON_LOG.names
    assert faulty.log["source"].unique().to_list() == ["simulated"]


def test_standstill_discharge_pressure_is_saturation_at_ambient(healthy: Fleet) -> None:
    """What lets intake tell gauge from absolute: after hours without power the high side is at rest."""
    unit = replace(healthy.plan.units[0], hard_case="port_power_off", stow="deck")
    log = simulate(voyage(unit, days=4)).log.filter(~pl.col("power_state")).tail(12)
    from coldsift.simulate.refrigerant import r134a

    expected = r134a().at(log["ambient_air"].to_numpy()).pressure
    assert abs(log["discharge_pressure"].to_numpy() - expected).max() < 0.35


def test_same_seed_same_bytes() -> None:
    plan = plan_fleet(units=12, days=2, seed=5, fault_share=0.5)
    first, second = simulate(plan), simulate(plan)
    for name in ("log", "truth", "defrosts", "excursions"):
        assert getattr(first, name).equals(getattr(second, name))
    assert not first.log.equals(simulate(replace(plan, seed=6)).log)


def test_adding_a_unit_leaves_the_others_as_they_were() -> None:
    plan = plan_fleet(units=9, days=2, seed=5, fault_share=0.5)
    fewer = replace(plan, units=plan.units[:4])
    kept = [unit.container for unit in fewer.units]
    assert (
        simulate(plan)
        .log.filter(pl.col("container").is_in(kept))
        .drop("row")
        .equals(simulate(fewer).log.drop("row"))
    )


def test_truth_tables_agree_with_plan_and_log(faulty: Fleet) -> None:
    truth = faulty.truth
    assert sorted(truth["container"]) == sorted(faulty.log["container"].unique())
    assert truth["onset"].null_count() == 0
    maxima = {"20": 26.0, "40": 48.0, "40HC": 51.0}
    assert all(
        0.7 * maxima[size] <= leak <= maxima[size] for size, leak in truth.select("size", "leak").rows()
    )
    # The logged defrost state and the defrost truth are the same thing, seen every 15 min.
    container = faulty.plan.units[0].container
    logged = faulty.log.filter(pl.col("container") == container, pl.col("defrost_state"))["time"]
    spans = faulty.defrosts.filter(pl.col("container") == container).rows()
    assert logged.len() > 0
    assert all(any(start <= time < end for _, start, end in spans) for time in logged)


def test_an_excursion_is_recorded_for_the_box_that_warms_up(faulty: Fleet) -> None:
    container = faulty.plan.units[list(CAUSES).index("compressor_not_starting")].container
    excursion = faulty.excursions.filter(pl.col("container") == container)
    assert excursion.height == 1
    assert excursion["start"].item() > START + timedelta(hours=48)
    assert excursion["end"].item() == START + timedelta(days=5)
    assert excursion["peak"].item() > -17.0


def test_sound_units_have_no_excursion_after_the_first_day(healthy: Fleet) -> None:
    assert healthy.excursions.filter(pl.col("start") > START + timedelta(hours=24)).height == 0


def test_a_blackout_darkens_every_unit_at_once() -> None:
    plan = replace(plan_fleet(units=6, days=2, seed=2, fault_share=0, hard_share=0), blackouts=((30.0, 1.0),))
    log = simulate(plan).log
    dark = log.filter(
        pl.col("time").is_between(plan.start + timedelta(hours=30), plan.start + timedelta(hours=30.9))
    )
    assert not dark["power_state"].any()
    assert dark["power"].max() == 0
    assert dark["container"].n_unique() == 6


def test_hard_cases_are_healthy_and_named() -> None:
    plan = plan_fleet(units=40, days=14, seed=3)
    hard = [unit for unit in plan.units if unit.hard_case]
    assert {unit.cause for unit in hard} == {"healthy"}
    assert len(hard) == 6
    assert sum(unit.cause != "healthy" for unit in plan.units) == 10


def test_an_ordered_set_point_change_is_in_log_and_truth() -> None:
    fleet = simulate(
        voyage(
            UnitPlan(
                container=container_number(1), set_point=6.0, cargo="avocados", hard_case="set_point_change"
            ),
            days=3,
        )
    )
    assert fleet.truth["cause"].item() == "healthy"
    later, when = fleet.truth["set_point_later"].item(), fleet.truth["set_point_changed"].item()
    assert fleet.log.filter(pl.col("time") >= when)["set_point"].unique().to_list() == [later]
    assert fleet.log.filter(pl.col("time") < when)["set_point"].unique().to_list() == [6.0]


@pytest.mark.parametrize(
    ("channels", "absent", "present"),
    [("air_electric", "suction_pressure", "current_1"), ("air", "power_state", "return_air")],
)
def test_poor_logs_lack_channels(channels: str, absent: str, present: str) -> None:
    log = simulate(plan_fleet(units=3, days=1, channels=channels)).log
    assert log[absent].null_count() == log.height
    assert log[present].null_count() == 0


def test_some_units_log_no_defrost_state() -> None:
    fleet = simulate(
        voyage(UnitPlan(container=container_number(0), set_point=-18.0, logs_defrost=False), days=2)
    )
    assert fleet.log["defrost_state"].null_count() == fleet.log.height
    assert fleet.defrosts.height > 0


def test_container_numbers_are_valid_and_different() -> None:
    numbers = [container_number(index) for index in range(3000)]
    assert len(set(numbers)) == 3000
    assert all(iso6346.is_valid(number) for number in numbers)


def test_sample_voyage_is_as_described() -> None:
    plan = sample_voyage()
    causes = [unit.cause for unit in plan.units if unit.cause != "healthy"]
    assert len(plan.units) == 40
    assert sum(unit.hard_case is not None for unit in plan.units) == 4
    assert len(causes) == len(set(causes)) == 8
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
