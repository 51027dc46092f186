"""The circuit at rest and at work, both refrigerants, without box or controller."""

from dataclasses import replace

import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
from benchmarks.second_plant.circuit import Circuits, Order
from benchmarks.second_plant.fleet import build_machines
from benchmarks.second_plant.refrigerants import FLUIDS, CompressorMap, Properties
from benchmarks.second_plant.upsets import PARTS, Condition

from .conftest import sound_plan

UNITS = len(sound_plan("mixed").units)
SOUND = Condition(*np.zeros((len(PARTS), UNITS)))


def circuits():
    machines = build_machines(sound_plan("mixed"))
    names = machines.refrigerants
    return Circuits(machines.circuit, Properties(names), CompressorMap(names)), names


def order(running, coil=-24.0, outside=30.0):
    whole = np.ones(UNITS)
    return Order(
        running=running * whole,
        share=running * whole,
        economizer=0.0 * whole,
        condenser_fan=running * whole,
        superheat_error=0.0 * whole,
        air_on=(coil + 6.0) * whole,
        coil=coil * whole,
        outside=outside * whole,
        water=outside * whole,
    )


def worked(condition):
    plant, _ = circuits()
    state = plant.at_rest(np.full(UNITS, -24.0), np.full(UNITS, 30.0))
    for _ in range(120):
        plant.step(state, order(1.0), condition, 60.0)
    return plant, state


def faulted(**changes):
    return replace(SOUND, **{part: np.full(UNITS, amount) for part, amount in changes.items()})


def test_a_standing_circuit_reads_the_saturation_pressures_of_its_own_refrigerant():
    plant, names = circuits()
    state = plant.at_rest(np.full(UNITS, 0.0), np.full(UNITS, 45.0))
    for _ in range(8 * 60):
        plant.step(state, order(0.0, coil=-10.0, outside=25.0), SOUND, 60.0)
    assert set(names) == set(FLUIDS)
    for place, name in enumerate(names):
        for pressure, celsius in ((state.suction_pressure, -10.0), (state.discharge_pressure, 25.0)):
            dew = coolprop.PropsSI("P", "T", celsius + 273.15, "Q", 1, f"HEOS::{FLUIDS[name]}") / 1e5
            assert pressure[place] == pytest.approx(dew, rel=2e-3)


def test_the_compressors_flow_carries_the_heat_that_is_taken():
    plant, state = worked(SOUND)
    # Between the liquid before the valve and the gas behind the coil, with CoolProp's enthalpies.
    vapour = plant.properties.at(state.balance)
    liquid = plant.properties.at(state.condensing - plant.make.subcooling).liquid
    cubic = plant.compressor.in_evaporating(state.condensing)[:, 0]
    flow = (cubic * state.balance ** np.arange(4)[:, None]).sum(axis=0) * plant.make.displacement
    flow = flow * 283.15 / (273.15 + state.superheat + plant.make.line_gain)
    expected = flow * (vapour.vapour + vapour.heat * state.superheat - liquid)
    assert state.taken == pytest.approx(expected, rel=0.04)
    assert np.all((state.superheat > 2.0) & (state.superheat < 12.0))
    assert np.all(state.balance < -24.0)


def test_a_starved_evaporator_has_low_pressure_and_much_superheat():
    # Common practice, no source: an expansion valve that passes too little, or a lost charge.
    _, sound = worked(SOUND)
    for condition in (faulted(valve_cap=0.85), faulted(charge_lost=0.58)):
        _, starved = worked(condition)
        assert np.all(starved.suction_pressure < 0.8 * sound.suction_pressure)
        assert np.all(starved.taken < 0.9 * sound.taken)
        # The whole coil is 6 K colder than the air: superheat nears what the air allows.
        assert np.all(starved.superheat > sound.superheat + 3.0)


def test_a_flooded_evaporator_has_no_superheat_and_cool_discharge_gas():
    # Common practice, no source.
    _, sound = worked(SOUND)
    _, flooded = worked(faulted(valve_floor=1.0))
    assert np.all(flooded.superheat < 0.5)
    assert np.all(flooded.discharge < sound.discharge - 10.0)


def test_air_and_dirt_in_the_condenser_raise_the_head_pressure():
    # Common practice, no source.
    _, sound = worked(SOUND)
    for condition in (faulted(air_in_condenser=2.0), faulted(condenser_dirt=0.7)):
        _, pressed = worked(condition)
        assert np.all(pressed.discharge_pressure > sound.discharge_pressure + 1.0)
        assert np.all(pressed.power > sound.power)
