"""Measure speed and memory: ``python -m benchmarks.speed [--check] [--only SECTION …]``.

Without options everything is measured, and ``docs/speed.md`` and the stored figures are written anew; with
``--only`` some sections, and the others stay as they are stored. With ``--check`` nothing is written: the run
is compared with the stored figures, and the exit status is 1 when something got worse. The machine should
have nothing else to do.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from benchmarks.speed.cost import Failed
from benchmarks.speed.figures import FIGURES, complaints, print_line, store, stored
from benchmarks.speed.page import PAGE, write_page
from benchmarks.speed.runs import SECTIONS, needs, run


def main() -> int:
    """Measure, then write or compare."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument(
        "--check", action="store_true", help="compare with the stored figures, write nothing"
    )
    options.add_argument("--only", nargs="+", metavar="SECTION", choices=SECTIONS, default=list(SECTIONS))
    options.add_argument("--page", action="store_true", help="write the page again from the stored figures")
    options.add_argument(
        "--cache", type=Path, default=Path("build/speed"), help="folder that keeps the files (all: 6 GB)"
    )
    options.add_argument("--repeat", type=int, default=3, help="runs of each; the fleet is run once")
    chosen = options.parse_args()
    if chosen.page:
        write_page(stored(FIGURES))
        return 0
    try:
        needs(chosen.only)
        figures = run(chosen.only, chosen.cache, chosen.repeat)
    except Failed as failed:
        print_line(str(failed))
        return 2
    if not chosen.check:
        together = stored(FIGURES).with_sections_of(figures)
        store(together, FIGURES)
        write_page(stored(FIGURES))
        print_line(f"{PAGE.name} written")
        return 0
    worse = complaints(figures, stored(FIGURES))
    for line in worse:
        print_line(f"worse: {line}")
    print_line(f"{len(worse)} figures worse than stored" if worse else "nothing worse than stored")
    return 1 if worse else 0


if __name__ == "__main__":
    sys.exit(main())
