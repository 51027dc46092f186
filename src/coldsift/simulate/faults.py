"""What each cause does to the machine: a table from cause to changed physical parameters.

A fault never touches the log. It changes a parameter (a valve's travel, a fan's flow, a probe's offset) by
severity × the amount given here, and the physics and the controller make of it what they make. A ramp lets
slow faults grow. The ids are those of the cause catalogue.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields

import numpy as np

from coldsift.simulate.refrigerant import Array, limit

HEALTHY = "healthy"


@dataclass(slots=True)
class Effects:
    """Changed parameters at one minute, one value a unit; the defaults are a machine in order.

    Attributes
    ----------
    valve_blocked
        Share of the expansion valve's travel that is lost; 1 is shut.
    valve_held_open
        Opening below which the expansion valve cannot go. [0 to 1]
    economizer_stuck
        Above 0.5 the economizer valve keeps the position it does not need: shut when frozen, open when
        chilled; below, it does so part of the time.
    charge
        Share of the nominal charge.
    air_pressure
        Partial pressure of air in the condenser. [bar]
    condenser
        Share of the condenser's conductance.
    condenser_fan
        Share of the ordered condenser fan speed.
    condenser_water
        Share of the cooling water flow.
    ice
        Ice on the coil that no defrost clears. [kg]
    defrost_withheld
        Stretches the time between defrosts; 1 never starts one.
    termination_rise
        Rise of the coil temperature that ends a defrost. [K]
    termination_delay
        Added to the longest defrost time. [min]
    heater_welded
        Share of the heater that cannot be switched off.
    heater
        Share of the heater that works.
    evaporator_air
        Share of the evaporator fans' flow.
    evaporator_fan_power
        Share of the evaporator fans' power.
    compressor_flow
        Share of the compressor's volumetric efficiency.
    compressor_leak
        Internal leak of the compressor, share of the ordinary one.
    compressor_work
        Work for the same compression, share of the ordinary one.
    start_fails
        Chance that a start of the compressor fails.
    voltage_drop
        Missing share of the voltage of one phase.
    power_lost
        Share of the time without power.
    protector
        How early the compressor's protector trips; 0 never, 1 after four minutes.
    seal_leak
        Outside air through doors and seals. [m³/h]
    vent_open
        Fresh air beyond what is ordered. [m³/h]
    set_point_shift
        Of the unit's set point against the booked one. [K]
    air_blocked
        Share of the air path through the stow that is lost.
    probe_drift
        Offset of the drifting probe, in its own span (see :data:`PROBES`).
    probe_stuck
        Share of the time a probe repeats its value.
    probes_swapped
        Above 0 supply and return probes are on each other's wires.
    clock_ahead
        Of the controller. [h]
    """

    valve_blocked: Array
    valve_held_open: Array
    economizer_stuck: Array
    charge: Array
    air_pressure: Array
    condenser: Array
    condenser_fan: Array
    condenser_water: Array
    ice: Array
    defrost_withheld: Array
    termination_rise: Array
    termination_delay: Array
    heater_welded: Array
    heater: Array
    evaporator_air: Array
    evaporator_fan_power: Array
    compressor_flow: Array
    compressor_leak: Array
    compressor_work: Array
    start_fails: Array
    voltage_drop: Array
    power_lost: Array
    protector: Array
    seal_leak: Array
    vent_open: Array
    set_point_shift: Array
    air_blocked: Array
    probe_drift: Array
    probe_stuck: Array
    probes_swapped: Array
    clock_ahead: Array


EFFECTS = tuple(effect.name for effect in fields(Effects))
"""Names of the parameters a cause can change."""

_WHOLE = frozenset(
    {
        "charge",
        "condenser",
        "condenser_fan",
        "condenser_water",
        "heater",
        "evaporator_air",
        "evaporator_fan_power",
        "compressor_flow",
        "compressor_leak",
        "compressor_work",
    }
)
"""Shares of something that is whole in a machine in order; the other parameters are then zero."""

PROBES: Mapping[str, float] = {
    "supply_air": 4.0,
    "return_air": 4.0,
    "evaporator_temperature": 12.0,
    "suction_pressure": 0.8,
    "suction_temperature": 8.0,
    "discharge_pressure": 4.0,
    "ambient_air": 8.0,
}
"""Probes that can drift or stick, and how far one has drifted at severity 1. [K or bar]"""


@dataclass(frozen=True, slots=True)
class Cause:
    """What one cause does.

    Attributes
    ----------
    at_full
        Change of each parameter at severity 1.
    ramp_hours
        From onset to the full severity. [h]
    probes
        Which of :data:`PROBES` it can strike; one is drawn.
    from_start
        True when it is there before the voyage begins.
    initial_cargo
        Cargo above its usual loading temperature at severity 1. [K]
    """

    at_full: Mapping[str, float] = field(default_factory=dict)
    ramp_hours: float = 0.0
    probes: tuple[str, ...] = ()
    from_start: bool = False
    initial_cargo: float = 0.0


CAUSES: Mapping[str, Cause] = {
    "expansion_valve_not_opening": Cause({"valve_blocked": 1.0}),
    "expansion_valve_stuck_open": Cause({"valve_held_open": 1.0}),
    "economizer_valve_stuck": Cause({"economizer_stuck": 1.0}),
    "low_refrigerant": Cause({"charge": -0.62}, ramp_hours=60.0),
    "overcharge_or_air": Cause({"charge": 0.12, "air_pressure": 3.0}),
    "condenser_fouled": Cause({"condenser": -0.72}, ramp_hours=36.0),
    "condenser_fan_failed": Cause({"condenser_fan": -1.0}),
    "condenser_water_flow": Cause({"condenser_water": -0.93}, ramp_hours=6.0),
    "evaporator_iced": Cause({"ice": 9.0}, ramp_hours=60.0),
    "defrost_not_starting": Cause({"defrost_withheld": 1.0}),
    "defrost_not_terminating": Cause({"termination_rise": 60.0, "termination_delay": 75.0}),
    "heater_stuck_on": Cause({"heater_welded": 1.0}),
    "heater_failed": Cause({"heater": -1.0}),
    "evaporator_fan_failed": Cause({"evaporator_air": -0.7, "evaporator_fan_power": -0.5}),
    "compressor_worn": Cause(
        {"compressor_flow": -0.5, "compressor_leak": 12.0, "compressor_work": 0.35}, ramp_hours=48.0
    ),
    "compressor_not_starting": Cause({"start_fails": 1.0}),
    "phase_imbalance": Cause({"voltage_drop": 0.16}),
    "power_interrupted": Cause({"power_lost": 0.45}),
    "supply_sensor_drift": Cause({"probe_drift": 1.0}, ramp_hours=96.0, probes=("supply_air",)),
    "return_sensor_drift": Cause({"probe_drift": 1.0}, ramp_hours=96.0, probes=("return_air",)),
    "other_sensor_drift": Cause(
        {"probe_drift": 1.0},
        ramp_hours=48.0,
        probes=(
            "evaporator_temperature",
            "suction_pressure",
            "suction_temperature",
            "discharge_pressure",
            "ambient_air",
        ),
    ),
    "sensor_stuck": Cause({"probe_stuck": 1.0}, probes=("supply_air", "return_air")),
    "sensors_swapped": Cause({"probes_swapped": 1.0}),
    "door_or_seal_leak": Cause({"seal_leak": 75.0}),
    "vent_left_open": Cause({"vent_open": 110.0}),
    "set_point_wrong": Cause({"set_point_shift": 1.0}),
    "warm_cargo": Cause(from_start=True, initial_cargo=22.0),
    "air_flow_blocked": Cause({"air_blocked": 1.0}, from_start=True),
    "short_cycling": Cause({"protector": 1.0}),
    "clock_wrong": Cause({"clock_ahead": 9.0}),
}
"""Every cause by id."""


SECOND_CAUSES = tuple(
    name for name, cause in CAUSES.items() if cause.at_full and not (cause.probes or cause.from_start)
)
"""Causes that can strike a unit beside another one: those that change the machine and strike no probe."""


@dataclass(frozen=True, slots=True)
class Strikes:
    """At most one fault a unit.

    Attributes
    ----------
    causes
        One cause id a unit, :data:`HEALTHY` among them.
    severity
        0 to 1, one a unit.
    onset_hours
        [h], one a unit.
    repaired_hours
        From when on the machine is in order again, one a unit; infinite where it never is. [h]
    """

    causes: Sequence[str]
    severity: Array
    onset_hours: Array
    repaired_hours: Array | float = np.inf


class FaultPlan:
    """The faults of a fleet, ready to be asked for any minute.

    Parameters
    ----------
    strikes
        Faults that add up: a unit may be struck by each of them.
    """

    def __init__(self, *strikes: Strikes) -> None:
        self._base = np.array([[1.0 if name in _WHOLE else 0.0] for name in EFFECTS])
        self._strikes = []
        for struck in strikes:
            ordered = [CAUSES.get(cause, Cause()) for cause in struck.causes]
            at_full = np.array([[cause.at_full.get(name, 0.0) for cause in ordered] for name in EFFECTS])
            ramp_hours = np.array([max(cause.ramp_hours, 1e-6) for cause in ordered])
            self._strikes.append((struck, at_full, ramp_hours))

    def at(self, hour: float) -> Effects:
        """Parameters at an hour of the voyage; a slow fault has grown to its severity after its ramp. [h].

        A repair puts the parameters right at once; what the fault did to box, coil and cargo stays.
        """
        values = self._base
        for struck, at_full, ramp_hours in self._strikes:
            grown = limit((hour - struck.onset_hours) / ramp_hours, 0.0, 1.0)
            grown = np.where(hour < struck.repaired_hours, grown, 0.0)
            values = values + at_full * (struck.severity * grown)
        return Effects(*values)
