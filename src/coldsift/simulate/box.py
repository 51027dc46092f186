"""The insulated box: air, cargo surface and cargo core as three coupled heat stores.

One implicit step for all units at once. Implicit because the air reacts within minutes and the cargo within
days; the step stays stable and its heat flows add up exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

from coldsift.simulate.refrigerant import Array


@dataclass(slots=True)
class Box:
    """Temperatures of the three stores, one value a unit. [°C]."""

    air: Array
    surface: Array
    core: Array


@dataclass(frozen=True, slots=True)
class BoxStores:
    """Heat capacities, one value a unit. [J/K]."""

    air: Array
    surface: Array
    core: Array


@dataclass(frozen=True, slots=True)
class BoxFlows:
    """Heat into the box over one step, one value a unit. [J].

    Attributes
    ----------
    leak
        Through walls, open vents and poor seals, sun on the walls included.
    unit
        From the refrigeration unit into the air; negative while it cools.
    respiration
        Given off by live produce.
    """

    leak: Array
    unit: Array
    respiration: Array


def advance_box(
    box: Box,
    stores: BoxStores,
    *,
    outside: Array,
    leak: Array,
    air_to_cargo: Array,
    in_cargo: Array,
    unit_heat: Array,
    respiration: Array,
    seconds: float,
) -> BoxFlows:
    """Move the box one step on, in place.

    Parameters
    ----------
    box
        Changed to the end of the step. [°C]
    stores
        Heat capacities. [J/K]
    outside
        Effective outside temperature: air and sun. [°C]
    leak
        Conductance to the outside. [W/K]
    air_to_cargo, in_cargo
        Conductance from air to cargo surface, and from surface to core. [W/K]
    unit_heat
        Heat from the unit into the air. [W]
    respiration
        Heat given off by the cargo, shared by mass. [W]
    seconds
        Length of the step. [s]

    Returns
    -------
    BoxFlows
        What came in; its sum is the change of the heat stored.
    """
    surface_share = stores.surface / (stores.surface + stores.core)
    air_rate, surface_rate, core_rate = (
        store / seconds for store in (stores.air, stores.surface, stores.core)
    )
    core_pivot = core_rate + in_cargo
    core_heat = core_rate * box.core + respiration * (1.0 - surface_share)
    surface_pivot = surface_rate + air_to_cargo + in_cargo - in_cargo**2 / core_pivot
    surface_heat = (
        surface_rate * box.surface + respiration * surface_share + in_cargo * core_heat / core_pivot
    )
    air_pivot = air_rate + leak + air_to_cargo - air_to_cargo**2 / surface_pivot
    air_heat = air_rate * box.air + unit_heat + leak * outside + air_to_cargo * surface_heat / surface_pivot
    box.air = air_heat / air_pivot
    box.surface = (surface_heat + air_to_cargo * box.air) / surface_pivot
    box.core = (core_heat + in_cargo * box.surface) / core_pivot
    return BoxFlows(
        leak=leak * (outside - box.air) * seconds,
        unit=unit_heat * seconds,
        respiration=respiration * seconds,
    )
