"""Every cause must change the machine, and look like itself to a technician."""

from dataclasses import replace
from datetime import timedelta

import polars as pl
import pytest

from coldsift.simulate import CAUSES, UnitPlan, plan_fleet
from coldsift.simulate.plan import container_number

from .conftest import LATE, ONSET, START, Voyage, sail_all

ATMOSPHERE = 1.013


def late(voyage: Voyage, name: str) -> pl.DataFrame:
    return voyage.log(name).filter(pl.col("time") > LATE)


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
    cause: str, faulty: Voyage, twins: Voyage
) -> None:
    sick, sound = (fleet.log(cause).drop("container", "row") for fleet in (faulty, twins))
    before = pl.col("time") < (START if CAUSES[cause].from_start else ONSET)
    assert sick.filter(before).equals(sound.filter(before)), "the twin must be the same unit until then"
    assert not sick.filter(~before).equals(sound.filter(~before))


def test_masked_expansion_valve(faulty: Voyage) -> None:
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


def test_unmasked_expansion_valve(faulty: Voyage) -> None:
    """Without the economizer path the charge backs up: high side above the masked twin, hot gas, vacuum."""
    masked = late(faulty, "expansion_valve_not_opening")
    plain = late(faulty, "unmasked")
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
        ("condenser_water_flow", "discharge_pressure", 2.0),
        ("evaporator_iced", "suction_pressure", -0.1),
        ("evaporator_fan_failed", "evaporator_temperature", -3.0),
        ("compressor_worn", "compressor_frequency", 20.0),
        ("heater_stuck_on", "power", 3000.0),
    ],
)
def test_sign_of_a_fault_in_the_circuit(
    cause: str, column: str, change: float, faulty: Voyage, twins: Voyage
) -> None:
    difference = running(late(faulty, cause), column) - running(late(twins, cause), column)
    assert difference * change > 0
    assert abs(difference) > abs(change)


def test_a_dead_condenser_fan_trips_the_pressure_switch(faulty: Voyage, twins: Voyage) -> None:
    """It runs so briefly between trips that a log may miss it; the pressure after a trip does not lie."""
    name = "condenser_fan_failed"
    assert late(faulty, name)["discharge_pressure"].max() > 20.0
    assert late(twins, name)["discharge_pressure"].max() < 15.0
    assert "high discharge pressure" in late(faulty, name)["alarms"].explode().to_list()
    assert late(faulty, name)["compressor_state"].mean() < 0.4


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
def test_faults_that_let_the_box_warm_up(cause: str, least: float, faulty: Voyage, twins: Voyage) -> None:
    assert middle(late(faulty, cause), "return_air") > middle(late(twins, cause), "return_air") + least


def test_defrosts_that_never_start_or_never_end(faulty: Voyage, twins: Voyage) -> None:
    def minutes(voyage: Voyage, cause: str) -> pl.Series:
        after = voyage.table("defrosts", cause).filter(pl.col("start") > ONSET)
        return (after["end"] - after["start"]).dt.total_minutes()

    assert minutes(faulty, "defrost_not_starting").len() == 0
    assert minutes(twins, "defrost_not_starting").len() > 0
    assert minutes(faulty, "defrost_not_terminating").min() > 100
    assert minutes(twins, "defrost_not_terminating").max() < 50


def test_a_drifting_controlling_probe_misleads_the_controller(faulty: Voyage) -> None:
    """The log says set point; the truth is off by the drift."""
    supply = late(faulty, "drift chilled")["supply_air"]
    assert abs(supply.median() - 2.0) < 0.3
    drift = faulty.table("truth", "drift chilled")["probe_drift"].item()
    assert abs(drift) == pytest.approx(4.0)
    excursion = faulty.table("excursions", "drift chilled").filter(pl.col("end") > LATE)
    assert excursion["peak"].item() - 2.0 == pytest.approx(-drift, abs=1.5)


def test_swapped_probes_show_supply_above_return(faulty: Voyage) -> None:
    log = late(faulty, "sensors_swapped").filter(pl.col("compressor_state"))
    assert (log["supply_air"] - log["return_air"]).mean() > 0.3


def test_a_wrong_clock_leaves_a_gap_and_shifts_the_day(faulty: Voyage) -> None:
    times = faulty.log("clock_wrong")["time"]
    assert times.diff().max() == timedelta(hours=9, minutes=15)


def test_severity_runs_from_faint_to_plain(faulty: Voyage) -> None:
    names = ("fouled 0.1", "fouled 0.5", "condenser_fouled")
    pressures = [running(late(faulty, name), "discharge_pressure") for name in names]
    assert pressures == sorted(pressures)
    assert pressures[2] > pressures[0] + 3.0


def test_two_faults_of_one_unit_both_show() -> None:
    """A fouled condenser and a weak phase: the head pressure of the first, the imbalance of the second."""
    meat = UnitPlan(container=container_number(0), set_point=-20.0)
    fouled = replace(meat, cause="condenser_fouled", severity=0.8, onset_hours=6.0)
    weak = {"also": "phase_imbalance", "also_severity": 0.6, "also_onset_hours": 12.0}
    units = {"sound": meat, "fouled": fouled, "both": replace(fouled, **weak)}  # type: ignore[arg-type]
    two_days = sail_all(units, machines_drawn=1, days=2)
    logs = {name: two_days.log(name).filter(pl.col("time") >= START + timedelta(hours=44)) for name in units}

    def imbalance(log: pl.DataFrame) -> float:
        phases = log.filter("compressor_state").select("voltage_1", "voltage_2", "voltage_3").to_numpy()
        return float((phases.max(axis=1) - phases.min(axis=1)).mean() / phases.mean())

    pressure = {name: running(log, "discharge_pressure") for name, log in logs.items()}
    assert min(pressure["fouled"], pressure["both"]) > pressure["sound"] + 1.0
    assert imbalance(logs["fouled"]) < 0.03
    assert imbalance(logs["both"]) > 0.05


def test_a_drawn_second_fault_fits_the_unit_and_comes_only_when_asked_for() -> None:
    one, two = (
        plan_fleet(units=120, days=2, seed=9, fault_share=0.5, second_share=share).units
        for share in (0.0, 1.0)
    )
    assert {unit.also for unit in one} == {"healthy"}
    struck = [unit for unit in two if unit.cause != "healthy"]
    assert len(struck) == 60
    assert all(unit.also != "healthy" and 0.3 <= unit.also_severity <= 1.0 for unit in struck)
    plain = {"also": "healthy", "also_severity": 0.0, "also_onset_hours": 0.0}
    assert [replace(unit, **plain) for unit in two] == list(one)  # type: ignore[arg-type]
