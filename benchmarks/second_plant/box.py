"""The insulated box: air along its length, two stow zones, three walls with their own heat capacity.

Goes in: box parameters, what the coil does, the weather outside. Comes out: temperatures one step later and
a ledger of all heat that crossed the boundary.

Air goes from the coil through the supply plenum and the floor into the front stow, the rear stow and a
bypass, and back over the return side. Air is solved implicitly around that loop, in one pass, since every
node depends on the one upstream alone; cargo and walls are slow and take an explicit step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.second_plant.refrigerants import Array
from benchmarks.second_plant.weather import saturated_moisture

AIR_HEAT = 1006.0
"""[J/kg K]"""
PER_FLOW = 1.22 * AIR_HEAT / 3600.0
"""Heat carried per volume flow of outside air. [W/K per m³/h]"""
VAPORISATION, SUBLIMATION, FUSION = 2.50e6, 2.834e6, 0.334e6
"""[J/kg]"""
MELTING = 160.0
"""Heat that melts ice, per coil temperature above 0 °C. [W/K]"""


@dataclass(frozen=True, slots=True)
class BoxMake:
    """Parameters of the boxes and their loads, one value a unit.

    Attributes
    ----------
    roof, side, floor
        Conductance of each wall, outside air to inside air. [W/K]
    wall_heat
        Heat capacity of each wall, shape (3, units). [J/K]
    sun_roof, sun_side
        Temperature rise of the outer skin per irradiance. [K per W/m²]
    surface_heat, core_heat
        Cargo, shape (2, units): front and rear. [J/K]
    to_surface, to_core
        Air to surface at full flow, surface to core; shape (2, units). [W/K]
    tonnes
        Living cargo of each zone, shape (2, units). [t]
    respiration
        At 10 °C. [W/t]
    transpiration
        Moisture given off per missing moisture of the air. [kg/s per kg/kg]
    air_heat
        Of each of the four air nodes, with the lining and floor that follow the air. [J/K]
    air_mass
        All air in the box. [kg]
    front, rear
        Share of the flow through each stow; the rest goes by.
    full_flow
        At high fan speed. [kg/s]
    coil_heat
        Metal of the coil, heaters and drain pan. [J/K]
    coil_air
        Air-side conductance of the clean coil at full flow. [W/K]
    seal, vent
        Outside air through seals at the door end, and through the vent. [m³/h]
    """

    roof: Array
    side: Array
    floor: Array
    wall_heat: Array
    sun_roof: Array
    sun_side: Array
    surface_heat: Array
    core_heat: Array
    to_surface: Array
    to_core: Array
    tonnes: Array
    respiration: Array
    transpiration: Array
    air_heat: Array
    air_mass: Array
    front: Array
    rear: Array
    full_flow: Array
    coil_heat: Array
    coil_air: Array
    seal: Array
    vent: Array


@dataclass(slots=True)
class BoxState:
    """Temperatures [°C], ice [kg] and moisture [kg/kg], one value a unit.

    Attributes
    ----------
    supply, front, rear, back
        Air: plenum and floor, both stows, return side.
    surface, core
        Cargo, shape (2, units).
    wall
        Roof, side, floor; shape (3, units).
    coil, ice
        Coil metal, ice on it.
    moisture
        Of the box air.
    heat_in
        Ledger: heat that has come in less heat taken out since the start. [J]
    """

    supply: Array
    front: Array
    rear: Array
    back: Array
    surface: Array
    core: Array
    wall: Array
    coil: Array
    ice: Array
    moisture: Array
    heat_in: Array


@dataclass(frozen=True, slots=True)
class Draught:
    """What moves and heats the air in one step, one value a unit.

    Attributes
    ----------
    flow
        Air over the coil. [kg/s]
    fan_heat, heater
        [W]
    taken, taken_slope
        Heat the refrigerant takes from the coil now [W] and its change with coil temperature [W/K].
    outside, moisture
        Air outside. [°C], [kg/kg]
    roof_sun, side_sun
        [W/m²]
    door_leak, vent_extra
        Outside air beyond the box's own. [m³/h]
    blocked
        Share of the rear stow's air path lost.
    ice_kept
        Ice that no defrost reaches. [kg]
    """

    flow: Array
    fan_heat: Array
    heater: Array
    taken: Array
    taken_slope: Array
    outside: Array
    moisture: Array
    roof_sun: Array
    side_sun: Array
    door_leak: Array
    vent_extra: Array
    blocked: Array
    ice_kept: Array


def ice_blocking(ice: Array) -> Array:
    """Share of the coil's air passages that ice has closed, at most 0.85. ``ice`` in kg."""
    blocked: Array = np.minimum((np.maximum(ice, 0.0) / 13.0) ** 1.4, 0.85)
    return blocked


def stored_heat(make: BoxMake, state: BoxState) -> Array:
    """Heat stored in air, cargo, walls and coil above 0 °C. [J]."""
    air = make.air_heat * (state.supply + state.front + state.rear + state.back)
    cargo = (make.surface_heat * state.surface + make.core_heat * state.core).sum(axis=0)
    total: Array = air + cargo + (make.wall_heat * state.wall).sum(axis=0) + make.coil_heat * state.coil
    return total


def step_box(make: BoxMake, state: BoxState, draught: Draught, seconds: float) -> None:
    """Move the box one step on, in place.

    Parameters
    ----------
    make, state, draught
        Box, its temperatures (changed), and what acts on it.
    seconds
        Length of the step. [s]
    """
    stream = draught.flow * AIR_HEAT
    strength = (draught.flow / make.full_flow) ** 0.6
    # Effectiveness of a surface at one temperature.
    blocked = ice_blocking(state.ice + draught.ice_kept)
    reach = 1.0 - np.exp(-make.coil_air * strength * (1.0 - 0.8 * blocked) / stream)
    rear = make.rear * (1.0 - 0.92 * draught.blocked)
    front = make.front * (1.0 - 0.45 * draught.blocked)
    by = 1.0 - front - rear
    # Radiation and free convection stay when the fans stop.
    to_surface = make.to_surface * (0.45 + 0.55 * strength)
    to_surface = to_surface * np.stack([front / make.front, rear / make.rear]) ** 0.6
    seal, vent = (make.seal + draught.door_leak) * PER_FLOW, (make.vent + draught.vent_extra) * PER_FLOW
    # Inner half of each wall; the outer half is the same again.
    roof, side, floor = 2.0 * make.roof, 2.0 * make.side, 2.0 * make.floor
    inertia = make.air_heat / seconds

    wet, water = _moisture(make, state, draught, reach, to_surface, seconds)
    latent = np.where(state.coil < 0.0, SUBLIMATION, VAPORISATION)
    melt = np.minimum(MELTING * np.maximum(state.coil, 0.0), state.ice * FUSION / seconds)
    extra = draught.heater + wet * latent - melt - draught.taken

    # Every air node is a + b·x with x the return air at the end of the step.
    hold = make.coil_heat / seconds + draught.taken_slope
    grip = stream * reach
    coil_a, coil_b = (hold * state.coil + extra) / (hold + grip), grip / (hold + grip)
    off_a, off_b = reach * coil_a, 1.0 - reach + reach * coil_b
    supply_sum = inertia + stream + floor
    supply_a = (inertia * state.supply + stream * off_a + floor * state.wall[2]) / supply_sum
    supply_b = stream * off_b / supply_sum
    front_sum = inertia + stream * front + to_surface[0] + 0.5 * side
    front_a = (
        inertia * state.front
        + stream * front * supply_a
        + to_surface[0] * state.surface[0]
        + 0.5 * side * state.wall[1]
    ) / front_sum
    front_b = stream * front * supply_b / front_sum
    rear_sum = inertia + stream * rear + to_surface[1] + 0.5 * side + seal
    rear_a = (
        inertia * state.rear
        + stream * rear * supply_a
        + to_surface[1] * state.surface[1]
        + 0.5 * side * state.wall[1]
        + seal * draught.outside
    ) / rear_sum
    rear_b = stream * rear * supply_b / rear_sum
    back_a = (
        inertia * state.back
        + stream * (front * front_a + rear * rear_a + by * supply_a)
        + roof * state.wall[0]
        + vent * draught.outside
        + draught.fan_heat
    )
    back_sum = inertia + stream + roof + vent
    back = back_a / (back_sum - stream * (front * front_b + rear * rear_b + by * supply_b))

    coil = coil_a + coil_b * back
    air = np.stack([supply_a + supply_b * back, front_a + front_b * back, rear_a + rear_b * back, back])
    warmed = to_surface * (air[1:3] - state.surface)
    passed = make.to_core * (state.surface - state.core)
    breath = make.respiration * make.tonnes * 2.0 ** ((state.core - 10.0) / 9.0)
    cooled = water * VAPORISATION * np.array([[0.5], [0.5]])
    skin = draught.outside + np.stack(
        [make.sun_roof * draught.roof_sun, make.sun_side * draught.side_sun, np.zeros_like(roof)]
    )
    outer = np.stack([roof, side, floor])
    inward = outer * (skin - state.wall)
    inside = np.stack([air[3], 0.5 * (air[1] + air[2]), air[0]])

    state.heat_in += seconds * (
        inward.sum(axis=0)
        + seal * (draught.outside - air[2])
        + vent * (draught.outside - air[3])
        + draught.fan_heat
        + extra
        - draught.taken_slope * (coil - state.coil)
        + (breath - cooled).sum(axis=0)
    )
    state.wall += seconds * (inward - outer * (state.wall - inside)) / make.wall_heat
    state.surface += seconds * (warmed - passed - cooled) / make.surface_heat
    state.core += seconds * (passed + breath) / make.core_heat
    state.ice += seconds * (np.where(state.coil < 0.0, wet, 0.0) - melt / FUSION)
    state.coil = coil
    state.supply, state.front, state.rear, state.back = air


def _moisture(
    make: BoxMake, state: BoxState, draught: Draught, reach: Array, to_surface: Array, seconds: float
) -> tuple[Array, Array]:
    """Water caught by the coil and given off by the cargo [kg/s]; moves the air's moisture on."""
    dry = saturated_moisture(state.coil)
    catch = np.where(state.moisture > dry, draught.flow * reach, 0.0)
    ripe = 0.97 * saturated_moisture(state.surface.mean(axis=0))
    give = make.transpiration
    outside = (make.seal + draught.door_leak + make.vent + draught.vent_extra) * 1.22 / 3600.0
    held = make.air_mass / seconds
    state.moisture = (held * state.moisture + catch * dry + give * ripe + outside * draught.moisture) / (
        held + catch + give + outside
    )
    return catch * (state.moisture - dry), give * (ripe - state.moisture)
