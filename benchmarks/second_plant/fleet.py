"""The machines of a fleet: every unit's own box, circuit, controller and probes.

Goes in: the plan. Comes out: :class:`Machines`, arrays with one value a unit. A unit draws from streams of
its own, in an order that its faults do not change, so that it and its healthy twin are the same machine.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.second_plant.box import AIR_HEAT, BoxMake
from benchmarks.second_plant.circuit import CircuitMake
from benchmarks.second_plant.controller import ControllerMake, Flags
from benchmarks.second_plant.refrigerants import Array
from benchmarks.second_plant.upsets import POWER_LOST, PROBE_SPANS, WARM_CARGO
from coldsift.simulate.plan import CARGOES, FleetPlan, UnitPlan

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

LEAK_MOST = {"20": 26.0, "40": 48.0, "40HC": 51.0}
"""Most heat leak of each size [W/K], ISO 1496-2, from memory, low confidence."""
_WALL_HEAT = {"20": (3.2e5, 6.0e5, 3.6e5), "40": (6.0e5, 10.5e5, 7.0e5), "40HC": (6.0e5, 12.0e5, 7.0e5)}
_AIR_MASS = {"20": 22.0, "40": 42.0, "40HC": 52.0}
"""Air beside the cargo. [kg]"""
_LINING = {"20": 1.4e5, "40": 2.6e5, "40HC": 2.9e5}
"""Lining, floor bars and outer cartons, as quick as the air. [J/K]"""
_WALL_SHARES = (0.26, 0.49, 0.25)
"""Of the leak: roof, sides with ends, floor."""
_PLAIN = (
    "leak",
    "cargo_start",
    "since_defrost",
    "fan_power",
    "heater_power",
    "condenser_fan_power",
    "local_warmth",
    "sunned",
)
_COLD_PROBES = ("evaporator_temperature", "suction_pressure", "suction_temperature", "discharge_pressure")

STREAM_MACHINE, STREAM_FAULT, STREAM_LUCK, STREAM_LOG = range(4)


def stream(plan: FleetPlan, index: int, use: int) -> np.random.Generator:
    """A unit's own random stream for one use."""
    return np.random.default_rng(np.random.SeedSequence([plan.seed, 2, index, use]))


@dataclass(frozen=True, slots=True)
class Machines:
    """The fleet, one value a unit.

    Attributes
    ----------
    box, circuit, controller
        Parameters of each part.
    refrigerants
        Names.
    leak, heat_capacity
        Of the walls [W/K]; of cargo and air [J/K].
    cargo_start
        [°C]
    since_defrost
        At the start. [min]
    fan_power, heater_power, condenser_fan_power
        At full. [W]
    local_warmth, sunned
        Of the stow: rise over the weather's air [K], share of the sun.
    set_point, set_point_later, changed_at
        [°C], [°C], [min], the last beyond the voyage without an ordered change.
    wrong_shift
        Of a wrong set point at severity 1. [K]
    dark
        Minutes without power, shape (minutes, units).
    held
        Lots between 0 and 1 for every :data:`HELD_BLOCK`, that say when a probe is held or an economizer
        valve stands wrong; shape (blocks, units).
    probe
        Name of the probe that a cause strikes, or ``None``.
    drift
        Of that probe at severity 1. [K or bar]
    offsets
        Calibration of each probe of :data:`~benchmarks.second_plant.upsets.PROBE_SPANS`. [K or bar]
    unlogged
        Channels a unit does not log although its channel set has them.
    """

    box: BoxMake
    circuit: CircuitMake
    controller: ControllerMake
    refrigerants: tuple[str, ...]
    leak: Array
    heat_capacity: Array
    cargo_start: Array
    since_defrost: Array
    fan_power: Array
    heater_power: Array
    condenser_fan_power: Array
    local_warmth: Array
    sunned: Array
    set_point: Array
    set_point_later: Array
    changed_at: Array
    wrong_shift: Array
    dark: Flags
    held: Array
    probe: tuple[str | None, ...]
    drift: Array
    offsets: dict[str, Array]
    unlogged: tuple[frozenset[str], ...]


HELD_BLOCK, CUT_BLOCK = 240, 75
"""Minutes in which a held probe or a sticking valve stays as it is, and an uncertain socket does."""


def build_machines(plan: FleetPlan) -> Machines:
    """Draw the fleet of a plan.

    Parameters
    ----------
    plan
        What is to be simulated.

    Returns
    -------
    Machines
        The same for the same plan.
    """
    minutes = round(plan.days * 1440)
    rows = [_draw(plan, index, unit) for index, unit in enumerate(plan.units)]
    parts: dict[str, Array] = {name: np.array([row[name] for row in rows]).T for name in rows[0]}
    strikes = [_strike(plan, index, unit, minutes) for index, unit in enumerate(plan.units)]
    unlogged = tuple(_unlogged(plan, index, unit) for index, unit in enumerate(plan.units))
    struck = tuple(
        _struck_probe(unit, strike.probe_lot, missing)
        for unit, strike, missing in zip(plan.units, strikes, unlogged, strict=True)
    )
    roof, side, floor = np.array(_WALL_SHARES)[:, None] * parts["leak"]
    cargo_heat = (parts["surface_heat"] + parts["core_heat"]).sum(axis=0)
    return Machines(
        box=BoxMake(roof=roof, side=side, floor=floor, **_of(parts, BoxMake, "roof", "side", "floor")),
        circuit=CircuitMake(**_of(parts, CircuitMake)),
        controller=ControllerMake(**_of(parts, ControllerMake)),
        refrigerants=tuple("R513A" if blend else "R134a" for blend in parts["blend"]),
        heat_capacity=cargo_heat + 4.0 * parts["air_heat"],
        set_point=np.array([unit.set_point for unit in plan.units]),
        set_point_later=np.array([strike.set_point_later for strike in strikes]),
        changed_at=np.array([strike.changed_at for strike in strikes]),
        wrong_shift=np.array([strike.wrong_shift for strike in strikes]),
        dark=np.stack([strike.dark for strike in strikes], axis=1),
        held=np.stack([strike.held for strike in strikes], axis=1),
        probe=struck,
        drift=np.array(
            [
                PROBE_SPANS[name] * strike.drift if name else 0.0
                for name, strike in zip(struck, strikes, strict=True)
            ]
        ),
        offsets={name: parts[f"offset_{name}"] for name in PROBE_SPANS},
        unlogged=unlogged,
        **{name: parts[name] for name in _PLAIN},
    )


def _of(parts: dict[str, Array], make: type[DataclassInstance], *given: str) -> dict[str, Any]:
    """Those drawn numbers that are fields of one part of the machine."""
    return {part.name: parts[part.name] for part in fields(make) if part.name not in given}


def _draw(plan: FleetPlan, index: int, unit: UnitPlan) -> dict[str, Any]:
    """Every number of one machine."""
    draw = stream(plan, index, STREAM_MACHINE)
    uniform = draw.uniform
    cargo = CARGOES[unit.cargo]
    small = unit.size == "20"
    frozen = unit.is_frozen
    mass = cargo.mass * (0.7 if small else 1.0) * uniform(0.88, 1.0)
    leak = LEAK_MOST[unit.size] * uniform(0.74, 0.97)
    zone = np.array([0.54, 0.46])
    heat = mass * cargo.specific_heat * zone
    skin = uniform(0.12, 0.2)
    lag = uniform(9.0, 18.0) * 3600.0
    air = (_AIR_MASS[unit.size] * AIR_HEAT + _LINING[unit.size]) / 4.0
    flow = (1.05 if small else 1.5) * uniform(0.94, 1.06)
    pulse = bool(draw.random() < 0.6)
    electronic = bool(draw.random() < 0.5)
    displacement = (0.0068 if small else 0.0116) * uniform(0.95, 1.05)
    roll = draw.random(4)
    start = 1.5 if frozen else 1.0
    fan_off = uniform(7.0, 8.2)
    gap = float(draw.choice((360.0, 540.0, 720.0, 1440.0), p=(0.25, 0.3, 0.3, 0.15)))
    warm = {"warm_load": uniform(7.0, 13.0)}.get(unit.hard_case or "", 0.0)
    for cause, severity, _ in _planted(unit):
        warm += WARM_CARGO * severity if cause == "warm_cargo" else 0.0
    spread = {"suction_pressure": 0.02, "discharge_pressure": 0.12, "ambient_air": 0.5}
    offsets = {f"offset_{name}": uniform(-1.0, 1.0) * spread.get(name, 0.2) for name in PROBE_SPANS}
    deck = unit.stow == "deck"
    hot = unit.hard_case == "hot_stow"
    return {
        "leak": leak,
        "wall_heat": np.array(_WALL_HEAT[unit.size]) * uniform(0.9, 1.1),
        "sun_roof": uniform(0.016, 0.026),
        "sun_side": uniform(0.012, 0.02),
        "surface_heat": heat * skin,
        "core_heat": heat * (1.0 - skin),
        "to_surface": zone * uniform(620.0, 980.0) * (0.7 if small else 1.0),
        "to_core": heat * (1.0 - skin) / lag,
        "tonnes": zone * mass / 1000.0,
        "respiration": cargo.respiration,
        "transpiration": uniform(0.02, 0.06) if cargo.respiration else 0.0,
        "air_heat": air,
        "air_mass": _AIR_MASS[unit.size],
        "front": uniform(0.4, 0.46),
        "rear": uniform(0.36, 0.44),
        "full_flow": flow,
        "coil_heat": uniform(8.5e4, 1.1e5),
        "coil_air": uniform(2200.0, 2700.0) * (0.75 if small else 1.0),
        "seal": uniform(0.8, 2.8),
        "vent": cargo.vent * uniform(0.9, 1.1),
        "blend": bool(roll[0] < 1.0 / 6.0),
        "displacement": displacement,
        "pulse": pulse,
        "electronic": electronic,
        "superheat_set": uniform(3.5, 5.0) if electronic else uniform(4.0, 6.0),
        "droop": uniform(4.0, 7.0),
        "valve": displacement / 0.0104 * uniform(0.02, 0.024),
        "pressure_limit": uniform(3.0, 7.0),
        "wet": uniform(1900.0, 2400.0) * (0.75 if small else 1.0),
        "condenser": uniform(1000.0, 1300.0),
        "condenser_stream": uniform(2200.0, 2800.0) if unit.cooling == "water" else uniform(1350.0, 1650.0),
        "condenser_heat": uniform(7.0e4, 9.5e4),
        "subcooling": uniform(4.0, 7.0),
        "water_cooled": unit.cooling == "water",
        "line_gain": uniform(1.0, 3.0),
        "frozen": frozen,
        "band": uniform(7.0, 10.0),
        "reset_minutes": uniform(15.0, 26.0),
        "above": uniform(0.35, 0.6),
        "below": uniform(-0.2, 0.1),
        "stops_fans": bool(roll[1] < 0.3),
        "least_share": uniform(0.03, 0.06),
        "eased": uniform(0.5, 0.75) if pulse else 1.0,
        "timer": bool(roll[2] < 0.6),
        "interval": gap,
        "blocked_at": uniform(0.12, 0.2),
        "termination": uniform(12.0, 25.0),
        "limit": uniform(45.0, 60.0),
        "drip": uniform(2.0, 5.0),
        "chill": uniform(2.0, 6.0),
        "forgets": bool(roll[3] < 0.4),
        "fan_on": fan_off + uniform(2.0, 3.2),
        "fan_off": fan_off,
        "restart": uniform(1.0, 6.0),
        "economizer": unit.has_economizer,
        "economizer_ratio": uniform(5.0, 7.0),
        "high_pressure": uniform(21.5, 23.0),
        "since_defrost": uniform(0.0, 0.8) * gap,
        "fan_power": uniform(720.0, 980.0) * (0.7 if small else 1.0),
        "heater_power": uniform(3200.0, 4400.0) * (0.8 if small else 1.0),
        "condenser_fan_power": 60.0 if unit.cooling == "water" else uniform(380.0, 560.0),
        "cargo_start": unit.set_point + uniform(0.0, start) + warm,
        "local_warmth": (uniform(0.0, 2.2) if deck else uniform(-0.5, 2.5))
        + (uniform(5.0, 8.0) if hot else 0.0),
        "sunned": (uniform(0.2, 0.9) if deck else 0.0) * (0.4 if not hot else 1.0) + (0.4 if hot else 0.0),
        **offsets,
    }


@dataclass(frozen=True, slots=True)
class _Strike:
    """What befalls one unit: power, orders, the luck of its faults. Units as in :class:`Machines`."""

    dark: Flags
    set_point_later: float
    changed_at: float
    wrong_shift: float
    probe_lot: float
    held: Array
    drift: float


def _strike(plan: FleetPlan, index: int, unit: UnitPlan, minutes: int) -> _Strike:
    draw = stream(plan, index, STREAM_FAULT)
    hours = plan.days * 24.0
    dark = np.zeros(minutes, dtype=np.bool_)
    for begin, length in plan.blackouts:
        dark[round(begin * 60.0) : round((begin + length) * 60.0)] = True
    ashore, off_for = draw.uniform(0.15, 0.8) * hours, draw.uniform(4.0, 11.0)
    if unit.hard_case == "port_power_off":
        dark[round(ashore * 60.0) : round((ashore + off_for) * 60.0)] = True
    lots = draw.random(minutes // CUT_BLOCK + 1)
    for cause, severity, onset in _planted(unit):
        if cause == "power_interrupted":
            cut = np.repeat(lots < POWER_LOST * severity, CUT_BLOCK)[:minutes]
            cut[: round(onset * 60.0)] = False
            dark |= cut
    step, sign = draw.uniform(2.0, 5.0), draw.choice((-1.0, 1.0))
    change_hour = draw.uniform(0.3, 0.7) * hours
    shift, colder = draw.uniform(3.5, 9.0), draw.random() < 0.35
    changes = unit.hard_case == "set_point_change"
    # Nobody orders chilled cargo below freezing, nor frozen cargo up to where it thaws.
    chilled_step = step * (sign if unit.set_point >= 5.0 else 1.0)
    ordered = unit.set_point + (step * 0.8 - 1.0 if unit.is_frozen else chilled_step)
    return _Strike(
        dark=dark,
        set_point_later=round(float(ordered) * 2.0) / 2.0 if changes else unit.set_point,
        changed_at=float(round(change_hour * 60.0)) if changes else np.inf,
        wrong_shift=float(-shift if colder and not unit.is_frozen else shift),
        probe_lot=float(draw.random()),
        held=draw.random(minutes // HELD_BLOCK + 1),
        drift=float(draw.uniform(0.8, 1.2) * draw.choice((-1.0, 1.0))),
    )


def _planted(unit: UnitPlan) -> tuple[tuple[str, float, float], ...]:
    """Cause, severity and onset [h] of each of a unit's two places for a fault."""
    return (
        (unit.cause, unit.severity, unit.onset_hours),
        (unit.also, unit.also_severity, unit.also_onset_hours),
    )


def _struck_probe(unit: UnitPlan, lot: float, unlogged: frozenset[str]) -> str | None:
    if unit.cause == "supply_sensor_drift":
        return "supply_air"
    if unit.cause == "return_sensor_drift":
        return "return_air"
    if unit.cause == "sensor_stuck":
        return "supply_air" if lot < 0.5 else "return_air"
    if unit.cause != "other_sensor_drift":
        return None
    # One whose reading is logged: a probe nobody sees cannot be found.
    seen = [name for name in _COLD_PROBES if unit.channels == "full" and name not in unlogged]
    choice = [*seen, "ambient_air"]
    return choice[int(lot * len(choice))]


def _unlogged(plan: FleetPlan, index: int, unit: UnitPlan) -> frozenset[str]:
    """Channels that this unit's log lacks."""
    roll = stream(plan, index, STREAM_LOG).random(12)
    chances: dict[str, float] = {
        "evaporator_temperature": 0.22,
        "discharge_temperature": 0.2,
        "suction_temperature": 0.15,
        "superheat": 0.65,
        "humidity": 0.4,
        "humidity_set_point": 0.7,
        "fresh_air_vent": 0.4,
        "cargo_probe_4": 0.45,
        "condenser_fan_speed": 0.15,
        "economizer_valve": 0.15,
        "power": 0.2,
    }
    missing = {name for (name, chance), lot in zip(chances.items(), roll, strict=False) if lot < chance}
    if unit.is_frozen:
        missing |= {"humidity", "humidity_set_point", "fresh_air_vent"}
    if "humidity" in missing:
        missing.add("humidity_set_point")
    if not unit.has_economizer:
        missing.add("economizer_valve")
    if roll[11] < 0.5 or unit.is_frozen:
        missing |= {f"cargo_probe_{number}" for number in range(1, 5)}
    return frozenset(missing)


def places(names: tuple[str | None, ...]) -> dict[str, NDArray[np.bool_]]:
    """For each probe, the units in which a cause strikes it."""
    return {probe: np.array([name == probe for name in names]) for probe in PROBE_SPANS}
