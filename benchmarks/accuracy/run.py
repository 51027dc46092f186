"""All voyages of all pools, screened under all their conditions.

Goes in: pools. Comes out: the figures of every condition. One worker process a voyage at a time, so that
simulating, which needs one core, keeps all of them busy; the order of the results does not depend on it.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, fields
from pathlib import Path

import polars as pl

from benchmarks.accuracy.figures import (
    calibration_figures,
    defrost_figures,
    excursion_figures,
    figures_of,
    mean_of,
    without_interval,
)
from benchmarks.accuracy.pull_downs import pull_down_figures
from benchmarks.accuracy.rankings import FLAGGED, Judged, judged
from benchmarks.accuracy.replay import replay_figures, replayed
from benchmarks.accuracy.voyages import AS_BASE, BASE, FIRST, HARD, POOLS, SECOND, Pool, sail


@dataclass(frozen=True, slots=True)
class Result:
    """What one voyage gave.

    Attributes
    ----------
    units, excursions, defrosts
        Of :class:`~benchmarks.accuracy.rankings.Judged`, with ``section``, ``condition``, ``route``,
        ``ranking``.
    replays
        Of :func:`~benchmarks.accuracy.replay.replayed`, with ``plant``.
    """

    units: pl.DataFrame
    excursions: pl.DataFrame
    defrosts: pl.DataFrame
    replays: pl.DataFrame


def screened(pool: Pool, seed: int, cache: Path | None) -> Result:
    """Everything that is made of one voyage."""
    voyage = sail(pool, seed, cache)
    frames: dict[str, list[pl.DataFrame]] = {field.name: [] for field in fields(Judged)}
    for condition in pool.conditions:
        if seed - pool.seeds.start >= condition.voyages:
            continue
        for number, fleet in enumerate(condition.treatment(voyage, seed)):
            said = judged(fleet)
            for name, collected in frames.items():
                collected.append(
                    getattr(said, name).with_columns(
                        section=pl.lit(condition.section),
                        condition=pl.lit(condition.name),
                        route=pl.lit(pool.plan_of(seed).route),
                        ranking=pl.lit(f"{seed}.{number:02}"),
                    )
                )
    replays = pl.DataFrame()
    if seed - pool.seeds.start < pool.replayed:
        fleet = next(pool.conditions[0].treatment(voyage, seed))
        replays = replayed(fleet).with_columns(plant=pl.lit(pool.plant))
    return Result(**{name: pl.concat(part) for name, part in frames.items()}, replays=replays)


def run(
    tell: Callable[[str], None], cache: Path | None = None, jobs: int = 2, pools: Sequence[Pool] = POOLS
) -> Result:
    """Screen all voyages.

    Parameters
    ----------
    tell
        Told of each voyage that is done.
    cache
        Keeps the simulated voyages.
    jobs
        Worker processes.
    pools
        Which voyages.

    Returns
    -------
    Result
        Of all voyages together, in the order of the pools and seeds.
    """
    tasks = [(pool, seed) for pool in pools for seed in pool.seeds]
    results: dict[int, Result] = {}
    # Spawned, for polars' threads do not survive a fork.
    with ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn")) as workers:
        waiting = {
            workers.submit(screened, pool, seed, cache): place for place, (pool, seed) in enumerate(tasks)
        }
        for done in as_completed(waiting):
            place = waiting[done]
            results[place] = done.result()
            tell(f"{len(results)} of {len(tasks)} voyages: {tasks[place][0].name}, seed {tasks[place][1]}")
    ordered = [results[place] for place in range(len(tasks))]
    return Result(
        **{
            field.name: pl.concat([getattr(result, field.name) for result in ordered], how="diagonal")
            for field in fields(Result)
        }
    )


def all_figures(result: Result) -> pl.DataFrame:
    """Figures of every condition that was screened.

    Returns
    -------
    polars.DataFrame
        ``section``, ``condition``, ``method``, ``measure``, ``value``, ``low``, ``high``.
    """
    by = ["section", "condition"]
    base = result.units.filter(pl.col("section") == BASE.section)
    # The base voyages by their route, beside what is varied on purpose.
    routes = base.with_columns(section=pl.lit("voyage"), condition=pl.format("{}, 14 days", "route"))
    parts = [
        _of(str(section), str(condition), measure(rows))
        for measure, frame in (
            (figures_of, pl.concat([result.units, routes])),
            (excursion_figures, result.excursions),
            (defrost_figures, result.defrosts),
        )
        for (section, condition), rows in frame.group_by(by, maintain_order=True)
    ]
    as_base = result.units.filter(pl.col("section") == SECOND, pl.col("condition") == AS_BASE)
    for plant, rows in ((FIRST, base), (SECOND, as_base)):
        if rows.height:
            parts.append(_of("calibration", plant, calibration_figures(rows)))
    parts += [_of(HARD, name, hard_case_figures(rows)) for name, rows in _hard_cases(result.units)]
    if result.replays.height:
        for (plant,), rows in result.replays.group_by("plant", maintain_order=True):
            parts.append(_of("onset to flag", str(plant), replay_figures(rows)))
    return pl.concat(parts)


def figures_apart() -> pl.DataFrame:
    """Figures that need no voyage: planted pull-downs."""
    parts = [_of("pull-down", f"every {minutes} min", pull_down_figures(minutes)) for minutes in (5, 15, 60)]
    return pl.concat(parts)


def _of(section: str, condition: str, figures: pl.DataFrame) -> pl.DataFrame:
    return figures.select(pl.lit(section).alias("section"), pl.lit(condition).alias("condition"), pl.all())


def _hard_cases(units: pl.DataFrame) -> list[tuple[str, pl.DataFrame]]:
    """Healthy units of the base that are no hard case, then those that look like failing ones, by kind."""
    healthy = units.filter(~pl.col("faulty"))
    base, hard = pl.col("section") == BASE.section, pl.col("hard_case").is_not_null()
    plain = healthy.filter(base & ~hard).with_columns(hard_case=pl.lit("plain"))
    kinds = pl.concat([plain, healthy.filter(hard, base | (pl.col("section") == HARD))])
    return [(str(kind), rows) for (kind,), rows in kinds.group_by("hard_case", maintain_order=True)]


def hard_case_figures(units: pl.DataFrame) -> pl.DataFrame:
    """How often healthy units of a kind are flagged, and what chance of a fault they get."""
    flagged = units["group"].is_in(FLAGGED)
    values = {
        "units": float(units.height),
        "flagged": mean_of(flagged),
        "chance of a fault, mean": mean_of(units["chance"]),
        "false cause above 50 %": mean_of(units["false_cause"]),
        "out of set point ± 2 °C for more than an hour": mean_of(units["hours_out"] > 1.0),
    }
    return without_interval(values)
