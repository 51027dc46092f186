"""A seeded, physical simulator of a ship's refrigerated containers, with the truth beside the log.

Goes in: a fleet plan (drawn at random or written by hand). Comes out: the common log such units would write,
and what really happened: planted causes, defrosts, excursions. All of it is invented; the physics (box,
R134a circuit, coil, controller) makes the symptoms, faults only change the machine.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from coldsift.simulate.faults import CAUSES
from coldsift.simulate.machines import draw_machines
from coldsift.simulate.plan import CARGOES, HARD_CASES, FleetPlan, UnitPlan, plan_fleet, sample_voyage
from coldsift.simulate.record import defrosts_of, excursions_of, log_of, truth_of
from coldsift.simulate.voyage import sail

__all__ = [
    "CARGOES",
    "CAUSES",
    "HARD_CASES",
    "Fleet",
    "FleetPlan",
    "UnitPlan",
    "plan_fleet",
    "sample_voyage",
    "simulate",
]


@dataclass(frozen=True, slots=True)
class Fleet:
    """A simulated voyage.

    Attributes
    ----------
    plan
        What was asked for.
    log
        As :data:`coldsift.schema.COMMON_LOG`.
    truth, defrosts, excursions
        See :mod:`coldsift.simulate.record`.
    """

    plan: FleetPlan
    log: pl.DataFrame
    truth: pl.DataFrame
    defrosts: pl.DataFrame
    excursions: pl.DataFrame


def simulate(plan: FleetPlan) -> Fleet:
    """Simulate a voyage; the same plan always gives the same frames.

    Parameters
    ----------
    plan
        Of :func:`plan_fleet`, :func:`sample_voyage` or one's own.

    Returns
    -------
    Fleet
        Log and truth.
    """
    machines = draw_machines(plan)
    trace = sail(plan, machines)
    return Fleet(
        plan=plan,
        log=log_of(plan, trace),
        truth=truth_of(plan, machines, trace),
        defrosts=defrosts_of(plan, trace),
        excursions=excursions_of(plan, machines, trace),
    )
