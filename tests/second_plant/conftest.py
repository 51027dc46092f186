"""Voyages of the second plant, each run once: short ones, with many units."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from benchmarks.second_plant import simulate
from benchmarks.second_plant.fleet import Machines, build_machines
from benchmarks.second_plant.passage import Trace, sail

from coldsift.simulate import CAUSES, Fleet, FleetPlan, UnitPlan
from coldsift.simulate.plan import container_number

START = datetime(2031, 6, 1, tzinfo=UTC)
LATE = START + timedelta(hours=44)
"""From here on a fault has had its time to show."""

CHILLED_CAUSES = ("supply_sensor_drift", "vent_left_open", "short_cycling", "sensors_swapped")
"""Causes that this folder looks at in chilled units; the others in frozen ones."""


ONSETS = {"low_refrigerant": -24.0}
"""A slow leak that began before the voyage; the others begin with it or after eight hours. [h]"""


def cause_units() -> tuple[UnitPlan, ...]:
    units = []
    for index, (cause, effect) in enumerate(CAUSES.items()):
        chilled = cause in CHILLED_CAUSES
        units.append(
            UnitPlan(
                container=container_number(index),
                set_point=2.0 if chilled else -20.0,
                cargo="dairy" if chilled else "frozen meat",
                cause=cause,
                severity=1.0,
                onset_hours=ONSETS.get(cause, 0.0 if effect.from_start else 8.0),
                interval_minutes=5,
                cooling="water" if cause == "condenser_water_flow" else "air",
            )
        )
    return tuple(units)


@pytest.fixture(scope="session")
def faulty() -> Fleet:
    """Every cause at full severity."""
    return simulate(FleetPlan(seed=11, start=START, days=2.5, route="tropics", units=cause_units()))


@pytest.fixture(scope="session")
def twins(faulty: Fleet) -> Fleet:
    """The same machines in order."""
    sound = tuple(replace(unit, cause="healthy", severity=0.0, onset_hours=0.0) for unit in faulty.plan.units)
    return simulate(replace(faulty.plan, units=sound))


SOUND = (
    (-18.0, "frozen meat", "40HC"),
    (-20.0, "frozen vegetables", "40"),
    (-23.0, "frozen fish", "20"),
    (-25.0, "ice cream", "40HC"),
    (-30.0, "deep-frozen fish", "40HC"),
    (-1.0, "chilled meat", "40HC"),
    (1.0, "apples", "40"),
    (5.0, "citrus", "40HC"),
    (6.0, "avocados", "20"),
    (13.5, "bananas", "40HC"),
)


def sound_plan(route: str) -> FleetPlan:
    units = tuple(
        UnitPlan(
            container=container_number(2 * index + place),
            set_point=set_point,
            cargo=cargo,
            size=size,
            stow=stow,
            interval_minutes=5,
            cooling="water" if index % 4 == 3 else "air",
        )
        for index, (set_point, cargo, size) in enumerate(SOUND)
        for place, stow in enumerate(("deck", "hold"))
    )
    return FleetPlan(seed=23, start=START, days=1.5, route=route, units=units)


@pytest.fixture(scope="session", params=("tropics", "winter", "mixed"))
def sound(request: pytest.FixtureRequest) -> tuple[FleetPlan, Machines, Trace]:
    """Sound units of every kind on each route."""
    plan = sound_plan(request.param)
    machines = build_machines(plan)
    return plan, machines, sail(plan, machines)


@pytest.fixture(scope="session")
def odd() -> Fleet:
    """Hard cases, channel sets, a second fault and a blackout of an hour and a half."""
    meat = UnitPlan(container=container_number(0), set_point=-20.0)
    grapes = replace(meat, set_point=0.0, cargo="grapes")
    units = (
        replace(meat, hard_case="port_power_off"),
        replace(grapes, hard_case="warm_load", interval_minutes=60),
        replace(grapes, hard_case="set_point_change", interval_minutes=30),
        replace(meat, hard_case="hot_stow", logs_defrost=False),
        replace(meat, channels="air"),
        replace(meat, channels="air_electric"),
        replace(meat, cause="condenser_fouled", severity=0.8, onset_hours=5.0),
        replace(meat, cooling="water", has_economizer=False, stow="hold"),
    )
    both = replace(units[6], also="heater_stuck_on", also_severity=1.0, also_onset_hours=30.0)
    units = tuple(
        replace(unit, container=container_number(index)) for index, unit in enumerate((*units, both))
    )
    return simulate(
        FleetPlan(seed=5, start=START, days=2, route="mixed", units=units, blackouts=((20.0, 1.5),))
    )
