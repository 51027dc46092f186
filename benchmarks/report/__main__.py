"""Print sizes and times of the report of a large invented voyage, beside baselines of the same run.

``python -m benchmarks.report [--units 400] [--days 60] [--cache FOLDER]``, about five minutes.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path
from time import perf_counter

import plotly.offline

from benchmarks.report.browsing import (
    CHART_DRAWN,
    DAYS_DRAWN,
    LIBRARY_READY,
    LIST_USABLE,
    Opening,
    chromium,
    opening,
    walk,
)
from benchmarks.report.fleet import screened, voyage_log
from coldsift.engine import write_outputs

MEGABYTE = 1_000_000


def main() -> None:
    """Measure and print; nothing is stored but the simulated units."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--units", type=int, default=400)
    asked.add_argument("--days", type=float, default=60)
    asked.add_argument("--cache", type=Path)
    given = asked.parse_args()
    log = voyage_log(given.units, given.days, given.cache)
    with tempfile.TemporaryDirectory() as scratch, chromium() as browser:
        out = Path(scratch)
        began = perf_counter()
        screening = screened(log, out)
        analysed = perf_counter() - began
        print(
            f"{screening.findings.height} invented units × {given.days:g} d × 15 min, {log.height:,} rows "
            f"analysed in {analysed:.1f} s"
        )
        for one_file in (False, True):
            began = perf_counter()
            folder = out / f"one_{one_file}"
            write_outputs(screening, folder, "Large invented voyage", one_file=one_file)
            written = perf_counter() - began
            how = "one file" if one_file else "index and a page a unit"
            print(f"\n{how}: written in {written:.1f} s, {written / analysed:.2f} of the analysis")
            index = folder / "index.html"
            _sizes(index)
            if one_file:
                _opened("the file", opening(browser, index, LIST_USABLE), None)
        index = out / "one_False" / "index.html"
        blank = out / "blank.html"
        blank.write_text(f"<!doctype html><script>{plotly.offline.get_plotlyjs()}</script>", encoding="utf-8")
        print(
            f"\nTime until it can be used, headless Chromium, 1440 px; baseline: {blank.name}, the chart "
            "library alone"
        )
        baseline = opening(browser, blank, LIBRARY_READY)
        _opened("baseline", baseline, None)
        _opened("index, list can be searched", opening(browser, index, LIST_USABLE), baseline)
        days = opening(browser, index, DAYS_DRAWN, "#fleet")
        _opened("index at the fleet, days drawn", days, baseline)
        units = sorted((index.parent / "units").glob("*.html"), key=lambda path: path.stat().st_size)
        _opened("largest unit page, chart drawn", opening(browser, units[-1], CHART_DRAWN), baseline)
        for width in (1440, 390):
            print(f"\nA first-time reader at {width} px (driven; reading time is not in it)")
            for did, read, seconds in walk(browser, index, width):
                print(f"  {seconds:5.1f} s  {did}: {read[:160]}")


def _sizes(index: Path) -> None:
    pages = sorted(path.stat().st_size for path in (index.parent / "units").glob("*.html"))
    print(f"  index.html {index.stat().st_size / MEGABYTE:.2f} MB")
    if pages:
        shared = (index.parent / "units" / "shared.js").stat().st_size
        print(
            f"  unit pages: middle {pages[len(pages) // 2] / MEGABYTE:.2f} MB, largest "
            f"{pages[-1] / MEGABYTE:.2f} MB, all {sum(pages) / MEGABYTE:.1f} MB; shared.js "
            f"{shared / MEGABYTE:.2f} MB"
        )


def _opened(what: str, measured: Opening, baseline: Opening | None) -> None:
    ratio = f", {measured.seconds / baseline.seconds:.1f} × baseline" if baseline else ""
    asked = ", ".join(each.rpartition("/")[2] for each in measured.requests) or "nothing"
    print(f"  {what}: {measured.seconds:.2f} s{ratio}; asked for beside itself: {asked}")


if __name__ == "__main__":
    main()
