"""The unit's controller: air temperature, fans, heaters, defrost, protections.

Goes in: probe readings, power, the planted condition. Comes out: orders for the machine and alarms.

Chilled cargo: proportional band with a slow reset on supply air, evaporator fans at high speed, heater trim
below no demand. Frozen cargo: thermostat band on return air, fans at low speed, in some units stopped between
runs but for a stir. Defrost by interval timer or on the coil's air resistance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.second_plant.box import ice_blocking
from benchmarks.second_plant.refrigerants import Array
from benchmarks.second_plant.upsets import Condition

Flags = NDArray[np.bool_]

COOL, HEAT, DRIP, CHILL = 0, 1, 2, 3
"""Phases: temperature control, defrost heating, dripping, coil chilled before the fans start."""

ALARM_TEXTS = (
    "Discharge pressure above limit, compressor stopped",
    "Suction pressure too low, compressor stopped",
    "Compressor gas too hot, compressor stopped",
    "Compressor motor protection opened",
    "Compressor did not start",
    "Defrost stopped by its time limit",
    "Air temperature away from set point",
    "Phases of the supply unequal",
)
"""Invented texts, one bit each in :attr:`ControllerState.alarms`."""

HIGH_PRESSURE, LOW_PRESSURE, HOT_GAS, MOTOR, NO_START, DEFROST_LIMIT, AWAY, PHASES = (
    1 << bit for bit in range(len(ALARM_TEXTS))
)


@dataclass(frozen=True, slots=True)
class ControllerMake:
    """Settings of the controllers, one value a unit.

    Attributes
    ----------
    frozen
        Controlled on return air.
    pulse
        Capacity by pulse-width unloading; else hot-gas bypass when chilled.
    band
        Proportional band, chilled. [K]
    reset_minutes
        [min]
    above, below
        Thermostat band around the set point, frozen. [K]
    stops_fans
        Fans stop between compressor runs, frozen.
    least_share
        Lowest capacity while the compressor runs, 0 to 1.
    eased
        Capacity near the set point, frozen, 0 to 1.
    timer
        True for an interval timer, False for defrost on demand.
    interval
        Of the timer. [min]
    blocked_at
        Share of the air passages closed at which a demand defrost starts.
    termination
        Coil temperature that ends a defrost. [°C]
    limit, drip, chill
        Longest defrost heating, dripping, longest chilling before the fans start. [min]
    forgets
        A power cut sets the defrost clock back to its start.
    fan_on, fan_off
        Discharge pressure at which the condenser fan starts and stops. [bar]
    restart
        Delay after power returns. [min]
    economizer, economizer_ratio
        Has one; pressure ratio above which it opens.
    high_pressure
        Cut-out. [bar]
    """

    frozen: Flags
    pulse: Flags
    band: Array
    reset_minutes: Array
    above: Array
    below: Array
    stops_fans: Flags
    least_share: Array
    eased: Array
    timer: Flags
    interval: Array
    blocked_at: Array
    termination: Array
    limit: Array
    drip: Array
    chill: Array
    forgets: Flags
    fan_on: Array
    fan_off: Array
    restart: Array
    economizer: Flags
    economizer_ratio: Array
    high_pressure: Array


@dataclass(slots=True)
class ControllerState:
    """Memory and orders of the controllers, one value a unit.

    Attributes
    ----------
    running
        Compressor.
    ran, rested, wait
        Minutes running, minutes stopped, minutes until it may start.
    reset
        Slow part of the demand.
    share
        Capacity ordered, 0 to 1.
    ceiling
        Share allowed by the discharge pressure.
    heater
        Share of the heaters on, 0 to 1.
    fan
        Evaporator fan speed, 0, 0.5 or 1.
    condenser_fan, economizer
        On or off.
    phase, in_phase, since_defrost
        Defrost phase, its minutes, minutes since the last.
    away
        Minutes with the air outside its range.
    alarms
        Bits of :data:`ALARM_TEXTS`.
    """

    running: Flags
    ran: Array
    rested: Array
    wait: Array
    reset: Array
    share: Array
    ceiling: Array
    heater: Array
    fan: Array
    condenser_fan: Flags
    economizer: Flags
    phase: NDArray[np.int64]
    in_phase: Array
    since_defrost: Array
    away: Array
    alarms: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Readings:
    """What the controller sees, one value a unit: probes with their errors [°C, bar], power, chance.

    ``luck`` is uniform in 0 to 1, shape (2, units): for a start and for staying in. ``ice`` is all ice on
    the coil [kg], felt as air resistance. ``discharge`` is the true gas temperature of the hot-gas switch.
    """

    powered: Flags
    set_point: Array
    supply: Array
    back: Array
    coil: Array
    suction_pressure: Array
    discharge_pressure: Array
    discharge: Array
    ice: Array
    luck: Array


def first_state(make: ControllerMake, since_defrost: Array) -> ControllerState:
    """Controllers just plugged in; ``since_defrost`` in minutes."""
    nothing = np.zeros(len(make.band))
    off = np.zeros(len(make.band), dtype=np.bool_)
    return ControllerState(
        running=off.copy(),
        ran=nothing.copy(),
        rested=nothing + 30.0,
        wait=make.restart.copy(),
        reset=nothing + 0.3,
        share=nothing.copy(),
        ceiling=nothing + 1.0,
        heater=nothing.copy(),
        fan=nothing.copy(),
        condenser_fan=off.copy(),
        economizer=off.copy(),
        phase=np.zeros(len(off), dtype=np.int64),
        in_phase=nothing.copy(),
        since_defrost=since_defrost.copy(),
        away=nothing.copy(),
        alarms=np.zeros(len(off), dtype=np.int64),
    )


def control(
    make: ControllerMake,
    state: ControllerState,
    seen: Readings,
    condition: Condition,
    wrong_economizer: Flags,
    minutes: float,
) -> None:
    """Give the orders for the next step, in place.

    Parameters
    ----------
    make, state, seen, condition
        Settings, memory and orders (changed), readings, planted faults.
    wrong_economizer
        True while a stuck economizer valve stands the wrong way.
    minutes
        Length of the step. [min]
    """
    powered = seen.powered
    _defrost(make, state, seen, condition, minutes)
    cooling = (state.phase == COOL) & powered
    error, warmer = seen.supply - seen.set_point, seen.back - seen.set_point
    demand = _demand(make, state, error, cooling, minutes)
    # A thermostat believes its probe only while air moves over it.
    calls = np.where(state.running, warmer > -make.below, (warmer > make.above) & (state.fan > 0.0))
    wants = np.where(make.frozen, calls, np.where(state.running, demand > -0.15, demand > 0.04))
    wants = ((cooling & wants) | (state.phase == CHILL)) & powered
    _protect(make, state, seen, condition, minutes)
    _run(state, seen, condition, wants, minutes)
    _load(make, state, seen, demand, warmer, minutes)

    trim = np.where(~make.frozen & cooling & (demand < -0.03), -demand, 0.0)
    ordered_heat = np.where(state.phase == HEAT, 1.0, trim)
    heat = np.maximum(ordered_heat, condition.heater_welded) * (1.0 - condition.heater_lost)
    state.heater = np.where(powered, heat, 0.0)
    stir = (state.rested % 11.0) >= 7.0
    slow = np.where(make.stops_fans & ~state.running & ~stir, 0.0, 0.5)
    frozen_fan = np.where(warmer > 5.0, 1.0, slow)
    state.fan = np.where(cooling, np.where(make.frozen, frozen_fan, 1.0), 0.0)

    threshold = np.where(state.condenser_fan, make.fan_off, make.fan_on)
    state.condenser_fan = state.running & (seen.discharge_pressure > threshold)
    ratio = seen.discharge_pressure / np.maximum(seen.suction_pressure, 0.1)
    useful = make.frozen & (ratio > make.economizer_ratio - state.economizer) & (state.ran >= 3.0)
    stands = np.where(wrong_economizer, ~make.frozen, useful)
    state.economizer = state.running & stands & make.economizer

    outside = np.where(make.frozen, warmer > 3.5, np.abs(error) > 2.5) & cooling
    away = np.where(outside, state.away + minutes, np.maximum(state.away - 5.0, 0.0))
    state.away = np.where(powered, away, 0.0)
    state.alarms |= np.where(state.away > 120.0, AWAY, 0)
    state.alarms |= np.where(powered & (condition.phase_lost > 0.05), PHASES, 0)


def _demand(
    make: ControllerMake, state: ControllerState, error: Array, cooling: Flags, minutes: float
) -> Array:
    """Chilled: −1 full heating to 1 full cooling; the slow part waits while the fast one is at its end."""
    ordered = state.reset + error / make.band
    moved = state.reset + error / make.band * minutes / make.reset_minutes
    state.reset = np.where(cooling & (np.abs(ordered) < 1.0), moved, state.reset)
    state.reset = np.minimum(np.maximum(state.reset, -0.7), 0.9)
    demand: Array = np.minimum(np.maximum(ordered, -1.0), 1.0)
    return demand


def _run(state: ControllerState, seen: Readings, condition: Condition, wants: Flags, minutes: float) -> None:
    """Start and stop the compressor, with its shortest run and rest and what may fail."""
    too_short = state.running & (state.ran < 3.0) & (state.phase == COOL)
    starts = wants & ~state.running & (state.wait <= 0.0) & (state.rested >= 3.0)
    fails = starts & (seen.luck[0] < condition.start_refused)
    drops = state.running & (seen.luck[1] < condition.start_refused * minutes / 150.0)
    state.wait = np.where(fails | drops, 6.0, np.maximum(state.wait - minutes, 0.0))
    state.alarms |= np.where(fails, NO_START, 0)
    stays = state.running & (wants | too_short)
    running = (stays | (starts & ~fails)) & (state.wait <= 0.0) & seen.powered
    state.ran = np.where(running & state.running, state.ran + minutes, 0.0)
    state.rested = np.where(running, 0.0, state.rested + minutes)
    state.running = running


def _load(
    make: ControllerMake,
    state: ControllerState,
    seen: Readings,
    demand: Array,
    warmer: Array,
    minutes: float,
) -> None:
    """Capacity ordered of a running compressor, eased while the discharge pressure is high."""
    pressed = seen.discharge_pressure > make.high_pressure - 3.0
    ceiling = np.where(pressed, state.ceiling - 0.12 * minutes, state.ceiling + 0.03 * minutes)
    state.ceiling = np.minimum(np.maximum(ceiling, 0.35), 1.0)
    chilled = np.maximum(demand, make.least_share)
    # A valve train moves a little each minute.
    chilled = np.minimum(np.maximum(chilled, state.share - 0.25), state.share + 0.15)
    frozen = np.where(warmer > make.above, 1.0, make.eased)
    share = np.where(state.phase == CHILL, 1.0, np.where(make.frozen, frozen, chilled))
    allowed = np.where(make.pulse, state.ceiling, 1.0)
    state.share = np.where(state.running, np.minimum(share, allowed), 0.0)


def _defrost(
    make: ControllerMake, state: ControllerState, seen: Readings, condition: Condition, minutes: float
) -> None:
    powered = seen.powered
    state.since_defrost = np.where(
        powered, state.since_defrost + minutes, np.where(make.forgets, 0.0, state.since_defrost)
    )
    slower = 1.0 / np.maximum(1.0 - condition.defrost_skipped, 1e-9)
    on_time = state.since_defrost >= make.interval * slower
    blocked = ice_blocking(seen.ice) >= make.blocked_at
    on_demand = (blocked & (state.since_defrost >= 200.0 * slower)) | (state.since_defrost >= 2880.0 * slower)
    due = np.where(make.timer, on_time, on_demand) & (seen.coil < 1.0)
    starts = (state.phase == COOL) & due & powered
    over = seen.coil >= make.termination + condition.termination_raised
    spent = state.in_phase >= make.limit + condition.defrost_limit_raised
    heated = (state.phase == HEAT) & (over | spent)
    state.alarms |= np.where((state.phase == HEAT) & spent & ~over, DEFROST_LIMIT, 0)
    dripped = (state.phase == DRIP) & (state.in_phase >= make.drip)
    cold = seen.coil < seen.set_point - 3.0
    chilled = (state.phase == CHILL) & (cold | (state.in_phase >= make.chill))
    phase = np.where(starts, HEAT, np.where(heated, DRIP, np.where(dripped, CHILL, state.phase)))
    phase = np.where(chilled, COOL, phase)
    # A cut ends a defrost; its clock goes on and starts it again, unless it forgets.
    phase = np.where(powered, phase, COOL)
    state.in_phase = np.where(phase == state.phase, state.in_phase + minutes, 0.0)
    state.since_defrost = np.where(heated, 0.0, state.since_defrost)
    state.phase = phase


def _protect(
    make: ControllerMake, state: ControllerState, seen: Readings, condition: Condition, minutes: float
) -> None:
    running = state.running
    pressed = running & (seen.discharge_pressure > make.high_pressure)
    starved = running & (seen.suction_pressure < 0.32) & (state.ran > 3.0)
    hot = running & (seen.discharge > 138.0)
    trips_after = 4.0 + 40.0 * (1.0 - condition.protector) ** 2
    opened = running & (condition.protector > 0.0) & (state.ran >= trips_after)
    for stopped, pause, alarm in (
        (pressed, 9.0, HIGH_PRESSURE),
        (starved, 8.0, LOW_PRESSURE),
        (hot, 14.0, HOT_GAS),
        (opened, 7.0, MOTOR),
    ):
        state.wait = np.where(stopped, pause + minutes, state.wait)
        state.alarms |= np.where(stopped, alarm, 0)
    state.wait = np.where(seen.powered, state.wait, np.maximum(state.wait, make.restart))
