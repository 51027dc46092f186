"""Whatever a file holds, it is read or refused with a message; and every case that once failed is kept."""

from __future__ import annotations

import os
import socket
import tomllib
from pathlib import Path
from typing import Any

import pytest
from benchmarks.robustness.fuzz import SEED, intake_faults, measure, tried
from benchmarks.robustness.mutator import BYTES, PAPERS, SPECIALS, Case, make, samples

from coldsift.engine import VoyageFiles
from coldsift.engine.papers import read_voyage
from coldsift.intake import Intake, read_logs
from coldsift.intake.records import LONGEST
from coldsift.voyage import FactsError, TableError

KEPT = Path(__file__).parent / "fuzz_cases"
EXPECTED: dict[str, dict[str, Any]] = tomllib.loads((KEPT / "expected.toml").read_text(encoding="utf-8"))
CASES = 1000


def test_spoilt_files_are_read_or_refused_with_a_message(tmp_path: Path) -> None:
    outcome = measure(tmp_path, CASES, workers=1, screened=0)
    assert outcome["failed"] == []
    assert outcome["cases"] == CASES == outcome["read"] + outcome["refused"]
    # A mutator that spoils nothing, or everything, would prove nothing.
    assert 0.3 < outcome["read"] / CASES < 0.8
    assert {f"{mutation.__name__}" for mutation in BYTES} <= set(outcome["mutations"])
    assert {sample.kind for sample in samples()} <= set(outcome["kinds"])


def test_a_case_is_made_again_by_its_number(tmp_path: Path) -> None:
    for number in range(40):
        made = []
        for once in ("one", "two"):
            folder = tmp_path / f"{number} {once}"
            folder.mkdir()
            case = make(number, SEED, folder)
            files = sorted(path for path in folder.rglob("*") if path.is_file() and not path.is_symlink())
            made.append((case.mutations, [(path.name, path.read_bytes()) for path in files]))
        assert made[0] == made[1]


@pytest.mark.parametrize(
    "special", [special for special, _ in SPECIALS], ids=lambda special: special.__name__
)
def test_what_is_no_plain_file_is_read_or_refused_with_a_message(tmp_path: Path, special: Any) -> None:
    import numpy as np

    special(np.random.default_rng(5), tmp_path)
    faults, _ = tried(Case(0, "special", (), (tmp_path,)))
    assert faults == []


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_what_once_failed_is_read_or_refused(name: str) -> None:
    """``expected.toml`` says what must come of each file, and what came of it once."""
    expected, path = EXPECTED[name], KEPT / name
    option = expected.get("paper")
    if option:
        files = VoyageFiles(**{option: path})
        if "refused" in expected:
            with pytest.raises((TableError, FactsError), match=expected["refused"]) as caught:
                read_voyage(files)
            assert len(str(caught.value)) <= LONGEST
        else:
            assert getattr(read_voyage(files), option).height == expected["rows"]
        return
    intake = read_logs([path])
    assert intake_faults(intake) == []
    assert intake.log.height == expected["rows"]
    if "told" in expected:
        assert any(expected["told"] in str(message) for message in intake.messages), intake.messages


def test_every_kept_case_says_what_must_come_of_it() -> None:
    assert {path.name for path in KEPT.iterdir()} == {*EXPECTED, "expected.toml"}
    assert all(path.stat().st_size < 8192 for path in KEPT.iterdir() if path.name != "expected.toml")


def _error(intake: Intake) -> str:
    (message,) = (message for message in intake.messages if message.severity == "error")
    assert message.do
    return message.what


def test_a_pipe_a_socket_and_a_device_are_never_waited_for(tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.chdir(tmp_path)
    os.mkfifo("pipe.csv")
    with socket.socket(socket.AF_UNIX) as made:
        made.bind("socket.csv")
    (tmp_path / "device.csv").symlink_to("/dev/zero")
    for name in ("pipe.csv", "device.csv"):
        assert "a pipe, a device or a socket" in _error(read_logs([name]))
    assert _error(read_logs(["socket.csv"]))
    with pytest.raises(TableError, match="a pipe, a device or a socket"):
        read_voyage(VoyageFiles(plan=Path("pipe.csv")))
    with pytest.raises(FactsError, match="a pipe, a device or a socket"):
        read_voyage(VoyageFiles(facts=Path("pipe.csv")))


def test_links_are_followed_to_files_and_not_into_folders(tmp_path: Path) -> None:
    inside, outside = tmp_path / "logs", tmp_path / "outside"
    inside.mkdir()
    outside.mkdir()
    sound = next(sample.data for sample in samples() if sample.name == "sample.csv")
    (outside / "log.csv").write_bytes(sound)
    (inside / "link.csv").symlink_to(outside / "log.csv")
    (inside / "folder").symlink_to(outside)
    (inside / "round").symlink_to(inside)
    (inside / "loop.csv").symlink_to("loop.csv")
    intake = read_logs([inside])
    assert [source.path for source in intake.sources] == ["link.csv"]
    assert {message.file for message in intake.messages if "a link to a folder" in message.what} == {
        "folder",
        "round",
    }
    assert any(message.file == "loop.csv" and message.severity == "error" for message in intake.messages)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_table_kept_by_hand_is_read_in_the_encoding_that_it_has(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "bookings.csv"
    path.write_bytes("container,set point (°C),cargo\nCSQU3054383,-18,Äpfel\n".encode(encoding))
    bookings = read_voyage(VoyageFiles(bookings=path)).bookings
    assert bookings.select("set_point", "cargo").row(0) == (-18.0, "Äpfel")


@pytest.mark.parametrize("encoding", ["cp1251", "iso8859-2", "shift_jis"])
def test_a_table_in_an_encoding_that_cannot_be_told_is_refused(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "bookings.csv"
    text = "container,set point (°C),cargo\nCSQU3054383,-18,Łódź яблоки 林檎林檎\n"
    path.write_bytes(text.encode(encoding, "ignore") + b"\x81")
    with pytest.raises(TableError, match="Save it as CSV in UTF-8"):
        read_voyage(VoyageFiles(bookings=path))


def test_a_plan_given_as_bookings_is_told_apart(tmp_path: Path) -> None:
    path = tmp_path / "plan.csv"
    path.write_text("container,position,set point (°C)\nCSQU3054383,0210482,-18\n", encoding="utf-8")
    with pytest.raises(TableError, match=r"is a stowage plan.*Give it with --plan"):
        read_voyage(VoyageFiles(bookings=path))
    assert set(PAPERS.values()) == {"plan", "bookings", "events", "notes", "spares", "facts"}
