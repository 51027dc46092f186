"""From the trace to what is logged: noise and resolution of the probes, missing channels, rows, truth.

Goes in: plan, machines, trace. Comes out: the common log and the three truth tables.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.schema import COMMON_LOG, TIME
from coldsift.simulate.control import ALARMS
from coldsift.simulate.faults import CAUSES, HEALTHY, PROBES
from coldsift.simulate.machines import STREAM_NOISE, Machines, stream
from coldsift.simulate.plan import FleetPlan, UnitPlan
from coldsift.simulate.refrigerant import REFRIGERANT
from coldsift.simulate.voyage import ROW_CHANNELS, Trace

CHILLED_BAND, FROZEN_BAND = 2.0, 3.0
"""Band of the excursion truth: either side of a chilled set point, above a frozen one. [K]"""

GRACE_MINUTES = 60
"""An excursion lasts longer than this. [min]"""

_NOISE: dict[str, tuple[float, float]] = {
    "supply_air": (0.03, 0.1),
    "return_air": (0.03, 0.1),
    "ambient_air": (0.15, 0.1),
    "humidity": (0.8, 1.0),
    "fresh_air_vent": (0.0, 5.0),
    "cargo_probe_1": (0.02, 0.1),
    "cargo_probe_2": (0.02, 0.1),
    "cargo_probe_3": (0.02, 0.1),
    "suction_pressure": (0.004, 0.01),
    "discharge_pressure": (0.03, 0.1),
    "suction_temperature": (0.15, 0.1),
    "discharge_temperature": (0.3, 0.1),
    "evaporator_temperature": (0.1, 0.1),
    "expansion_valve_opening": (0.0, 1.0),
    "compressor_frequency": (0.0, 1.0),
    "condenser_fan_speed": (0.0, 1.0),
    "hot_gas_valve": (0.0, 1.0),
    "voltage_1": (0.8, 1.0),
    "voltage_2": (0.8, 1.0),
    "voltage_3": (0.8, 1.0),
    "current_1": (0.05, 0.1),
    "current_2": (0.05, 0.1),
    "current_3": (0.05, 0.1),
    "power": (15.0, 10.0),
    "frequency": (0.05, 0.1),
}
"""Standard deviation of the noise and resolution of each logged channel, in the channel's unit."""

_AIR = ("set_point", "supply_air", "return_air", "ambient_air", "mode", "alarms")
_ELECTRIC = (
    "compressor_state",
    "evaporator_fan_speed",
    "heater_state",
    "defrost_state",
    "voltage_1",
    "voltage_2",
    "voltage_3",
    "current_1",
    "current_2",
    "current_3",
    "power",
    "frequency",
    "power_state",
)
_STATES = ("compressor_state", "heater_state", "defrost_state", "power_state")
_DEAD_WITHOUT_POWER = ("voltage_1", "voltage_2", "voltage_3", "current_1", "current_2", "current_3", "power")


def log_of(plan: FleetPlan, trace: Trace) -> pl.DataFrame:
    """The common log of the voyage.

    Parameters
    ----------
    plan, trace
        The voyage and its trace.

    Returns
    -------
    polars.DataFrame
        As :data:`coldsift.schema.COMMON_LOG`, ``source`` ``simulated``, ``row`` counted from 1.
    """
    frames = [_unit_log(plan, index, unit, trace) for index, unit in enumerate(plan.units)]
    log = pl.concat(frames, how="diagonal").sort("container", "time")
    return COMMON_LOG.conform(
        log.with_columns(source=pl.lit("simulated"), row=pl.int_range(1, pl.len() + 1, dtype=pl.Int64))
    )


def _unit_log(plan: FleetPlan, index: int, unit: UnitPlan, trace: Trace) -> pl.DataFrame:
    due = trace.minutes % unit.interval_minutes == 0
    values = dict(zip(ROW_CHANNELS, trace.rows[due, :, index].T.astype(np.float64), strict=True))
    alarms = trace.alarms[due, :, index]
    ahead = values.pop("clock_ahead")
    powered = values["power_state"] > 0.5
    running, heating = values["compressor_state"] > 0.5, values["heater_state"] > 0.5
    in_defrost = values["defrost_state"] > 0.5
    core, surface = values.pop("core"), values.pop("surface")
    noise = stream(plan.seed, index, STREAM_NOISE)
    has_humidity, has_vent_sensor, has_probes = noise.random(3) < (0.6, 0.5, 0.5)
    offsets = noise.normal(0.0, 0.12, 3)
    if unit.is_frozen or not has_humidity:
        del values["humidity"]
    if unit.is_frozen or not has_vent_sensor:
        del values["fresh_air_vent"]
    if unit.cargo == "citrus" and has_probes:
        for number, weight in ((1, 0.9), (2, 0.6), (3, 0.3)):
            values[f"cargo_probe_{number}"] = weight * core + (1 - weight) * surface + offsets[number - 1]
    for channel, (deviation, step) in _NOISE.items():
        # Always drawn, so that a channel left out does not change the noise of the others.
        shake = noise.normal(0.0, 1.0, len(powered))
        if channel in values:
            noisy = values[channel] + np.where(values[channel] == 0.0, 0.0, deviation * shake)
            noisy = np.where(powered, noisy, 0.0) if channel in _DEAD_WITHOUT_POWER else noisy
            values[channel] = np.round(np.round(noisy / step) * step, 3)
    mode = np.select(
        [~powered, in_defrost, running, heating], ["off", "defrost", "cooling", "heating"], "standby"
    )
    texts = [
        [text for text, active in zip(ALARMS, row, strict=True) if active] if row.any() else []
        for row in alarms
    ]
    minutes = trace.minutes[due] + np.round(ahead * 60.0).astype(np.int64)
    start = np.datetime64(plan.start.replace(tzinfo=None), "us")
    stamps = start + (minutes * 60_000_000).astype("timedelta64[us]")
    frame = pl.DataFrame(
        {
            "container": pl.Series([unit.container] * len(minutes), dtype=pl.String),
            "time": pl.Series(stamps).dt.replace_time_zone("UTC"),
            **{name: value > 0.5 if name in _STATES else value for name, value in values.items()},
            "condenser_cooling": [unit.cooling] * len(minutes),
            "mode": mode.tolist(),
            "alarms": pl.Series(texts, dtype=pl.List(pl.String)),
        }
    )
    if not unit.has_economizer:
        frame = frame.drop("economizer_valve")
    if not unit.logs_defrost:
        # The mode would tell it too.
        frame = frame.drop("defrost_state", "mode")
    kept = {"full": frame.columns, "air_electric": [*_AIR, *_ELECTRIC], "air": list(_AIR)}[unit.channels]
    return frame.select("container", "time", *(name for name in frame.columns[2:] if name in kept))


def truth_of(plan: FleetPlan, machines: Machines, trace: Trace) -> pl.DataFrame:
    """One row a unit: what was planted and what the machine is.

    Columns: ``container``, ``cause``, ``severity``, ``also`` (a second cause, null without), ``onset`` (of
    the first, UTC, null when healthy), ``repaired`` (when the first was mended, UTC, null when it never was),
    ``probe`` and ``probe_drift`` [K or bar] where a probe is struck,
    ``hard_case``, ``regime_class``, ``set_point`` (booked) [°C], ``set_point_later`` and
    ``set_point_changed`` (UTC) for an ordered change, ``cargo``, ``size``, ``stow``, ``cooling``,
    ``has_economizer``, ``refrigerant``, ``leak`` [W/K], ``heat_capacity`` [J/K], ``time_constant`` (heat
    capacity over leak) [h], ``cargo_start`` [°C], ``pull_down_minutes`` (until the controlling air first is
    within 1 K of the set point, null if never) [min], ``interval_minutes``,
    ``channels``, ``logs_defrost``, ``layout`` (null, for whoever writes the files), ``seed``.
    """
    reach = np.abs(trace.controlling_air - machines.set_point.astype(np.float32)) < 1.0
    first = np.where(reach.any(axis=0), reach.argmax(axis=0), -1)
    capacity = machines.stores.air + machines.stores.surface + machines.stores.core
    names = list(PROBES)
    records = []
    for index, unit in enumerate(plan.units):
        faulty = unit.cause != HEALTHY
        struck = faulty and bool(CAUSES[unit.cause].probes)
        drifts = struck and "probe_drift" in CAUSES[unit.cause].at_full
        probe = int(machines.sticks[:, index].argmax())
        changed = unit.hard_case == "set_point_change"
        records.append(
            {
                "container": unit.container,
                "cause": unit.cause,
                "severity": unit.severity,
                "also": None if unit.also == HEALTHY else unit.also,
                "onset": plan.start + timedelta(hours=unit.onset_hours) if faulty else None,
                "repaired": None
                if unit.repaired_hours is None
                else plan.start + timedelta(hours=unit.repaired_hours),
                "probe": names[probe] if struck else None,
                "probe_drift": float(machines.drift[probe, index]) * unit.severity if drifts else None,
                "hard_case": unit.hard_case,
                "regime_class": unit.regime_class,
                "set_point": unit.set_point,
                "set_point_later": float(machines.set_point_later[index]) if changed else None,
                "set_point_changed": plan.start
                + timedelta(hours=float(machines.set_point_change_hour[index]))
                if changed
                else None,
                "cargo": unit.cargo,
                "size": unit.size,
                "stow": unit.stow,
                "cooling": unit.cooling,
                "has_economizer": unit.has_economizer,
                "refrigerant": REFRIGERANT,
                "leak": float(machines.leak[index]),
                "heat_capacity": float(capacity[index]),
                "time_constant": float(capacity[index] / machines.leak[index] / 3600.0),
                "cargo_start": float(machines.cargo_start[index]),
                "pull_down_minutes": float(first[index]) if first[index] >= 0 else None,
                "interval_minutes": unit.interval_minutes,
                "channels": unit.channels,
                "logs_defrost": unit.logs_defrost,
                "layout": None,
                "seed": plan.seed,
            }
        )
    return pl.DataFrame(
        records,
        schema_overrides={
            "onset": TIME,
            "repaired": TIME,
            "set_point_changed": TIME,
            "set_point_later": pl.Float64,
            "also": pl.String,
            "probe": pl.String,
            "probe_drift": pl.Float64,
            "hard_case": pl.String,
            "layout": pl.String,
            "pull_down_minutes": pl.Float64,
        },
        infer_schema_length=None,
    ).sort("container")


def defrosts_of(plan: FleetPlan, trace: Trace) -> pl.DataFrame:
    """True defrosts, heaters on until fans on: ``container``, ``start``, ``end`` (UTC)."""
    records = [
        (unit.container, plan.start + timedelta(minutes=begin), plan.start + timedelta(minutes=end))
        for index, unit in enumerate(plan.units)
        for begin, end in _stretches(trace.defrosting[:, index])
    ]
    return pl.DataFrame(
        records, schema={"container": pl.String, "start": TIME, "end": TIME}, orient="row"
    ).sort("container", "start")


def excursions_of(plan: FleetPlan, machines: Machines, trace: Trace) -> pl.DataFrame:
    """True excursions: ``container``, ``start``, ``end`` (UTC), ``peak`` [°C], ``from_start``.

    True air at the controlling probe (return when frozen, supply when chilled), minute by minute, against the
    booked set point: outside ± :data:`CHILLED_BAND`, or above by :data:`FROZEN_BAND`, for more than
    :data:`GRACE_MINUTES`. Minutes in defrost and the half hour after it neither count nor divide; an
    excursion that begins with the log (first pull-down) is marked ``from_start``.
    """
    total = trace.controlling_air.shape[0]
    hours = np.arange(total) / 60.0
    records = []
    for index, unit in enumerate(plan.units):
        air = trace.controlling_air[:, index].astype(np.float64)
        later = hours >= machines.set_point_change_hour[index]
        set_point = np.where(later, machines.set_point_later[index], machines.set_point[index])
        beyond = air - set_point
        outside = beyond > FROZEN_BAND if unit.is_frozen else np.abs(beyond) > CHILLED_BAND
        excused = np.convolve(trace.defrosting[:, index], np.ones(31), "full")[:total] > 0.5
        counted = np.flatnonzero(~excused)
        for begin, end in _stretches(outside[counted]):
            if end - begin <= GRACE_MINUTES:
                continue
            inside = counted[begin:end]
            worst = inside[np.argmax(np.abs(beyond[inside]))]
            records.append(
                (
                    unit.container,
                    plan.start + timedelta(minutes=int(inside[0])),
                    plan.start + timedelta(minutes=int(inside[-1]) + 1),
                    round(float(air[worst]), 2),
                    bool(inside[0] <= 30),
                )
            )
    return pl.DataFrame(
        records,
        schema={
            "container": pl.String,
            "start": TIME,
            "end": TIME,
            "peak": pl.Float64,
            "from_start": pl.Boolean,
        },
        orient="row",
    ).sort("container", "start")


def _stretches(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First index and the index after the last of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return [(int(begin), int(end)) for begin, end in edges.reshape(-1, 2)]
