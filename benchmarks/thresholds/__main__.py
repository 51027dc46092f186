"""Choose, print and write: ``python -m benchmarks.thresholds [--cache DIR] [--costs FILE]``."""

from __future__ import annotations

import argparse
import hashlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl

import coldsift
from benchmarks.kept import kept
from benchmarks.likelihoods.fleets import ROUTES
from coldsift.causes import HEALTHY
from coldsift.causes.catalogue import SHIPPED as CATALOGUE_FILES
from coldsift.engine import Settings
from coldsift.engine.analysis import analyse
from coldsift.ranking.thresholds import SHIPPED, Costs, Provenance, load_costs, to_toml
from coldsift.ranking.tuning import Array, choose, cost_per_hundred, crossings, decided_by_chance
from coldsift.simulate.plan import FleetPlan, plan_fleet

SEEDS = range(201, 225)
"""The likelihoods were fitted on 101 to 200; accuracy is judged from 1001 on. On the first six of these alone
a choice cost more on the fleet that it had not seen than the round figures before it."""

UNITS, DAYS, FAULT_SHARE, SEVERITY = 200, 14.0, 0.2, (0.1, 1.0)

FAULT_SHARE_ABOARD = 0.08
"""Simulated fleets hold more faults than a ship, to have enough; healthy units are weighted up to this.
Common practice, no source."""

OLD = (0.25, 0.1)
"""Round figures set by judgement, before any choice by cost."""

NEVER = 2.0


def main() -> None:
    """Choose on all fleets, print the costs and write the file."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--cache", type=Path, help="folder that keeps the simulated logs")
    options.add_argument("--costs", type=Path, default=SHIPPED, help="file with [costs]")
    options.add_argument("--out", type=Path, default=SHIPPED)
    chosen = options.parse_args()
    costs = load_costs(chosen.costs)
    fleets = [sorted_out(seed, chosen.cache) for seed in SEEDS]
    units = pl.concat(fleets)
    kept = units.filter(decided_by_chance())
    chances, weight, faulty = arrays(kept)
    thresholds = replace(choose(chances, weight, faulty, costs), provenance=provenance(kept, weight))
    print(
        f"\nSimulated fleets: {len(SEEDS)} of {UNITS} units, {DAYS:g} days, seeds {SEEDS[0]} to {SEEDS[-1]}; "
        f"{units.height - kept.height} units whose group the chance does not decide (outside their band, or "
        f"log too poor) left out.\nFaults are weighted to {FAULT_SHARE_ABOARD:.0%} of the units, and count "
        f"in proportion to their severity ({SEVERITY[0]:g} to {SEVERITY[1]:g})."
    )
    severity = float(faulty[faulty > 0].mean())
    print(f"{'':42}  this round  watch  min per 100 units")
    for words, pair in (
        ("the choice", (thresholds.this_round, thresholds.watch)),
        ("the round figures before", OLD),
        ("theory, were the chances calibrated", crossings(costs, severity)),
        ("look at all", (0.0, 0.0)),
        ("look at none", (NEVER, NEVER)),
    ):
        told = tuple("never" if each == NEVER else f"{each:.3f}" for each in pair)
        cost = cost_per_hundred(*pair, chances, weight, faulty, costs)
        print(f"{words:42}  {told[0]:>10}  {told[1]:>5}  {cost:17.1f}")
    own, before = held_out(kept, costs)
    print(f"{'each fleet by a choice on the others':42}  {'':10}  {'':5}  {own.mean():17.1f}")
    print(f"{'each fleet by the round figures before':42}  {'':10}  {'':5}  {before.mean():17.1f}")
    difference = own - before
    error = difference.std(ddof=1) / np.sqrt(len(SEEDS))
    print(f"{'  difference, and its standard error':42}  {'':18} {difference.mean():+17.1f} ± {error:.1f}")
    chosen.out.write_text(to_toml(thresholds), encoding="utf-8", newline="\n")
    print(f"{chosen.out.name} written")


def planned(seed: int) -> FleetPlan:
    """The fleet of a seed."""
    return plan_fleet(
        units=UNITS,
        days=DAYS,
        seed=seed,
        route=ROUTES[seed % len(ROUTES)],
        fault_share=FAULT_SHARE,
        severity=SEVERITY,
    )


def sorted_out(seed: int, cache: Path | None) -> pl.DataFrame:
    """What is planted in each unit of a fleet, beside what was found."""
    voyage = kept(planned(seed), cache / str(seed) if cache else None)
    findings = analyse(voyage.log, Settings()).findings
    print(f"fleet {seed}", flush=True)
    return (
        voyage.truth.select("container", "severity", faulty=pl.col("cause") != HEALTHY)
        .join(findings.select("container", "chance_of_fault", "hours_to_limit"), on="container")
        .with_columns(seed=pl.lit(seed))
        .sort("container")
    )


def arrays(units: pl.DataFrame) -> tuple[Array, Array, Array]:
    """Chances, weights and what :func:`coldsift.ranking.tuning.choose` calls faulty."""
    faulty = units["faulty"].to_numpy()
    sound = (1 - FAULT_SHARE_ABOARD) / FAULT_SHARE_ABOARD * faulty.sum() / (~faulty).sum()
    return units["chance_of_fault"].to_numpy(), np.where(faulty, 1.0, sound), units["severity"].to_numpy()


def held_out(units: pl.DataFrame, costs: Costs) -> tuple[Array, Array]:
    """Cost per 100 units of each fleet by a choice on the others, and by the round figures. [min]."""
    own, before = [], []
    for seed in SEEDS:
        others, fleet = units.filter(pl.col("seed") != seed), units.filter(pl.col("seed") == seed)
        chosen = choose(*arrays(others), costs)
        own.append(cost_per_hundred(chosen.this_round, chosen.watch, *arrays(fleet), costs))
        before.append(cost_per_hundred(*OLD, *arrays(fleet), costs))
    return np.array(own), np.array(before)


def likelihoods_sha256() -> str:
    """Of the file that gives the chances; line ends do not count."""
    return hashlib.sha256(CATALOGUE_FILES[1].read_text(encoding="utf-8").encode()).hexdigest()


def provenance(units: pl.DataFrame, weight: Array) -> Provenance:
    """Where the choice comes from."""
    return Provenance(
        chosen_by="python -m benchmarks.thresholds",
        data=(
            f"simulated fleets of {UNITS} units and {DAYS:g} days, faults of severity {SEVERITY[0]:g} to "
            f"{SEVERITY[1]:g}, weighted to {FAULT_SHARE_ABOARD:.0%} of the units"
        ),
        seeds=tuple(SEEDS),
        units=units.height,
        faults=int(units["faulty"].sum()),
        healthy_weight=round(float(weight.max()), 3),
        likelihoods_sha256=likelihoods_sha256(),
        coldsift=coldsift.__version__,
    )


if __name__ == "__main__":
    main()
