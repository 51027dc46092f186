"""``docs/speed.md``, from the stored figures."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from benchmarks.speed.cost import SAMPLED_EVERY
from benchmarks.speed.figures import MORE_THAN_NOISE, Figures, Section
from benchmarks.speed.runs import (
    AGAIN,
    BARE,
    BARE_AFTER,
    BY_HAND,
    FEATURE_UNITS,
    FROM_ARCHIVE,
    HELP,
    INTAKE,
    SCREEN,
    SECTIONS,
    STAGE,
)
from benchmarks.speed.sizes import FLEET, MINUTES, SIMULATED_UNITS, SMALL

HERE = Path(__file__).parent
PAGE = HERE.parents[1] / "docs" / "speed.md"

FLEETS = [f"fleet of {units:,}" for units in FLEET.parts]
NOT_MEASURED = "–"
OFFICE_UNITS = 100_000
"""Voyages of a unit that a shore office judges in a year."""

REASONS: dict[str, str] = {
    "intake to common log, small: at most 2 × the bare read": "a file costs two to three ms beside its lines "
    "(hash, lines counted, layout, clock, units, account); reading files of one heading together would spare "
    "most of it",
    "intake to common log, minutes: at most 2 × the bare read": "the bare read takes both cores, the lines "
    "are counted and checked on one",
    "`screen` with report, small: at most 5 × the bare read": "reading is a sixth of it; features, cargo, "
    "373 pages with charts and the workbook are the rest, and each alone is more than the bare read",
    "`screen` with report, minutes: at most 3 × the bare read": "as for small; features and excursions look "
    "at every reading several times",
    "`screen` with report, small: at most a tenth of the script's time": "the script makes no cargo "
    "temperatures, causes, charts or account of lines; on what both make, features, coldsift takes about "
    "the same time for the same numbers",
    "peak memory, fleet of 5,000: at most 1.5 GB": "a process a core holds half a GB each, and the parent "
    "the tables of all units while they are compared and the report is prepared",
    "peak memory flat as units double: at most 10 % more each time": "the batches are flat, the tables of "
    "all units that the parent holds are not",
    "`screen` again, sources unchanged, small: at most 0.3 of the first time": "only the log is taken from "
    "the earlier run; everything after it is done again",
    "one dossier out of the archive of a voyage of 373 units: under 3 s": "a third of it is loading the "
    "libraries, another third the conduction in the cargo, the rest the charts",
}
"""Why a goal is missed, by its words, where that was looked into."""


@dataclass(frozen=True, slots=True)
class Goal:
    """What was to be reached.

    Attributes
    ----------
    words
        For the reader.
    of
        What is held against the limit; None where it is not measured.
    limit
        Largest value that reaches the goal.
    form
        How the value is written.
    """

    words: str
    of: Callable[[Figures], float | None]
    limit: float
    form: str = "{:.2f}"

    def row(self, figures: Figures) -> tuple[str, str, str]:
        """Words, value, and whether it is reached."""
        value = self.of(figures)
        if value is None:
            return self.words, NOT_MEASURED, "not measured"
        reached = (
            "yes" if value <= self.limit else f"**no**: {REASONS.get(self.words, 'not looked into yet')}"
        )
        return self.words, self.form.format(value), reached


def _against(
    section: str, ours: str, theirs: str, measure: str = "wall"
) -> Callable[[Figures], float | None]:
    def of(figures: Figures) -> float | None:
        above, below = figures.value(section, ours, measure), figures.value(section, theirs, measure)
        return above / below if above and below else None

    return of


def _doubling(figures: Figures) -> float | None:
    """Largest growth of peak memory from one size of the fleet to the next."""
    peaks = [figures.value(name, SCREEN, "peak") for name in FLEETS]
    growth = [later / earlier for earlier, later in pairwise(peaks) if earlier and later]
    return max(growth) if growth and all(peaks) else None


def _per_row(figures: Figures, section: str, measure: str = "wall") -> float | None:
    """Seconds of a screening for a million readings."""
    value, facts = figures.value(section, SCREEN, measure), figures.sections.get(section)
    return value / facts.rows * 1e6 if value and facts and facts.rows else None


def _linear(figures: Figures) -> float | None:
    """Cost of a reading in the largest fleet over that on the small voyage."""
    first, last = _per_row(figures, SMALL.name), _per_row(figures, FLEETS[-1])
    return last / first if first and last else None


def _gigabytes(section: str) -> Callable[[Figures], float | None]:
    def of(figures: Figures) -> float | None:
        value = figures.value(section, SCREEN, "peak")
        return value / 1e9 if value else None

    return of


GOALS = (
    Goal(
        "intake to common log, small: at most 2 × the bare read",
        _against(SMALL.name, INTAKE, BARE), 2.0, "{:.1f} ×",
    ),
    Goal(
        "intake to common log, minutes: at most 2 × the bare read",
        _against(MINUTES.name, INTAKE, BARE), 2.0, "{:.1f} ×",
    ),
    Goal(
        "`screen` with report, small: at most 5 × the bare read",
        _against(SMALL.name, SCREEN, BARE), 5.0, "{:.1f} ×",
    ),
    Goal(
        "`screen` with report, minutes: at most 3 × the bare read",
        _against(MINUTES.name, SCREEN, BARE), 3.0, "{:.1f} ×",
    ),
    Goal(
        "`screen` with report, small: at most a tenth of the script's time",
        _against(SMALL.name, SCREEN, BY_HAND), 0.1, "{:.2f} of it",
    ),
    Goal("peak memory, fleet of 5,000: at most 1.5 GB", _gigabytes(FLEETS[-1]), 1.5, "{:.2f} GB"),
    Goal("peak memory flat as units double: at most 10 % more each time", _doubling, 1.1, "{:.2f} ×"),
    Goal("time a reading, fleet of 5,000 against small: at most 10 % more", _linear, 1.1, "{:.2f} ×"),
    Goal("`coldsift --help`: under 0.3 s", lambda figures: figures.value("start", HELP), 0.3, "{:.2f} s"),
    Goal(
        "`screen` again, sources unchanged, small: at most 0.3 of the first time",
        _against(SMALL.name, AGAIN, SCREEN), 0.3, "{:.2f} of it",
    ),
    Goal(
        "one dossier out of the archive of a voyage of 373 units: under 3 s",
        lambda figures: figures.value("dossier", FROM_ARCHIVE), 3.0, "{:.1f} s",
    ),
)  # fmt: skip
"""The goals of this part of the project."""


def write_page(figures: Figures, path: Path = PAGE) -> None:
    """Write the page."""
    room = Environment(
        loader=FileSystemLoader(HERE),
        undefined=StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
        autoescape=False,
    )
    text = room.get_template("speed.md.jinja").render(
        page=_Page(figures),
        features=FEATURE_UNITS,
        simulated=SIMULATED_UNITS,
        sampled=round(SAMPLED_EVERY * 1000),
        tolerance=MORE_THAN_NOISE,
        sections=list(SECTIONS),
    )
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")


class _Page:
    """The tables of the page."""

    def __init__(self, figures: Figures) -> None:
        self._figures = figures

    def goals(self) -> str:
        """Every goal with what was measured."""
        return _table(
            ("goal, on two cores", "measured", "reached"), (goal.row(self._figures) for goal in GOALS)
        )

    def measured(self) -> list[Section]:
        """Sections with files, in the order of the command line."""
        order = [SMALL.name, MINUTES.name, *FLEETS, "features", "dossier", "cluster"]
        return [self._figures.sections[name] for name in order if name in self._figures.sections]

    def subjects(self, section: str) -> str:
        """Every subject of a section but the stages."""
        names = dict.fromkeys(subject for part, subject, _ in self._figures.all if part == section)
        rows = []
        for name in names:
            if name.startswith(STAGE):
                continue
            ratio = self._figures.ratio(section, name)
            found = self._figures.value(section, name, "features")
            rows.append(
                (
                    name + (f" ({found:.0f} features)" if found else ""),
                    self._seconds(section, name, "wall"),
                    self._seconds(section, name, "cpu"),
                    f"{ratio:.2f}" if ratio else NOT_MEASURED,
                    self._memory(section, name),
                )
            )
        return _table(("", "time, s", "on all cores, s", "× baseline", "peak memory, GB"), rows)

    def stages(self, section: str) -> str:
        """The stages of a screening, in one process on one thread."""
        spent = {
            subject.removeprefix(STAGE): figure.value
            for (part, subject, measure), figure in self._figures.all.items()
            if part == section and measure == "stage"
        }
        if not spent:
            return ""
        whole, bare = sum(spent.values()), self._figures.baseline(section)
        rows = [
            (
                name,
                f"{seconds:.2f}",
                f"{seconds / whole:.0%}",
                f"{seconds / bare:.2f}" if bare else NOT_MEASURED,
            )
            for name, seconds in [*spent.items(), ("whole", whole)]
        ]
        return _table(("stage", "s", "share", "× bare read"), rows)

    def doubling(self) -> str:
        """Cost and memory as units double."""
        rows = []
        for name in [SMALL.name, *FLEETS]:
            facts = self._figures.sections.get(name)
            wall, cpu = (_per_row(self._figures, name, measure) for measure in ("wall", "cpu"))
            if facts and wall and cpu:
                rows.append(
                    (
                        f"{facts.units:,}",
                        f"{facts.rows / 1e6:.2f}",
                        f"{wall:.2f}",
                        f"{cpu:.2f}",
                        self._memory(name, SCREEN),
                    )
                )
        heads = ("units", "million readings", "s a million", "on all cores", "peak memory, GB")
        return _table(heads, rows) if rows else "Not measured yet."

    def office(self) -> str:
        """What 100,000 units a year ask of a shore office."""
        cpu, facts = self._figures.value(FLEETS[-1], SCREEN, "cpu"), self._figures.sections.get(FLEETS[-1])
        if not cpu or not facts:
            return "Not measured yet."
        core_hours = OFFICE_UNITS * cpu / facts.units / 3600
        rows = [
            ("one unit's voyage, s of one core", f"{cpu / facts.units:.2f}"),
            (f"{OFFICE_UNITS:,} of them, hours of one core", f"{core_hours:.0f}"),
            ("the same on two cores, days", f"{core_hours / 2 / 24:.1f}"),
            ("a tenth of the year in one night of 10 h, cores", f"{math.ceil(core_hours / 10 / 10)}"),
            ("their log files, GB", f"{OFFICE_UNITS * facts.bytes / facts.units / 1e9:.0f}"),
        ]
        return _table(("", "reckoned"), rows)

    def starts(self) -> str:
        """Start-up."""
        return self.subjects("start") if "start" in self._figures.sections else "Not measured yet."

    def drift(self, section: str) -> str:
        """How much the machine changed while the section ran."""
        before, after = (self._figures.value(section, name) for name in (BARE, BARE_AFTER))
        return f"{after / before - 1:+.0%}" if before and after else "not measured"

    def machine(self) -> str:
        """Machine and versions, once for each that sections ran on."""
        machines: dict[tuple[tuple[str, str], ...], list[str]] = {}
        for section in self._figures.sections.values():
            machines.setdefault(tuple(section.machine.items()), []).append(section.name)
        return "\n".join(
            f"- {'; '.join(names)}: {', '.join(f'{key} {value}' for key, value in facts)}"
            for facts, names in machines.items()
        )

    def covered(self) -> str:
        """Share of coldsift's features that the script takes as well."""
        ours, theirs = (
            self._figures.value("features", name, "features")
            for name in ("coldsift features", "by hand, features")
        )
        return f"{theirs:.0f} of {ours:.0f}" if ours and theirs else "not measured yet"

    def _seconds(self, section: str, subject: str, measure: str) -> str:
        figure = self._figures.all.get((section, subject, measure))
        if figure is None:
            return NOT_MEASURED
        return f"{figure.value:.2f}" + (f" ({figure.low:.2f}–{figure.high:.2f})" if figure.runs > 1 else "")

    def _memory(self, section: str, subject: str) -> str:
        value = self._figures.value(section, subject, "peak")
        return f"{value / 1e9:.2f}" if value else NOT_MEASURED


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [heads, ["---", *["---:"] * (len(heads) - 1)], *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)
