"""The same files given in other orders, by other paths, in other folders or packed: nothing counts twice."""

from __future__ import annotations

import os
import zipfile
from collections.abc import Callable
from itertools import combinations, permutations
from pathlib import Path

import pytest
from benchmarks.robustness.books import fingerprint
from intake_frames import UNITS, assert_accounted, invented_log

from coldsift.engine import screen, write_outputs
from coldsift.intake import read_logs
from coldsift.simulate.layouts import write_logs


def a_log(folder: Path, name: str = "log.csv", layout: str = "comma_iso") -> Path:
    (path,) = write_logs(invented_log(units=1, rows=10), folder, {UNITS[0]: layout})
    return path.rename(folder / name)


WAYS: dict[str, Callable[[Path], Path | str]] = {
    "path": lambda path: path,
    "through its folder": lambda path: path.parent / "folder" / ".." / path.name,
    "relative": os.path.relpath,
    "link": lambda path: path.parent / "link.csv",
    "address": lambda path: path.as_uri(),
    "address of the link": lambda path: f"file://{path.parent}/link.csv",
    "folder": lambda path: path.parent,
    "folder above": lambda path: path.parent.parent,
    "pattern": lambda path: f"{path.parent}/l*.csv",
}


@pytest.mark.parametrize(("one", "other"), list(combinations(WAYS, 2)))
def test_a_file_given_in_two_ways_is_read_once_and_named_alike(tmp_path: Path, one: str, other: str) -> None:
    path = a_log(tmp_path / "voyage")
    (path.parent / "folder").mkdir()
    (path.parent / "link.csv").symlink_to(path)
    forth, back = ([WAYS[way](path) for way in order] for order in ((one, other), (other, one)))
    intake = read_logs(forth)
    assert len(intake.sources) == 1
    assert intake.sources[0].merged == 0
    assert fingerprint(read_logs(back)) == fingerprint(intake)


def test_files_of_one_name_in_several_folders_are_told_apart_in_any_order(tmp_path: Path) -> None:
    for folder in ("a", "a/b", "c"):
        a_log(tmp_path / folder)
    places = [tmp_path / "a" / "b" / "log.csv", tmp_path / "c", tmp_path]
    known = read_logs(places)
    assert_accounted(known)
    assert len({source.path for source in known.sources}) == 3
    assert [source.merged for source in known.sources] == [0, 10, 10]
    for order in permutations(places):
        assert fingerprint(read_logs(order)) == fingerprint(known)


def test_a_path_as_given_that_reads_like_another_files_name_is_no_cause_of_mistake(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_log(tmp_path / "here" / "x")
    a_log(tmp_path / "here" / "y")
    a_log(tmp_path / "there" / "x")
    monkeypatch.chdir(tmp_path / "here")
    # Seen from here x/log.csv is one file, and in the folder there it is another.
    for order in permutations(["x/log.csv", "y/log.csv", "../there"]):
        intake = read_logs(order)
        assert len({source.path for source in intake.sources}) == 3


def test_a_log_plain_and_packed_is_merged_with_itself(tmp_path: Path) -> None:
    path = a_log(tmp_path, "log.csv")
    write_logs(invented_log(units=1, rows=10), tmp_path, {UNITS[0]: "comma_iso+gzip"})
    with zipfile.ZipFile(tmp_path / "logs.zip", "w") as archive:
        archive.write(path, "log.csv")
        archive.write(path, "again/log.csv")
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert [source.used for source in intake.sources] == [10, 0, 0, 0]
    assert [source.merged for source in intake.sources] == [0, 10, 10, 10]
    assert intake.set_aside.is_empty()
    assert len({source.id for source in intake.sources}) == 4


def test_a_file_named_itself_is_not_said_to_be_left_out(tmp_path: Path) -> None:
    named = a_log(tmp_path, "log.json", "json_lines")
    for order in permutations([named, tmp_path]):
        intake = read_logs(order)
        assert len(intake.sources) == 1
        assert intake.log.height == 10
        assert intake.messages == ()


@pytest.fixture(scope="module")
def voyage(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """A small voyage, with a file that repeats another and one at odds with it."""
    folder = tmp_path_factory.mktemp("voyage")
    layouts = ("comma_iso+split", "tag_value", "plain_words+zip")
    log = invented_log(units=3, rows=72, minutes=60)
    first, *others = write_logs(log, folder, dict(zip(UNITS, layouts, strict=False)))
    repeated = folder / "copy.csv"
    repeated.write_bytes(first.read_bytes())
    spoiled = folder / "spoiled.csv"
    spoiled.write_bytes(first.read_bytes().replace(b",1,", b",0,") + b"# end of page\n")
    return [first, *others, repeated, spoiled]


def test_the_order_of_paths_changes_no_byte_of_any_output(voyage: list[Path], tmp_path: Path) -> None:
    outputs = []
    for place, paths in enumerate((voyage, voyage[::-1], [voyage[0].parent])):
        out = tmp_path / str(place)
        found = screen(paths)
        write_outputs(found, out, "Voyage")
        outputs.append(
            {path.relative_to(out): path.read_bytes() for path in out.rglob("*") if path.is_file()}
        )
    assert found.set_aside.height > 1
    assert len(outputs[0]) > 10
    for other in outputs[1:]:
        assert other.keys() == outputs[0].keys()
        assert [name for name in other if other[name] != outputs[0][name]] == []
