"""What a run measured, stored, and compared with an earlier one.

A figure is one subject's time on the clock (``wall``), on the cores (``cpu``) or ``peak`` memory in one
section; every section holds its own baselines, measured in the same minutes on the same machine.
"""

from __future__ import annotations

import json
import os
import platform
import statistics
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from importlib import metadata
from pathlib import Path

HERE = Path(__file__).parent
FIGURES = HERE / "figures.json"

BASELINES = ("polars.read_csv", "bare interpreter")
"""What the ratios of a section are to: the first of these that it holds."""

OURS = "coldsift"
"""How the names of our own subjects begin."""

MORE_THAN_NOISE = {"wall": 1.25, "cpu": 1.25, "stage": 1.5, "peak": 1.25}
"""``--check`` objects to a ratio of time, or to a memory, above the stored one times this."""

LIBRARIES = ("coldsift", "polars", "pyarrow", "numpy", "pandas", "tsfresh")


@dataclass(frozen=True, slots=True)
class Figure:
    """One measure of one subject.

    Attributes
    ----------
    section, subject
        Size of the files or kind of start, and what was run on it.
    measure
        ``wall``, ``cpu``, ``stage`` (on the clock, in one process on one thread) [s], ``peak`` [byte], or the
        name of a count.
    value, low, high
        Median, least and largest of the runs.
    runs
        How many.
    """

    section: str
    subject: str
    measure: str
    value: float
    low: float
    high: float
    runs: int

    @classmethod
    def of(cls, section: str, subject: str, measure: str, values: Sequence[float]) -> Figure:
        """Median and range of some runs."""
        return cls(
            section, subject, measure, statistics.median(values), min(values), max(values), len(values)
        )


@dataclass(frozen=True, slots=True)
class Section:
    """Facts on what was run on, and where.

    Attributes
    ----------
    name
        As in the figures.
    units, days, minutes, rows, bytes
        Of the files; 0 where there are none.
    machine
        Of :func:`machine`.
    """

    name: str
    units: int
    days: int
    minutes: int
    rows: int
    bytes: int
    machine: dict[str, str]


class Figures:
    """All that was measured, by section, subject and measure."""

    def __init__(self, sections: Iterable[Section] = (), figures: Iterable[Figure] = ()) -> None:
        self.sections = {section.name: section for section in sections}
        self.all = {(each.section, each.subject, each.measure): each for each in figures}

    def value(self, section: str, subject: str, measure: str = "wall") -> float | None:
        """A median, None where it was not measured."""
        figure = self.all.get((section, subject, measure))
        return figure.value if figure else None

    def ratio(self, section: str, subject: str, measure: str = "wall") -> float | None:
        """A median over the section's baseline; memory as it is, in bytes."""
        value = self.value(section, subject, measure)
        if value is None or measure == "peak":
            return value
        below = self.baseline(section, "cpu" if measure == "cpu" else "wall")
        return value / below if below else None

    def baseline(self, section: str, measure: str = "wall") -> float | None:
        """The baseline's median."""
        found = (self.value(section, name, measure) for name in BASELINES)
        return next((value for value in found if value), None)

    def with_sections_of(self, newer: Figures) -> Figures:
        """These, with whole sections taken from a newer run where it has them."""
        return Figures(
            (self.sections | newer.sections).values(),
            [
                *(each for each in self.all.values() if each.section not in newer.sections),
                *newer.all.values(),
            ],
        )


def machine() -> dict[str, str]:
    """What the figures depend on beside the code; no name and no path of the machine."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return {
        "cores": str(cores),
        "processor": _processor(),
        "system": f"{platform.system()} {platform.machine()}",
        "Python": platform.python_version(),
        **{name: _version(name) for name in LIBRARIES},
    }


def _processor() -> str:
    listed = Path("/proc/cpuinfo")
    names = [
        line.partition(":")[2].strip()
        for line in (listed.read_text(encoding="utf-8").splitlines() if listed.is_file() else [])
        if line.startswith("model name")
    ]
    return names[0] if names else platform.processor() or "not told"


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "not installed"


def store(figures: Figures, path: Path = FIGURES) -> None:
    """Write figures, four digits each, one a line."""

    def lines(records: Iterable[dict[str, object]]) -> str:
        rows = [json.dumps({name: _rounded(value) for name, value in each.items()}) for each in records]
        return "[\n" + ",\n".join(rows) + "\n]"

    sections = lines(asdict(section) for section in figures.sections.values())
    rows = lines(asdict(figure) for figure in figures.all.values())
    path.write_text(f'{{"sections": {sections},\n"figures": {rows}}}\n', encoding="utf-8")


def _rounded(value: object) -> object:
    return float(f"{value:.4g}") if isinstance(value, float) else value


def stored(path: Path = FIGURES) -> Figures:
    """The figures of the runs that were kept; none when there is no file."""
    if not path.is_file():
        return Figures()
    kept = json.loads(path.read_text(encoding="utf-8"))
    return Figures(
        (Section(**section) for section in kept["sections"]), (Figure(**row) for row in kept["figures"])
    )


def complaints(now: Figures, before: Figures) -> list[str]:
    """Where a run is slower against its baselines, or takes more memory, than the stored one.

    Parameters
    ----------
    now, before
        Only what both hold is compared.

    Returns
    -------
    list of str
        One a line; empty when nothing got worse.
    """
    said = []
    for section, subject, measure in before.all:
        limit = MORE_THAN_NOISE.get(measure)
        then, new = before.ratio(section, subject, measure), now.ratio(section, subject, measure)
        if limit is None or not subject.startswith(OURS) or then is None or new is None:
            continue
        if new > limit * then:
            if measure == "peak":
                words = f"{new / 1e9:.2f} GB at its peak, was {then / 1e9:.2f} GB"
            else:
                words = f"{measure} {new:.2f} times the baseline's, was {then:.2f}"
            said.append(f"{section}: {subject}: {words}")
    return said


def print_line(text: str) -> None:
    """Say how far a run is."""
    print(text, file=sys.stderr, flush=True)
