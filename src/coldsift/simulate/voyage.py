"""The time loop: weather, faults, controller, circuit, coil and box, minute by minute, all units at once.

Goes in: a fleet plan and its machines. Comes out: a :class:`Trace`, the true values and the readings at every
logged minute, the true controlling air and the defrosts at every minute, and the heat that went in and out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldsift.simulate.box import Box, advance_box
from coldsift.simulate.circuit import COIL_CHARGE, Circuit, CircuitInput, CircuitOutput, run_circuit
from coldsift.simulate.coil import Blown, Coil, CoilHeat, blow
from coldsift.simulate.control import ALARM_MINUTES, ALARMS, PRECOOL, Controller, Flags, Orders, Readings
from coldsift.simulate.faults import PROBES, Effects, FaultPlan, Strikes
from coldsift.simulate.machines import AIR_DENSITY, AIR_HEAT_PER_FLOW, Machines
from coldsift.simulate.plan import FleetPlan
from coldsift.simulate.refrigerant import Array, limit, r134a
from coldsift.simulate.weather import Weather, saturation_humidity_ratio, weather_along

STEP = 60.0
"""Length of a step. [s]"""

HEAD_TEMPERATURE = 30.0
"""Condensing temperature below which the condenser fan slows down. [°C]"""

FULL_FREQUENCY = 100.0
"""Of the compressor's inverter at full speed. [Hz]"""

_STILL_SHARE = 0.45
"""Air-to-cargo conductance with the fans stopped, share of full flow."""
_PRECOOL_FLOW = 500.0
"""Heat conductance from the coil's own metal while it is cooled with the fans stopped. [W/K]"""
_FIRST_FAN_ORDER = 0.3
_VOLTAGE, _PORT_VOLTAGE = 440.0, 400.0
_FREQUENCY, _PORT_FREQUENCY = 60.0, 50.0
_POWER_FACTOR = 0.82
_CIRCUIT_STATE = ("evaporating", "condensing", "superheat", "gas", "wetted", "held")

ROW_CHANNELS = (
    "set_point",
    "supply_air",
    "return_air",
    "ambient_air",
    "humidity",
    "fresh_air_vent",
    "core",
    "surface",
    "suction_pressure",
    "discharge_pressure",
    "suction_temperature",
    "discharge_temperature",
    "evaporator_temperature",
    "expansion_valve_opening",
    "economizer_valve",
    "hot_gas_valve",
    "compressor_frequency",
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
    "clock_ahead",
)
"""Values kept at every logged minute, in the inside units of the common log."""


@dataclass(slots=True)
class HeatAccount:
    """Heat over the whole run, one value a unit. [J].

    Attributes
    ----------
    leak, unit, respiration
        Into the box.
    stored
        Rise of the heat stored in air and cargo, from the temperatures at both ends alone.
    """

    leak: Array
    unit: Array
    respiration: Array
    stored: Array


@dataclass(frozen=True, slots=True)
class Trace:
    """What the loop leaves.

    Attributes
    ----------
    minutes
        Logged minutes of the voyage, ``(rows,)``. [min]
    rows
        Readings of :data:`ROW_CHANNELS`, before noise, ``(rows, channels, units)``.
    alarms
        Active alarms, ``(rows, alarms, units)``.
    controlling_air
        True air at the controlling probe, every minute, ``(minutes, units)``. [°C]
    defrosting
        Every minute, ``(minutes, units)``.
    heat
        For the balance.
    """

    minutes: NDArray[np.int64]
    rows: NDArray[np.float32]
    alarms: NDArray[np.bool_]
    controlling_air: NDArray[np.float32]
    defrosting: NDArray[np.bool_]
    heat: HeatAccount


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a minute brings from outside the units.

    Attributes
    ----------
    minute, hour
        Of the voyage. [min], [h]
    outside
        Air round each unit. [°C]
    sun
        [W/m²]
    sea
        [°C]
    humidity_ratio
        Of the outside air. [kg/kg]
    powered
        Units with mains.
    in_port
        The mains are the terminal's.
    """

    minute: int
    hour: float
    outside: Array
    sun: float
    sea: float
    humidity_ratio: float
    powered: Flags
    in_port: bool

    @property
    def frequency(self) -> float:
        """Of the mains. [Hz]."""
        return _PORT_FREQUENCY if self.in_port else _FREQUENCY

    @property
    def rated_voltage(self) -> float:
        """Of the mains. [V]."""
        return _PORT_VOLTAGE if self.in_port else _VOLTAGE


def sail(plan: FleetPlan, machines: Machines) -> Trace:
    """Run the voyage.

    Parameters
    ----------
    plan
        Voyage and faults.
    machines
        Of :func:`~coldsift.simulate.machines.draw_machines`, in the plan's order.

    Returns
    -------
    Trace
        See there.
    """
    units = len(plan.units)
    weather = weather_along(plan.route, plan.start, plan.days, plan.seed)
    faults = FaultPlan(
        Strikes(
            [unit.cause for unit in plan.units],
            np.array([unit.severity for unit in plan.units]),
            np.array([unit.onset_hours for unit in plan.units]),
            np.array([np.inf if unit.repaired_hours is None else unit.repaired_hours for unit in plan.units]),
        ),
        Strikes(
            [unit.also for unit in plan.units],
            np.array([unit.also_severity for unit in plan.units]),
            np.array([unit.also_onset_hours for unit in plan.units]),
        ),
    )
    every = int(np.gcd.reduce([unit.interval_minutes for unit in plan.units]))
    total = len(weather.air)
    logged = np.arange(0, total, every)
    rows = np.empty((len(logged), len(ROW_CHANNELS), units), dtype=np.float32)
    alarms = np.zeros((len(logged), len(ALARMS), units), dtype=np.bool_)
    controlling = np.empty((total, units), dtype=np.float32)
    defrosting = np.empty((total, units), dtype=np.bool_)
    ship = Ship(machines, weather.air[0] + machines.outside_offset)
    for minute in range(total):
        effects = faults.at(minute / 60.0)
        around = _surroundings(plan, machines, weather, effects, minute)
        values, active = ship.advance(around, effects)
        controlling[minute] = np.where(machines.frozen, ship.back, ship.supply)
        defrosting[minute] = ship.controller.in_defrost
        if minute % every == 0:
            rows[minute // every] = np.stack(values())
            alarms[minute // every] = active
    return Trace(logged, rows, alarms, controlling, defrosting, ship.heat_account())


def booked_set_point(machines: Machines, hour: float) -> Array:
    """Set point as ordered, one value a unit. [°C]."""
    return np.where(hour >= machines.set_point_change_hour, machines.set_point_later, machines.set_point)


def _surroundings(
    plan: FleetPlan, machines: Machines, weather: Weather, effects: Effects, minute: int
) -> Surroundings:
    hour = minute / 60.0
    air, sea, sun = float(weather.air[minute]), float(weather.sea[minute]), float(weather.sun[minute])
    # A hold follows the sea more than the air, and is warmed by the units in it.
    outside = np.where(machines.on_deck, air, 0.55 * sea + 0.45 * air)
    # Without mains: the lift aboard, a stay in port, the unit's own trouble, ship-wide blackouts.
    lifted = (hour >= machines.loading_hour) & (hour < machines.loading_hour + machines.loading_hours)
    parked = (hour >= machines.outage_hour) & (hour < machines.outage_hour + machines.outage_hours)
    luck = machines.chances[:, 2048 + int(hour // 3) % 1024]
    dark = any(begin <= hour < begin + length for begin, length in plan.blackouts)
    return Surroundings(
        minute=minute,
        hour=hour,
        outside=outside + machines.outside_offset + machines.stow_gain * sun,
        sun=sun,
        sea=sea,
        humidity_ratio=float(weather.humidity_ratio[minute]),
        powered=~(lifted | parked | (luck < effects.power_lost) | dark),
        in_port=bool(weather.in_port[minute]),
    )


def _liveliness(temperature: Array) -> Array:
    """Respiration against that at 10 °C: doubles every 9 K, and dies away above 35 °C (from memory)."""
    alive = limit((50.0 - temperature) / 15.0, 0.0, 1.0)
    return np.exp2((np.minimum(temperature, 35.0) - 10.0) / 9.0) * alive


class Ship:
    """Every unit's state, moved on a minute at a time.

    Parameters
    ----------
    machines
        Their parameters.
    outside
        Air round each unit at the start. [°C]
    """

    def __init__(self, machines: Machines, outside: Array) -> None:
        units = len(outside)
        air = machines.air_start
        self._machines = machines
        self.controller = Controller(machines)
        self._box = Box(air.copy(), machines.cargo_start.copy(), machines.cargo_start.copy())
        self._first = Box(air.copy(), machines.cargo_start.copy(), machines.cargo_start.copy())
        self._heat = HeatAccount(*(np.zeros(units) for _ in range(4)))
        self._circuit = Circuit(
            evaporating=air.copy(),
            condensing=outside.copy(),
            superheat=np.zeros(units),
            gas=outside.copy(),
            wetted=np.full(units, 0.5),
            held=np.full(units, COIL_CHARGE),
        )
        self._coil = Coil(
            metal=air.copy(), frost=np.zeros(units), moisture=0.8 * saturation_humidity_ratio(air)
        )
        self._suction_line = air.copy()
        self.supply, self.back = air.copy(), air.copy()
        self._cooling, self._drawn = np.zeros(units), np.zeros(units)
        self._fan_order = np.full(units, _FIRST_FAN_ORDER)
        self._held = np.zeros((len(PROBES), units))
        self._alarms: Flags = np.zeros((len(ALARMS), units), dtype=np.bool_)
        self._was_stuck = np.zeros((len(PROBES), units), dtype=np.bool_)

    def advance(self, around: Surroundings, effects: Effects) -> tuple[Callable[[], list[Array]], Flags]:
        """Move on a minute.

        Returns
        -------
        tuple
            A function that gives the :data:`ROW_CHANNELS`, and the alarms, one row for each of
            :data:`~coldsift.simulate.control.ALARMS`.
        """
        machines, box, coil, controller = self._machines, self._box, self._coil, self.controller
        powered = around.powered
        mains = around.frequency / _FREQUENCY
        readings = self._read(around, effects)
        set_point = self.ordered(around.hour)
        set_point = set_point + np.round(machines.wrong_set_point * effects.set_point_shift, 1)
        orders = controller.minute(
            around.minute, set_point, readings, effects, powered, self._drawn, self._circuit.gas
        )
        running = orders.compressor
        icing = coil.frost + effects.ice
        blown = blow(
            machines,
            effects,
            orders,
            powered,
            air=box.air,
            icing=icing,
            cooling=self._cooling,
            hottest=np.maximum(self.supply, coil.metal),
            mains=mains,
        )
        output = self._refrigerate(around, effects, orders, blown, icing, mains)
        heat = np.where(running, output.heat, 0.0)
        vent = (machines.vent + effects.vent_open) * np.where(blown.on, 1.0, 0.15)
        seep = machines.seep + effects.seal_leak * np.where(blown.on, 1.0, 0.5)
        latent = coil.dry_air(
            machines,
            blown,
            air=box.air,
            inlet=(vent + seep) * AIR_DENSITY / 3600.0,
            outside_moisture=around.humidity_ratio,
            running=running,
            heat=heat,
            seconds=STEP,
        )
        wet = limit(self._circuit.wetted / 0.5, 0.0, 1.0)
        coil_heat = coil.advance(
            machines,
            blown,
            defrosting=controller.in_defrost,
            precooling=controller.phase == PRECOOL,
            running=running,
            cold_end=wet * (self._circuit.evaporating + 0.8) + (1.0 - wet) * blown.on_coil,
            air=box.air,
            heat=heat,
            latent=latent,
            seconds=STEP,
        )
        self._cooling = coil_heat.cooling
        self._warm_box(around, effects, blown, coil_heat, AIR_HEAT_PER_FLOW * (vent + seep))
        self._move_probes(blown)
        return self._electric(around, effects, set_point, readings, orders, blown, output)

    def ordered(self, hour: float) -> Array:
        """Set point as ordered, one value a unit. [°C]."""
        return booked_set_point(self._machines, hour)

    def heat_account(self) -> HeatAccount:
        """Heat since the start, with the heat stored."""
        stores, box, first = self._machines.stores, self._box, self._first
        self._heat.stored = (
            stores.air * (box.air - first.air)
            + stores.surface * (box.surface - first.surface)
            + stores.core * (box.core - first.core)
        )
        return self._heat

    def _read(self, around: Surroundings, effects: Effects) -> Readings:
        """What the probes say: the truth, on the wrong wire, drifted or stuck."""
        machines, circuit = self._machines, self._circuit
        swapped = effects.probes_swapped > 0
        true = np.stack(
            [
                np.where(swapped, self.back, self.supply),
                np.where(swapped, self.supply, self.back),
                self._coil.metal,
                circuit.low.pressure,
                self._suction_line,
                circuit.high.pressure + effects.air_pressure,
                around.outside,
            ]
        )
        read = true + machines.drift * effects.probe_drift
        luck = machines.chances[:, 3072 + (around.minute // 720) % 1024]
        stuck = machines.sticks & (luck < effects.probe_stuck)
        self._held = np.where(stuck & ~self._was_stuck, read, self._held)
        self._was_stuck = stuck
        read = np.where(stuck, self._held, read)
        read[3] = np.maximum(read[3], 0.01)
        return Readings(*read)

    def _refrigerate(
        self,
        around: Surroundings,
        effects: Effects,
        orders: Orders,
        blown: Blown,
        icing: Array,
        mains: float,
    ) -> CircuitOutput:
        """Let circuit, expansion valve and condenser fan settle; standing circuits drift to rest."""
        machines, circuit, controller = self._machines, self._circuit, self.controller
        running, water = orders.compressor, machines.water_cooled
        precool = controller.phase == PRECOOL
        coil_air = np.where(precool, self._coil.metal, blown.on_coil)
        stuck_now = around.minute % 120 < 120.0 * effects.economizer_stuck
        stuck_place = np.where(machines.frozen, 0.0, running & machines.has_economizer)
        travel = np.where(effects.valve_blocked > 0, 0.6 * (1.0 - effects.valve_blocked) ** 1.5, 1.0)
        turning = self._fan_order * effects.condenser_fan * mains
        share = np.where(water, 0.03 + effects.condenser_water, 0.06 + 0.94 * turning**0.7)
        drive = CircuitInput(
            speed=np.maximum(orders.speed, 0.1),
            valve=limit(np.minimum(controller.valve, travel), effects.valve_held_open, 1.0),
            economizer=np.where(stuck_now, stuck_place, orders.economizer),
            hot_gas=orders.hot_gas,
            air_on_coil=coil_air,
            air_flow=np.where(precool, _PRECOOL_FLOW, blown.flow),
            coil=machines.coil * np.maximum(blown.share, 0.15) ** 0.6 / (1.0 + icing / 8.0),
            sink=np.where(water, around.sea + 4.0, around.outside),
            condenser=machines.condenser * share * effects.condenser,
            outside=around.outside,
            charge=effects.charge,
            air_pressure=effects.air_pressure,
            compressor_flow=effects.compressor_flow,
            compressor_leak=effects.compressor_leak,
            compressor_work=effects.compressor_work,
        )
        before = [getattr(circuit, name) for name in _CIRCUIT_STATE]
        output = run_circuit(circuit, machines.circuit, drive)
        # The controller makes its superheat of what the two suction probes say.
        drift = machines.drift * effects.probe_drift
        line = circuit.evaporating + circuit.superheat + 1.0
        boiling = r134a().temperature_of_pressure(np.maximum(circuit.low.pressure + drift[3], 0.01))
        controller.steer_valve(line + drift[4] - boiling)
        # Head pressure: the fan slows down in the cold.
        above = circuit.condensing - HEAD_TEMPERATURE
        pull = limit(np.maximum(0.03 * above, 0.07 * above), -0.3, 1.2)
        self._fan_order = np.where(
            running, limit(self._fan_order * np.exp(pull), 0.05, 1.0), _FIRST_FAN_ORDER
        )
        metal, outside = self._coil.metal, around.outside
        rest = (metal, outside, np.zeros_like(metal), outside, np.full_like(metal, 0.5), before[-1])
        pace = (0.15, 0.12, 0.3, 0.04, 0.2, 0.0)
        for name, start, calm, rate in zip(_CIRCUIT_STATE, before, rest, pace, strict=True):
            setattr(circuit, name, np.where(running, getattr(circuit, name), start + rate * (calm - start)))
        circuit.settle()
        line = np.minimum(circuit.evaporating + circuit.superheat, np.maximum(coil_air, circuit.evaporating))
        line = np.where(running, line + 1.0, 0.6 * metal + 0.4 * outside)
        self._suction_line = self._suction_line + np.where(running, 0.7, 0.05) * (line - self._suction_line)
        return output

    def _warm_box(
        self,
        around: Surroundings,
        effects: Effects,
        blown: Blown,
        coil_heat: CoilHeat,
        outside_air: Array,
    ) -> None:
        machines, box = self._machines, self._box
        through = np.where(blown.on, np.maximum(blown.share, 0.05) ** 0.6, _STILL_SHARE)
        flows = advance_box(
            box,
            machines.stores,
            outside=around.outside + machines.sun_gain * around.sun,
            leak=machines.leak + outside_air,
            air_to_cargo=machines.air_to_cargo * through * (1.0 - 0.85 * effects.air_blocked),
            in_cargo=machines.in_cargo,
            unit_heat=np.where(blown.on, blown.fan_heat + blown.reheat - coil_heat.cooling, coil_heat.escape),
            respiration=machines.respiration * _liveliness(box.surface),
            seconds=STEP,
        )
        self._heat.leak += flows.leak
        self._heat.unit += flows.unit
        self._heat.respiration += flows.respiration

    def _move_probes(self, blown: Blown) -> None:
        """Air at the two probes; in still air they feel the warm coil."""
        box, over_coil = self._box, np.maximum(self._coil.metal - self._box.air, 0.0)
        supply = np.where(
            blown.on,
            blown.on_coil - (self._cooling - blown.reheat) / blown.flow,
            box.air + 0.35 * over_coil,
        )
        back = np.where(blown.on, blown.back, box.air + 0.2 * over_coil)
        pace = np.where(blown.on, 0.7, 0.15)
        self.supply = self.supply + pace * (supply - self.supply)
        self.back = self.back + pace * (back - self.back)

    def _electric(
        self,
        around: Surroundings,
        effects: Effects,
        set_point: Array,
        readings: Readings,
        orders: Orders,
        blown: Blown,
        output: CircuitOutput,
    ) -> tuple[Callable[[], list[Array]], Flags]:
        machines, circuit, coil, controller = self._machines, self._circuit, self._coil, self.controller
        running, powered = orders.compressor, around.powered
        fan = np.where(running & ~machines.water_cooled, self._fan_order, 0.0)
        drawn = (
            90.0
            + blown.fan_heat
            + blown.heating
            + np.where(running, output.power, 0.0)
            + 420.0 * (fan * effects.condenser_fan) ** 2.5
        )
        self._drawn = drawn = np.where(powered, drawn, 0.0)
        ripple = 1.0 + 0.006 * np.sin(around.hour / 3.7) + 0.004 * np.sin(around.hour / 0.71)
        phases = machines.voltage_share * ripple * (1.0 - 1.3e-6 * drawn) * powered
        phases[1] = phases[1] * (1.0 - effects.voltage_drop)
        if around.minute % ALARM_MINUTES == 0:
            self._alarms = controller.alarms(
                set_point, readings, orders, powered, circuit.gas, phases.min(axis=0)
            )
        air = self._box.air

        def values() -> list[Array]:
            volts = phases * around.rated_voltage
            mean = drawn / (np.sqrt(3.0) * _POWER_FACTOR * np.maximum(volts.mean(axis=0), 1.0))
            # Motors answer a weak phase with a several times larger current imbalance (common practice).
            shift = 5.0 * effects.voltage_drop
            amperes = machines.current_share * mean * np.stack([1 + shift / 2, 1 - shift, 1 + shift / 2])
            return [
                set_point,
                readings.supply_air,
                readings.return_air,
                readings.ambient_air,
                100.0 * limit(coil.moisture / saturation_humidity_ratio(air), 0.0, 1.0),
                machines.vent + effects.vent_open,
                self._box.core,
                self._box.surface,
                readings.suction_pressure,
                readings.discharge_pressure,
                readings.suction_temperature,
                circuit.gas,
                readings.evaporator_temperature,
                np.where(running, 100.0 * controller.valve, 0.0),
                100.0 * orders.economizer,
                100.0 * orders.hot_gas,
                FULL_FREQUENCY * orders.speed,
                running.astype(np.float64),
                100.0 * orders.fan,
                100.0 * fan,
                (orders.heater > 0.0).astype(np.float64),
                controller.in_defrost.astype(np.float64),
                *volts,
                *amperes,
                drawn,
                around.frequency * powered,
                powered.astype(np.float64),
                effects.clock_ahead,
            ]

        return values, self._alarms
