"""Features of the refrigerant circuit on small logs, against hand calculation and against CoolProp."""

from __future__ import annotations

from typing import Any

import CoolProp.CoolProp as coolprop
import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log
from tests.features.measured import measured, reason, value

from coldsift.features import FEATURES
from coldsift.refrigerant import UnknownRefrigerant

HOURS = clock(48)
LIQUID, VAPOUR = 0, 1
BLEND = "QXAU0000404"
STARTED: dict[str, Any] = {
    "set_point": -18.0,
    "supply_air": -19.5,
    "return_air": -17.6,
    "ambient_air": 25.0,
    "compressor_state": True,
}


def boiling(bar: float, fluid: str = "R134a", quality: int = VAPOUR) -> float:
    """Saturation temperature by CoolProp. [°C]."""
    return float(coolprop.PropsSI("T", "P", bar * 1e5, "Q", quality, fluid)) - 273.15


def pressure(celsius: float, fluid: str = "R134a") -> float:
    """Saturation pressure by CoolProp. [bar absolute]."""
    return float(coolprop.PropsSI("P", "T", celsius + 273.15, "Q", LIQUID, fluid)) / 1e5


def unit(container: str = "QXAU0000001", **channels: Any) -> pl.DataFrame:
    return log(HOURS, container, **(STARTED | channels))


def test_superheat_counts_from_the_dew_temperature_of_the_suction_pressure() -> None:
    found = measured(unit(suction_pressure=1.2, suction_temperature=-15.0))
    assert value(found, "superheat") == pytest.approx(-15.0 - boiling(1.2), abs=0.01)


def test_a_unit_with_a_blend_is_read_by_the_blend_and_its_neighbours_are_not() -> None:
    circuit: dict[str, Any] = {"suction_pressure": 2.51325, "suction_temperature": -15.0}
    found = measured(unit(**circuit), unit(BLEND, **circuit), refrigerants={BLEND: "R404A"})
    dew, bubble = (boiling(2.51325, "R404A.mix", quality) for quality in (VAPOUR, LIQUID))
    assert value(found, "superheat", BLEND) == pytest.approx(-15.0 - dew, abs=0.02)
    # The bubble temperature would give 0.6 K more.
    assert dew - bubble > 0.5
    # Taken for R134a, the suction line would be colder than the boiling refrigerant.
    assert value(found, "superheat", "QXAU0000001") == pytest.approx(-15.0 - boiling(2.51325), abs=0.01)
    assert value(found, "superheat", "QXAU0000001") < -5


def test_a_refrigerant_that_is_none_is_refused() -> None:
    with pytest.raises(UnknownRefrigerant, match="water gas"):
        measured(unit(suction_pressure=1.2), refrigerants={"QXAU0000001": "water gas"})


def test_condensing_counts_from_the_bubble_temperature_of_the_discharge_pressure() -> None:
    found = measured(unit(BLEND, discharge_pressure=16.01325), refrigerants={BLEND: "R404A"})
    bubble, dew = (boiling(16.01325, "R404A.mix", quality) for quality in (LIQUID, VAPOUR))
    assert value(found, "condensing_over_ambient") == pytest.approx(bubble - 25.0, abs=0.02)
    assert dew - bubble > 0.3


def test_a_water_cooled_condenser_is_not_held_against_the_air() -> None:
    found = measured(unit(discharge_pressure=9.0, condenser_cooling="Water"))
    assert value(found, "condensing_over_ambient") is None
    assert reason(found, "condensing_over_ambient").endswith("in: hold, compressor running, air-cooled")
    assert value(found, "condensing_water_cooled") == pytest.approx(boiling(9.0, quality=LIQUID), abs=0.01)


def test_an_air_cooled_condenser_has_no_water_temperature() -> None:
    found = measured(unit(discharge_pressure=9.0, condenser_cooling="air"))
    assert value(found, "condensing_water_cooled") is None
    assert value(found, "condensing_over_ambient") is not None


def test_the_pressure_ratio_is_of_absolute_pressures() -> None:
    """10 / 2 = 5; of the gauge readings it would be 9.1."""
    assert value(measured(unit(discharge_pressure=10.0, suction_pressure=2.0)), "pressure_ratio") == 5.0


def test_discharge_superheat_counts_from_the_dew_temperature_at_the_discharge() -> None:
    circuit: dict[str, Any] = {"discharge_pressure": 16.01325, "discharge_temperature": 70.0}
    found = measured(unit(BLEND, **circuit), refrigerants={BLEND: "R404A"})
    assert value(found, "discharge_superheat") == pytest.approx(
        70.0 - boiling(16.01325, "R404A.mix"), abs=0.02
    )


def test_the_coil_gives_its_share_of_what_it_could() -> None:
    """Refrigerant boiling 8 K below the return air could cool it by 8 K; 1.9 K are 23.75 %, by hand."""
    found = measured(unit(suction_pressure=pressure(-25.6)))
    assert value(found, "coil_to_air") == pytest.approx(8.0, abs=0.01)
    assert value(found, "coil_use") == pytest.approx(1.9 / 8.0, abs=0.001)


def test_a_coil_as_warm_as_the_air_shows_no_share() -> None:
    found = measured(unit(suction_pressure=pressure(-18.6)))
    assert value(found, "coil_to_air") == pytest.approx(1.0, abs=0.01)
    assert value(found, "coil_use") is None
    assert reason(found, "coil_use") == "0 of at least 8 readings in: hold, compressor running"


def test_the_coil_sensor_is_judged_only_while_the_coil_is_fed() -> None:
    """Fed, the refrigerant boils at −25 °C and the coil stands 1.5 K above it; starved it boils at −60 °C."""
    starved = HOURS % 24 >= 10
    boils = np.where(starved, pressure(-60.0), pressure(-25.0))
    found = measured(unit(suction_pressure=boils, evaporator_temperature=-23.5))
    assert value(found, "coil_sensor_apart") == pytest.approx(1.5, abs=0.01)


def test_a_starved_coil_says_nothing_of_its_sensor() -> None:
    found = measured(unit(suction_pressure=pressure(-60.0), evaporator_temperature=-23.5))
    assert value(found, "coil_sensor_apart") is None


def test_the_suction_line_stands_between_coil_and_air() -> None:
    found = measured(unit(suction_temperature=-21.0, evaporator_temperature=-24.5))
    assert value(found, "suction_line_above_coil") == pytest.approx(3.5)
    assert value(found, "air_above_suction_line") == pytest.approx(3.4)


def test_the_split_is_given_for_100_hertz() -> None:
    """1.9 K at 50 Hz are 3.8 K for 100 Hz."""
    assert value(measured(unit(compressor_frequency=50.0)), "split_per_speed") == pytest.approx(3.8)


def test_capacity_counts_the_air_and_the_gas_that_are_moved() -> None:
    """1.9 K × half the air × 100 Hz / (50 Hz × 1.9 bar) = 1 K/bar. Hand calculation."""
    half = measured(unit(compressor_frequency=50.0, suction_pressure=1.9, evaporator_fan_speed=50.0))
    assert value(half, "capacity_index") == pytest.approx(1.0)


def test_fans_that_are_not_logged_count_as_full() -> None:
    unlogged = measured(unit(compressor_frequency=50.0, suction_pressure=1.9))
    assert value(unlogged, "capacity_index") == pytest.approx(2.0)


def test_the_valve_is_held_against_the_speed() -> None:
    """30 % at 60 Hz are 50 % for 100 Hz."""
    found = measured(unit(expansion_valve_opening=30.0, compressor_frequency=60.0))
    assert value(found, "valve_for_load") == pytest.approx(50.0)


def test_power_is_held_against_the_gas_moved_and_its_lift() -> None:
    """3000 W × 100 Hz / (50 Hz × 2 bar × ln 5) = 1864.0 W/bar. Hand calculation."""
    found = measured(
        unit(power=3000.0, compressor_frequency=50.0, suction_pressure=2.0, discharge_pressure=10.0)
    )
    assert value(found, "power_for_flow") == pytest.approx(1864.0, abs=0.1)


def test_a_compressor_that_barely_turns_gives_no_figure_for_its_speed() -> None:
    found = measured(unit(compressor_frequency=5.0, expansion_valve_opening=30.0))
    assert value(found, "split_per_speed") is None
    assert value(found, "valve_for_load") is None


def test_swinging_discharge_gas_shows_in_its_spread() -> None:
    """A saw tooth from 0 to 20 K over 21 readings: 10th to 90th percentile 2 to 18 K."""
    swing = np.tile(np.arange(21.0), 10)[: len(HOURS)]
    found = measured(
        unit(discharge_pressure=9.0, discharge_temperature=boiling(9.0) + 10 + swing, compressor_state=True)
    )
    above = np.quantile(10 + swing, [0.1, 0.9])
    assert value(found, "discharge_superheat_spread") == pytest.approx(above[1] - above[0], abs=0.02)


def test_a_compressor_that_stands_gives_no_running_figures() -> None:
    found = measured(unit(compressor_state=False, suction_pressure=1.2, suction_temperature=-15.0))
    assert value(found, "superheat") is None
    assert reason(found, "superheat") == "0 of at least 8 readings in: hold, compressor running"


def test_what_was_measured_at_another_set_point_does_not_count() -> None:
    early = HOURS < 24
    found = measured(
        unit(
            set_point=np.where(early, -20.0, -18.0),
            suction_pressure=1.2,
            suction_temperature=np.where(early, 5.0, -15.0),
        )
    )
    assert value(found, "superheat") == pytest.approx(-15.0 - boiling(1.2), abs=0.01)


# Standstill: four hours a day the compressor stands, and the pressures settle.
STANDS = HOURS % 24 >= 20


def at_rest(bar: float, **channels: Any) -> pl.DataFrame:
    """Discharge pressure at ``bar`` in each standstill, but 3 bar in its first reading."""
    first = STANDS & ~np.roll(STANDS, 1)
    discharge = np.where(first, 3.0, np.where(STANDS, bar, 11.0))
    return unit(compressor_state=~STANDS, discharge_pressure=discharge, **channels)


def test_a_good_circuit_rests_at_saturation() -> None:
    found = measured(at_rest(pressure(25.0)))
    assert value(found, "standstill_over_saturation") == pytest.approx(0.0, abs=0.005)


def test_air_in_the_circuit_shows_at_rest() -> None:
    """Its partial pressure comes on top of saturation (Dalton)."""
    found = measured(at_rest(pressure(25.0) + 0.8))
    assert value(found, "standstill_over_saturation") == pytest.approx(0.8, abs=0.005)


def test_the_warmer_of_ambient_and_box_sets_the_pressure_at_rest() -> None:
    found = measured(at_rest(pressure(32.0), set_point=30.0, supply_air=30.0, return_air=32.0))
    assert value(found, "standstill_over_saturation") == pytest.approx(0.0, abs=0.005)


def test_a_compressor_that_never_stands_shows_no_rest() -> None:
    found = measured(unit(discharge_pressure=11.0))
    assert reason(found, "standstill_over_saturation") == (
        "0 of at least 2 readings in: compressor off for a quarter of an hour or longer"
    )


def test_phases_that_differ_show_as_their_largest_distance_from_the_mean() -> None:
    """400, 404 and 420 V: mean 408, largest distance 12, so 2.94 %. Hand calculation."""
    found = measured(unit(voltage_1=400.0, voltage_2=404.0, voltage_3=420.0))
    assert value(found, "voltage_imbalance") == pytest.approx(100 * 12 / 408)


def test_two_phases_do_not_show_an_imbalance() -> None:
    found = measured(unit(voltage_1=400.0, voltage_3=420.0))
    assert value(found, "voltage_imbalance") is None
    assert reason(found, "voltage_imbalance") == "not logged: voltage 2"


def test_a_compressor_that_stands_in_a_warm_box_is_counted() -> None:
    """A quarter of the hold with the compressor off, the air 1.5 K above set point all the time."""
    off = HOURS % 4 >= 3
    warm = unit(return_air=-16.5, compressor_state=~off)
    assert value(measured(warm), "idle_while_warm") == pytest.approx(0.25, abs=0.01)


def test_a_compressor_that_rests_in_a_cold_box_is_no_fault() -> None:
    off = HOURS % 4 >= 3
    assert value(measured(unit(return_air=-17.6, compressor_state=~off)), "idle_while_warm") == 0.0


def test_starts_and_stops_are_counted_by_the_hour() -> None:
    """On for two hours, off for two: one change in two hours."""
    found = measured(unit(compressor_state=HOURS % 4 < 2))
    assert value(found, "compressor_switches") == pytest.approx(0.5, abs=0.02)


def test_power_in_defrost_is_that_of_the_heaters() -> None:
    defrosting = HOURS % 12 < 0.75
    found = measured(
        unit(
            defrost_state=defrosting, compressor_state=~defrosting, power=np.where(defrosting, 4200.0, 3100.0)
        )
    )
    assert value(found, "power_in_defrost") == 4200.0


def test_power_with_everything_off_shows_a_welded_contactor() -> None:
    off = HOURS % 4 >= 3
    found = measured(
        unit(
            compressor_state=~off,
            heater_state=False,
            evaporator_fan_speed=100.0,
            power=np.where(off, 2600.0, 3900.0),
        )
    )
    assert value(found, "power_standing") == 2600.0


SATURATED_BY_SUCTION = ("superheat", "coil_to_air", "coil_use", "coil_sensor_apart")
CIRCUIT: dict[str, Any] = {
    "suction_temperature": -15.0,
    "evaporator_temperature": -24.0,
    "discharge_pressure": 9.0,
    "discharge_temperature": 60.0,
}


@pytest.mark.parametrize(
    ("bar", "why"),
    [
        (0.0, "zero or below (a full vacuum is −1.013 bar gauge)"),
        (-0.2, "zero or below (a full vacuum is −1.013 bar gauge)"),
        # R134a freezes at 389.56 Pa, by CoolProp and by a second library.
        (0.0035, "below the triple point"),
        (41.0, "above the critical pressure"),
    ],
)
def test_a_pressure_without_saturation_gives_no_value_and_says_why(bar: float, why: str) -> None:
    found = measured(unit(suction_pressure=bar, **CIRCUIT))
    for feature in SATURATED_BY_SUCTION:
        assert value(found, feature) is None
        assert reason(found, feature) == f"no saturation temperature: a pressure is {why}"
    # The other side of the circuit is not touched.
    assert value(found, "condensing_over_ambient") is not None


def test_carbon_dioxide_at_one_atmosphere_is_solid_or_gas() -> None:
    found = measured(
        unit(suction_pressure=1.01325, suction_temperature=-40.0), refrigerants={"QXAU0000001": "CO2"}
    )
    assert reason(found, "superheat") == "no saturation temperature: a pressure is below the triple point"


def test_some_refused_pressures_do_not_spoil_the_others() -> None:
    suction = np.where(HOURS % 2 < 1, 0.0, 1.2)
    found = measured(unit(suction_pressure=suction, suction_temperature=-15.0))
    assert value(found, "superheat") == pytest.approx(-15.0 - boiling(1.2), abs=0.01)
    assert reason(found, "superheat") == ""


AIR_ONLY = measured(unit())


@pytest.mark.parametrize(
    ("feature", "missing"),
    [
        ("superheat", "suction line, suction pressure"),
        ("coil_to_air", "suction pressure"),
        ("coil_sensor_apart", "evaporator coil, suction pressure"),
        ("pressure_ratio", "discharge pressure, suction pressure"),
        ("discharge_superheat", "discharge gas, discharge pressure"),
        ("capacity_index", "compressor speed, suction pressure"),
        ("valve_for_load", "expansion valve, compressor speed"),
        ("power_for_flow", "power, compressor speed, suction pressure, discharge pressure"),
        ("standstill_over_saturation", "discharge pressure"),
        ("voltage_imbalance", "voltage 1, voltage 2, voltage 3"),
        ("power_in_defrost", "power"),
    ],
)
def test_channels_that_are_not_logged_are_named(feature: str, missing: str) -> None:
    assert value(AIR_ONLY, feature) is None
    assert reason(AIR_ONLY, feature) == f"not logged: {missing}"


def test_a_unit_without_any_pressure_names_it_in_all_that_rests_on_one() -> None:
    for name, feature in FEATURES.items():
        if feature.saturated:
            assert value(AIR_ONLY, name) is None
            assert "pressure" in reason(AIR_ONLY, name)


@pytest.mark.parametrize("beyond", [-0.8, 1.5])
def test_the_air_when_the_compressor_stops_tells_a_satisfied_stop_from_a_trip(beyond: float) -> None:
    standing = np.arange(len(HOURS)) % 4 == 3
    found = measured(unit(return_air=np.where(standing, -18.0 + beyond, -18.0), compressor_state=~standing))
    assert value(found, "air_at_stop") == pytest.approx(beyond)
