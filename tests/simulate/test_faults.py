"""Every cause must change the machine, and look like itself to a technician."""

from datetime import timedelta

import polars as pl
import pytest

from coldsift.simulate import CAUSES, Fleet, UnitPlan, simulate
from coldsift.simulate.plan import container_number

from .conftest import START, voyage

ATMOSPHERE = 1.013


def late(fleet: Fleet, cause: str, place: int = 0) -> pl.DataFrame:
    """Log of a cause's unit in the last day."""
    units = [unit.container for unit in fleet.plan.units]
    index = [*CAUSES, "expansion_valve_not_opening without economizer"].index(cause) + place
    return fleet.log.filter(pl.col("container") == units[index], pl.col("time") > START + timedelta(hours=96))


def running(frame: pl.DataFrame, column: str) -> float:
    value = frame.filter("compressor_state")[column].median()
    assert isinstance(value, float)
    return value


def middle(frame: pl.DataFrame, column: str) -> float:
    value = frame.filter(pl.col("mode") != "defrost")[column].median()
    assert isinstance(value, float)
    return value


@pytest.mark.parametrize("cause", CAUSES)
def test_every_cause_changes_the_log_against_the_healthy_twin(
    cause: str, faulty: Fleet, twins: Fleet
) -> None:
    container = faulty.plan.units[list(CAUSES).index(cause)].container
    assert container == twins.plan.units[list(CAUSES).index(cause)].container
    sick, sound = (
        fleet.log.filter(pl.col("container") == container).drop("row") for fleet in (faulty, twins)
    )
    onset = START + timedelta(hours=0 if CAUSES[cause].from_start else 48)
    before = pl.col("time") < onset
    assert sick.filter(before).equals(sound.filter(before)), "the twin must be the same unit until then"
    assert not sick.filter(~before).equals(sound.filter(~before))


def test_masked_expansion_valve(faulty: Fleet) -> None:
    """Valve shut, economizer path open: no high-side sign, no trip, air and coil all alike and warm."""
    log = late(faulty, "expansion_valve_not_opening").filter(pl.col("mode") == "cooling")
    assert log.height > 80
    assert 6.0 < running(log, "discharge_pressure") - ATMOSPHERE < 8.5
    assert running(log, "suction_pressure") - ATMOSPHERE < -0.95
    assert running(log, "compressor_frequency") == 100.0
    assert running(log, "expansion_valve_opening") == 100.0
    assert running(log, "economizer_valve") == 100.0
    alike = log.select(
        pl.concat_list("supply_air", "return_air", "evaporator_temperature", "suction_temperature")
        .list.eval(pl.element().max() - pl.element().min())
        .list.first()
    ).to_series()
    assert alike.median() < 2.0
    assert (log["supply_air"] - log["set_point"]).min() > 5.0


def test_unmasked_expansion_valve(faulty: Fleet) -> None:
    """Without the economizer path the charge backs up: high side above the masked twin, hot gas, vacuum."""
    masked = late(faulty, "expansion_valve_not_opening")
    plain = late(faulty, "expansion_valve_not_opening without economizer")
    assert running(plain, "suction_pressure") - ATMOSPHERE < -0.95
    assert running(plain, "discharge_pressure") > running(masked, "discharge_pressure") + 1.5
    assert running(plain, "discharge_temperature") > running(masked, "discharge_temperature") + 40.0


@pytest.mark.parametrize(
    ("cause", "column", "change"),
    [
        ("expansion_valve_stuck_open", "discharge_temperature", -8.0),
        ("low_refrigerant", "suction_pressure", -0.1),
        ("low_refrigerant", "expansion_valve_opening", 40.0),
        ("overcharge_or_air", "discharge_pressure", 2.5),
        ("condenser_fouled", "discharge_pressure", 3.0),
        ("condenser_fan_failed", "discharge_pressure", 2.0),
        ("condenser_water_flow", "discharge_pressure", 2.0),
        ("evaporator_iced", "suction_pressure", -0.1),
        ("evaporator_fan_failed", "evaporator_temperature", -3.0),
        ("compressor_worn", "compressor_frequency", 20.0),
        ("heater_stuck_on", "power", 3000.0),
    ],
)
def test_sign_of_a_fault_in_the_circuit(
    cause: str, column: str, change: float, faulty: Fleet, twins: Fleet
) -> None:
    difference = running(late(faulty, cause), column) - running(late(twins, cause), column)
    assert difference * change > 0
    assert abs(difference) > abs(change)


@pytest.mark.parametrize(
    ("cause", "least"),
    [
        ("compressor_not_starting", 3.0),
        ("door_or_seal_leak", 1.0),
        ("power_interrupted", 0.1),
        ("short_cycling", 0.5),
        ("vent_left_open", 0.5),
        ("condenser_fan_failed", 3.0),
    ],
)
def test_faults_that_let_the_box_warm_up(cause: str, least: float, faulty: Fleet, twins: Fleet) -> None:
    assert middle(late(faulty, cause), "return_air") > middle(late(twins, cause), "return_air") + least


def test_defrosts_that_never_start_or_never_end(faulty: Fleet, twins: Fleet) -> None:
    def minutes(fleet: Fleet, cause: str) -> pl.Series:
        container = faulty.plan.units[list(CAUSES).index(cause)].container
        after = fleet.defrosts.filter(
            pl.col("container") == container, pl.col("start") > START + timedelta(hours=49)
        )
        return (after["end"] - after["start"]).dt.total_minutes()

    assert minutes(faulty, "defrost_not_starting").len() == 0
    assert minutes(twins, "defrost_not_starting").len() > 0
    assert minutes(faulty, "defrost_not_terminating").min() > 100
    assert minutes(twins, "defrost_not_terminating").max() < 50


def test_a_drifting_controlling_probe_misleads_the_controller() -> None:
    """The log says set point; the truth is off by the drift."""
    plan = voyage(
        UnitPlan(
            container=container_number(0),
            set_point=2.0,
            cargo="dairy",
            cause="supply_sensor_drift",
            severity=1.0,
            onset_hours=12.0,
        ),
        days=6,
    )
    fleet = simulate(plan)
    end = fleet.log.filter(pl.col("time") > START + timedelta(hours=120))
    assert abs(end["supply_air"].median() - 2.0) < 0.3
    drift = fleet.truth["probe_drift"].item()
    assert abs(drift) == pytest.approx(4.0)
    peak = fleet.excursions.filter(~pl.col("from_start"))["peak"].item()
    assert peak - 2.0 == pytest.approx(-drift, abs=0.8)


def test_swapped_probes_show_supply_above_return(faulty: Fleet) -> None:
    log = late(faulty, "sensors_swapped").filter(pl.col("compressor_state"))
    assert (log["supply_air"] - log["return_air"]).mean() > 0.3


def test_a_wrong_clock_leaves_a_gap_and_shifts_the_day(faulty: Fleet) -> None:
    container = faulty.plan.units[list(CAUSES).index("clock_wrong")].container
    times = faulty.log.filter(pl.col("container") == container)["time"]
    assert times.diff().max() == timedelta(hours=9, minutes=15)


def test_severity_runs_from_faint_to_plain() -> None:
    fouled = [
        UnitPlan(container=container_number(0), set_point=-20.0, cause="condenser_fouled", severity=severity)
        for severity in (0.1, 0.5, 1.0)
    ]
    pressures = [running(simulate(voyage(unit, days=3)).log, "discharge_pressure") for unit in fouled]
    assert pressures == sorted(pressures)
    assert pressures[2] > pressures[0] + 3.0
