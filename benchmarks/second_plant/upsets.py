"""What each cause changes in this plant's machines, probes and controllers.

Goes in: the plan. Comes out: :class:`Condition` at any hour. Every entry is a change, so that two causes of
one unit add up and zero is a machine in order.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np

from benchmarks.second_plant.refrigerants import Array
from coldsift.simulate.plan import FleetPlan


@dataclass(frozen=True, slots=True)
class Condition:
    """Changes at one hour, one value a unit.

    Attributes
    ----------
    valve_cap, valve_floor
        Expansion valve: share of the travel it cannot reach, opening it cannot close below.
    economizer_wrong
        Share of the time, doubled, the economizer valve stands the wrong way.
    charge_lost, overfill
        Share of the refrigerant charge missing, or too much.
    air_in_condenser
        Partial pressure. [bar]
    condenser_dirt, condenser_fan_lost, water_lost
        Share of conductance, fan air and cooling water lost.
    ice_kept
        On the coil, not reached by defrosts. [kg]
    defrost_skipped
        1 never starts one.
    termination_raised, defrost_limit_raised
        [K], [min]
    heater_welded, heater_lost
        Share of the heaters always on, or dead.
    fan_air_lost, fan_power_lost
        Share of the evaporator fans' air and power lost.
    wear_flow, wear_work
        Compressor: share of flow lost, share of work added.
    start_refused
        Chance that a start fails.
    phase_lost
        Share of one phase's voltage missing.
    protector
        1 trips after four minutes.
    door_leak, vent_extra
        Outside air. [m³/h]
    set_point_off
        Share of the unit's own wrong shift.
    stow_blocked
        Share of the rear stow's air path lost.
    probe_off, probe_held, wires_crossed
        Share of the probe's own drift; share of the time it repeats itself; supply and return swapped.
    clock_fast
        [h]
    """

    valve_cap: Array
    valve_floor: Array
    economizer_wrong: Array
    charge_lost: Array
    overfill: Array
    air_in_condenser: Array
    condenser_dirt: Array
    condenser_fan_lost: Array
    water_lost: Array
    ice_kept: Array
    defrost_skipped: Array
    termination_raised: Array
    defrost_limit_raised: Array
    heater_welded: Array
    heater_lost: Array
    fan_air_lost: Array
    fan_power_lost: Array
    wear_flow: Array
    wear_work: Array
    start_refused: Array
    phase_lost: Array
    protector: Array
    door_leak: Array
    vent_extra: Array
    set_point_off: Array
    stow_blocked: Array
    probe_off: Array
    probe_held: Array
    wires_crossed: Array
    clock_fast: Array


PARTS = tuple(part.name for part in fields(Condition))

UPSETS: Mapping[str, tuple[Mapping[str, float], float]] = {
    "expansion_valve_not_opening": ({"valve_cap": 1.0}, 0.0),
    "expansion_valve_stuck_open": ({"valve_floor": 1.0}, 0.0),
    "economizer_valve_stuck": ({"economizer_wrong": 1.0}, 0.0),
    "low_refrigerant": ({"charge_lost": 0.62}, 72.0),
    "overcharge_or_air": ({"overfill": 0.12, "air_in_condenser": 3.0}, 0.0),
    "condenser_fouled": ({"condenser_dirt": 0.72}, 48.0),
    "condenser_fan_failed": ({"condenser_fan_lost": 1.0}, 0.0),
    "condenser_water_flow": ({"water_lost": 0.93}, 4.0),
    "evaporator_iced": ({"ice_kept": 9.0}, 50.0),
    "defrost_not_starting": ({"defrost_skipped": 1.0}, 0.0),
    "defrost_not_terminating": ({"termination_raised": 60.0, "defrost_limit_raised": 75.0}, 0.0),
    "heater_stuck_on": ({"heater_welded": 1.0}, 0.0),
    "heater_failed": ({"heater_lost": 1.0}, 0.0),
    "evaporator_fan_failed": ({"fan_air_lost": 0.7, "fan_power_lost": 0.5}, 0.0),
    "compressor_worn": ({"wear_flow": 0.5, "wear_work": 0.35}, 60.0),
    "compressor_not_starting": ({"start_refused": 1.0}, 0.0),
    "phase_imbalance": ({"phase_lost": 0.16}, 0.0),
    "power_interrupted": ({}, 0.0),
    "supply_sensor_drift": ({"probe_off": 1.0}, 80.0),
    "return_sensor_drift": ({"probe_off": 1.0}, 80.0),
    "other_sensor_drift": ({"probe_off": 1.0}, 40.0),
    "sensor_stuck": ({"probe_held": 1.0}, 0.0),
    "sensors_swapped": ({"wires_crossed": 1.0}, 0.0),
    "door_or_seal_leak": ({"door_leak": 75.0}, 0.0),
    "vent_left_open": ({"vent_extra": 110.0}, 0.0),
    "set_point_wrong": ({"set_point_off": 1.0}, 0.0),
    "warm_cargo": ({}, 0.0),
    "air_flow_blocked": ({"stow_blocked": 1.0}, 0.0),
    "short_cycling": ({"protector": 1.0}, 0.0),
    "clock_wrong": ({"clock_fast": 9.0}, 0.0),
}
"""Changes at severity 1 and hours until a slow cause has grown to them. Power cuts act on the socket and warm
cargo on the first temperatures, both drawn with the unit."""

PROBE_SPANS: Mapping[str, float] = {
    "supply_air": 4.0,
    "return_air": 4.0,
    "evaporator_temperature": 12.0,
    "suction_pressure": 0.8,
    "suction_temperature": 8.0,
    "discharge_pressure": 4.0,
    "ambient_air": 8.0,
}
"""Probes that can drift, and how far at severity 1. [K or bar]"""

POWER_LOST, WARM_CARGO = 0.45, 22.0
"""Share of the time without power, and cargo above its usual temperature [K], at severity 1."""


class Upsets:
    """The planted causes of a fleet.

    Parameters
    ----------
    plan
        With up to two causes a unit.
    """

    def __init__(self, plan: FleetPlan) -> None:
        self._strikes = [
            self._strike([(unit.cause, unit.severity, unit.onset_hours) for unit in plan.units]),
            self._strike([(unit.also, unit.also_severity, unit.also_onset_hours) for unit in plan.units]),
        ]

    @staticmethod
    def _strike(planted: list[tuple[str, float, float]]) -> tuple[Array, Array, Array]:
        effects = [UPSETS.get(cause, ({}, 0.0)) for cause, _, _ in planted]
        full = [
            [
                changes.get(part, 0.0) * severity
                for (changes, _), (_, severity, _) in zip(effects, planted, strict=True)
            ]
            for part in PARTS
        ]
        onset = [hour for _, _, hour in planted]
        return np.array(full), np.array(onset), np.array([max(ramp, 1e-6) for _, ramp in effects])

    def at(self, hour: float) -> Condition:
        """Changes at an hour of the voyage. [h]."""
        total = sum(
            (full * np.clip((hour - onset) / ramp, 0.0, 1.0) for full, onset, ramp in self._strikes),
            np.zeros_like(self._strikes[0][0]),
        )
        return Condition(*total)
