"""Whatever ends an add, and however many add at once: a voyage is kept whole or not at all."""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

import polars as pl
import pytest
from tests.archive.voyages import finished_run

from coldsift.archive import CATALOGUE, ArchiveError, add_run, part, query, read_voyages
from coldsift.archive import add as adding
from coldsift.archive.lock import one_writer

pytestmark = pytest.mark.usefixtures("catalogue")

KILLS = 6
ADDS_BEFORE = 3
"""As many adds as a killed process has made at most, about."""

MARKED = {
    "findings": "oddness",
    "unit_days": "air_middle",
    "causes": "cause_chance",
    "common_log": "supply_air",
}
"""Columns that tell which run a table is of."""

ADD_FOR_EVER = """
import sys
from pathlib import Path
from coldsift.archive import add_run
archive, *runs = map(Path, sys.argv[1:])
print("ready", flush=True)
while True:
    for run in runs:
        add_run(run, archive, "the same name" if run.name.startswith("same") else None, replace=True)
"""

ADD_ALL = """
import sys
from pathlib import Path
from coldsift.archive import add_run
archive, *runs = map(Path, sys.argv[1:])
sys.stdin.readline()
for run in runs:
    add_run(run, archive)
"""


class Stopped(BaseException):
    """As sudden as a power cut: nothing in coldsift catches it."""


def started(code: str, *arguments: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def assert_whole(archive: Path) -> dict[str, float]:
    """Every voyage listed has all its tables, and all of one run; gives the mark of each, by name."""
    marks = {}
    for voyage in read_voyages(archive).iter_rows(named=True):
        for table in voyage["tables"]:
            frame = pl.read_parquet(part(archive, table, voyage["voyage"], voyage["run"]))
            if table == "findings":
                assert frame.height == voyage["units"]
            if table in MARKED:
                (mark,) = frame[MARKED[table]].unique()
                assert marks.setdefault(voyage["name"], mark) == mark
    with query(
        archive, "SELECT name, count(*) FROM voyages JOIN findings USING (voyage) GROUP BY name"
    ) as answer:
        assert {name for name, _ in answer.rows} == marks.keys()
    return marks


def assert_no_leftovers(archive: Path) -> None:
    voyages = read_voyages(archive)
    counted = {
        part(archive, table, voyage["voyage"], voyage["run"])
        for voyage in voyages.iter_rows(named=True)
        for table in voyage["tables"]
    }
    there = {path for path in archive.rglob("*") if path.is_file()}
    assert there - counted == {archive / name for name in (".lock", "voyages.parquet", CATALOGUE)}


def test_a_killed_add_leaves_the_archive_readable(tmp_path: Path) -> None:
    archive = tmp_path / "archive"
    runs = [
        finished_run(tmp_path / "same 1", mark=1),
        finished_run(tmp_path / "same 2", mark=2),
        finished_run(tmp_path / "longer", days=10, mark=3, sources=["longer"]),
    ]
    other = finished_run(tmp_path / "other", "2030-01-01", mark=9)
    add_run(other, archive)
    begun = time.monotonic()
    for run in runs:
        add_run(run, tmp_path / "timed", replace=True)
    longest = ADDS_BEFORE / len(runs) * (time.monotonic() - begun)
    chance = random.Random(7)
    seen = set()
    for kill in range(KILLS):
        adder = started(ADD_FOR_EVER, archive, *runs)
        assert adder.stdout
        assert adder.stdout.readline() == "ready\n"
        # Early and late ones alike.
        time.sleep((kill + chance.random()) / KILLS * longest)
        adder.kill()
        adder.communicate()
        marks = assert_whole(archive)
        assert marks["other"] == 9
        assert len(marks) <= 2
        seen.add(frozenset(marks.items()))
    assert len(seen) > 1, "the kills came too early to tell anything"
    add_run(runs[0], archive, "at last", replace=True)
    assert assert_whole(archive) == {"other": 9, "at last": 1}
    assert_no_leftovers(archive)


def test_an_add_stopped_after_any_of_its_steps_was_made_or_was_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = finished_run(tmp_path / "old", mark=1)
    new = finished_run(tmp_path / "new", days=10, mark=2, sources=["new"])
    put = adding._put
    outcomes = []
    add_run(old, tmp_path / "with old")
    for steps in range(100):
        archive = tmp_path / f"archive {steps}"
        shutil.copytree(tmp_path / "with old", archive)
        left = iter(range(steps))

        def put_so_many(source: Path, target: Path, left: object = left) -> None:
            if next(left, None) is None:  # type: ignore[call-overload]
                raise Stopped
            put(source, target)

        monkeypatch.setattr(adding, "_put", put_so_many)
        try:
            add_run(new, archive, replace=True)
        except Stopped:
            outcomes.append(assert_whole(archive))
        else:
            assert assert_whole(archive) == {"new": 2}
            break
        finally:
            monkeypatch.setattr(adding, "_put", put)
        assert add_run(new, archive, replace=True).replaced == ("old",)
        assert assert_whole(archive) == {"new": 2}
        assert_no_leftovers(archive)
    assert len(outcomes) > len(MARKED)
    assert all(outcome == {"old": 1} for outcome in outcomes), "the last step is the one that counts"


def test_an_archive_whose_first_add_was_stopped_can_be_begun_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = tmp_path / "archive"
    run = finished_run(tmp_path / "run")

    def stop(*_: object) -> None:
        raise Stopped

    for step in ("_write_synced", "_put", "_stage"):
        with monkeypatch.context() as patch, pytest.raises(Stopped):
            patch.setattr(adding, step, stop)
            add_run(run, archive)
    assert add_run(run, archive).outcome == "added"
    assert_no_leftovers(archive)


def test_processes_that_add_at_once_lose_nothing(tmp_path: Path) -> None:
    archive = tmp_path / "archive"
    runs = [
        finished_run(tmp_path / f"run {number}", f"203{number}-01-01", mark=number) for number in range(4)
    ]
    shared = finished_run(tmp_path / "shared", "2045-01-01", mark=45)
    adders = [started(ADD_ALL, archive, shared, *runs[first::2], shared) for first in (0, 1)]
    for adder in adders:
        assert adder.stdin
        adder.stdin.write("go\n")
        adder.stdin.flush()
    for adder in adders:
        adder.communicate(timeout=60)
        assert adder.returncode == 0
    assert assert_whole(archive) == {"shared": 45, **{f"run {number}": number for number in range(4)}}
    assert_no_leftovers(archive)


def test_an_add_waits_for_another_and_says_so(tmp_path: Path) -> None:
    archive = tmp_path / "archive"
    archive.mkdir()
    told: list[str] = []
    with (
        one_writer(archive),
        pytest.raises(ArchiveError, match="is being written by another coldsift"),
        one_writer(archive, lambda: told.append("waiting"), patience=0.2),
    ):
        pass
    with one_writer(archive, lambda: told.append("waiting again")):
        pass
    assert told == ["waiting"]


def test_a_run_that_is_written_anew_meanwhile_is_not_mixed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = tmp_path / "archive"
    run = finished_run(tmp_path / "run")
    stage = adding._stage

    def screened_meanwhile(*arguments: object) -> None:
        stage(*arguments)  # type: ignore[arg-type]
        manifest = run / "manifest.json"
        manifest.write_text(manifest.read_text("utf-8").replace("0.1.0", "0.2.0"), "utf-8")

    monkeypatch.setattr(adding, "_stage", screened_meanwhile)
    with pytest.raises(ArchiveError, match="changed while it was read"):
        add_run(run, archive)
    assert read_voyages(archive).is_empty()


def test_a_full_disk_leaves_the_archive_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = tmp_path / "archive"
    add_run(finished_run(tmp_path / "old", mark=1), archive)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch, pytest.raises(ArchiveError, match="No space left on device"):
        patch.setattr(adding, "_sync", full)
        add_run(finished_run(tmp_path / "new", "2031-05-01"), archive)
    assert assert_whole(archive) == {"old": 1}
