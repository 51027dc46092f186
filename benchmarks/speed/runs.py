"""What is run in each section, and how often.

Goes in: the section's name, the folder that keeps the files, and how often. Comes out: its figures and facts.
"""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from benchmarks.speed.cost import Cost, Failed, cost_of
from benchmarks.speed.figures import Figure, Figures, Section, machine, print_line
from benchmarks.speed.sizes import FLEET, MINUTES, SMALL, Size, Voyage, csv_files, voyages

PYTHON = sys.executable
COLDSIFT = (PYTHON, "-m", "coldsift.cli")
MEASURES = ("wall", "cpu", "peak")

FEATURE_UNITS = 40
"""Of the small voyage, on which the feature stage alone is held against tsfresh."""

ONE_THREAD = dict.fromkeys(("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")

BARE, BARE_AFTER = "polars.read_csv", "polars.read_csv, afterwards"
BY_HAND = "by hand, pandas"
INTAKE, SCREEN, AGAIN = "coldsift intake", "coldsift screen", "coldsift screen, sources unchanged"
HELP, DOSSIER, FROM_ARCHIVE = "coldsift --help", "coldsift dossier", "coldsift dossier out of the archive"
ON_CLUSTER = "coldsift screen --cluster local"
STAGE = "coldsift stage: "


class _Measuring:
    """Figures of one section as they are measured."""

    def __init__(self, section: str, repeat: int) -> None:
        self.section, self.repeat = section, repeat
        self.figures: list[Figure] = []

    def command(
        self,
        subject: str,
        command: Sequence[str | Path],
        before: Callable[[], object] = lambda: None,
        environment: Mapping[str, str] | None = None,
    ) -> None:
        """A whole command, from start to end."""
        costs = []
        for _ in range(self.repeat):
            before()
            costs.append(cost_of([str(each) for each in command], environment))
        self._keep(subject, [_measures(cost) for cost in costs])

    def inside(
        self, subject: str, name: str, folders: Sequence[Path], environment: Mapping[str, str] | None = None
    ) -> list[dict[str, float]]:
        """One of :mod:`benchmarks.speed.subjects`, start and import apart."""
        command = [PYTHON, "-m", "benchmarks.speed.subjects", name, *map(str, folders)]
        costs = [cost_of(command, environment=environment) for _ in range(self.repeat)]
        said = [json.loads(cost.said) for cost in costs]
        self._keep(subject, [{**_measures(cost), **each} for cost, each in zip(costs, said, strict=True)])
        return said

    def stages(self, folders: Sequence[Path]) -> None:
        """A screening in one process on one thread, each stage a subject."""
        command = [PYTHON, "-m", "benchmarks.speed.subjects", "stages", *map(str, folders)]
        said = json.loads(cost_of(command, environment=ONE_THREAD).said)
        for stage, seconds in said.items():
            if stage not in MEASURES:
                self._keep(f"{STAGE}{stage}", [{"stage": seconds}])

    def _keep(self, subject: str, runs: list[dict[str, float]]) -> None:
        figures = [
            Figure.of(self.section, subject, measure, [run[measure] for run in runs]) for measure in runs[0]
        ]
        self.figures += figures
        told = {figure.measure: figure.value for figure in figures}
        memory = f", {told['peak'] / 1e9:.2f} GB" if "peak" in told else ""
        print_line(f"{self.section}: {subject}: {told.get('wall', figures[0].value):.2f} s{memory}")

    def done(self, size: Size | None = None, voyage: Voyage | None = None) -> Figures:
        """The section as a whole."""
        facts = Section(
            name=self.section,
            units=voyage.units if voyage else 0,
            days=size.days if size else 0,
            minutes=size.minutes if size else 0,
            rows=voyage.rows if voyage else 0,
            bytes=voyage.bytes if voyage else 0,
            machine=machine(),
        )
        return Figures([facts], self.figures)


def _measures(cost: Cost) -> dict[str, float]:
    return {"wall": cost.wall, "cpu": cost.cpu, "peak": float(cost.peak)}


def _anew(folder: Path) -> Path:
    shutil.rmtree(folder, ignore_errors=True)
    return folder


def one_voyage(size: Size, cache: Path, repeat: int) -> Figures:
    """Everything on one voyage: bare reads, the script, and coldsift cold, warm and by stage."""
    voyage = voyages(size, cache)[-1]
    folders, out = voyage.folders, cache / "out"
    measuring = _Measuring(size.name, repeat)
    measuring.inside(BARE, "polars", folders)
    measuring.inside("pyarrow.csv.read_csv", "pyarrow", folders)
    measuring.inside(INTAKE, "intake", folders)
    screen: list[str | Path] = [*COLDSIFT, "screen", *folders, "--out", out]
    measuring.command(SCREEN, screen, before=lambda: _anew(out))
    measuring.command(AGAIN, screen)
    measuring.command(
        BY_HAND,
        [PYTHON, "-m", "benchmarks.speed.by_hand", "--out", out, *folders],
        before=lambda: _anew(out),
    )
    _anew(out)
    measuring.stages(folders)
    measuring.inside(BARE_AFTER, "polars", folders)
    return measuring.done(size, voyage)


def small(cache: Path, repeat: int) -> Figures:
    """A ship's month."""
    return one_voyage(SMALL, cache, repeat)


def minutes(cache: Path, repeat: int) -> Figures:
    """A month logged every minute."""
    return one_voyage(MINUTES, cache, repeat)


def fleet(cache: Path, repeat: int) -> Figures:
    """A fleet's quarter, its units doubled three times; each once, however often is asked for."""
    figures, out = Figures(), cache / "out"
    for voyage in voyages(FLEET, cache):
        measuring = _Measuring(f"fleet of {voyage.units:,}", 1)
        measuring.inside(BARE, "polars", voyage.folders)
        measuring.inside("pyarrow.csv.read_csv", "pyarrow", voyage.folders)
        measuring.command(
            SCREEN,
            [*COLDSIFT, "screen", *voyage.folders, "--out", out],
            before=lambda: _anew(out),
        )
        _anew(out)
        measuring.inside(BARE_AFTER, "polars", voyage.folders)
        figures = figures.with_sections_of(measuring.done(FLEET, voyage))
    return figures


def features(cache: Path, repeat: int) -> Figures:
    """The feature stage alone, on some units of the small voyage."""
    folder = _anew(cache / "features")
    folder.mkdir()
    files = list(csv_files(voyages(SMALL, cache)[-1].folders))[:FEATURE_UNITS]
    for path in files:
        shutil.copy(path, folder)
    measuring = _Measuring("features", repeat)
    measuring.inside(BARE, "polars", [folder])
    measuring.inside("coldsift features, one thread", "features", [folder], ONE_THREAD)
    measuring.inside("coldsift features", "features", [folder])
    measuring.inside("by hand, features", "features_by_hand", [folder])
    measuring.inside("tsfresh, one process", "tsfresh_one", [folder])
    measuring.inside("tsfresh, two processes", "tsfresh_two", [folder])
    said = measuring.inside(BARE_AFTER, "polars", [folder])
    weight = sum(path.stat().st_size for path in files)
    return measuring.done(SMALL, Voyage(len(files), int(said[0]["rows"]), weight, (folder,)))


def start(cache: Path, repeat: int) -> Figures:
    """How long it takes until anything happens."""
    measuring = _Measuring("start", max(5, repeat))
    measuring.command("bare interpreter", [PYTHON, "-c", "pass"])
    measuring.command("import typer", [PYTHON, "-c", "import typer"])
    measuring.command("import polars", [PYTHON, "-c", "import polars"])
    measuring.command(HELP, [*COLDSIFT, "--help"])
    return measuring.done()


def dossier(cache: Path, repeat: int) -> Figures:
    """One container out of the small voyage."""
    voyage = voyages(SMALL, cache)[-1]
    container = next(csv_files(voyage.folders)).stem
    out = cache / "dossier"
    # Without a program search path no browser is found, and the time is that of page and bundle.
    without_browser = {"PATH": ""}
    measuring = _Measuring("dossier", repeat)
    measuring.inside(BARE, "polars", voyage.folders)
    measuring.command(
        f"{DOSSIER}, page and bundle",
        [*COLDSIFT, "dossier", container, *voyage.folders, "--out", out],
        before=lambda: _anew(out),
        environment=without_browser,
    )
    measuring.command(
        f"{DOSSIER}, with its PDF",
        [*COLDSIFT, "dossier", container, *voyage.folders, "--out", out],
        before=lambda: _anew(out),
    )
    archive = _archived(cache, voyage)
    measuring.command(
        FROM_ARCHIVE,
        [*COLDSIFT, "dossier", container, "--archive", archive, "--out", out],
        before=lambda: _anew(out),
        environment=without_browser,
    )
    _anew(out)
    return measuring.done(SMALL, voyage)


def _archived(cache: Path, voyage: Voyage) -> Path:
    """Screen the voyage and keep it in an archive of its own; not timed."""
    run, archive = _anew(cache / "kept_run"), _anew(cache / "archive")
    for command in (
        [*COLDSIFT, "screen", *voyage.folders, "--out", run],
        [*COLDSIFT, "archive", "add", run, "--to", archive],
    ):
        cost_of([str(each) for each in command])
    return archive


def cluster(cache: Path, repeat: int) -> Figures:
    """The small voyage on workers of a Dask cluster, beside the processes of a plain run."""
    voyage, out = voyages(SMALL, cache)[-1], cache / "out"
    measuring = _Measuring("cluster", repeat)
    measuring.inside(BARE, "polars", voyage.folders)
    screen: list[str | Path] = [*COLDSIFT, "screen", *voyage.folders, "--out", out]
    measuring.command(SCREEN, screen, before=lambda: _anew(out))
    measuring.command(ON_CLUSTER, [*screen, "--cluster", "local"], before=lambda: _anew(out))
    _anew(out)
    measuring.inside(BARE_AFTER, "polars", voyage.folders)
    return measuring.done(SMALL, voyage)


SECTIONS: Mapping[str, Callable[[Path, int], Figures]] = {
    "start": start,
    "small": small,
    "features": features,
    "dossier": dossier,
    "cluster": cluster,
    "minutes": minutes,
    "fleet": fleet,
}
"""Name on the command line to what it measures, in this order."""


def run(names: Sequence[str], cache: Path, repeat: int) -> Figures:
    """Measure some sections, one after the other.

    Raises
    ------
    Failed
        When a command that is to be measured fails, or is not installed.
    """
    cache.mkdir(parents=True, exist_ok=True)
    figures = Figures()
    for name in SECTIONS:
        if name in names:
            figures = figures.with_sections_of(SECTIONS[name](cache, repeat))
    return figures


def needs(names: Sequence[str]) -> None:
    """Raise :class:`Failed` when something is not installed that a section compares with."""
    from importlib.util import find_spec

    wanted = ["psutil", *(["pandas"] if {"small", "minutes", "features"} & set(names) else [])]
    wanted += ["tsfresh"] if "features" in names else []
    wanted += ["distributed"] if "cluster" in names else []
    missing = [name for name in wanted if find_spec(name) is None]
    if missing:
        raise Failed(
            f"{', '.join(missing)} not installed. Install what is compared with: pip install -c "
            "constraints.txt -e '.[speed]'."
        )
