"""From the trace to the log and the truth: noise, resolution, missing rows and channels, the four frames.

Goes in: plan, machines, trace. Comes out: the frames of :class:`coldsift.simulate.Fleet`.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.signal import lfilter

from benchmarks.second_plant.controller import ALARM_TEXTS
from benchmarks.second_plant.fleet import STREAM_LOG, Machines, stream
from benchmarks.second_plant.passage import ROW, SLOT_MINUTES, Trace
from benchmarks.second_plant.refrigerants import Array
from coldsift.schema import COMMON_LOG, TIME
from coldsift.simulate.plan import FleetPlan, UnitPlan

SOURCE = "second plant"
MISSED_ROWS, BLANKS = 0.003, 0.0006
"""Share of rows never written, and of readings left blank."""
WANDER_HOURS = 2.0
"""Correlation time of the slow part of the noise. [h]"""

_AIR = (0.03, 0.05, 0.1, 0.5)
_VOLT = (0.7, 0.8, 1.0, 2.0)
_AMPERE = (0.04, 0.03, 0.1, 0.2)
_SHARE = (0.0, 0.0, 1.0, 5.0)
_GAS = (0.2, 0.2, 0.1, 0.5)
_FINISH: dict[str, tuple[float, float, float, float]] = {
    "supply_air": _AIR,
    "return_air": _AIR,
    "ambient_air": (0.1, 0.2, 0.1, 0.5),
    "humidity": (0.6, 1.0, 0.1, 1.0),
    "fresh_air_vent": (0.0, 0.0, 1.0, 5.0),
    **{f"cargo_probe_{number}": (0.01, 0.02, 0.1, 0.1) for number in range(1, 5)},
    "suction_pressure": (0.008, 0.01, 0.01, 0.05),
    "discharge_pressure": (0.04, 0.05, 0.05, 0.2),
    "suction_temperature": _GAS,
    "discharge_temperature": (0.3, 0.3, 0.1, 1.0),
    "evaporator_temperature": (0.08, 0.06, 0.1, 0.5),
    "superheat": (0.2, 0.2, 0.1, 0.5),
    "expansion_valve_opening": _SHARE,
    "economizer_valve": _SHARE,
    "hot_gas_valve": _SHARE,
    **{f"voltage_{phase}": _VOLT for phase in (1, 2, 3)},
    **{f"current_{phase}": _AMPERE for phase in (1, 2, 3)},
    "power": (12.0, 10.0, 10.0, 50.0),
    "frequency": (0.03, 0.02, 0.1, 0.1),
}
"""White and wandering noise (standard deviations), fine and coarse resolution of each reading."""

_STATES = ("compressor_state", "heater_state", "defrost_state", "power_state")
_MAINS = ("voltage_1", "voltage_2", "voltage_3", "current_1", "current_2", "current_3", "power", "frequency")
_SETS = {
    "air": ("set_point", "supply_air", "return_air", "ambient_air", "mode", "alarms"),
    "air_electric": (
        *("set_point", "supply_air", "return_air", "ambient_air", "mode", "alarms"),
        *("compressor_state", "heater_state", "defrost_state", "power_state", "evaporator_fan_speed"),
        *_MAINS,
    ),
}


def log_of(plan: FleetPlan, machines: Machines, trace: Trace) -> pl.DataFrame:
    """The common log.

    Parameters
    ----------
    plan, machines, trace
        The voyage.

    Returns
    -------
    polars.DataFrame
        As :data:`coldsift.schema.COMMON_LOG`.
    """
    frames = [_log_of_unit(plan, machines, trace, index) for index in range(len(plan.units))]
    log = pl.concat(frames, how="diagonal").sort("container", "time")
    return COMMON_LOG.conform(
        log.with_columns(source=pl.lit(SOURCE), row=pl.int_range(1, pl.len() + 1, dtype=pl.Int64))
    )


def _log_of_unit(plan: FleetPlan, machines: Machines, trace: Trace, index: int) -> pl.DataFrame:
    unit = plan.units[index]
    # The first twelve lots say which channels are missing.
    noise = stream(plan, index, STREAM_LOG)
    noise.random(12)
    coarse, silent, seconds = noise.random() < 0.3, noise.random() < 0.2, int(noise.integers(0, 60))
    humid_order = float(noise.choice((80.0, 85.0, 90.0)))
    stride = unit.interval_minutes // SLOT_MINUTES
    slots = np.arange(0, len(trace.rows), stride)
    slots = slots[slots * SLOT_MINUTES + trace.row_minute[index] < len(trace.controlling_air)]
    values = dict(zip(ROW, trace.rows[slots, :, index].astype(np.float64).T, strict=True))
    # Alarms of the slots since the row before are all in this row.
    raised = np.zeros(len(slots), dtype=np.int64)
    for back in range(stride):
        raised |= trace.alarms[np.maximum(slots - back, 0), index]
    powered = values["power_state"] > 0.5
    fast = np.round(values.pop("clock_fast") * 3600.0)
    memory = float(np.exp(-unit.interval_minutes / 60.0 / WANDER_HOURS))
    blank = {}
    for name, (white, wander, fine, rough) in _FINISH.items():
        shake = noise.normal(0.0, 1.0, (2, len(slots)))
        blank[name] = noise.random(len(slots)) < BLANKS
        slow = lfilter([np.sqrt(1.0 - memory**2)], [1.0, -memory], shake[1])
        still = values[name] == 0.0
        noisy = values[name] + np.where(still, 0.0, white * shake[0] + wander * slow)
        step = rough if coarse else fine
        values[name] = np.round(np.round(noisy / step) * step, 3)
    values = _hold(plan, machines, trace, index, slots, values)
    values["humidity_set_point"] = np.full(len(slots), humid_order)
    missed = noise.random(len(slots)) < MISSED_ROWS
    kept = ~missed & (powered | (not silent))

    missing = set(machines.unlogged[index]) | ({"defrost_state", "mode"} if not unit.logs_defrost else set())
    missing |= {"expansion_valve_opening"} if not machines.circuit.electronic[index] else set()
    missing |= {"hot_gas_valve"} if machines.circuit.pulse[index] else set()
    names = [name for name in [*values, "mode", "alarms"] if name in _SETS.get(unit.channels, (name,))]
    stamps = _stamps(plan.start, slots * SLOT_MINUTES + trace.row_minute[index], seconds + fast)
    columns: dict[str, pl.Series] = {
        name: pl.Series(name, array > 0.5) if name in _STATES else pl.Series(name, array, nan_to_null=True)
        for name, array in {
            name: np.where(blank[name], np.nan, array) if name in blank else array
            for name, array in values.items()
        }.items()
    }
    columns["mode"] = pl.Series("mode", _modes(values), dtype=pl.String)
    columns["alarms"] = pl.Series(
        "alarms",
        [[text for bit, text in enumerate(ALARM_TEXTS) if bits >> bit & 1] for bits in raised.tolist()],
        dtype=pl.List(pl.String),
    )
    return pl.DataFrame(
        {
            "container": pl.Series([unit.container] * len(slots), dtype=pl.String),
            "time": stamps,
            **{name: columns[name] for name in names if name not in missing},
            **({"condenser_cooling": [unit.cooling] * len(slots)} if unit.channels == "full" else {}),
        }
    ).filter(pl.Series(kept))


def _hold(
    plan: FleetPlan,
    machines: Machines,
    trace: Trace,
    index: int,
    slots: NDArray[np.int64],
    values: dict[str, Array],
) -> dict[str, Array]:
    """A held probe repeats the very same figure: noise and all."""
    unit = plan.units[index]
    if unit.cause != "sensor_stuck":
        return values
    name = str(machines.probe[index])
    raw = trace.rows[slots, ROW.index(name), index]
    repeats = np.concatenate([[False], raw[1:] == raw[:-1]])
    source = np.maximum.accumulate(np.where(repeats, 0, np.arange(len(slots))))
    return {**values, name: values[name][source]}


def _stamps(start: datetime, minutes: NDArray[np.int64], seconds: Array) -> pl.Series:
    first = np.datetime64(start.replace(tzinfo=None) - (start.utcoffset() or timedelta()), "us")
    offset = (minutes * 60 + seconds).astype(np.int64) * 1_000_000
    return pl.Series(first + offset.astype("timedelta64[us]")).dt.replace_time_zone("UTC")


def _modes(values: dict[str, Array]) -> list[str]:
    modes = np.select(
        [
            values["power_state"] < 0.5,
            values["defrost_state"] > 0.5,
            values["compressor_state"] > 0.5,
            values["heater_state"] > 0.5,
        ],
        ["No power", "Defrosting", "Cool", "Heat"],
        "Idle",
    )
    return [str(mode) for mode in modes]


def truth_of(plan: FleetPlan, machines: Machines, trace: Trace) -> pl.DataFrame:
    """One row a unit: what was planted and what the machine is; columns as the first simulator's truth.

    Parameters
    ----------
    plan, machines, trace
        The voyage.

    Returns
    -------
    polars.DataFrame
        Sorted by container; ``leak`` [W/K], ``heat_capacity`` of cargo and air [J/K], ``time_constant`` [h],
        ``pull_down_minutes`` until the controlling air is first within 1 K [min].
    """
    near = np.abs(trace.controlling_air - machines.set_point.astype(np.float32)) < 1.0
    reached = np.where(near.any(axis=0), near.argmax(axis=0), -1)
    records = []
    for index, unit in enumerate(plan.units):
        probe = machines.probe[index]
        drifts = probe is not None and unit.cause != "sensor_stuck"
        changed = unit.hard_case == "set_point_change"
        capacity, leak = float(machines.heat_capacity[index]), float(machines.leak[index])
        records.append(
            {
                "container": unit.container,
                "cause": unit.cause,
                "severity": unit.severity,
                "also": unit.also if _planted(unit.also) else None,
                "onset": plan.start + timedelta(hours=unit.onset_hours) if _planted(unit.cause) else None,
                "probe": probe,
                "probe_drift": float(machines.drift[index]) * unit.severity if drifts else None,
                "hard_case": unit.hard_case,
                "regime_class": unit.regime_class,
                "set_point": unit.set_point,
                "set_point_later": float(machines.set_point_later[index]) if changed else None,
                "set_point_changed": plan.start + timedelta(minutes=float(machines.changed_at[index]))
                if changed
                else None,
                "cargo": unit.cargo,
                "size": unit.size,
                "stow": unit.stow,
                "cooling": unit.cooling,
                "has_economizer": unit.has_economizer,
                "refrigerant": machines.refrigerants[index],
                "leak": leak,
                "heat_capacity": capacity,
                "time_constant": capacity / leak / 3600.0,
                "cargo_start": float(machines.cargo_start[index]),
                "pull_down_minutes": float(reached[index]) if reached[index] >= 0 else None,
                "interval_minutes": unit.interval_minutes,
                "channels": unit.channels,
                "logs_defrost": unit.logs_defrost,
                "layout": None,
                "seed": plan.seed,
            }
        )
    optional = {"also": pl.String, "probe": pl.String, "hard_case": pl.String, "layout": pl.String}
    numbers = dict.fromkeys(("probe_drift", "set_point_later", "pull_down_minutes"), pl.Float64)
    times = {"onset": TIME, "set_point_changed": TIME}
    return pl.DataFrame(
        records, schema_overrides={**optional, **numbers, **times}, infer_schema_length=None
    ).sort("container")


def _planted(cause: str) -> bool:
    return cause != "healthy"


def defrosts_of(plan: FleetPlan, trace: Trace) -> pl.DataFrame:
    """True defrosts, heaters on until fans on: ``container``, ``start``, ``end`` (UTC)."""
    found = [
        (unit.container, plan.start + timedelta(minutes=begin), plan.start + timedelta(minutes=end))
        for index, unit in enumerate(plan.units)
        for begin, end in _runs(trace.defrosting[:, index])
    ]
    schema = {"container": pl.String(), "start": TIME, "end": TIME}
    return pl.DataFrame(found, schema=schema, orient="row").sort("container", "start")


def excursions_of(plan: FleetPlan, machines: Machines, trace: Trace) -> pl.DataFrame:
    """True excursions: ``container``, ``start``, ``end`` (UTC), ``peak`` [°C], ``from_start``.

    True controlling air against the booked set point, 2 K either side when chilled and 3 K above when frozen,
    for more than an hour; defrosts and the half hour after one neither count nor divide.
    """
    total = len(trace.controlling_air)
    minute = np.arange(total)
    found = []
    for index, unit in enumerate(plan.units):
        ordered = np.where(
            minute >= machines.changed_at[index], machines.set_point_later[index], machines.set_point[index]
        )
        off = trace.controlling_air[:, index].astype(np.float64) - ordered
        counted = minute[~_with_half_hour(trace.defrosting[:, index])]
        for begin, end in _runs(_beyond(unit, off[counted])):
            if end - begin <= 60:
                continue
            inside = counted[begin:end]
            worst = inside[np.abs(off[inside]).argmax()]
            found.append(
                (
                    unit.container,
                    plan.start + timedelta(minutes=int(inside[0])),
                    plan.start + timedelta(minutes=int(inside[-1]) + 1),
                    round(float(trace.controlling_air[worst, index]), 2),
                    bool(inside[0] <= 30),
                )
            )
    schema = {
        "container": pl.String(),
        "start": TIME,
        "end": TIME,
        "peak": pl.Float64(),
        "from_start": pl.Boolean(),
    }
    return pl.DataFrame(found, schema=schema, orient="row").sort("container", "start")


def _beyond(unit: UnitPlan, off: Array) -> NDArray[np.bool_]:
    beyond: NDArray[np.bool_] = off > 3.0 if unit.is_frozen else np.abs(off) > 2.0
    return beyond


def _with_half_hour(defrosting: NDArray[np.bool_]) -> NDArray[np.bool_]:
    longer = defrosting.copy()
    for begin, end in _runs(defrosting):
        longer[begin : end + 30] = True
    return longer


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Start and end (one past) of every stretch of True."""
    change = np.flatnonzero(np.diff(flags.astype(np.int8), prepend=0, append=0))
    return list(zip(change[::2].tolist(), change[1::2].tolist(), strict=True))
