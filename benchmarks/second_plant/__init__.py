"""A second simulator of reefer containers, built apart from the first, to measure coldsift on another plant.

Goes in: a :class:`~coldsift.simulate.plan.FleetPlan`. Comes out: a :class:`~coldsift.simulate.Fleet` with the
same frames as the first simulator's. Nothing in coldsift was fitted on it, and it was not fitted to coldsift:
box, circuit, control, defrost, weather, probes and logging habits are all of another make. All of it is
invented.
"""

from __future__ import annotations

from benchmarks.second_plant.fleet import build_machines
from benchmarks.second_plant.passage import sail
from benchmarks.second_plant.records import defrosts_of, excursions_of, log_of, truth_of
from coldsift.simulate import Fleet
from coldsift.simulate.plan import FleetPlan

__all__ = ["simulate"]


def simulate(plan: FleetPlan) -> Fleet:
    """Simulate a voyage; the same plan always gives the same frames.

    Parameters
    ----------
    plan
        Units, cargo, causes, route, length, seed.

    Returns
    -------
    coldsift.simulate.Fleet
        Log, truth, defrosts and excursions.
    """
    machines = build_machines(plan)
    trace = sail(plan, machines)
    return Fleet(
        plan=plan,
        log=log_of(plan, machines, trace),
        truth=truth_of(plan, machines, trace),
        defrosts=defrosts_of(plan, trace),
        excursions=excursions_of(plan, machines, trace),
    )
