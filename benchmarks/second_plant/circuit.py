"""The refrigerant circuit: compressor map, expansion valve, coils, economizer, head pressure.

Goes in: what the controller orders, air on the coil, weather, the machine's condition. Comes out: heat taken
from the coil, electric power, pressures and temperatures.

The evaporating temperature is where the compressor's pull and the coil's wet part agree; a valve that cannot
pass that much, or passes more, moves it to where the compressor's flow equals the valve's. The length of the
dry part of the coil gives the superheat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.second_plant.refrigerants import (
    KELVIN,
    MAP_SUPERHEAT,
    Array,
    CompressorMap,
    Properties,
    Saturated,
)
from benchmarks.second_plant.upsets import Condition

NO_LOAD = 0.13
"""Share of the full power that an unloaded compressor still takes."""
ECONOMIZER_SUBCOOLING, ECONOMIZER_POWER = 16.0, 0.09
"""Further liquid subcooling [K] and added power with the economizer open; chosen here."""
DRY_PART = 6.0
"""Heat transfer units of the whole coil when it only superheats gas."""
GAS_SHARE = 0.94
"""Of the electric power that heats the gas; the shell gives off the rest."""
INJECTION_COOLING = 14e3
"""Cooling of the gas under compression by the economizer's vapour. [J/kg]"""
LOWEST = -55.0
"""Evaporating temperature of a suction that is pumped empty. [°C]"""


@dataclass(frozen=True, slots=True)
class CircuitMake:
    """Parameters of the circuits, one value a unit.

    Attributes
    ----------
    displacement
        [m³/s]
    pulse
        True for capacity by pulse-width unloading, False for fixed speed with hot-gas bypass.
    electronic
        True for an electronic expansion valve, False for a mechanical one.
    superheat_set
        Of the valve: target of an electronic one, static setting of a mechanical one. [K]
    droop
        Superheat added from shut to fully open, mechanical valve. [K]
    valve
        Flow at full opening per root of pressure drop. [kg/s per √bar]
    pressure_limit
        Highest evaporating temperature the valve allows. [°C]
    wet
        Refrigerant-side conductance of the evaporator. [W/K]
    condenser
        Conductance with the fan on, or of the water-cooled condenser. [W/K]
    condenser_stream
        Heat capacity flow of its air or water. [W/K]
    condenser_heat
        Of metal and charge. [J/K]
    subcooling
        With the right charge. [K]
    water_cooled
        [bool]
    line_gain
        Warming of the suction gas on its way. [K]
    """

    displacement: Array
    pulse: Array
    electronic: Array
    superheat_set: Array
    droop: Array
    valve: Array
    pressure_limit: Array
    wet: Array
    condenser: Array
    condenser_stream: Array
    condenser_heat: Array
    subcooling: Array
    water_cooled: Array
    line_gain: Array


@dataclass(slots=True)
class CircuitState:
    """States of the circuits, one value a unit.

    Attributes
    ----------
    evaporating, condensing
        Dew temperatures that the pressures stand at, air in the condenser apart. [°C]
    balance
        Evaporating temperature at which the last step balanced. [°C]
    superheat
        At the coil's end. [K]
    opening
        Of the expansion valve, 0 to 1.
    high
        Saturation at the condensing temperature.
    suction_pressure, discharge_pressure
        [bar]
    suction, discharge
        Gas temperatures. [°C]
    power
        Of the compressor. [W]
    taken, taken_slope
        Heat taken from the coil [W], its change with coil temperature [W/K].
    """

    evaporating: Array
    condensing: Array
    balance: Array
    superheat: Array
    opening: Array
    high: Saturated
    suction_pressure: Array
    discharge_pressure: Array
    suction: Array
    discharge: Array
    power: Array
    taken: Array
    taken_slope: Array


@dataclass(frozen=True, slots=True)
class Order:
    """What the controller orders and what surrounds the circuit, one value a unit.

    Attributes
    ----------
    running
        1 while the compressor runs.
    share
        Of its capacity that reaches the evaporator, 0 to 1.
    economizer
        1 with the valve open.
    condenser_fan
        1 while it turns.
    superheat_error
        By which the controller's probes read the superheat too high. [K]
    air_on, coil
        Air on the coil and coil metal. [°C]
    outside, water
        Air and cooling water at the condenser. [°C]
    """

    running: Array
    share: Array
    economizer: Array
    condenser_fan: Array
    superheat_error: Array
    air_on: Array
    coil: Array
    outside: Array
    water: Array


@dataclass(frozen=True, slots=True)
class _LowSide:
    """Evaporator, valve and compressor in balance; names and units as in :class:`CircuitState`."""

    balance: Array
    flow: Array
    liquid: Array
    opening: Array
    superheat: Array
    taken: Array
    taken_slope: Array


class Circuits:
    """Circuits of a fleet.

    Parameters
    ----------
    make
        Parameters.
    properties, compressor
        Saturation states and compressor map of each unit's refrigerant.
    """

    def __init__(self, make: CircuitMake, properties: Properties, compressor: CompressorMap) -> None:
        self.make = make
        self.properties = properties
        self.compressor = compressor

    def at_rest(self, coil: Array, outside: Array) -> CircuitState:
        """State of standstill: low side as warm as the coil, high side as the outside. [°C]."""
        nothing = np.zeros_like(coil)
        high = self.properties.at(outside)
        return CircuitState(
            evaporating=coil.copy(),
            condensing=outside.copy(),
            balance=coil - 8.0,
            superheat=nothing + 6.0,
            opening=nothing + 0.4,
            high=high,
            suction_pressure=self.properties.at(coil).pressure,
            discharge_pressure=high.pressure,
            suction=outside.copy(),
            discharge=outside.copy(),
            power=nothing.copy(),
            taken=nothing.copy(),
            taken_slope=nothing.copy(),
        )

    def step(self, state: CircuitState, order: Order, condition: Condition, seconds: float) -> None:
        """Move the circuits one step on, in place.

        Parameters
        ----------
        state, order, condition
            State (changed), orders and surroundings, planted faults.
        seconds
            Length of the step. [s]
        """
        high = state.high
        head_pressure = high.pressure + condition.air_in_condenser
        head = state.condensing
        if condition.air_in_condenser.any():
            head = self.properties.temperature(head_pressure)
        # Coefficients of the cubics: [power of the temperature, flow or electric power, unit].
        cubic = self.compressor.in_evaporating(head)
        low = self.properties.at(state.balance)
        side = self._low_side(state, order, condition, cubic[:, 0], head_pressure, low)

        # Electric power, and the gas by what leaves the coil, warms on its way and is compressed.
        make = self.make
        loaded = _cubic(cubic[:, 1], side.balance)[0] * make.displacement * (1.0 + condition.wear_work)
        loaded = np.maximum(loaded, 300.0) * (1.0 + ECONOMIZER_POWER * order.economizer)
        power = loaded * np.where(make.pulse, order.share + NO_LOAD * (1.0 - order.share), 1.0)
        # All the gas that is compressed, bypassed or not, while the compressor is loaded.
        total = side.flow / np.maximum(order.share, 0.02)
        line = make.line_gain + 0.04 * np.maximum(order.outside - side.balance, 0.0)
        leaving = side.liquid + side.taken / np.maximum(side.flow, 1e-5)
        compressed = leaving + low.heat * line + GAS_SHARE * loaded / np.maximum(total, 2e-3)
        compressed = compressed - INJECTION_COOLING * order.economizer
        hot = head + np.maximum(compressed - high.vapour, 0.0) / (1.12 * high.heat)

        running = order.running > 0.5
        state.taken = np.where(running, side.taken, 0.0)
        state.taken_slope = np.where(running, side.taken_slope, 0.0)
        state.power = np.where(running, power, 0.0)
        state.balance = np.where(running, side.balance, order.coil - 6.0)
        state.superheat = _towards(state.superheat, np.where(running, side.superheat, 6.0), seconds / 120.0)
        shut = np.where(make.electronic, condition.valve_floor, state.opening)
        state.opening = np.where(running, side.opening, shut)
        self._high_side(state, order, condition, seconds)
        # Standing, a worn compressor lets its pressures come together sooner.
        rest = np.where(condition.wear_flow > 0.0, 90.0, 260.0)
        low_target = np.where(running, side.balance, order.coil)
        state.evaporating = _towards(state.evaporating, low_target, seconds / np.where(running, 70.0, rest))
        gas = np.where(
            running, state.evaporating + state.superheat + line, 0.5 * (order.outside + order.coil)
        )
        state.suction = _towards(state.suction, gas, seconds / np.where(running, 120.0, 2400.0))
        hot = np.where(running, np.minimum(hot, 170.0), order.outside)
        state.discharge = _towards(state.discharge, hot, seconds / np.where(running, 280.0, 2700.0))
        state.suction_pressure = self.properties.at(state.evaporating).pressure
        state.high = self.properties.at(state.condensing)
        state.discharge_pressure = state.high.pressure + condition.air_in_condenser

    def _low_side(
        self,
        state: CircuitState,
        order: Order,
        condition: Condition,
        flow_cubic: Array,
        head_pressure: Array,
        low: Saturated,
    ) -> _LowSide:
        """Where compressor, coil and expansion valve agree."""
        make = self.make
        gas = KELVIN + np.maximum(state.superheat + make.line_gain, 0.0)
        thinner = (KELVIN + MAP_SUPERHEAT) / gas
        pull = flow_cubic * (
            make.displacement * np.maximum(order.share, 0.02) * (1.0 - condition.wear_flow) * thinner
        )
        charge = 1.0 - condition.charge_lost
        subcooling = make.subcooling * _within((charge - 0.7) / 0.3, 0.0, 1.0) + 60.0 * condition.overfill
        warm = state.condensing - subcooling - ECONOMIZER_SUBCOOLING * order.economizer
        liquid = self.properties.at(np.maximum(warm, state.evaporating)).liquid

        # At the superheat the valve wants: the compressor's pull equals the wet coil's heat.
        span = order.air_on - state.balance
        asked = np.where(make.electronic, 0.25 * span - order.superheat_error, make.droop * state.opening)
        wanted = make.superheat_set + asked
        drive = np.maximum(span, 2.0)
        wetted = 1.0 + np.log(1.0 - _within(wanted / drive, 0.0, 0.85)) / DRY_PART
        gain = low.vapour + low.heat * np.maximum(wanted, 0.0) - liquid
        conductance = make.wet * wetted
        free = state.balance
        for _ in range(2):
            flow, slope = _cubic(pull, free)
            miss = flow * gain - conductance * (order.coil - free)
            free = _within(free - miss / (slope * gain + conductance), LOWEST, order.coil)
        flow, slope = _cubic(pull, free)

        # What the valve can pass between its closest and its widest.
        drop = np.sqrt(np.maximum(head_pressure - low.pressure, 0.3))
        passing = make.valve * drop * _within((charge - 0.35) / 0.45, 0.02, 1.0)
        widest = np.maximum(1.0 - condition.valve_cap, 0.005)
        opening = _within(flow / passing, np.minimum(condition.valve_floor, widest), widest)
        limited = np.abs(opening * passing - flow) > 1e-3 * np.maximum(flow, 1e-5)
        balance = free
        if limited.any():
            for _ in range(3):
                here, rise = _cubic(pull, balance)
                forced = _within(balance - (here - opening * passing) / rise, LOWEST, order.coil - 0.5)
                balance = np.where(limited, forced, balance)
        held = limited | (balance > make.pressure_limit)
        balance = np.minimum(balance, make.pressure_limit)
        flow, slope = _cubic(pull, balance)

        # A held coil gives what its flow can carry, or, flooded, what its surface can pass.
        dry_gas = low.vapour + low.heat * 0.9 * np.maximum(order.air_on - balance, 0.0) - liquid
        most = np.maximum(make.wet * (order.coil - balance), 0.0)
        taken = np.where(held, np.minimum(flow * dry_gas, most), np.maximum(flow * gain, 0.0))
        flooded = held & (taken >= most)
        free_slope = slope * gain * conductance / (slope * gain + conductance)
        wet_share = _within(taken / np.maximum(most, 1.0), 0.0, 1.0)
        dried = np.maximum(order.air_on - balance, 0.0) * (1.0 - np.exp(-DRY_PART * (1.0 - wet_share)))
        return _LowSide(
            balance=balance,
            flow=flow,
            liquid=liquid,
            opening=opening,
            superheat=np.maximum(np.where(held, dried, np.minimum(wanted, 0.85 * drive)), 0.0),
            taken=taken,
            taken_slope=np.where(held, np.where(flooded, make.wet, 0.0), free_slope),
        )

    def _high_side(self, state: CircuitState, order: Order, condition: Condition, seconds: float) -> None:
        make = self.make
        turning = np.maximum(order.condenser_fan * (1.0 - condition.condenser_fan_lost), 0.04)
        moving = np.where(make.water_cooled, np.maximum(1.0 - condition.water_lost, 0.02), turning)
        sink = np.where(make.water_cooled, order.water, order.outside)
        stream = make.condenser_stream * moving
        dirt = np.where(make.water_cooled, 0.8, 1.0) * condition.condenser_dirt
        clean = 1.0 - np.minimum(dirt + 2.5 * condition.overfill, 0.93)
        conductance = make.condenser * clean * moving**0.5
        # Dirt also chokes the air of an air-cooled condenser.
        stream = stream * np.where(make.water_cooled, 1.0, 1.0 - 0.45 * condition.condenser_dirt)
        exchange = stream * (1.0 - np.exp(-conductance / stream))
        inertia = make.condenser_heat / seconds
        rejected = state.taken + 0.93 * state.power
        state.condensing = (inertia * state.condensing + rejected + exchange * sink) / (inertia + exchange)


def _cubic(coefficients: Array, at: Array) -> tuple[Array, Array]:
    """Value and slope of cubics held at a small positive value, as a compressor's flow is."""
    first, second, third, fourth = coefficients
    value = first + at * (second + at * (third + at * fourth))
    slope = second + at * (2.0 * third + at * 3.0 * fourth)
    return np.maximum(value, 1e-6), np.maximum(slope, 1e-7)


def _within(value: Array, low: Array | float, high: Array | float) -> Array:
    held: Array = np.minimum(np.maximum(value, low), high)
    return held


def _towards(now: Array, target: Array, steps: Array | float) -> Array:
    """First-order approach over a share of the time constant."""
    moved: Array = target + (now - target) * np.exp(-np.asarray(steps))
    return moved
