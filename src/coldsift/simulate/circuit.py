"""The vapour-compression circuit, R134a, quasi-steady.

Goes in: temperatures at both coils, compressor speed, valve positions. Comes out: evaporating and condensing
temperature, heat taken from the air, power, gas temperatures. The two unknowns are pulled a part of the way
to their solution at each call, which also stands for the circuit's own lag; a few calls a minute settle it.

The evaporating temperature is the lower of two: the one at which the compressor draws just what the
expansion valve lets through (starved coil), and the one at which the wetted coil boils what the compressor
draws (fully wetted coil). What is left of the coil superheats the gas.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np

from coldsift.simulate.refrigerant import KELVIN, Array, Saturation, isentropic_work, limit, r134a

VALVE_FLOW = 1.1e-3
"""Flow of the open expansion valve. [kg/s per √(kg/m³·bar)]"""

VALVE_SEEP = 0.0008
"""Opening of a shut expansion valve."""

LOWEST_EVAPORATING = -99.0
"""Below this no property is asked for: a little above R134a's triple point. [°C]"""

COIL_CHARGE = 1.2
"""Held by a fed coil. [kg]"""

HOT_GAS_SHARE = 0.55
"""Share of the compressor's flow that the open hot-gas valve sends round the condenser."""

_GAS_HEAT = 1100.0
"""Specific heat of discharge gas. [J/kg K]"""

ECONOMIZER_FLOOR = 0.0065
"""Flow of the open economizer path when the main path asks for none. [kg/s]"""


@dataclass(slots=True)
class Circuit:
    """State of the circuit, one value a unit; changed in place.

    Attributes
    ----------
    evaporating, condensing
        Saturation temperatures. [°C]
    superheat
        At the coil's end. [K]
    gas
        Discharge gas at the sensor. [°C]
    wetted
        Share of the coil that boils, 0 to 1.
    held
        Charge in the coil. [kg]
    low, high
        Saturation at the two temperatures; :meth:`settle` brings them up to date.
    """

    evaporating: Array
    condensing: Array
    superheat: Array
    gas: Array
    wetted: Array
    held: Array
    low: Saturation = field(init=False)
    high: Saturation = field(init=False)

    def __post_init__(self) -> None:
        self.settle()

    def settle(self) -> None:
        """Look up the saturation properties of the present temperatures."""
        both = r134a().at(np.concatenate([self.evaporating, self.condensing]))
        units = len(self.evaporating)
        values = [getattr(both, item.name) for item in fields(Saturation)]
        self.low = Saturation(*(value[:units] for value in values))
        self.high = Saturation(*(value[units:] for value in values))


@dataclass(frozen=True, slots=True)
class CircuitMachine:
    """Fixed parameters, one value a unit.

    Attributes
    ----------
    swept_flow
        Swept volume at full speed. [m³/s]
    charge, receiver, condenser_room
        Nominal charge, what receiver and liquid line hold, what the condenser holds. [kg]
    shell_loss
        Compressor shell to the outside. [W/K]
    """

    swept_flow: Array
    charge: Array
    receiver: Array
    condenser_room: Array
    shell_loss: Array


@dataclass(frozen=True, slots=True)
class CircuitInput:
    """What drives the circuit during one call, one value a unit.

    Attributes
    ----------
    speed
        Of the compressor, 0 to 1.
    valve, economizer, hot_gas
        True openings, 0 to 1.
    air_on_coil
        [°C]
    air_flow
        Heat capacity flow over the coil. [W/K]
    coil
        Conductance of the coil. [W/K]
    sink
        Air or water at the condenser. [°C]
    condenser
        Conductance of the condenser before flooding. [W/K]
    outside
        Around the compressor. [°C]
    charge
        Share of the nominal charge.
    air_pressure
        Of air in the condenser. [bar]
    compressor_flow, compressor_leak, compressor_work
        Shares, 1 in order.
    """

    speed: Array
    valve: Array
    economizer: Array
    hot_gas: Array
    air_on_coil: Array
    air_flow: Array
    coil: Array
    sink: Array
    condenser: Array
    outside: Array
    charge: Array
    air_pressure: Array
    compressor_flow: Array
    compressor_leak: Array
    compressor_work: Array


@dataclass(frozen=True, slots=True)
class CircuitOutput:
    """What comes of it, one value a unit.

    Attributes
    ----------
    heat
        Taken up at the coil. [W]
    power
        Electric, of the compressor. [W]
    """

    heat: Array
    power: Array


def run_circuit(state: Circuit, machine: CircuitMachine, drive: CircuitInput) -> CircuitOutput:
    """Pull the circuit towards its balance once, in place, for units whose compressor runs.

    Parameters
    ----------
    state
        Changed in place.
    machine, drive
        See their classes.

    Returns
    -------
    CircuitOutput
        Of the state reached.
    """
    squeezed = _compress(state, machine, drive)
    _gas(state, machine, drive, squeezed)
    heat = _evaporate(state, drive, squeezed)
    rejected = squeezed.total_flow * np.maximum(squeezed.mixed_enthalpy - squeezed.liquid_enthalpy, 0.0)
    rejected = rejected * (1.0 - 0.5 * HOT_GAS_SHARE * drive.hot_gas)
    condensing = drive.sink + rejected / (drive.condenser * (1.0 - squeezed.flooded))
    condensing = np.minimum(condensing, 95.0)
    state.condensing = state.condensing + 0.6 * (condensing - state.condensing)
    state.settle()
    return CircuitOutput(heat=heat, power=squeezed.shaft / 0.9)


@dataclass(frozen=True, slots=True)
class _Squeezed:
    """Flows and enthalpies round the compressor; flows in kg/s, enthalpies in J/kg, work in W."""

    flooded: Array
    warmth: Array
    drawn_volume: Array
    leak: Array
    flow: Array
    main_flow: Array
    total_flow: Array
    valve_flow: Array
    gas_enthalpy: Array
    liquid_enthalpy: Array
    valve_enthalpy: Array
    mixed_enthalpy: Array
    shaft: Array


def _compress(state: Circuit, machine: CircuitMachine, drive: CircuitInput) -> _Squeezed:
    table = r134a()
    low, high = state.low, state.high
    discharge = high.pressure + drive.air_pressure
    ratio = discharge / low.pressure
    warmth = (state.evaporating + KELVIN) / (state.evaporating + state.superheat + KELVIN)
    gas_density = low.vapour_density * warmth
    gas_enthalpy = low.vapour_enthalpy + low.vapour_heat * state.superheat

    # Charge: what the low side does not hold stands in the receiver; too much floods the condenser, too
    # little lets vapour into the valve.
    liquid = machine.charge * drive.charge - 0.3 - state.held - 0.6 * drive.economizer
    flooded = limit((liquid - machine.receiver) / machine.condenser_room, 0.0, 0.97)
    seal = limit(liquid / 2.2, 0.02, 1.0) ** 1.5

    # Slip grows with the pressure ratio; an internal leak is left when nothing comes.
    slip = limit(0.96 - 0.017 * np.minimum(ratio, 20.0), 0.3, 1.0)
    drawn_volume = np.maximum(machine.swept_flow * drive.speed * slip * drive.compressor_flow, 1e-6)
    leak = 3.5e-5 * drive.compressor_leak * np.maximum(discharge - low.pressure, 0.0)
    flow = np.maximum(drawn_volume * gas_density - leak, 1e-6)
    main_flow = (1.0 - HOT_GAS_SHARE * drive.hot_gas) * flow

    # Economizer: boils part of the liquid at middle pressure and chills the rest.
    liquid_temperature = state.condensing - 3.0 - 6.0 * flooded
    liquid_enthalpy = high.liquid_enthalpy - high.liquid_heat * (state.condensing - liquid_temperature)
    middle_pressure = limit(1.1 * np.sqrt(low.pressure * discharge), 1.4, 6.0)
    middle_temperature = table.temperature_of_pressure(middle_pressure)
    chill = high.liquid_heat * 0.85 * np.maximum(liquid_temperature - middle_temperature, 0.0)
    chill = drive.economizer * chill
    boil = np.maximum(low.vapour_enthalpy - liquid_enthalpy, 5e4)
    economizer_flow = drive.economizer * (seal * ECONOMIZER_FLOOR + main_flow * chill / boil)
    total_flow = flow + economizer_flow

    middle_density = low.vapour_density * middle_pressure / low.pressure
    losses = drive.compressor_work / limit(0.73 - 0.007 * ratio, 0.5, 0.75)
    shaft = 250.0 * drive.speed + losses * (
        flow * isentropic_work(low.pressure, discharge, gas_density)
        + economizer_flow * isentropic_work(middle_pressure, discharge, middle_density)
    )
    valve_flow = (
        VALVE_FLOW
        * np.maximum(drive.valve, VALVE_SEEP)
        * seal
        * np.sqrt(high.liquid_density * np.maximum(discharge - low.pressure, 0.01))
    )
    # Liquid that an over-fed coil passes on boils in the compressor: the gas leaves cooler.
    carried = limit(0.25 * (valve_flow / np.maximum(main_flow, 1e-6) - 1.0), 0.0, 0.15)
    carried = np.where(state.wetted >= 0.999, carried, 0.0)
    mixed_enthalpy = (
        flow * (gas_enthalpy - carried * boil) + economizer_flow * low.vapour_enthalpy + 0.95 * shaft
    ) / total_flow
    return _Squeezed(
        flooded=flooded,
        warmth=warmth,
        drawn_volume=drawn_volume,
        leak=leak,
        flow=flow,
        main_flow=main_flow,
        total_flow=total_flow,
        valve_flow=valve_flow,
        gas_enthalpy=gas_enthalpy,
        liquid_enthalpy=liquid_enthalpy,
        valve_enthalpy=liquid_enthalpy - chill,
        mixed_enthalpy=mixed_enthalpy,
        shaft=shaft,
    )


def _gas(state: Circuit, machine: CircuitMachine, drive: CircuitInput, squeezed: _Squeezed) -> None:
    """Discharge gas at its sensor: what the compressor gives, less what its shell loses."""
    gas = state.condensing + (squeezed.mixed_enthalpy - state.high.vapour_enthalpy) / _GAS_HEAT
    through = squeezed.total_flow * _GAS_HEAT
    gas = (through * gas + machine.shell_loss * drive.outside) / (through + machine.shell_loss)
    gas = limit(gas, state.condensing - 2.0, 190.0)
    state.gas = state.gas + 0.3 * (gas - state.gas)


def _evaporate(state: Circuit, drive: CircuitInput, squeezed: _Squeezed) -> Array:
    """Evaporating temperature, wetted share, superheat; gives the heat taken up. [W]."""
    around = HOT_GAS_SHARE * drive.hot_gas
    gain = (1.0 - around) * (squeezed.gas_enthalpy - squeezed.valve_enthalpy)
    gain = gain - around * np.maximum(squeezed.mixed_enthalpy - squeezed.gas_enthalpy, 0.0)
    duty = squeezed.flow * np.maximum(gain, 1e4)
    units_of_transfer = drive.coil / drive.air_flow
    best = -np.expm1(-units_of_transfer)
    reach = best * drive.air_flow
    span = drive.air_on_coil - state.evaporating
    wetted_target = state.evaporating + (reach * span - duty) / (reach + 0.045 * duty)
    density = (squeezed.valve_flow / (1.0 - around) + squeezed.leak) / squeezed.drawn_volume
    starved_target = r134a().temperature_of_vapour_density(np.maximum(density / squeezed.warmth, 1e-3))
    target = np.minimum(np.minimum(wetted_target, starved_target), 25.0)
    state.evaporating = limit(
        state.evaporating + 0.75 * (target - state.evaporating), LOWEST_EVAPORATING, 30.0
    )
    # Heat and superheat of the coil as it now is: the part that is not wetted superheats the gas.
    span = np.maximum(drive.air_on_coil - state.evaporating, 0.0)
    heat = np.minimum(duty, reach * span)
    needed = limit(heat / np.maximum(drive.air_flow * span, 1e-3), 0.0, best * 0.99999)
    wetted = limit(-np.log1p(-needed) / units_of_transfer, 0.0, 1.0)
    state.wetted = state.wetted + 0.6 * (wetted - state.wetted)
    # Charge shifts slowly between the two sides.
    held = COIL_CHARGE * np.minimum(state.wetted / 0.35, 1.0)
    state.held = state.held + 0.05 * (held - state.held)
    superheat = -span * np.expm1(-8.0 * (1.0 - state.wetted))
    state.superheat = state.superheat + 0.6 * (superheat - state.superheat)
    return heat
