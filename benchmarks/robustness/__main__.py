"""Measure what coldsift withstands: ``python -m benchmarks.robustness [--check] [--only SECTION …]``.

Without options everything is measured, and ``docs/robustness.md`` and the stored figures are written anew;
with ``--only`` some sections, and the others stay as they are stored. With ``--check`` nothing is written.
The exit status is 1 when a section measured something that must never be.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from benchmarks.robustness.figures import FIGURES, SECTIONS, faults_of, store, stored
from benchmarks.robustness.page import PAGE, write_page
from benchmarks.robustness.sections import MEASURES


def main() -> int:
    """Measure, then write or judge."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--check", action="store_true", help="say what must never be, write nothing")
    options.add_argument("--only", nargs="+", metavar="SECTION", choices=SECTIONS, default=list(SECTIONS))
    options.add_argument("--page", action="store_true", help="write the page again from the stored figures")
    options.add_argument(
        "--cache", type=Path, default=Path("build/robustness"), help="folder for what is made on the way"
    )
    chosen = options.parse_args()
    if chosen.page:
        write_page(stored(FIGURES))
        return 0
    found: list[str] = []
    for name in chosen.only:
        scratch = chosen.cache.resolve() / name
        scratch.mkdir(parents=True, exist_ok=True)
        begun = time.monotonic()
        figures = MEASURES[name](scratch)
        faults = faults_of(name, figures)
        print(f"{name}: {time.monotonic() - begun:.0f} s, {len(faults)} faults", flush=True)
        print(*faults, sep="\n", end="\n" if faults else "", flush=True)
        found += faults
        if not chosen.check:
            # After each section: the whole takes an hour, and what is measured is kept.
            store(stored(FIGURES) | {name: figures}, FIGURES)
            write_page(stored(FIGURES))
    if not chosen.check:
        print(f"{PAGE.name} written")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
