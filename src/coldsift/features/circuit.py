"""Features of the refrigerant circuit, and the cross-checks of its sensors against each other."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.features.catalogue import (
    AIR_COOLED,
    ANY_HOLD,
    DEFINITION,
    RUNNING_HOLD,
    STANDSTILL,
    Feature,
    Statistic,
    Worry,
    imbalance,
)
from coldsift.refrigerant import DEFAULT_REFRIGERANT, REFUSALS, saturation
from coldsift.regimes.numbered import (
    IN_MEMORY,
    MICROSECONDS,
    NUMBER,
    elapsed,
    microseconds_of,
    starts,
    with_numbers,
)

DRAWN_COLUMNS = ("evaporating", "condensing")
"""Dew temperature at the suction, bubble temperature at the discharge pressure: what charts show. [°C]"""

SATURATION_COLUMNS = (*DRAWN_COLUMNS, "condensing_dew")
"""These, and the dew temperature at the discharge pressure. [°C]"""

REFUSED = "refused"
"""Column that says why a pressure of a reading has no saturation temperature."""

_SATURATION = "saturation by CoolProp's equations of state"
_SPEED = pl.col("compressor_frequency")
_SPLIT = pl.col("return_air") - pl.col("supply_air")
_COIL_TO_AIR = pl.col("return_air") - pl.col("evaporating")
FED_COIL = 25.0
"""A coil further below the air is starved: its temperature then says nothing of its sensor. [K]"""
_RATIO = pl.col("discharge_pressure") / pl.col("suction_pressure")

FULL_SPEED = 100.0
"""Speeds are given per so many hertz. [Hz]"""


def with_saturation(
    timeline: pl.DataFrame,
    refrigerants: Mapping[str, str] = MappingProxyType({}),
    default: str = DEFAULT_REFRIGERANT,
) -> pl.DataFrame:
    """Add the saturation temperatures of every reading, and how long the compressor has stood.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`; pressures in bar absolute.
    refrigerants
        Refrigerant by container where it is not the ``default``.
    default
        Refrigerant of all others.

    Returns
    -------
    polars.DataFrame
        The timeline with ``SATURATION_COLUMNS`` [°C], null where a pressure is refused or not logged;
        ``refused``, the reason or null; ``rest_pressure``, the saturation pressure at the warmer of ambient
        and return air [bar absolute]; ``standing_hours``, time since the compressor last ran [h], null while
        it runs or where nothing tells; and ``switched``, true where it has just started or stopped.

    Raises
    ------
    coldsift.refrigerant.UnknownRefrigerant
        When a name is none.
    """
    fluid = timeline["container"].replace_strict(dict(refrigerants), default=default, return_dtype=pl.String)
    suction = timeline["suction_pressure"].cast(pl.Float64).to_numpy()
    discharge = timeline["discharge_pressure"].cast(pl.Float64).to_numpy()
    warmest = timeline.select(pl.max_horizontal("ambient_air", "return_air")).to_series()
    rest = warmest.cast(pl.Float64).to_numpy()
    columns = {name: np.full(len(timeline), np.nan) for name in (*SATURATION_COLUMNS, "rest_pressure")}
    refused: NDArray[np.int8] = np.zeros(len(timeline), dtype=np.int8)
    for name in fluid.unique().sort():
        rows = (fluid == name).to_numpy()
        table = saturation(name)
        columns["evaporating"][rows] = table.dew_temperature(suction[rows])
        columns["condensing"][rows] = table.bubble_temperature(discharge[rows])
        columns["condensing_dew"][rows] = table.dew_temperature(discharge[rows])
        columns["rest_pressure"][rows] = table.bubble_pressure(rest[rows])
        low, high = table.refusal(suction[rows]), table.refusal(discharge[rows])
        refused[rows] = np.where(low > 0, low, high)
    running = pl.col("running").fill_null(True)
    standing = pl.when(running).then(0).otherwise(microseconds_of(pl.col("hours")))
    return (
        with_numbers(timeline.lazy())
        .with_columns(
            *(pl.Series(name, values).fill_nan(None) for name, values in columns.items()),
            pl.Series(REFUSED, refused).replace_strict(
                dict(list(enumerate(REFUSALS))[1:]), default=None, return_dtype=pl.String
            ),
            standing_hours=pl.when(~running).then(elapsed(starts() | running, standing) / MICROSECONDS),
            switched=pl.col("running") != pl.col("running").shift(1).over(NUMBER),
        )
        .drop(NUMBER)
        .collect(engine=IN_MEMORY)
    )


NEMA = "definition of voltage unbalance in NEMA MG 1, from memory"

CIRCUIT_FEATURES: tuple[Feature, ...] = (
    Feature(
        "superheat",
        "K",
        "Superheat",
        "hold, compressor running",
        "median of suction_temperature − dew temperature at suction_pressure",
        "Sight glass, then expansion valve and its sensors",
        source=_SATURATION,
        needs=("suction_temperature", "suction_pressure"),
        scale=1.5,
        usual=(2.0, 12.0),
        of=pl.col("suction_temperature") - pl.col("evaporating"),
        where=RUNNING_HOLD,
        watched=True,
        against="set_point",
        saturated=True,
    ),
    Feature(
        "coil_to_air",
        "K",
        "Return air above the evaporating temperature",
        "hold, compressor running",
        "median of return_air − dew temperature at suction_pressure",
        "Coil for ice, evaporator fans, refrigerant charge, expansion valve",
        source=_SATURATION,
        needs=("return_air", "suction_pressure"),
        scale=0.8,
        usual=(2.0, 10.0),
        of=_COIL_TO_AIR,
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
        saturated=True,
    ),
    Feature(
        "coil_use",
        "",
        "Split as a share of what the coil could give",
        "hold, compressor running",
        "median of (return_air − supply_air) / (return_air − dew temperature at suction_pressure)",
        "Evaporator fans turning, supply and return sensors, coil fed with refrigerant",
        source=_SATURATION,
        needs=("return_air", "supply_air", "suction_pressure"),
        scale=0.04,
        usual=(0.05, 0.95),
        of=pl.when(_COIL_TO_AIR > 2).then(_SPLIT / _COIL_TO_AIR),
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
        saturated=True,
    ),
    Feature(
        "coil_sensor_apart",
        "K",
        "Coil sensor above the evaporating temperature",
        "hold, compressor running",
        "median of evaporator_temperature − dew temperature at suction_pressure, while the coil is fed: "
        f"return_air less than {FED_COIL:g} K above that",
        "Coil sensor seated, suction pressure against a gauge",
        source=_SATURATION,
        needs=("evaporator_temperature", "suction_pressure", "return_air"),
        scale=0.6,
        usual=(-1.0, 4.0),
        of=pl.when(_COIL_TO_AIR < FED_COIL).then(pl.col("evaporator_temperature") - pl.col("evaporating")),
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
        saturated=True,
    ),
    Feature(
        "suction_line_above_coil",
        "K",
        "Suction line above the coil",
        "hold, compressor running",
        "median of suction_temperature − evaporator_temperature",
        "Suction-line and coil sensors seated, expansion valve",
        needs=("suction_temperature", "evaporator_temperature"),
        scale=1.0,
        usual=(0.0, 10.0),
        of=pl.col("suction_temperature") - pl.col("evaporator_temperature"),
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
    ),
    Feature(
        "air_above_suction_line",
        "K",
        "Return air above the suction line",
        "hold, compressor running",
        "median of return_air − suction_temperature",
        "Suction line frosted or warm, expansion valve",
        needs=("return_air", "suction_temperature"),
        scale=1.0,
        usual=(-3.0, 6.0),
        of=pl.col("return_air") - pl.col("suction_temperature"),
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
    ),
    Feature(
        "pressure_ratio",
        ": 1",
        "Pressure ratio",
        "hold, compressor running",
        "median of discharge_pressure / suction_pressure, both absolute",
        "Both pressures against a gauge, then charge, valve and condenser",
        source=DEFINITION,
        needs=("discharge_pressure", "suction_pressure"),
        scale=0.5,
        usual=(1.4, 19.0),
        of=pl.when(pl.col("suction_pressure") > 0).then(_RATIO),
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
    ),
    Feature(
        "condensing_over_ambient",
        "K",
        "Condensing above ambient",
        "hold, compressor running, air-cooled",
        "median of bubble temperature at discharge_pressure − ambient_air",
        "Condenser for dirt, condenser fan turning",
        source=_SATURATION,
        needs=("discharge_pressure", "ambient_air"),
        scale=1.5,
        usual=(2.0, 28.0),
        of=pl.col("condensing") - pl.col("ambient_air"),
        where=RUNNING_HOLD & AIR_COOLED,
        watched=True,
        against="ambient",
        saturated=True,
    ),
    Feature(
        "condensing_water_cooled",
        "°C",
        "Condensing temperature, water-cooled",
        "hold, compressor running, water-cooled",
        "median of bubble temperature at discharge_pressure",
        "Cooling water flowing, condenser for scale",
        source=_SATURATION,
        needs=("discharge_pressure",),
        scale=1.5,
        usual=(10.0, 40.0),
        of=pl.col("condensing"),
        where=RUNNING_HOLD & ~AIR_COOLED,
        watched=True,
        against="ambient",
        saturated=True,
    ),
    Feature(
        "discharge_superheat",
        "K",
        "Discharge gas above condensing",
        "hold, compressor running",
        "median of discharge_temperature − dew temperature at discharge_pressure",
        "Charge, expansion valve, compressor",
        source=_SATURATION,
        needs=("discharge_temperature", "discharge_pressure"),
        scale=3.0,
        usual=(5.0, 40.0),
        of=pl.col("discharge_temperature") - pl.col("condensing_dew"),
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
        saturated=True,
    ),
    Feature(
        "split_per_speed",
        "K/100 Hz",
        "Split for the compressor speed",
        "hold, compressor running",
        "median of (return_air − supply_air) × 100 Hz / compressor_frequency, above 10 Hz",
        "Capacity: refrigerant, coil, compressor; evaporator fans",
        needs=("return_air", "supply_air", "compressor_frequency"),
        scale=0.5,
        of=pl.when(_SPEED > 10).then(FULL_SPEED * _SPLIT / _SPEED),
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
    ),
    Feature(
        "capacity_index",
        "K/bar",
        "Cooling for the gas the compressor should move",
        "hold, compressor running",
        "median of (return_air − supply_air) × evaporator fan share × 100 Hz / (compressor_frequency × "
        "suction_pressure)",
        "Compressor, supply and return sensors, suction pressure against a gauge",
        needs=("return_air", "supply_air", "compressor_frequency", "suction_pressure"),
        scale=0.3,
        of=pl.when((_SPEED > 10) & (pl.col("suction_pressure") > 0.05)).then(
            _SPLIT
            * (pl.col("evaporator_fan_speed").fill_null(100) / 100)
            * FULL_SPEED
            / (_SPEED * pl.col("suction_pressure"))
        ),
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
    ),
    Feature(
        "valve_for_load",
        "%/100 Hz",
        "Valve opening for the compressor speed",
        "hold, compressor running",
        "median of expansion_valve_opening × 100 Hz / compressor_frequency, above 10 Hz",
        "Sight glass, expansion valve coil and wiring",
        needs=("expansion_valve_opening", "compressor_frequency"),
        scale=6.0,
        of=pl.when(_SPEED > 10).then(FULL_SPEED * pl.col("expansion_valve_opening") / _SPEED),
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
    ),
    Feature(
        "power_for_flow",
        "W/bar",
        "Power for the gas the compressor should move",
        "hold, compressor running",
        "median of power × 100 Hz / (compressor_frequency × suction_pressure × ln(pressure ratio))",
        "Heater current outside defrost, compressor current",
        needs=("power", "compressor_frequency", "suction_pressure", "discharge_pressure"),
        scale=150.0,
        of=pl.when((_SPEED > 10) & (pl.col("suction_pressure") > 0.05) & (_RATIO > 1.2)).then(
            pl.col("power") * FULL_SPEED / (_SPEED * pl.col("suction_pressure") * _RATIO.log())
        ),
        where=RUNNING_HOLD,
        watched=True,
        against="lift",
    ),
    Feature(
        "discharge_superheat_spread",
        "K",
        "Spread of the discharge gas above condensing",
        "hold, compressor running",
        "90th minus 10th percentile of discharge_temperature − dew temperature at discharge_pressure",
        "Economizer valve, expansion valve hunting",
        source=_SATURATION,
        needs=("discharge_temperature", "discharge_pressure"),
        scale=2.0,
        of=pl.col("discharge_temperature") - pl.col("condensing_dew"),
        where=RUNNING_HOLD,
        statistic=Statistic.SPREAD,
        watched=True,
        saturated=True,
    ),
    Feature(
        "standstill_over_saturation",
        "bar",
        "Lowest standstill pressure above saturation",
        "compressor off for a quarter of an hour or longer",
        "5th percentile of discharge_pressure − saturation pressure at the warmer of ambient and return air",
        "Air or other gas in the circuit, discharge pressure against a gauge",
        source=_SATURATION,
        needs=("discharge_pressure", "ambient_air"),
        minimum=2,
        scale=0.25,
        usual=(-1.0, 0.5),
        of=pl.col("discharge_pressure") - pl.col("rest_pressure"),
        where=STANDSTILL,
        statistic=Statistic.LOW,
        watched=True,
        saturated=True,
    ),
    Feature(
        "voltage_imbalance",
        "%",
        "Phase voltage imbalance",
        "powered",
        "median of 100 × largest distance of a phase voltage from their mean / their mean",
        "Plug, socket and supply cable, phase by phase",
        source=NEMA,
        needs=("voltage_1", "voltage_2", "voltage_3"),
        scale=0.4,
        usual=(0.0, 1.0),
        worry=Worry.HIGH,
        of=imbalance("voltage_1", "voltage_2", "voltage_3"),
        where=pl.col("powered"),
        watched=True,
    ),
    Feature(
        "idle_while_warm",
        "",
        "Share of time the compressor stands though the air is warm",
        "hold",
        "hours with the compressor off and the controlling air more than 1 K above set point / hours in hold",
        "Compressor start: contactor, protectors, pressure switch",
        needs=("set_point",),
        scale=0.04,
        worry=Worry.HIGH,
        usual=(0.0, 0.0),
        of=(~pl.col("running") & (pl.col("controlling_air") - pl.col("set_point") > 1)).cast(pl.Float64),
        where=ANY_HOLD,
        statistic=Statistic.TIME_MEAN,
        watched=True,
    ),
    Feature(
        "compressor_switches",
        "1/h",
        "Starts and stops of the compressor",
        "hold",
        "readings at which the compressor has changed its state / hours in hold",
        "Protectors, contactor, pressure switches",
        needs=("compressor_state",),
        scale=0.15,
        worry=Worry.HIGH,
        of=pl.col("switched").cast(pl.Float64) / pl.col("usual_hours"),
        where=ANY_HOLD,
        statistic=Statistic.MEAN,
        watched=True,
        against="lift",
    ),
    Feature(
        "air_at_stop",
        "K",
        "Air above set point when the compressor stops",
        "hold",
        "median of controlling air − set_point at the readings at which the compressor has just stopped",
        "Protectors, contactor, pressure switches: it stops though cold is called",
        needs=("set_point", "compressor_state"),
        minimum=3,
        scale=0.3,
        worry=Worry.HIGH,
        of=pl.when(pl.col("switched") & ~pl.col("running")).then(
            pl.col("controlling_air") - pl.col("set_point")
        ),
        where=ANY_HOLD,
        watched=True,
    ),
    Feature(
        "power_standing",
        "W",
        "Power with compressor and heater off",
        "hold, compressor and heater off, fan on",
        "median of power with the compressor and the heater off and the fan running",
        "Heater current outside defrost: contactor welded?",
        needs=("power", "heater_state"),
        scale=150.0,
        of=pl.col("power"),
        where=(pl.col("regime") == "hold")
        & ~pl.col("running").fill_null(True)
        & ~pl.col("heater_state")
        & (pl.col("evaporator_fan_speed").fill_null(100) > 0),
    ),
    Feature(
        "power_in_defrost",
        "W",
        "Power in defrost",
        "defrost",
        "median of power in defrost with the compressor off",
        "Defrost heaters and their contactor",
        needs=("power",),
        minimum=3,
        scale=300.0,
        of=pl.col("power"),
        where=(pl.col("regime") == "defrost") & ~pl.col("running").fill_null(False),
        watched=True,
    ),
)
