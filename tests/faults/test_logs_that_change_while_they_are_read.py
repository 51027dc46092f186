"""A log that changes under the reader's eyes: one state of it is told of, or none, and its name is said."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from coldsift.engine import OutputError, Settings, VoyageFiles, screen, write_outputs
from coldsift.engine.inputs import copy_inputs
from coldsift.intake import files, read_logs
from coldsift.intake.files import gather, load
from coldsift.intake.records import Message


def grows(path: Path) -> None:
    with path.open("ab") as file:
        file.write(path.read_bytes().splitlines(keepends=True)[-1])


def shrinks(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-40])


def is_replaced(path: Path) -> None:
    other = path.with_suffix(".new")
    other.write_bytes(path.read_bytes()[:-1] + b"\n")
    other.replace(path)


CHANGES = [grows, shrinks, is_replaced, Path.unlink]


def after_reading(change: Callable[[Path], object], times: int) -> Callable[..., bytes]:
    """Reads as ever; so many times the file changes at once after its bytes were taken."""
    left = [times]
    regular = files.read_regular

    def read(path: Path, *arguments: int) -> bytes:
        content = regular(path, *arguments)
        if left[0] > 0 and path.suffix == ".csv":
            left[0] -= 1
            change(path)
        return content

    return read


@pytest.mark.parametrize("change", CHANGES[:3])
def test_a_log_that_changes_once_while_it_is_read_is_read_again(
    logs: Path, monkeypatch: pytest.MonkeyPatch, change: Callable[[Path], object]
) -> None:
    monkeypatch.setattr(files, "read_regular", after_reading(change, 1))
    read = read_logs([logs])
    for source in read.sources:
        assert source.sha256 == hashlib.sha256((logs / source.path).read_bytes()).hexdigest()
    assert not [message for message in read.messages if "read" in message.what]


def test_a_log_that_never_stands_still_is_left_out_and_named(
    logs: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "read_regular", after_reading(grows, 3))
    (first, *_), _ = gather([logs])
    message = load(first)
    assert isinstance(message, Message)
    assert message.file == first.shown
    assert "changed while it was read" in message.what


@pytest.mark.parametrize("change", CHANGES)
def test_a_log_that_changes_later_is_told_of_as_it_was_and_named(
    logs: Path, monkeypatch: pytest.MonkeyPatch, change: Callable[[Path], object]
) -> None:
    held = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in logs.iterdir()}
    first = min(held)
    opened = files.open_file

    def changed_now(found: files.Found, stored: bytes) -> object:
        if found.name == first:
            change(logs / first)
        return opened(found, stored)

    monkeypatch.setattr("coldsift.intake.read.open_file", changed_now)
    read = read_logs([logs])
    assert {source.path: source.sha256 for source in read.sources} == held
    (message,) = (each for each in read.messages if each.file == first)
    assert "after it was read" in message.what


def test_a_log_that_goes_away_before_it_is_read_is_named(logs: Path) -> None:
    (first, *_), _ = gather([logs])
    assert isinstance(first.path, Path)
    first.path.unlink()
    message = load(first)
    assert isinstance(message, Message)
    assert message.file == first.shown


def test_outputs_are_not_written_of_a_paper_that_changed_meanwhile(logs: Path, tmp_path: Path) -> None:
    facts = tmp_path / "facts.toml"
    facts.write_text("", encoding="utf-8")
    screening = screen([logs], Settings(voyage=VoyageFiles(facts=facts)))
    copy_inputs(screening.settings, tmp_path / "copies")
    facts.write_text("# other\n", encoding="utf-8")
    with pytest.raises(OutputError, match=r"facts\.toml was changed after it was read"):
        write_outputs(screening, tmp_path / "out", "Voyage")
    assert not (tmp_path / "out").exists()


def test_outputs_that_lie_among_the_logs_are_no_logs(logs: Path, tmp_path: Path) -> None:
    before = read_logs([logs]).sources
    run = logs / "reports" / "out" / "manifest.json"
    run.parent.mkdir(parents=True)
    run.write_text('{"tool": "coldsift"}', encoding="utf-8")
    (run.parent / "findings.csv").write_text("container;why\nA;b\n", encoding="utf-8")
    bundle = logs / "dossier" / "bundle"
    bundle.mkdir(parents=True)
    (bundle / "dossier.json").write_text(json.dumps({"versions": {"coldsift": "0.1.0"}}), encoding="utf-8")
    (bundle / "table.csv").write_text("a;b\n1;2\n", encoding="utf-8")
    read = read_logs([logs])
    assert [source.path for source in read.sources] == [source.path for source in before]
    left_out = sorted(message.file for message in read.messages if "coldsift wrote" in message.what)
    assert left_out == ["dossier/bundle", "reports/out"]
    assert [message.severity for message in read.messages] == ["note"] * len(read.messages)
    remote = gather([logs.as_uri()])
    assert [Path(found.shown).name for found in remote[0]] == [source.path for source in before]
    archive = tmp_path / "archive"
    archive.mkdir()
    for name in (".lock", "voyages.parquet"):
        (archive / name).touch()
    assert not gather([archive])[0]
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "manifest.json").write_text('{"name": "a web page"}', encoding="utf-8")
    (tmp_path / "own" / "log.csv").write_bytes(next(logs.glob("*.csv")).read_bytes())
    assert len(read_logs([tmp_path / "own"]).sources) == 1
