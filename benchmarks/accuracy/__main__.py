"""Measure accuracy: ``python -m benchmarks.accuracy [--check] [--only SECTION …]``.

Without options everything is measured (about twenty minutes on two cores), and ``docs/accuracy.md`` and the
stored figures are written anew. With ``--check`` nothing is written: the run is compared with the stored
figures, and the exit status is 1 when something got worse.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import polars as pl

from benchmarks.accuracy.page import (
    FIGURES,
    PAGE,
    REAL,
    complaints,
    complaints_real,
    in_short,
    store,
    stored,
    write_page,
)
from benchmarks.accuracy.real_series import measure_real_series
from benchmarks.accuracy.run import all_figures, figures_apart, run
from benchmarks.accuracy.voyages import POOLS


def main() -> int:
    """Measure, then write or compare."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument(
        "--check", action="store_true", help="compare with the stored figures, write nothing"
    )
    options.add_argument("--only", nargs="+", metavar="SECTION", help="with --check: only these sections")
    options.add_argument("--page", action="store_true", help="write the page again from the stored figures")
    options.add_argument("--cache", type=Path, help="folder that keeps the simulated voyages")
    options.add_argument("--jobs", type=int, default=2, help="voyages at a time")
    chosen = options.parse_args()
    if chosen.only and not chosen.check:
        options.error("--only goes with --check: a page of some sections would lose the others")
    if chosen.page:
        write_page(stored(FIGURES), stored(REAL))
        return 0
    pools = [
        replace(pool, conditions=conditions, replayed=0 if chosen.only else pool.replayed)
        for pool in POOLS
        if (conditions := tuple(c for c in pool.conditions if not chosen.only or c.section in chosen.only))
    ]
    if not pools:
        options.error(f"no such section; there are: {', '.join(sorted(_sections()))}")
    figures = all_figures(run(print, chosen.cache, chosen.jobs, pools))
    if not chosen.only:
        figures = pl.concat([figures, figures_apart()])
    real = measure_real_series()
    if not chosen.check:
        store(figures, FIGURES)
        store(real, REAL)
        write_page(stored(FIGURES), stored(REAL))
        print(f"{PAGE.name} written\n\n{in_short(stored(FIGURES))}")
        return 0
    worse = complaints(figures, stored(FIGURES)) + complaints_real(real, stored(REAL))
    for line in worse:
        print(f"worse: {line}")
    print(f"{len(worse)} figures worse than stored" if worse else "nothing worse than stored")
    return 1 if worse else 0


def _sections() -> set[str]:
    return {condition.section for pool in POOLS for condition in pool.conditions}


if __name__ == "__main__":
    sys.exit(main())
