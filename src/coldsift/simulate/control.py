"""The controller of a unit: what it orders, minute by minute, from what its probes tell it.

Chilled set points: supply air, continuous; compressor speed, then hot gas, then heat. Frozen set points:
return air; compressor speed, and stop and start below the smallest capacity. Common practice, no source.
The controller never sees a true temperature, only readings: a drifting probe misleads it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from coldsift.simulate.faults import Effects
from coldsift.simulate.machines import Machines
from coldsift.simulate.refrigerant import Array, limit

Flags: TypeAlias = NDArray[np.bool_]
Phase: TypeAlias = NDArray[np.int64]

RUN, HEAT, DRIP, PRECOOL = 0, 1, 2, 3
"""Phases: ordinary, defrost heaters on, water dripping off, coil cooled before the fans start."""

SMALLEST_SPEED = 0.15
POWER_LIMIT = 9000.0
"""Total power at which the speed is held back. [W]"""

UNLOADING_PRESSURE = 19.5
"""Discharge pressure above which the speed is held back. [bar absolute]"""

HIGHEST_PRESSURE = 24.0
"""The pressure switch stops the compressor. [bar absolute]"""

HOTTEST_GAS = 140.0
"""The gas thermostat stops the compressor. [°C]"""

TERMINATION = 18.0
"""Coil temperature that ends a defrost. [°C]"""

LONGEST_DEFROST = 60.0
"""Heater time after which a defrost is given up. [min]"""

DEFROST_GAPS = (360.0, 480.0, 1440.0)
"""Shortest, first and longest time between defrosts. [min]"""

SUPERHEAT_TARGET = 5.5
"""At the suction probe. [K]"""

ALARMS = (
    "supply air out of range",
    "return air high",
    "low suction pressure",
    "high discharge pressure",
    "discharge gas hot",
    "compressor did not start",
    "defrost took too long",
    "supply voltage out of range",
    "check supply air probe",
)
"""Alarm texts of the invented controller; the last one is the controller's guess, and often wrong."""


ALARM_MINUTES = 5
"""The alarms are looked at this often; every log interval is a multiple of it. [min]"""


@dataclass(slots=True)
class Readings:
    """What the probes say, one value a unit. [°C, bar absolute]."""

    supply_air: Array
    return_air: Array
    evaporator_temperature: Array
    suction_pressure: Array
    suction_temperature: Array
    discharge_pressure: Array
    ambient_air: Array


@dataclass(frozen=True, slots=True)
class Orders:
    """What the controller orders for this minute, one value a unit.

    Attributes
    ----------
    compressor
        Runs (after protectors and failed starts).
    speed, hot_gas, economizer, fan, heater
        0 to 1; the fan is 0, 0.5 or 1.
    """

    compressor: Flags
    speed: Array
    hot_gas: Array
    economizer: Array
    fan: Array
    heater: Array


class Controller:
    """State of the controllers of a fleet.

    Parameters
    ----------
    machines
        The fleet's parameters; its flags say which unit is controlled on return air.
    """

    def __init__(self, machines: Machines) -> None:
        units = len(machines.leak)
        zeros = np.zeros(units)
        self._frozen = machines.frozen
        self._has_economizer = machines.has_economizer
        self._chances = machines.chances
        self.phase: Phase = np.zeros(units, dtype=np.int64)
        self.compressor: Flags = np.zeros(units, dtype=np.bool_)
        self._in_phase = zeros.copy()
        self._since_defrost = machines.first_defrost.copy()
        self._gap = np.full(units, DEFROST_GAPS[1])
        self._cold_minutes = zeros.copy()
        self._usual_coil_gap = np.full(units, 8.0)
        self._demand_minutes = zeros.copy()
        self._overran: Flags = np.zeros(units, dtype=np.bool_)
        self._effort = np.full(units, 0.6)
        self._trim = zeros.copy()
        self._error = zeros.copy()
        self._run_minutes = zeros.copy()
        self._off_minutes = np.full(units, 10.0)
        self._locked = zeros.copy()
        self._starts: Phase = np.zeros(units, dtype=np.int64)
        self._failures = zeros.copy()
        self._speed_cap = np.ones(units)
        self._economizer: Flags = np.zeros(units, dtype=np.bool_)
        self._fast: Flags = np.ones(units, dtype=np.bool_)
        self._trips = zeros.copy()
        self._hot_trips = zeros.copy()
        self._minutes = {text: zeros.copy() for text in ALARMS}
        self.quickness = 1.0
        """Answer to a change of chilled air, against that which suits a loaded box."""
        self.approach: float | None = None
        """Distance over which the effort is held back near a chilled set point, or not at all. [K]"""
        self.valve = np.full(units, 0.25)
        """Ordered opening of the expansion valve, 0.02 to 1."""

    @property
    def in_defrost(self) -> Flags:
        """From the heaters on until the fans start again."""
        return np.asarray(self.phase != RUN)

    def control_on_return_air(self, frozen: Flags) -> None:
        """Change which units are controlled on return air, as a new set point does."""
        self._frozen = frozen

    def keep_compressor_off(self, units: Flags) -> None:
        """Let the compressors of some units not start in the coming minute."""
        self._locked = np.where(units, np.maximum(self._locked, 2.0), self._locked)

    def begin_defrost(self, units: Flags, effects: Effects) -> None:
        """Start a defrost by hand, where the unit's own control still starts one."""
        starting = units & (self.phase == RUN) & (effects.defrost_withheld < 0.95)
        self.phase = np.where(starting, HEAT, self.phase)
        self._in_phase = np.where(starting, 0.0, self._in_phase)

    def minute(
        self,
        minute: int,
        set_point: Array,
        readings: Readings,
        effects: Effects,
        powered: Flags,
        power: Array,
        gas: Array,
    ) -> Orders:
        """Orders for the coming minute.

        Parameters
        ----------
        minute
            Of the voyage. [min]
        set_point
            As the controller holds it. [°C]
        readings
            Of the probes.
        effects
            Faults in the controller's own parts: starts, protectors, defrost.
        powered
            Has mains.
        power
            Drawn in the last minute. [W]
        gas
            Discharge gas. [°C]
        """
        self._run_defrosts(readings, effects, powered)
        running = (self.phase == RUN) & powered
        wanted = self._modulate(set_point, readings, running)
        self._protect(minute, readings, effects, gas)
        wanted = powered & (((self.phase == RUN) & wanted) | (self.phase == PRECOOL))
        self._switch(wanted, effects)
        cap = self._speed_cap * limit(POWER_LIMIT / np.maximum(power, 1.0), 0.9, 1.03)
        cap = cap * limit(1.0 - 0.05 * (readings.discharge_pressure - UNLOADING_PRESSURE), 0.8, 1.0)
        self._speed_cap = limit(cap, 0.25, 1.0)

        chilled_speed = SMALLEST_SPEED + (1 - SMALLEST_SPEED) * limit((self._effort - 0.25) / 0.75, 0.0, 1.0)
        frozen_speed = limit(SMALLEST_SPEED + self._effort, SMALLEST_SPEED, 1.0)
        speed = np.where(self._frozen, frozen_speed, chilled_speed)
        speed = np.where(self.phase == PRECOOL, 0.8, np.minimum(speed, self._speed_cap))
        above = readings.return_air - set_point
        self._economizer = np.where(self._economizer, speed > 0.4, speed > 0.55) & (
            self._frozen | (above > 5.0)
        )
        self._fast = np.where(self._fast, above > 3.0, above > 6.0)
        fan = np.where(running, np.where(self._frozen & ~self._fast, 0.5, 1.0), 0.0)
        hot_gas = np.where(
            self._frozen | (self.phase != RUN), 0.0, limit(1.0 - self._effort / 0.25, 0.0, 1.0)
        )
        reheat = np.where(running & ~self._frozen, limit(-self._effort, 0.0, 1.0), 0.0)
        reheat = np.where(reheat > 0.05, reheat, 0.0)
        economizer = self._economizer & self._has_economizer & self.compressor & (self.phase == RUN)
        return Orders(
            compressor=self.compressor.copy(),
            speed=np.where(self.compressor, speed, 0.0),
            hot_gas=np.where(self.compressor, hot_gas, 0.0),
            economizer=economizer.astype(np.float64),
            fan=fan,
            heater=np.where((self.phase == HEAT) & powered, 1.0, reheat),
        )

    def steer_valve(self, superheat: Array) -> None:
        """Move the ordered opening of the expansion valve towards the superheat target for a minute.

        Parameters
        ----------
        superheat
            From the readings at the suction line. [K]
        """
        pull = limit(0.02 * (superheat - SUPERHEAT_TARGET), -0.15, 0.15)
        self.valve = np.where(self.compressor, limit(self.valve * np.exp(pull), 0.02, 1.0), self.valve)

    def _run_defrosts(self, readings: Readings, effects: Effects, powered: Flags) -> None:
        coil = readings.evaporator_temperature
        self._in_phase = self._in_phase + powered
        # Heaters end on coil temperature or time; then drip, then cool the coil with the fans still.
        heating = (self.phase == HEAT) & powered
        warm = coil >= TERMINATION + effects.termination_rise
        late = self._in_phase >= LONGEST_DEFROST + effects.termination_delay
        ended = heating & (warm | late)
        self._overran = np.where(ended, ~warm, self._overran)
        longer, shorter = ended & (self._in_phase < 16.0), ended & (self._in_phase > 28.0)
        self._gap = limit(
            self._gap * np.where(longer, 1.5, np.where(shorter, 0.7, 1.0)), DEFROST_GAPS[0], DEFROST_GAPS[2]
        )
        dripped = (self.phase == DRIP) & (self._in_phase >= 3.0)
        cooled = (self.phase == PRECOOL) & ((coil < readings.return_air - 2.0) | (self._in_phase >= 10.0))
        cooled &= self._in_phase >= 2.0
        # Demand: the coil has to be ever colder for the same air.
        gap = readings.return_air - coil
        learning = (self._since_defrost > 60.0) & (self._since_defrost < 150.0) & self.compressor
        self._usual_coil_gap = np.where(
            learning, 0.97 * self._usual_coil_gap + 0.03 * gap, self._usual_coil_gap
        )
        demanding = self.compressor & (gap > 1.6 * self._usual_coil_gap + 3.0) & (coil < -2.0)
        self._demand_minutes = np.where(demanding, self._demand_minutes + 1.0, 0.0)
        self._cold_minutes = np.where(
            self.compressor & (coil < -1.0), self._cold_minutes + 1.0, self._cold_minutes
        )
        self._since_defrost = self._since_defrost + powered
        stretch = 1.0 + 4.0 * effects.defrost_withheld
        due = (self._since_defrost >= self._gap * stretch) & (self._cold_minutes > 90.0)
        due |= (self._demand_minutes >= 40.0) & (self._since_defrost >= DEFROST_GAPS[0] * stretch)
        due &= effects.defrost_withheld < 0.95
        starting = (self.phase == RUN) & powered & due & (coil < 1.0) & (self._run_minutes > 10.0)

        new_phase = np.where(starting, HEAT, self.phase)
        new_phase = np.where(ended, DRIP, new_phase)
        new_phase = np.where(dripped, PRECOOL, new_phase)
        new_phase = np.where(cooled, RUN, new_phase)
        # A power cut ends a defrost.
        new_phase = np.where(powered, new_phase, RUN)
        changed = new_phase != self.phase
        over = changed & (new_phase == RUN)
        self._since_defrost = np.where(over, 0.0, self._since_defrost)
        self._cold_minutes = np.where(over, 0.0, self._cold_minutes)
        self._in_phase = np.where(changed, 0.0, self._in_phase)
        self.phase = new_phase

    def _modulate(self, set_point: Array, readings: Readings, running: Flags) -> Flags:
        frozen = self._frozen
        error = np.where(frozen, readings.return_air - set_point + 0.2, readings.supply_air - set_point)
        # Chilled: incremental proportional-integral; the effort runs from −1, full heat, to 1, full cold.
        step = 0.05 * self.quickness
        move = limit(self.quickness * (0.03 * (error - self._error) + 0.006 * error), -step, step)
        most = 1.0 if self.approach is None else limit(0.28 + np.abs(error) / self.approach, 0.0, 1.0)
        chilled = limit(self._effort + move, -most, most)
        # Frozen: proportional-integral speed above the smallest. The integral rests at either end, grows
        # slowly far above the set point and begins small after a standstill: or it would overshoot.
        raw = 0.2 * error + self._trim
        free = running & self.compressor
        free &= ((raw < 0.85) | (error < 0.0)) & ((raw > 0.0) | (error > 0.0))
        trim = np.where(free, limit(self._trim + 0.006 * limit(error, -2.0, 0.7), 0.0, 0.85), self._trim)
        self._trim = np.where(running & ~self.compressor, np.minimum(trim, 0.1), trim)
        cold = limit(0.2 * error + self._trim, -0.2, 0.85)
        self._effort = np.where(running, np.where(frozen, cold, chilled), self._effort)
        self._error = np.where(running, error, self._error)
        frozen_wanted = np.where(
            self.compressor,
            (error > -0.5) | ((cold > 0.0) & (error > -0.8)) | (self._run_minutes < 4.0),
            error > 0.7,
        )
        chilled_wanted = np.where(self.compressor, self._effort > -0.03, self._effort > 0.03)
        return np.where(frozen, frozen_wanted, chilled_wanted)

    def _protect(self, minute: int, readings: Readings, effects: Effects, gas: Array) -> None:
        pressed = self.compressor & (readings.discharge_pressure > HIGHEST_PRESSURE)
        hot = self.compressor & (gas > HOTTEST_GAS)
        early = (effects.protector > 0) & (self._run_minutes > 4.0 + 30.0 * (1.0 - effects.protector))
        # A phase too weak: the motor protector lets it run for a quarter of an hour at a time.
        weak = (effects.voltage_drop > 0.11) & (self._run_minutes > 15.0)
        # A bad contactor also drops out now and then.
        dropped = (self._chances[:, 2048 + (minute // 60) % 1024] < 0.5 * effects.start_fails) & (
            minute % 60 == 0
        )
        wait = np.select([pressed, hot, early, weak, dropped], [10.0, 15.0, 6.0, 12.0, 5.0], 0.0)
        wait = np.where(self.compressor, wait, 0.0)
        self._trips = np.maximum(self._trips - 0.01, 0.0) + pressed
        self._hot_trips = np.maximum(self._hot_trips - 0.01, 0.0) + hot
        self._locked = np.maximum(np.maximum(self._locked - 1.0, 0.0), wait)

    def _switch(self, wanted: Flags, effects: Effects) -> None:
        may = wanted & (self._locked <= 0.0)
        starting = may & ~self.compressor & ((self._off_minutes >= 4.0) | (self.phase == PRECOOL))
        chance = self._chances[np.arange(len(self._starts)), self._starts % 2048]
        failed = starting & (chance < effects.start_fails)
        self._starts = self._starts + starting
        self._failures = np.where(failed, self._failures + 1.0, np.where(starting, 0.0, self._failures))
        self._locked = np.where(failed, 10.0, self._locked)
        self.compressor = (self.compressor & may) | (starting & ~failed)
        self._run_minutes = np.where(self.compressor, self._run_minutes + 1.0, 0.0)
        self._off_minutes = np.where(self.compressor, 0.0, self._off_minutes + 1.0)

    def alarms(
        self,
        set_point: Array,
        readings: Readings,
        orders: Orders,
        powered: Flags,
        gas: Array,
        weakest_voltage: Array,
    ) -> Flags:
        """Active alarms, every :data:`ALARM_MINUTES`: one row for each of :data:`ALARMS`.

        Parameters
        ----------
        set_point, readings, orders, powered, gas
            As in :meth:`minute`.
        weakest_voltage
            Of the three phases, share of the rated voltage.
        """
        air = (self.phase == RUN) & powered & (orders.fan > 0)
        split = readings.return_air - readings.supply_air
        pulling = air & self.compressor & (orders.speed > 0.6)
        now = (
            (air & ~self._frozen & (np.abs(readings.supply_air - set_point) > 2.5), 60.0),
            (air & (readings.return_air - set_point > 5.0), 180.0),
            (self.compressor & (readings.suction_pressure < 0.35), 30.0),
            (self._trips > 1.5, 0.0),
            ((self._hot_trips > 1.5) | (self.compressor & (gas > 128.0)), 10.0),
            (powered & (self._failures >= 3.0), 0.0),
            (powered & self._overran, 0.0),
            (powered & (weakest_voltage < 0.88), 5.0),
            (pulling & (split < 0.4), 45.0),
        )
        active = []
        for text, (condition, needed) in zip(ALARMS, now, strict=True):
            self._minutes[text] = np.where(condition, self._minutes[text] + ALARM_MINUTES, 0.0)
            active.append(self._minutes[text] > needed)
        return np.stack(active)
