"""Thresholds from a labelled history: finished runs, and what was found in their units."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl

import coldsift
from coldsift.causes import HEALTHY, OTHER, SEVERAL, Catalogue
from coldsift.container_numbers import tidy
from coldsift.ranking import (
    Costs,
    Provenance,
    Thresholds,
    ThresholdsError,
    choose,
    cost_of_groups,
    decided_by_chance,
    load_thresholds,
    to_toml,
)
from coldsift.schema import FINDINGS, GROUPS
from coldsift.voyage.tables import TableError, read_table

LEAST_UNITS, LEAST_FAULTS, LEAST_HEALTHY = 40, 8, 8
"""Labelled units that a choice takes, of them with a fault and without."""

HEALTHY_WORDS = (HEALTHY, "nothing")
FAULT_WORD = "fault"

HEADINGS = ("container", "found", "run")

USED, AGAIN = "used", "said again"
NO_FOUND_WORD = "found is neither a cause, nor fault, healthy or nothing"
UNKNOWN = "container in none of the runs"
NO_SUCH_RUN = "container not in the run named"
SEVERAL_RUNS = "container in several runs and no run named"
TOO_POOR = "no chance of a fault: the log was too poor"
OUTSIDE = "outside its band at the end of the log: looked at whatever its chance"
CONTRADICTION = "said to have a fault and to have none"
"""What becomes of a label."""

BINS = (0.0, 0.1, 0.25, 0.5, 1.0)
"""Chances between which what was said is held against what came true."""


class LabelError(ValueError):
    """Labels or runs cannot be used; says what is wrong and what to do."""


@dataclass(frozen=True, slots=True)
class History:
    """Labels put to the runs.

    Attributes
    ----------
    labels
        ``line, container, found, run, outcome`` of every label, and for those of :data:`USED` ``group,
        chance_of_fault, faulty``.
    units
        ``run, group, container, chance_of_fault, hours_to_limit`` of every unit of the runs.
    runs
        Names.
    sha256
        Of the labels file.
    """

    labels: pl.DataFrame
    units: pl.DataFrame
    runs: tuple[str, ...]
    sha256: str

    @property
    def used(self) -> pl.DataFrame:
        """The labels that a choice rests on, one a unit."""
        return self.labels.filter(pl.col("outcome") == USED)


@dataclass(frozen=True, slots=True)
class Tuned:
    """A choice on a history: the thresholds, and minutes per 100 labelled units before and by them."""

    thresholds: Thresholds
    before: float
    after: float


def read_history(runs: Sequence[Path], labels: Path, catalogue: Catalogue) -> History:
    """Read finished runs and a file of labels, and put one to the other.

    Parameters
    ----------
    runs
        Folders that ``screen`` wrote.
    labels
        CSV with the headings ``container`` and ``found`` (a cause id, ``fault``, ``healthy`` or ``nothing``),
        and ``run`` (name of the run's folder) where a container is in several; other columns are not read.
    catalogue
        The causes that are known.

    Raises
    ------
    LabelError
        When a run or the file cannot be read.
    """
    names = [run.resolve().name for run in runs]
    for name in names:
        if names.count(name) > 1:
            raise LabelError(f"two runs are called {name}. Rename one, so that a label can name its run.")
    units = pl.concat(
        [_findings(run).with_columns(run=pl.lit(name)) for run, name in zip(runs, names, strict=True)]
    )
    try:
        table = read_table(labels, {name: (name,) for name in HEADINGS}, HEADINGS[:2])
    except TableError as error:
        raise LabelError(str(error)) from error
    digest = hashlib.sha256(labels.read_bytes()).hexdigest()
    return History(put_to(table, units, catalogue), units, tuple(names), digest)


def _findings(run: Path) -> pl.DataFrame:
    columns = ("container", "group", "chance_of_fault", "hours_to_limit")
    kinds = pl.Schema({column.name: column.dtype for column in FINDINGS.columns if column.name in columns})
    try:
        return pl.read_parquet(run / "findings.parquet", columns=list(columns)).cast(kinds)
    except (OSError, pl.exceptions.PolarsError) as error:
        raise LabelError(
            f"{run} holds no finished run with findings. Name the folder given to screen --out."
        ) from error


def put_to(labels: pl.DataFrame, units: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """Labels with the finding each belongs to, and what becomes of it.

    Parameters
    ----------
    labels
        ``line, container, found, run``.
    units
        ``run, container, group, chance_of_fault, hours_to_limit``.
    catalogue
        The causes that are known.

    Returns
    -------
    polars.DataFrame
        As :attr:`History.labels`, in the order of the lines.
    """
    faults = [FAULT_WORD, OTHER, SEVERAL, *catalogue.causes]
    unit = ("run", "container")
    word = pl.col("found").str.to_lowercase().str.replace_all(r"[\s-]+", "_")
    aboard = units.group_by("container").agg(pl.col("run").sort().alias("runs"))
    joined = (
        labels.with_columns(
            pl.col("container").map_elements(tidy, return_dtype=pl.String),
            faulty=pl.when(word.is_in(faults)).then(True).when(word.is_in(HEALTHY_WORDS)).then(False),
        )
        .join(aboard, on="container", how="left")
        .with_columns(
            run=pl.coalesce("run", pl.when(pl.col("runs").list.len() == 1).then(pl.col("runs").list.first()))
        )
        .join(units, on=unit, how="left")
        .sort("line")
        .with_columns(
            outcome=pl.when(pl.col("runs").is_null())
            .then(pl.lit(UNKNOWN))
            .when(pl.col("faulty").is_null())
            .then(pl.lit(NO_FOUND_WORD))
            .when(pl.col("run").is_null())
            .then(pl.lit(SEVERAL_RUNS))
            .when(pl.col("group").is_null())
            .then(pl.lit(NO_SUCH_RUN))
            .when(pl.col("chance_of_fault").is_null())
            .then(pl.lit(TOO_POOR))
            .when(~decided_by_chance())
            .then(pl.lit(OUTSIDE))
            .otherwise(pl.lit(USED))
        )
    )
    # Only labels that could be used speak for or against each other.
    usable = pl.col("outcome") == USED
    said = pl.col("faulty").n_unique().over(*unit, "outcome")
    earlier = pl.col("line").cum_count().over(*unit, "outcome") > 1
    return joined.with_columns(
        outcome=pl.when(usable & (said > 1))
        .then(pl.lit(CONTRADICTION))
        .when(usable & earlier)
        .then(pl.lit(AGAIN))
        .otherwise("outcome")
    ).select("line", *HEADINGS, "outcome", "group", "chance_of_fault", "faulty")


def tune(history: History, costs: Costs) -> Tuned:
    """Choose thresholds on a labelled history.

    Parameters
    ----------
    history
        From :func:`read_history`.
    costs
        Of the groups.

    Returns
    -------
    Tuned
        Costs are of the labels that the choice was made on, so the new one flatters itself a little.

    Raises
    ------
    LabelError
        When there are too few labels; says how many more are needed.
    """
    used = history.used
    faults = int(used["faulty"].sum())
    lacking = [
        f"{least - count} more {words}"
        for words, count, least in (
            ("labelled units", used.height, LEAST_UNITS),
            ("with a fault", faults, LEAST_FAULTS),
            ("that were healthy", used.height - faults, LEAST_HEALTHY),
        )
        if count < least
    ]
    if lacking:
        raise LabelError(
            f"{used.height} usable labels, {faults} of them with a fault, are too few to choose thresholds. "
            f"Needed: {', '.join(lacking)}. Label more units, or name more runs."
        )
    chances, faulty = used["chance_of_fault"].to_numpy(), used["faulty"].cast(pl.Float64).to_numpy()
    thresholds = choose(chances, np.ones(used.height), faulty, costs)
    group = used["group"].cast(pl.String).to_numpy()
    before = cost_of_groups(np.isin(group, GROUPS[:2]), group == "watch", faulty, costs)
    after = cost_of_groups(chances >= thresholds.this_round, chances >= thresholds.watch, faulty, costs)
    provenance = Provenance(
        chosen_by="coldsift tune",
        data="labelled history",
        runs=history.runs,
        units=used.height,
        faults=faults,
        labels_sha256=history.sha256,
        coldsift=coldsift.__version__,
    )
    return Tuned(
        replace(thresholds, provenance=provenance), 100 * float(before.mean()), 100 * float(after.mean())
    )


def labelled_by_group(history: History) -> list[tuple[str, int, int]]:
    """Group, labels used, and units of the runs in it."""
    labelled = history.used["group"].cast(pl.String).to_list()
    aboard = history.units["group"].cast(pl.String).to_list()
    return [(group, labelled.count(group), aboard.count(group)) for group in GROUPS if group in aboard]


def came_true(used: pl.DataFrame) -> list[tuple[float, float, float, float, int]]:
    """Lower and upper chance, mean said, share come true, and number of units, of every bin with any."""
    rows = []
    for low, high in pairwise(BINS):
        chance = pl.col("chance_of_fault")
        held = used.filter(chance >= low, (chance < high) | (high == BINS[-1]))
        if held.height:
            said, true = held.select(chance.mean(), pl.col("faulty").cast(pl.Float64).mean()).row(0)
            rows.append((low, high, said, true, held.height))
    return rows


def write_thresholds(thresholds: Thresholds, out: Path) -> None:
    """Write a thresholds file whole, or leave what was there.

    Raises
    ------
    LabelError
        When the place cannot be written, or holds a file that is no thresholds file.
    """
    if out.exists():
        try:
            load_thresholds(out)
        except ThresholdsError as error:
            raise LabelError(
                f"{out} exists and holds no thresholds. Name another file with --out."
            ) from error
    part: str | None = None
    try:
        handle, part = tempfile.mkstemp(prefix=f".{out.name}.", suffix=".part", dir=out.parent)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(to_toml(thresholds))
            file.flush()
            os.fsync(file.fileno())
        Path(part).chmod(0o644)
        Path(part).replace(out)
    except OSError as error:
        if part:
            Path(part).unlink(missing_ok=True)
        raise LabelError(f"{out} cannot be written: {error.strerror}. Name another with --out.") from error
