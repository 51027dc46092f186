"""The voyage minute by minute: weather, probes, controller, circuit, box, for all units at once.

Goes in: plan and machines. Comes out: :class:`Trace`, the readings every five minutes and the truth every
minute. Probes are part of the plant here: what they read steers the controller.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.second_plant.box import (
    BoxState,
    Draught,
    ice_blocking,
    step_box,
    stored_heat,
)
from benchmarks.second_plant.circuit import Circuits, CircuitState, Order
from benchmarks.second_plant.controller import COOL, Readings, control, first_state
from benchmarks.second_plant.fleet import HELD_BLOCK, STREAM_LUCK, Machines, places, stream
from benchmarks.second_plant.refrigerants import Array, CompressorMap, Properties
from benchmarks.second_plant.upsets import Condition, Upsets
from benchmarks.second_plant.weather import Weather, sail_through, saturated_moisture
from coldsift.simulate.plan import FleetPlan

STEP_MINUTES = 1
SLOT_MINUTES = 5
"""A unit's row is taken in one minute of every slot, its own."""

ROW = (
    "set_point",
    "supply_air",
    "return_air",
    "ambient_air",
    "humidity",
    "fresh_air_vent",
    "cargo_probe_1",
    "cargo_probe_2",
    "cargo_probe_3",
    "cargo_probe_4",
    "suction_pressure",
    "discharge_pressure",
    "suction_temperature",
    "discharge_temperature",
    "evaporator_temperature",
    "superheat",
    "expansion_valve_opening",
    "economizer_valve",
    "hot_gas_valve",
    "compressor_state",
    "evaporator_fan_speed",
    "condenser_fan_speed",
    "heater_state",
    "defrost_state",
    "voltage_1",
    "voltage_2",
    "voltage_3",
    "current_1",
    "current_2",
    "current_3",
    "power",
    "frequency",
    "power_state",
    "clock_fast",
)
"""Readings of a row, before noise and resolution."""

POWER_FACTOR = 0.82
IDLE_POWER = 90.0
"""Controller and transformer. [W]"""


@dataclass(frozen=True, slots=True)
class Trace:
    """What happened.

    Attributes
    ----------
    rows
        Shape (slots, len(ROW), units).
    alarms
        Bits raised since the row before, shape (slots, units).
    row_minute
        Minute of the slot in which each unit's row is taken. [min]
    controlling_air
        True air at the controlling probe, every minute. [°C]
    defrosting
        Heaters on until fans on, every minute.
    heat_in, heat_stored
        Over the whole voyage: the ledger, and the change of what is stored. [J]
    """

    rows: NDArray[np.float32]
    alarms: NDArray[np.int64]
    row_minute: NDArray[np.int64]
    controlling_air: NDArray[np.float32]
    defrosting: NDArray[np.bool_]
    heat_in: Array
    heat_stored: Array


class Probes:
    """Readings of a fleet's probes: lag, calibration, drift, held values, crossed wires.

    Parameters
    ----------
    machines
        With each probe's calibration and the probe a cause strikes.
    start
        First true values by probe name. [°C or bar]
    """

    def __init__(self, machines: Machines, start: dict[str, Array]) -> None:
        self._machines = machines
        self._struck = places(machines.probe)
        self._lagged = {name: value.copy() for name, value in start.items()}
        self._shown = {name: value + machines.offsets[name] for name, value in start.items()}
        self._lag = {"supply_air": 0.9, "return_air": 1.1, "evaporator_temperature": 1.0, "ambient_air": 6.0}

    def error(self, name: str, condition: Condition) -> Array:
        """Calibration and drift of a probe. [K or bar]."""
        return self._machines.offsets[name] + self._machines.drift * condition.probe_off * self._struck[name]

    def read(
        self, true: dict[str, Array], condition: Condition, lots: Array, minutes: float
    ) -> dict[str, Array]:
        """Readings of this step from the true values; ``lots`` say which held probes stand still now."""
        held = lots < condition.probe_held
        for name, value in true.items():
            stays = np.exp(-minutes / self._lag[name]) if name in self._lag else 0.0
            self._lagged[name] = value + (self._lagged[name] - value) * stays
            reading = self._lagged[name] + self.error(name, condition)
            self._shown[name] = np.where(held & self._struck[name], self._shown[name], reading)
        shown = dict(self._shown)
        crossed = condition.wires_crossed > 0.0
        shown["supply_air"] = np.where(crossed, self._shown["return_air"], self._shown["supply_air"])
        shown["return_air"] = np.where(crossed, self._shown["supply_air"], self._shown["return_air"])
        return shown


def sail(plan: FleetPlan, machines: Machines) -> Trace:
    """Run the voyage.

    Parameters
    ----------
    plan, machines
        What is to be simulated, and the drawn fleet.

    Returns
    -------
    Trace
        Rows, truth and energy ledger.
    """
    units = len(plan.units)
    minutes = machines.dark.shape[0]
    weather = sail_through(plan.route, plan.start, minutes, plan.seed)
    deck = np.array([unit.stow == "deck" for unit in plan.units])
    upsets = Upsets(plan)
    condition = upsets.at(0.0)
    luck = np.stack(
        [stream(plan, index, STREAM_LUCK).random((minutes, 2), dtype=np.float32) for index in range(units)],
        axis=-1,
    )
    row_minute = np.array(
        [stream(plan, index, STREAM_LUCK).integers(0, SLOT_MINUTES) for index in range(units)]
    )
    air_cooled = np.where(machines.circuit.water_cooled, 0.0, 1.0)
    taken_at = [np.flatnonzero(row_minute == minute) for minute in range(SLOT_MINUTES)]

    outside = np.where(deck, weather.air[0], weather.hold[0]) + machines.local_warmth
    box = first_box(machines, outside)
    circuits = Circuits(
        machines.circuit, Properties(machines.refrigerants), CompressorMap(machines.refrigerants)
    )
    circuit = circuits.at_rest(box.coil, outside)
    controller = first_state(machines.controller, machines.since_defrost)
    probes = Probes(machines, _true(box, circuit, outside))
    stored = stored_heat(machines.box, box)

    rows = np.zeros((minutes // SLOT_MINUTES + 1, len(ROW), units), dtype=np.float32)
    alarms = np.zeros((len(rows), units), dtype=np.int64)
    controlling = np.zeros((minutes, units), dtype=np.float32)
    defrosting = np.zeros((minutes, units), dtype=np.bool_)
    for minute in range(minutes):
        if minute % 10 == 0:
            condition = upsets.at(minute / 60.0)
        powered = ~machines.dark[minute]
        lots = machines.held[minute // HELD_BLOCK]
        outside = np.where(deck, weather.air[minute], weather.hold[minute]) + machines.local_warmth
        booked = np.where(minute >= machines.changed_at, machines.set_point_later, machines.set_point)
        set_point = np.round(booked + machines.wrong_shift * condition.set_point_off, 1)
        shown = probes.read(_true(box, circuit, outside), condition, lots, STEP_MINUTES)
        seen = Readings(
            powered=powered,
            set_point=set_point,
            supply=shown["supply_air"],
            back=shown["return_air"],
            coil=shown["evaporator_temperature"],
            suction_pressure=shown["suction_pressure"],
            discharge_pressure=shown["discharge_pressure"],
            discharge=circuit.discharge,
            ice=box.ice + condition.ice_kept,
            luck=luck[minute],
        )
        wrong_economizer = lots < 2.0 * condition.economizer_wrong
        control(machines.controller, controller, seen, condition, wrong_economizer, STEP_MINUTES)

        draught = _draught(
            machines, weather, minute, outside, box, condition, controller.fan, controller.heater
        )
        order = Order(
            running=controller.running.astype(np.float64),
            share=controller.share,
            economizer=controller.economizer.astype(np.float64),
            condenser_fan=controller.condenser_fan.astype(np.float64),
            superheat_error=_superheat_error(probes, circuit, condition),
            air_on=box.back,
            coil=box.coil,
            outside=outside,
            water=np.maximum(weather.sea[minute] + 5.0, 26.0) + np.zeros(units),
        )
        circuits.step(circuit, order, condition, STEP_MINUTES * 60.0)
        draught.taken[:], draught.taken_slope[:] = circuit.taken, circuit.taken_slope
        step_box(machines.box, box, draught, STEP_MINUTES * 60.0)

        controlling[minute] = np.where(machines.controller.frozen, box.back, box.supply)
        defrosting[minute] = controller.phase != COOL
        slot, place = divmod(minute, SLOT_MINUTES)
        due = taken_at[place]
        if len(due):
            hot_gas = np.where(machines.circuit.pulse, 0.0, 1.0 - controller.share) * controller.running
            values = {
                **shown,
                "set_point": set_point,
                "humidity": 100.0 * np.minimum(box.moisture / _wet(box.back), 1.0),
                "fresh_air_vent": machines.box.vent + condition.vent_extra,
                "cargo_probe_1": box.core[0],
                "cargo_probe_2": box.surface[0],
                "cargo_probe_3": box.core[1],
                "cargo_probe_4": box.surface[1],
                "discharge_temperature": circuit.discharge,
                "superheat": circuit.superheat + order.superheat_error,
                "expansion_valve_opening": 100.0 * circuit.opening,
                "economizer_valve": 100.0 * order.economizer,
                "hot_gas_valve": 100.0 * hot_gas,
                "compressor_state": order.running,
                "evaporator_fan_speed": 100.0 * controller.fan,
                "condenser_fan_speed": 100.0 * order.condenser_fan * air_cooled,
                "heater_state": controller.heater > 0.03,
                "defrost_state": defrosting[minute],
                "power_state": powered,
                "clock_fast": condition.clock_fast,
                **_electric(
                    machines, circuit, order, controller.fan, controller.heater, condition, powered, minute
                ),
            }
            rows[slot][:, due] = np.stack([values[name][due] for name in ROW])
            alarms[slot, due] = controller.alarms[due]
            controller.alarms[due] = 0
    return Trace(
        rows,
        alarms,
        row_minute,
        controlling,
        defrosting,
        box.heat_in,
        stored_heat(machines.box, box) - stored,
    )


def first_box(machines: Machines, outside: Array) -> BoxState:
    """The box just stuffed: cargo, air and coil at loading temperature, walls between it and outside."""
    start = machines.cargo_start
    two = np.stack([start, start])
    return BoxState(
        supply=start.copy(),
        front=start.copy(),
        rear=start.copy(),
        back=start.copy(),
        surface=two.copy(),
        core=two.copy(),
        wall=np.stack([0.5 * (start + outside)] * 3),
        coil=start.copy(),
        ice=np.zeros_like(start),
        moisture=0.8 * saturated_moisture(start),
        heat_in=np.zeros_like(start),
    )


def _true(box: BoxState, circuit: CircuitState, outside: Array) -> dict[str, Array]:
    return {
        "supply_air": box.supply,
        "return_air": box.back,
        "evaporator_temperature": box.coil,
        "suction_pressure": circuit.suction_pressure,
        "suction_temperature": circuit.suction,
        "discharge_pressure": circuit.discharge_pressure,
        "ambient_air": outside,
    }


def _superheat_error(probes: Probes, circuit: CircuitState, condition: Condition) -> Array:
    # Saturation rises about 1 K for every 4 % of pressure.
    bar_per_kelvin = 0.04 * np.maximum(circuit.suction_pressure, 0.2)
    error: Array = (
        probes.error("suction_temperature", condition)
        - probes.error("suction_pressure", condition) / bar_per_kelvin
    )
    return error


def _draught(
    machines: Machines,
    weather: Weather,
    minute: int,
    outside: Array,
    box: BoxState,
    condition: Condition,
    fan: Array,
    heater: Array,
) -> Draught:
    free = (1.0 - 0.9 * ice_blocking(box.ice + condition.ice_kept)) * (1.0 - condition.fan_air_lost)
    # Fans off: the air still turns over by itself, less so behind the heated coil's warm cushion.
    still = np.where(heater > 0.5, 0.018, 0.1)
    moved = np.maximum(fan * free * (1.0 - 0.3 * condition.stow_blocked), still)
    none = np.zeros_like(outside)
    return Draught(
        flow=machines.box.full_flow * moved,
        fan_heat=fan_power(machines, fan, condition),
        heater=machines.heater_power * heater,
        taken=none.copy(),
        taken_slope=none.copy(),
        outside=outside,
        moisture=none + weather.moisture[minute],
        roof_sun=machines.sunned * weather.roof_sun[minute],
        side_sun=machines.sunned * weather.side_sun[minute],
        door_leak=condition.door_leak,
        vent_extra=condition.vent_extra,
        blocked=condition.stow_blocked,
        ice_kept=condition.ice_kept,
    )


def fan_power(machines: Machines, fan: Array, condition: Condition) -> Array:
    """Electric power of the evaporator fans, all of it heat in the box. [W]."""
    power: Array = machines.fan_power * fan**2.6 * (1.0 - condition.fan_power_lost)
    return power


def _electric(
    machines: Machines,
    circuit: CircuitState,
    order: Order,
    fan: Array,
    heater: Array,
    condition: Condition,
    powered: NDArray[np.bool_],
    minute: int,
) -> dict[str, Array]:
    lost = condition.phase_lost
    # A motor on unequal phases wastes power with the square of the inequality.
    motors = circuit.power * (1.0 + 8.0 * lost**2) + fan_power(machines, fan, condition)
    motors = motors + machines.condenser_fan_power * order.condenser_fan * (
        1.0 - 0.8 * condition.condenser_fan_lost
    )
    power = np.where(powered, motors + machines.heater_power * heater + IDLE_POWER, 0.0)
    base = 441.0 + 4.0 * np.sin(minute / 213.0) + 2.5 * np.sin(minute / 37.0) - power / 2500.0
    volts = np.stack([base + 1.2, base - 0.8, (base - 0.4) * (1.0 - lost)])
    mean = volts.mean(axis=0)
    amps = power / (np.sqrt(3.0) * mean * POWER_FACTOR) * np.maximum(1.0 + 5.0 * (volts / mean - 1.0), 0.1)
    frequency = 60.0 + 0.15 * np.sin(minute / 91.0) + np.zeros_like(power)
    shown = {f"voltage_{phase + 1}": np.where(powered, volts[phase], 0.0) for phase in range(3)}
    shown |= {f"current_{phase + 1}": amps[phase] for phase in range(3)}
    return {**shown, "power": power, "frequency": np.where(powered, frequency, 0.0)}


def _wet(temperature: Array) -> Array:
    wet: Array = saturated_moisture(np.maximum(temperature, -50.0))
    return wet
