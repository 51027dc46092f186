"""The simulated voyages that accuracy is judged on, and the conditions that are made of each.

Goes in: seeds from 2001 on, that no method, likelihood or threshold was fitted on or looked at. Comes out:
fleets with their truth. A condition is a fleet with something done to it (:mod:`.treatments`); one simulated
voyage gives many conditions, so that conditions differ in one thing alone.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from benchmarks import second_plant
from benchmarks.accuracy import treatments as treat
from benchmarks.kept import kept
from coldsift.simulate import Fleet, FleetPlan, plan_fleet, simulate

ROUTES = ("mixed", "tropics", "winter")

FIRST, SECOND = "first plant", "second plant"
AS_BASE = "as the base"
HARD = "healthy hard cases"

_PLANTS: dict[str, Callable[[FleetPlan], Fleet]] = {FIRST: simulate, SECOND: second_plant.simulate}

Treatment = Callable[[Fleet, int], Iterator[Fleet]]
"""From a voyage and its seed to the fleets that are ranked, each for itself."""


@dataclass(frozen=True, slots=True)
class Condition:
    """One line of the tables.

    Attributes
    ----------
    section
        What is varied.
    name
        To what.
    treatment
        Makes the fleets to be ranked.
    voyages
        How many of the pool's voyages are used.
    """

    section: str
    name: str
    treatment: Treatment
    voyages: int = 99


@dataclass(frozen=True, slots=True)
class Pool:
    """Voyages that are drawn alike.

    Attributes
    ----------
    name
        For people.
    seeds
        One a voyage; the route goes round :data:`ROUTES` unless the plan names one.
    plan
        Arguments of :func:`coldsift.simulate.plan_fleet`.
    conditions
        Made of each voyage.
    plant
        Which simulator.
    replayed
        How many of the voyages are also screened again and again as their logs grow.
    """

    name: str
    seeds: range
    plan: Mapping[str, Any]
    conditions: tuple[Condition, ...]
    plant: str = FIRST
    replayed: int = 0

    def plan_of(self, seed: int) -> FleetPlan:
        """What is simulated for a seed."""
        route = ROUTES[(seed - self.seeds.start) % len(ROUTES)]
        return plan_fleet(**{**_USUAL, "route": route, **self.plan, "seed": seed})


_USUAL: dict[str, Any] = {
    "units": 200,
    "days": 14.0,
    "fault_share": 0.1,
    "severity": (0.3, 1.0),
    "interval_minutes": 15,
}

BASE = Condition(
    "base", "200 units, 14 days, 15 min, all channels, one in ten faulty", partial(treat.thinned, minutes=15)
)

POOLS: tuple[Pool, ...] = (
    Pool(
        "base",
        range(2001, 2007),
        {"interval_minutes": 5},
        (
            BASE,
            Condition("sampling", "every 5 min", treat.as_is),
            Condition("sampling", "every 60 min", partial(treat.thinned, minutes=60)),
            Condition(
                "channels", "air temperatures and set point only", partial(treat.only, channels=treat.AIR)
            ),
            Condition("channels", "air and electric", partial(treat.only, channels=treat.AIR_AND_ELECTRIC)),
            Condition("channels", "a third of each unit's channels absent", treat.a_third_absent),
            Condition("channels", "no defrost state, no mode", treat.without_defrost_state),
            Condition("fleet size", "20 units", partial(treat.split, units=20), 4),
            Condition("fleet size", "66 units", partial(treat.split, units=66)),
            Condition("log files", "twelve forms of file, dealt round", treat.through_layouts, 3),
            Condition("data faults", "gaps of hours", partial(treat.spoiled, fault=treat.with_gaps), 3),
            Condition(
                "data faults",
                "impossible values and repeated rows",
                partial(treat.spoiled, fault=treat.with_impossible_values),
                3,
            ),
            Condition(
                "data faults",
                "clocks set in mid-voyage",
                partial(treat.spoiled, fault=treat.with_clock_steps),
                3,
            ),
            Condition(
                "data faults", "logs that end early", partial(treat.spoiled, fault=treat.with_early_ends), 3
            ),
            Condition(
                "data faults",
                "all of these at once",
                partial(treat.spoiled, fault=treat.with_all_data_faults),
                3,
            ),
            Condition(HARD, "single unit of its kind aboard", treat.single_of_its_kind, 3),
            Condition(HARD, "log that begins anew, new controller", treat.new_controllers, 3),
        ),
        replayed=6,
    ),
    Pool("large", range(2011, 2013), {"units": 400}, (Condition("fleet size", "400 units", treat.as_is),)),
    Pool(
        "long",
        range(2021, 2023),
        {"days": 42.0},
        (Condition("voyage", "long, 42 days", treat.as_is),),
    ),
    Pool(
        "dense",
        range(2031, 2035),
        {"fault_share": 0.4, "severity": (0.05, 1.0)},
        (
            Condition("share of faulty units", "0 %", partial(treat.share, faulty=0.0)),
            Condition("share of faulty units", "3 %", partial(treat.share, faulty=0.03)),
            Condition("share of faulty units", "20 %", partial(treat.share, faulty=0.2)),
            Condition("share of faulty units", "30 %", partial(treat.share, faulty=0.3)),
            Condition("severity", "barely visible, 0.05 to 0.3", partial(treat.severity, low=0.05, high=0.3)),
            Condition("severity", "mild, 0.3 to 0.6", partial(treat.severity, low=0.3, high=0.6)),
            Condition("severity", "plain, 0.6 to 1", partial(treat.severity, low=0.6, high=1.01)),
        ),
    ),
    Pool(
        "two faults",
        range(2041, 2044),
        {"second_share": 1.0},
        (Condition("two faults in each faulty unit", "any two", treat.as_is),),
    ),
    Pool(
        "blackouts",
        range(2045, 2047),
        # First hour and length of each. [h]
        {"fault_share": 0.0, "hard_share": 0.0, "blackouts": ((100.0, 0.9), (190.0, 3.5))},
        (Condition(HARD, "ship-wide blackouts", partial(treat.all_hard, kind="blackout")),),
    ),
    Pool(
        SECOND,
        range(2051, 2057),
        {},
        (
            Condition(SECOND, AS_BASE, treat.as_is),
            Condition(SECOND, "every 60 min", partial(treat.thinned, minutes=60)),
            Condition(SECOND, "air and electric", partial(treat.only, channels=treat.AIR_AND_ELECTRIC)),
            Condition(SECOND, "air temperatures and set point only", partial(treat.only, channels=treat.AIR)),
        ),
        plant=SECOND,
        replayed=2,
    ),
)


def sail(pool: Pool, seed: int, cache: Path | None) -> Fleet:
    """Simulate a voyage of a pool, or take it from the cache.

    Parameters
    ----------
    pool, seed
        Which.
    cache
        Folder that keeps simulated voyages from run to run; a changed plan is another voyage, a changed
        simulator is not: then empty the folder.

    Returns
    -------
    Fleet
        Log and truth.
    """
    plan = pool.plan_of(seed)
    key = hashlib.sha256(f"{pool.plant} {plan!r}".encode()).hexdigest()[:16]
    folder = cache / f"{pool.name.replace(' ', '_')}_{seed}_{key}" if cache else None
    return kept(plan, folder, _PLANTS[pool.plant])
