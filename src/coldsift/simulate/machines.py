"""The machines of a fleet: physical parameters of every unit, drawn around the size of the trade.

Every draw of a unit comes from a stream of its own (seed, place in the plan, purpose), so that adding a unit
leaves the others as they were. Sizes are common practice and from memory unless a source is named; they are
right in size, not any maker's data.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldsift.simulate.box import BoxStores
from coldsift.simulate.circuit import CircuitMachine
from coldsift.simulate.faults import CAUSES, PROBES
from coldsift.simulate.plan import CARGOES, FleetPlan, UnitPlan
from coldsift.simulate.refrigerant import Array

LEAK_MAXIMUM = {"20": 26.0, "40": 48.0, "40HC": 51.0}
"""Heat leakage maxima by size (ISO 1496-2, from memory, low confidence). [W/K]"""

AIR_DENSITY = 1.2
"""[kg/m³]"""

AIR_HEAT_PER_FLOW = 0.335
"""Heat capacity flow of air per volume flow. [W/K per m³/h]"""

STREAM_PLAN, STREAM_MACHINE, STREAM_CHANCE, STREAM_NOISE = 1, 2, 3, 4
"""Purposes of a unit's random streams."""

_CHANCES = 4096


def stream(seed: int, index: int, purpose: int) -> np.random.Generator:
    """Random stream of one unit for one purpose."""
    return np.random.default_rng(np.random.SeedSequence([seed, index, purpose]))


@dataclass(frozen=True, slots=True)
class Machines:
    """Parameters that stay the same over the voyage, one value a unit.

    Attributes
    ----------
    leak
        Heat leak of the closed box. [W/K]
    stores
        Heat capacities. [J/K]
    air_to_cargo, in_cargo
        Conductances with the fans at full speed. [W/K]
    respiration
        At 10 °C. [W]
    vent
        Fresh air ordered. [m³/h]
    seep
        Outside air through a sound door. [m³/h]
    moisture
        Water given off by the cargo when the air is dry. [kg/s]
    air_flow
        Heat capacity flow of the evaporator fans at full speed. [W/K]
    fan_power
        Of the evaporator fans at full speed. [W]
    coil, coil_store
        Conductance [W/K] and heat capacity [J/K] of the evaporator.
    heater_power
        [W]
    condenser
        Conductance with the fan at full speed, or with full water flow. [W/K]
    water_cooled, frozen, on_deck, has_economizer
        Flags.
    circuit
        Of the refrigerant circuit.
    outside_offset
        Of the air round the unit. [K]
    sun_gain
        Warming of the walls by the sun. [K per W/m²]
    stow_gain
        Warming of the air round the unit by sun and neighbours. [K per W/m²]
    set_point
        Booked. [°C]
    set_point_later, set_point_change_hour
        Ordered change. [°C], [h]
    wrong_set_point
        Shift when the set point is wrong at full severity. [K]
    loading_hour, loading_hours, outage_hour, outage_hours
        Hours without a socket: the lift aboard, and a longer stay in port. [h]
    first_defrost
        Minutes since the last defrost at the start. [min]
    cargo_start, air_start
        [°C]
    drift
        Drift of each probe at full severity, rows in the order of :data:`PROBES`. [K or bar]
    sticks
        Probes that stick, rows as above.
    voltage_share
        Of the three phases, rows. [1]
    current_share
        Of the three phases, rows. [1]
    chances
        Ready-drawn chances, 0 to 1, ``(units, 4096)``.
    """

    leak: Array
    stores: BoxStores
    air_to_cargo: Array
    in_cargo: Array
    respiration: Array
    vent: Array
    seep: Array
    moisture: Array
    air_flow: Array
    fan_power: Array
    coil: Array
    coil_store: Array
    heater_power: Array
    condenser: Array
    water_cooled: NDArray[np.bool_]
    frozen: NDArray[np.bool_]
    on_deck: NDArray[np.bool_]
    has_economizer: NDArray[np.bool_]
    circuit: CircuitMachine
    outside_offset: Array
    sun_gain: Array
    stow_gain: Array
    set_point: Array
    set_point_later: Array
    set_point_change_hour: Array
    wrong_set_point: Array
    loading_hour: Array
    loading_hours: Array
    outage_hour: Array
    outage_hours: Array
    first_defrost: Array
    cargo_start: Array
    air_start: Array
    drift: Array
    sticks: NDArray[np.bool_]
    voltage_share: Array
    current_share: Array
    chances: Array


def draw_machines(plan: FleetPlan) -> Machines:
    """Draw every unit's parameters.

    Parameters
    ----------
    plan
        Its seed and units.

    Returns
    -------
    Machines
        One value a unit, in the order of the plan.
    """
    rows = [_draw(plan, index, unit) for index, unit in enumerate(plan.units)]

    def column(name: str) -> Array:
        return np.array([row[name] for row in rows], dtype=np.float64)

    def rows_of(name: str) -> Array:
        return np.array([row[name] for row in rows], dtype=np.float64).T.copy()

    def flags(values: list[bool]) -> NDArray[np.bool_]:
        return np.array(values, dtype=np.bool_)

    cargo = column("cargo_store")
    own = (
        "leak",
        "air_to_cargo",
        "in_cargo",
        "respiration",
        "vent",
        "seep",
        "moisture",
        "air_flow",
        "fan_power",
        "coil",
        "coil_store",
        "heater_power",
        "condenser",
        "outside_offset",
        "sun_gain",
        "stow_gain",
        "set_point",
        "set_point_later",
        "set_point_change_hour",
        "wrong_set_point",
        "loading_hour",
        "loading_hours",
        "outage_hour",
        "outage_hours",
        "first_defrost",
        "cargo_start",
        "air_start",
    )
    return Machines(
        stores=BoxStores(column("air_store"), 0.25 * cargo, 0.75 * cargo),
        circuit=CircuitMachine(
            *(column(n) for n in ("swept_flow", "charge", "receiver", "condenser_room", "shell_loss"))
        ),
        water_cooled=flags([unit.cooling == "water" for unit in plan.units]),
        frozen=flags([unit.is_frozen for unit in plan.units]),
        on_deck=flags([unit.stow == "deck" for unit in plan.units]),
        has_economizer=flags([unit.has_economizer for unit in plan.units]),
        drift=rows_of("drift"),
        sticks=rows_of("sticks") > 0.5,
        voltage_share=rows_of("voltage_share"),
        current_share=rows_of("current_share"),
        chances=np.stack(
            [stream(plan.seed, i, STREAM_CHANCE).random(_CHANCES) for i in range(len(plan.units))]
        ),
        **{name: column(name) for name in own},
    )


def _draw(plan: FleetPlan, index: int, unit: UnitPlan) -> dict[str, object]:
    draw = stream(plan.seed, index, STREAM_MACHINE)

    def around(value: float, spread: float) -> float:
        return value * float(draw.uniform(1.0 - spread, 1.0 + spread))

    short = unit.size == "20"
    cargo = CARGOES[unit.cargo]
    mass = around(cargo.mass * (0.7 if short else 1.0), 0.08)
    # Every unit takes the same draws in the same order, so that a faulty unit and its healthy twin are equal.
    warmth = float(draw.random())
    loaded_warm = 0.0
    if unit.hard_case == "warm_load":
        loaded_warm = 8.0 + 4.0 * warmth if unit.is_frozen else 12.0 + 6.0 * warmth
    if unit.cause in CAUSES:
        loaded_warm += CAUSES[unit.cause].initial_cargo * unit.severity
    cargo_start = unit.set_point + float(draw.uniform(0.0, 1.0)) + loaded_warm
    change_hour = float(draw.uniform(0.45, 0.65)) * plan.days * 24.0
    step = float(draw.choice((-4.0, -2.0, 3.0, 5.0))) if unit.is_frozen else float(draw.choice((-3.0, 3.0)))
    outage_hour = float(draw.uniform(0.5, 0.56)) * plan.days * 24.0
    outage_hours = float(draw.uniform(5.0, 9.0))
    struck = (CAUSES[unit.cause].probes if unit.cause in CAUSES else ()) or tuple(PROBES)
    probe = struck[int(draw.random() * len(struck))]
    sign = float(draw.choice((-1.0, 1.0)))
    is_changed = unit.hard_case == "set_point_change"
    hot_stow = unit.hard_case == "hot_stow"
    deck = unit.stow == "deck"
    return {
        "leak": LEAK_MAXIMUM[unit.size] * float(draw.uniform(0.72, 0.98)),
        "air_store": around(4.5e5 * (0.5 if short else 1.0), 0.15),
        "cargo_store": mass * cargo.specific_heat,
        "air_to_cargo": around(0.075 * mass, 0.2),
        "in_cargo": around(0.035 * mass, 0.3),
        "respiration": mass / 1000.0 * around(cargo.respiration, 0.25),
        "vent": cargo.vent,
        "seep": float(draw.uniform(0.8, 2.5)),
        "moisture": (0.10 if cargo.respiration else 0.01) / 3600.0 * float(draw.uniform(0.6, 1.4)),
        "air_flow": around(1400.0 * (0.62 if short else 1.0), 0.07),
        "fan_power": around(760.0 * (0.62 if short else 1.0), 0.08),
        "coil": around(2300.0 * (0.75 if short else 1.0), 0.07),
        "coil_store": around(6.5e4, 0.1),
        "heater_power": around(3400.0, 0.05),
        "condenser": around(1300.0 if unit.cooling == "water" else 600.0, 0.07),
        "swept_flow": around(9.8e-3, 0.04),
        "charge": around(4.6, 0.02),
        "receiver": around(3.3, 0.02),
        "condenser_room": 0.9,
        "shell_loss": 2.5,
        "outside_offset": float(draw.uniform(-0.8, 0.8)) if deck else float(draw.uniform(4.0, 6.5)),
        "sun_gain": float(draw.uniform(0.002, 0.006)) if deck else 0.0,
        "stow_gain": 0.011 if hot_stow else float(draw.uniform(0.001, 0.003)) if deck else 0.0,
        "set_point": unit.set_point,
        "set_point_later": unit.set_point + (step if is_changed else 0.0),
        "set_point_change_hour": np.floor(change_hour),
        "wrong_set_point": 6.0 if unit.is_frozen else 5.0 * sign,
        "loading_hour": float(draw.uniform(14.5, 17.5)),
        "loading_hours": float(draw.uniform(0.3, 1.0)),
        "outage_hour": outage_hour,
        "outage_hours": outage_hours if unit.hard_case == "port_power_off" else 0.0,
        "first_defrost": float(draw.uniform(0.0, 300.0)),
        "cargo_start": cargo_start,
        "air_start": cargo_start + float(draw.uniform(1.0, 4.0)),
        "drift": [sign * span * (name == probe) for name, span in PROBES.items()],
        "sticks": [float(name == probe) for name in PROBES],
        "voltage_share": draw.normal(1.0, 0.004, 3),
        "current_share": draw.normal(1.0, 0.012, 3),
    }
