"""What is timed inside a process of its own: ``python -m benchmarks.speed.subjects NAME FOLDER …``.

Each subject gets folders of CSV files, makes ready, and returns the work. Printed, as JSON: the seconds of
the work on the clock (``wall``) and on all cores (``cpu``), without the start of Python and the import of the
library, and what the work has to tell.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from time import perf_counter

from benchmarks.speed.sizes import csv_files

Said = dict[str, float]
Work = Callable[[], Said]


def polars_read(folders: list[Path]) -> Work:
    """Every file by ``polars.read_csv``, one by one; nothing is kept."""
    import polars as pl

    return lambda: {"rows": sum(len(pl.read_csv(path)) for path in csv_files(folders))}


def pyarrow_read(folders: list[Path]) -> Work:
    """Every file by ``pyarrow.csv.read_csv``, one by one; nothing is kept."""
    from pyarrow import csv

    return lambda: {"rows": sum(csv.read_csv(path).num_rows for path in csv_files(folders))}


def intake(folders: list[Path]) -> Work:
    """Files to common log and the account of every line, in the memory of one process."""
    from coldsift.intake import read_logs

    return lambda: {"rows": len(read_logs(folders).log)}


def features(folders: list[Path]) -> Work:
    """Features of every unit, from a timeline that stands in memory."""
    from coldsift.features import unit_features, with_saturation
    from coldsift.intake import read_logs
    from coldsift.regimes import (
        build_timeline,
        find_defrosts,
        find_voyage_events,
        mark_shared,
        regime_intervals,
    )

    timeline = build_timeline(read_logs(folders).log)
    timeline = mark_shared(timeline, find_voyage_events(regime_intervals(timeline)))
    defrosts = find_defrosts(timeline)

    def work() -> Said:
        found = unit_features(with_saturation(timeline), defrosts)
        return {"features": found.drop_nulls("value")["feature"].n_unique()}

    return work


def features_by_hand(folders: list[Path]) -> Work:
    """The pandas script's features, likewise."""
    from benchmarks.speed import by_hand

    log = by_hand.with_regimes(by_hand.read(csv_files(folders)))
    defrosts = by_hand.defrosts_of(log)
    return lambda: {"features": int(by_hand.features_of(log, defrosts).notna().any().sum())}


def tsfresh_one(folders: list[Path]) -> Work:
    """Minimal features of tsfresh, in one process."""
    return _tsfresh(folders, jobs=1)


def tsfresh_two(folders: list[Path]) -> Work:
    """Minimal features of tsfresh, in two processes."""
    return _tsfresh(folders, jobs=2)


def _tsfresh(folders: list[Path], jobs: int) -> Work:
    """Features of every number that the files hold, without regimes; from a frame in memory."""
    from tsfresh import extract_features
    from tsfresh.feature_extraction import MinimalFCParameters

    from benchmarks.speed import by_hand

    log = by_hand.read(csv_files(folders))[["container", "time", *by_hand.NUMBERS.values()]]
    log = log.astype({"container": "str"}).ffill().bfill()

    def work() -> Said:
        found = extract_features(
            log,
            column_id="container",
            column_sort="time",
            default_fc_parameters=MinimalFCParameters(),
            n_jobs=jobs,
            disable_progressbar=True,
        )
        return {"features": found.shape[1]}

    return work


def stages(folders: list[Path]) -> Work:
    """A whole screening in this one process, stage by stage."""
    import tempfile

    from benchmarks.speed.stages import seconds_by_stage
    from coldsift.engine import screen, write_outputs

    def work() -> Said:
        with tempfile.TemporaryDirectory() as out:
            return seconds_by_stage(lambda: write_outputs(screen(folders), Path(out) / "run", "Voyage"))

    return work


SUBJECTS: Mapping[str, Callable[[list[Path]], Work]] = {
    "polars": polars_read,
    "pyarrow": pyarrow_read,
    "intake": intake,
    "features": features,
    "features_by_hand": features_by_hand,
    "tsfresh_one": tsfresh_one,
    "tsfresh_two": tsfresh_two,
    "stages": stages,
}


def timed(work: Work) -> Said:
    """Do the work; its seconds are beside what it says."""
    began, used = perf_counter(), os.times()
    said = work()
    wall, now = perf_counter() - began, os.times()
    return {"wall": wall, "cpu": sum(now[:4]) - sum(used[:4]), **said}


if __name__ == "__main__":
    print(json.dumps(timed(SUBJECTS[sys.argv[1]]([Path(name) for name in sys.argv[2:]]))))
