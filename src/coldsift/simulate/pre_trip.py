"""Pre-trip inspections of empty boxes: a programme of set points and a defrost, run on simulated units.

Goes in: a :class:`PreTripPlan` (boxes, ambient, seed). Comes out: the logs, and what was planted. The physics
is that of the voyages; only the box is empty, and a programme orders what a booking would. All of it is
invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.regimes.bands import FROZEN_SET_POINT
from coldsift.simulate.box import BoxStores
from coldsift.simulate.control import ALARMS, Flags
from coldsift.simulate.faults import CAUSES, HEALTHY, PROBES, FaultPlan, Strikes
from coldsift.simulate.machines import Machines, draw_machines, stream
from coldsift.simulate.plan import FleetPlan, UnitPlan, container_number
from coldsift.simulate.record import log_of
from coldsift.simulate.refrigerant import Array
from coldsift.simulate.voyage import ROW_CHANNELS, HeatAccount, Ship, Surroundings, Trace
from coldsift.simulate.weather import saturation_humidity_ratio, weather_along

CHILLED, FROZEN, WARM = 0.0, -18.0, 18.0
"""Set points of the programme. [°C]"""

NEAR = 1.0
"""Controlling air this near its set point has arrived. [K]"""

GROWN_HOURS = 200.0
"""Every planted fault is as old as this and has grown to its severity. [h]"""

_STREAM_BOX = 5


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the programme.

    Attributes
    ----------
    set_point
        Ordered. [°C]
    minutes
        Held after the air has arrived. [min]
    longest
        Given up after. [min]
    fans_only, defrost, off
        The compressor is kept off; a defrost is started by hand; there are no mains.
    """

    set_point: float
    minutes: float
    longest: float
    fans_only: bool = False
    defrost: bool = False
    off: bool = False


PROGRAMME = (
    Step(CHILLED, 25.0, 25.0, fans_only=True),
    Step(CHILLED, 60.0, 240.0),
    Step(FROZEN, 75.0, 420.0),
    Step(FROZEN, 20.0, 180.0, defrost=True),
    Step(WARM, 65.0, 300.0),
    Step(WARM, 20.0, 20.0, off=True),
)
"""Fans, chilled, frozen, defrost and back, heating, off. An invented sequence; common practice, no source."""

_LONGEST_HOURS = 20


@dataclass(frozen=True, slots=True)
class PreTripPlan:
    """Boxes that are inspected side by side.

    Attributes
    ----------
    units
        The boxes; set point and cargo of them are not used.
    ambient
        Mean air round them over the first day. [°C]
    seed
        Of every random stream.
    start
        First minute, UTC.
    """

    units: tuple[UnitPlan, ...]
    ambient: float = 24.0
    seed: int = 1
    start: datetime = datetime(2031, 5, 12, 6, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class PreTripLogs:
    """Simulated logs.

    Attributes
    ----------
    log
        As :data:`coldsift.schema.COMMON_LOG`, each box to the end of its programme.
    truth
        ``container``, ``cause``, ``severity``, ``probe`` and ``probe_drift`` [K or bar] where one is struck.
    """

    log: pl.DataFrame
    truth: pl.DataFrame


def empty_boxes(
    count: int, causes: tuple[tuple[int, str, float], ...] = (), **changes: object
) -> tuple[UnitPlan, ...]:
    """Boxes to inspect.

    Parameters
    ----------
    count
        How many.
    causes
        Place (from 0), cause id and severity of each planted fault.
    **changes
        What differs from an ordinary unit, as of :class:`~coldsift.simulate.plan.UnitPlan`.
    """
    planted = {place: (cause, severity) for place, cause, severity in causes}
    plain = UnitPlan(
        container=container_number(2000), set_point=CHILLED, cargo="chilled meat", interval_minutes=5
    )
    return tuple(
        replace(
            plain,
            container=container_number(2000 + place),
            cause=planted.get(place, (HEALTHY, 0.0))[0],
            severity=planted.get(place, (HEALTHY, 0.0))[1],
            onset_hours=-GROWN_HOURS,
            **changes,  # type: ignore[arg-type]
        )
        for place in range(count)
    )


def sample_pre_trip() -> PreTripPlan:
    """The boxes behind ``docs/examples/pre_trip``: seven, three of them with a fault."""
    return PreTripPlan(
        units=empty_boxes(
            7,
            ((1, "condenser_fouled", 0.75), (3, "return_sensor_drift", 0.6), (5, "heater_failed", 0.55)),
        ),
        ambient=27.0,
        seed=412,
    )


def inspect_boxes(plan: PreTripPlan) -> PreTripLogs:
    """Run the programme on every box; the same plan always gives the same frames.

    Parameters
    ----------
    plan
        Boxes and ambient.

    Returns
    -------
    PreTripLogs
        Each box goes on to its next step when its air has arrived and was held, so that they end apart.
    """
    fleet = FleetPlan(
        seed=plan.seed,
        start=plan.start,
        days=1,
        route="tropics",
        units=plan.units,
        name="pre-trip inspection",
    )
    machines = draw_machines(fleet)
    trace, ends = _run(plan, fleet, machines)
    log = log_of(fleet, trace)
    last = pl.DataFrame({"container": [unit.container for unit in plan.units], "minutes": ends})
    log = (
        log.join(last, on="container", maintain_order="left")
        .filter((pl.col("time") - plan.start).dt.total_minutes() <= pl.col("minutes"))
        .drop("minutes")
        .with_columns(row=pl.int_range(1, pl.len() + 1, dtype=pl.Int64))
    )
    return PreTripLogs(log, _truth(plan, machines))


class _Boxes(Ship):
    """Units whose set point a programme orders."""

    def __init__(self, machines: Machines, outside: Array) -> None:
        super().__init__(machines, outside)
        self.set_point = machines.set_point.copy()
        # The air of an empty box goes on far faster than that round a cargo.
        self.controller.quickness = 1.5
        self.controller.approach = 6.0

    def ordered(self, hour: float) -> Array:
        """Set point as the programme has it, one value a unit. [°C]."""
        return self.set_point


class _Programme:
    """Which step every box is at.

    Parameters
    ----------
    units
        How many boxes.
    """

    def __init__(self, units: int) -> None:
        self.step: NDArray[np.int64] = np.zeros(units, dtype=np.int64)
        self.minutes = np.zeros(units)
        self._held = np.zeros(units)
        self.ended = np.full(units, np.nan)
        self.entered: Flags = np.ones(units, dtype=np.bool_)

    def of_step(self, name: str) -> Array:
        """A field of each box's step, as numbers."""
        return np.array([float(getattr(step, name)) for step in PROGRAMME])[self.step]

    def follow(self, minute: int, controlling: Array, in_defrost: Flags) -> None:
        """Go on a minute, and to the next step where this one is done."""
        self.minutes = self.minutes + 1.0
        timed = (self.of_step("fans_only") + self.of_step("off")) > 0
        defrosting = (self.of_step("defrost") > 0) & (in_defrost | (self.minutes < 2.0))
        arrived = (np.abs(controlling - self.of_step("set_point")) <= NEAR) & ~defrosting
        self._held = np.where(arrived | timed | (self._held > 0), self._held + 1.0, 0.0)
        done = (self._held >= self.of_step("minutes")) | (self.minutes >= self.of_step("longest"))
        last = self.step == len(PROGRAMME) - 1
        self.ended = np.where(done & last & np.isnan(self.ended), float(minute), self.ended)
        self.entered = done & ~last
        self.step = np.where(self.entered, self.step + 1, self.step)
        self.minutes = np.where(self.entered, 0.0, self.minutes)
        self._held = np.where(self.entered, 0.0, self._held)


def _run(plan: PreTripPlan, fleet: FleetPlan, machines: Machines) -> tuple[Trace, list[int]]:
    units = len(plan.units)
    weather = weather_along(fleet.route, plan.start, 1.0, plan.seed)
    air = weather.air + (plan.ambient - weather.air.mean())
    outside = air[0] + machines.outside_offset
    machines = _emptied(plan, machines, outside)
    faults = FaultPlan(
        Strikes(
            [unit.cause for unit in plan.units],
            np.array([unit.severity for unit in plan.units]),
            np.array([unit.onset_hours for unit in plan.units]),
        )
    )
    every = int(np.gcd.reduce([unit.interval_minutes for unit in plan.units]))
    total = _LONGEST_HOURS * 60
    logged = np.arange(0, total, every)
    rows = np.zeros((len(logged), len(ROW_CHANNELS), units), dtype=np.float32)
    alarms = np.zeros((len(logged), len(ALARMS), units), dtype=np.bool_)
    boxes, programme = _Boxes(machines, outside), _Programme(units)
    for minute in range(total):
        hour = minute / 60.0
        effects = faults.at(hour)
        boxes.set_point = programme.of_step("set_point")
        frozen = boxes.set_point <= FROZEN_SET_POINT
        boxes.controller.control_on_return_air(frozen)
        boxes.controller.keep_compressor_off(programme.of_step("fans_only") > 0)
        boxes.controller.begin_defrost(programme.entered & (programme.of_step("defrost") > 0), effects)
        sun = float(weather.sun[minute])
        around = Surroundings(
            minute=minute,
            hour=hour,
            outside=air[minute] + machines.outside_offset + machines.stow_gain * sun,
            sun=sun,
            sea=float(weather.sea[minute]),
            humidity_ratio=float(0.7 * saturation_humidity_ratio(air[minute])),
            powered=programme.of_step("off") == 0,
            in_port=True,
        )
        values, active = boxes.advance(around, effects)
        if minute % every == 0:
            rows[minute // every] = np.stack(values())
            alarms[minute // every] = active
        controlling = np.where(frozen, boxes.back, boxes.supply)
        programme.follow(minute, controlling, boxes.controller.in_defrost)
        if not np.isnan(programme.ended).any():
            break
    ends = [int(end) for end in np.where(np.isnan(programme.ended), total, programme.ended)]
    nothing = np.zeros((0, units))
    heat = HeatAccount(*(np.zeros(units) for _ in range(4)))
    trace = Trace(logged, rows, alarms, nothing.astype(np.float32), nothing.astype(np.bool_), heat)
    return trace, ends


def _emptied(plan: PreTripPlan, machines: Machines, outside: Array) -> Machines:
    """The machines with nothing in their boxes but air and lining, all of it at the ambient.

    The lining's heat capacity and the conductance to it have the right size for a box of some 700 kg of floor
    and inner walls; common practice, no source.
    """
    units = len(plan.units)
    draws = [stream(plan.seed, index, _STREAM_BOX).uniform(-1.0, 1.0, 3) for index in range(units)]
    lining, touch, rest = np.array(draws).T
    size = np.array([0.55 if unit.size == "20" else 1.0 for unit in plan.units])
    store = 6.0e5 * size * (1.0 + 0.12 * lining)
    nothing = np.zeros(units)
    return replace(
        machines,
        stores=BoxStores(machines.stores.air, 0.6 * store, 0.4 * store),
        air_to_cargo=420.0 * size * (1.0 + 0.1 * touch),
        in_cargo=70.0 * size,
        respiration=nothing,
        vent=nothing,
        moisture=nothing,
        frozen=np.zeros(units, dtype=np.bool_),
        on_deck=np.ones(units, dtype=np.bool_),
        set_point=np.full(units, CHILLED),
        loading_hours=nothing,
        outage_hours=nothing,
        first_defrost=nothing,
        cargo_start=outside + 0.4 * rest,
        air_start=outside + 0.4 * rest,
    )


def _truth(plan: PreTripPlan, machines: Machines) -> pl.DataFrame:
    names = list(PROBES)
    records = []
    for index, unit in enumerate(plan.units):
        struck = unit.cause != HEALTHY and bool(CAUSES[unit.cause].probes)
        probe = int(machines.sticks[:, index].argmax())
        drifts = struck and "probe_drift" in CAUSES[unit.cause].at_full
        records.append(
            {
                "container": unit.container,
                "cause": unit.cause,
                "severity": unit.severity,
                "probe": names[probe] if struck else None,
                "probe_drift": float(machines.drift[probe, index]) * unit.severity if drifts else None,
            }
        )
    return pl.DataFrame(
        records, schema_overrides={"probe": pl.String, "probe_drift": pl.Float64}, infer_schema_length=None
    ).sort("container")
