"""Measure the verdicts on repairs: ``python -m benchmarks.repairs``, some two minutes.

Everything is simulated. Each fault of a fleet gets a work note with an action; half of the faults are mended
at that hour, the others go on though the note says the same. Prints what verdict each half got. Thresholds
were chosen on the seeds of ``CHOSEN_ON``; those of ``JUDGED_ON`` were looked at once.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import polars as pl

from benchmarks.kept import kept
from coldsift.engine.analysis import analyse
from coldsift.engine.settings import Settings
from coldsift.repairs import judge_repairs
from coldsift.schema import NOTES, REPAIR_VERDICTS
from coldsift.simulate import CAUSES, FleetPlan, plan_fleet

CHOSEN_ON = (611, 612)
JUDGED_ON = (713, 714)

UNITS, DAYS = 120, 14
LOOKED_AT_AFTER = 36.0
"""A fault is noted so long after it has grown. [h]"""

NOT_TO_BE_MENDED = ("warm_cargo", "clock_wrong")
"""Nothing of the machine is wrong; mending the clock would log hours twice."""


@dataclass(frozen=True, slots=True)
class Noted:
    """A voyage, and what was noted on it."""

    plan: FleetPlan
    notes: pl.DataFrame
    mended: frozenset[str]


def main() -> None:
    """Print everything."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cache", type=Path, help="folder to keep simulated voyages in")
    parser.add_argument("--details", action="store_true", help="print every sentence that is not as hoped")
    options = parser.parse_args()
    print("Verdicts on repairs, simulated (first plant)")
    for words, seeds in (("chosen on", CHOSEN_ON), ("judged on", JUDGED_ON)):
        judged = pl.concat([judge(seed, options.cache) for seed in seeds])
        print(f"\nSeeds {', '.join(map(str, seeds))} ({words}), {judged.height} notes")
        print(f"  {'':18s}" + "".join(f"{verdict:>13s}" for verdict in REPAIR_VERDICTS))
        for mended, rows in judged.sort("mended", descending=True).group_by("mended", maintain_order=True):
            counts = dict(rows["verdict"].cast(pl.String).value_counts().iter_rows())
            print(
                f"  {'mended' if mended[0] else 'goes on':18s}"
                + "".join(f"{counts.get(verdict, 0):13d}" for verdict in REPAIR_VERDICTS)
            )
        if options.details:
            hoped = pl.when("mended").then(pl.lit("recovered")).otherwise(pl.lit("unchanged"))
            for row in (
                judged.filter(pl.col("verdict").cast(pl.String) != hoped).sort("mended", "cause").to_dicts()
            ):
                kind = "mended " if row["mended"] else "goes on"
                print(f"  {kind} {row['cause']} {row['severity']:.2f} {row['verdict']}: {row['words']}")


def noted(seed: int) -> Noted:
    """A fleet whose faults are all noted, every other one mended."""
    plan = plan_fleet(
        units=UNITS, days=DAYS, seed=seed, fault_share=0.3, severity=(0.5, 1.0), interval_minutes=60,
        causes=[cause for cause in CAUSES if cause not in NOT_TO_BE_MENDED],
    )  # fmt: skip
    faulty = [unit for unit in plan.units if unit.cause in CAUSES]
    hours = {
        unit.container: min(
            unit.onset_hours + CAUSES[unit.cause].ramp_hours + LOOKED_AT_AFTER, DAYS * 24.0 - 48.0
        )
        for unit in faulty
    }
    mended = frozenset(unit.container for unit in faulty[::2])
    units = [
        replace(unit, repaired_hours=hours[unit.container]) if unit.container in mended else unit
        for unit in plan.units
    ]
    notes = pl.DataFrame(
        [
            (container, plan.start + timedelta(hours=hour), "part replaced", line)
            for line, (container, hour) in enumerate(hours.items(), 2)
        ],
        schema=["container", "time", "action", "line"],
        orient="row",
    )
    return Noted(replace(plan, units=tuple(units)), NOTES.conform(notes), mended)


def judge(seed: int, cache: Path | None) -> pl.DataFrame:
    """The verdicts of one fleet, with ``cause``, ``severity`` and ``mended``."""
    voyage = noted(seed)
    fleet = kept(voyage.plan, cache / f"repairs_{seed}" if cache else None)
    analysis = analyse(fleet.log, Settings())
    begin = time.perf_counter()
    judged = judge_repairs(
        analysis.timeline, analysis.defrosts, voyage.notes, analysis.peer_groups, analysis.peer_members
    )
    seconds = time.perf_counter() - begin
    print(f"  seed {seed}: {voyage.notes.height} repairs among {UNITS} units in {seconds:.1f} s")
    return judged.join(fleet.truth.select("container", "cause", "severity"), on="container").with_columns(
        mended=pl.col("container").is_in(sorted(voyage.mended))
    )


if __name__ == "__main__":
    main()
