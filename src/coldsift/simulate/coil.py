"""Air over the evaporator, and the coil itself: metal, frost, moisture in the air.

Goes in: what the controller orders, faults, the circuit's state. Comes out: air flow and heat of fans and
heaters (:class:`Blown`), and what the coil takes from the air and gives back to it (:class:`CoilHeat`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldsift.simulate.control import Flags, Orders
from coldsift.simulate.faults import Effects
from coldsift.simulate.machines import Machines
from coldsift.simulate.refrigerant import Array, limit
from coldsift.simulate.weather import saturation_humidity_ratio

_AIR_HEAT = 1006.0
"""Specific heat of air. [J/kg K]"""
_DRY_AIR = 65.0
"""Air in the box. [kg]"""
_MELTING = 334e3
"""[J/kg]"""
_CONDENSING = 2.6e6
"""Water vapour to water or frost. [J/kg]"""
_ESCAPE = 14.0
"""From a warm coil to the box while the fans stand. [W/K]"""
_STILL_AIR = 60.0
"""Air flow over the coil with the fans stopped, as heat capacity flow. [W/K]"""
_CHOKED_SHARE = 0.3
"""Share of the air flow that passes even a coil full of ice while the fans run."""
_FULL_OF_FROST = 10.0
"""Frost at which no more finds room. [kg]"""
_SHORT_CUT = 0.45
"""Share of the supply air that turns straight back when the stow blocks its way."""


@dataclass(frozen=True, slots=True)
class Blown:
    """Air over the coil during a minute, one value a unit.

    Attributes
    ----------
    on
        Fans run.
    share
        Flow, share of a clean machine's full flow.
    flow
        Heat capacity flow. [W/K]
    fan_heat, heating
        Of fans and heaters, wherever it goes. [W]
    reheat
        Heaters into blown air. [W]
    back, on_coil
        Air at the return probe and behind the fans. [°C]
    """

    on: Flags
    share: Array
    flow: Array
    fan_heat: Array
    heating: Array
    reheat: Array
    back: Array
    on_coil: Array


@dataclass(frozen=True, slots=True)
class CoilHeat:
    """Heat of the coil during a minute, one value a unit. [W].

    Attributes
    ----------
    cooling
        Taken from blown air that shows as temperature.
    escape
        From the warm coil to still air.
    """

    cooling: Array
    escape: Array


def blow(
    machines: Machines,
    effects: Effects,
    orders: Orders,
    powered: Flags,
    *,
    air: Array,
    icing: Array,
    cooling: Array,
    hottest: Array,
    mains: float,
) -> Blown:
    """Air flow and heat of fans and heaters.

    Parameters
    ----------
    machines, effects, orders, powered
        Of the fleet.
    air
        Mean air of the box. [°C]
    icing
        Frost and ice on the coil. [kg]
    cooling
        Of the minute before. [W]
    hottest
        Warmest place near the heaters. [°C]
    mains
        Frequency, share of 60 Hz.
    """
    on = orders.fan > 0
    blocked = effects.air_blocked
    share = orders.fan * effects.evaporator_air * (1.0 - 0.4 * blocked) / (1.0 + (icing / 6.0) ** 2) * mains
    flow = np.where(on, machines.air_flow * np.maximum(share, _CHOKED_SHARE), _STILL_AIR)
    fan_heat = machines.fan_power * effects.evaporator_fan_power * orders.fan**2.4 * mains**2.5
    heating = np.maximum(orders.heater, effects.heater_welded * powered)
    # A thermostat of its own keeps the heaters from scorching.
    heating = heating * machines.heater_power * effects.heater * limit((50.0 - hottest) / 5.0, 0.0, 1.0)
    reheat = np.where(on, heating, 0.0)
    # The box holds the mean of the air that comes and goes; part of it may take the short way.
    short_cut = _SHORT_CUT * blocked
    rise = 0.5 * (cooling - fan_heat - reheat) / flow * (1.0 - 2.0 * short_cut) / (1.0 - short_cut)
    back = air + np.where(on, rise, 0.0)
    return Blown(on, share, flow, fan_heat, heating, reheat, back, back + fan_heat / flow)


@dataclass(slots=True)
class Coil:
    """State of coil and moisture, one value a unit; changed in place.

    Attributes
    ----------
    metal
        [°C]
    frost
        [kg]
    moisture
        Humidity ratio of the box air. [kg/kg]
    """

    metal: Array
    frost: Array
    moisture: Array

    def dry_air(
        self,
        machines: Machines,
        blown: Blown,
        *,
        air: Array,
        inlet: Array,
        outside_moisture: float,
        running: Flags,
        heat: Array,
        seconds: float,
    ) -> Array:
        """Let moisture come in and settle on the coil; as frost below 0 °C.

        Parameters
        ----------
        machines, blown
            See there.
        air
            Of the box. [°C]
        inlet
            Outside air. [kg/s]
        outside_moisture
            [kg/kg]
        running
            Compressor runs.
        heat
            Taken up by the refrigerant. [W]
        seconds
            Length of the step. [s]

        Returns
        -------
        numpy.ndarray
            Heat of condensing and freezing, part of ``heat``. [W]
        """
        coil_holds = saturation_humidity_ratio(self.metal)
        dryness = limit(1.0 - self.moisture / saturation_humidity_ratio(air), 0.0, 1.0)
        given = 6.0 * machines.moisture * dryness
        wash = np.where(blown.on & (self.moisture > coil_holds), 0.6 * blown.flow / _AIR_HEAT, 0.0)
        stock = _DRY_AIR / seconds
        self.moisture = (stock * self.moisture + inlet * outside_moisture + given + wash * coil_holds) / (
            stock + inlet + wash
        )
        settled = wash * (self.moisture - coil_holds)
        freezing = self.metal < 0.0
        frost = self.frost + np.where(freezing & (self.frost < _FULL_OF_FROST), settled, 0.0) * seconds
        thawing = blown.on & ~freezing & ~running
        self.frost = np.where(thawing, np.maximum(frost - 0.02, 0.0), frost)
        return np.where(running & blown.on, np.minimum(settled * _CONDENSING, 0.6 * heat), 0.0)

    def advance(
        self,
        machines: Machines,
        blown: Blown,
        *,
        defrosting: Flags,
        precooling: Flags,
        running: Flags,
        cold_end: Array,
        air: Array,
        heat: Array,
        latent: Array,
        seconds: float,
    ) -> CoilHeat:
        """Warm or cool the metal, melt frost.

        Parameters
        ----------
        machines, blown
            See there.
        defrosting, precooling
            Phases with the fans stopped; precooling is the last part of defrosting.
        running
            Compressor runs.
        cold_end
            Where the metal tends to while it does. [°C]
        air
            Of the box. [°C]
        heat, latent
            Taken up by the refrigerant, and its share for moisture. [W]
        seconds
            Length of the step. [s]
        """
        store = machines.coil_store
        escape = np.where(defrosting, _ESCAPE * (self.metal - air), 0.0)
        into = np.where(blown.on, 0.0, blown.heating) - escape - np.where(precooling, heat, 0.0)
        warmed = self.metal + into * seconds / store
        melted = np.where(
            defrosting & (warmed > 0.0), np.minimum(self.frost, 0.8 * warmed * store / _MELTING), 0.0
        )
        warmed = warmed - melted * _MELTING / store
        tends_to = np.where(running, cold_end, np.where(blown.on, blown.on_coil, air))
        # Air cannot bring more heat to the metal than it carries.
        pace = np.where(blown.on, np.minimum(0.25, 0.8 * blown.flow * seconds / store), 0.02)
        metal = np.where(defrosting, warmed, self.metal + pace * (tends_to - self.metal))
        released = np.where(blown.on, store * (self.metal - metal) / seconds, 0.0)
        self.frost = self.frost - melted
        self.metal = metal
        return CoilHeat(cooling=np.where(blown.on, heat - latent - released, 0.0), escape=escape)
