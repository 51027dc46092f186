"""The dossier command as a user types it."""

from __future__ import annotations

import base64
import json
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.calls import run
from tests.cli.test_commands import GOOD, SAMPLE

FAILED = "ZZRU4314001"


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dossier")
    (folder / "log.csv").write_text(GOOD, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        without_printing(patch)
        done = run("dossier", "QXAU0000016", folder / "log.csv", "--out", folder / "out")
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def without_printing(patch: pytest.MonkeyPatch) -> None:
    """Printing takes most of the time, and other tests are about it."""
    patch.setenv("COLDSIFT_BROWSER", "/none")


def test_a_dossier_answers_on_the_terminal_and_says_where_it_is(tmp_path: Path) -> None:
    papers = ("--events", SAMPLE / "custody.csv", "--facts", SAMPLE / "facts.toml")
    notes = ("--notes", SAMPLE / "notes.csv")
    logs = (SAMPLE / f"{FAILED}.xlsx", SAMPLE / "QXAU4313976.csv", SAMPLE / "XQTU4234768.csv")
    done = run("dossier", FAILED, *logs, *papers, *notes, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "What happened, and when?" in done.stdout
    assert "In whose custody?" in done.stdout
    assert str(tmp_path / "out" / "index.html") in done.stdout
    assert "\x1b" not in done.stdout + done.stderr
    pages = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"index.html", "bundle"} <= pages
    printed = {"dossier_a4.pdf", "dossier_letter.pdf"}
    assert printed <= pages or "No PDF" in done.stdout


def test_a_log_alone_makes_a_dossier_and_verifies(written: Path) -> None:
    done = run("dossier", "--verify", written / "out", written / "log.csv")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "none differs" in done.stdout


def test_a_source_that_was_changed_is_status_one(written: Path, tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(GOOD.replace("-19.1", "-19.0", 1), encoding="utf-8")
    done = run("dossier", "--verify", written / "out" / "bundle", tmp_path / "log.csv")
    assert done.returncode == 1
    assert "First difference: source log.csv" in done.stdout


def test_verify_takes_nothing_that_the_bundle_holds_itself(written: Path, tmp_path: Path) -> None:
    log = written / "log.csv"
    done = run("dossier", "--verify", written / "out", log, "--facts", tmp_path / "none.toml", "--band", 3)
    assert (done.returncode, done.stdout) == (2, "")
    assert "Leave out --facts, --band: the bundle is reckoned again with what it holds." in done.stderr
    nowhere = run("dossier", "--verify", tmp_path, log)
    assert nowhere.returncode == 2
    assert "holds no dossier.json" in nowhere.stderr


def test_verify_says_what_it_could_not_read(written: Path) -> None:
    done = run("dossier", "--verify", written / "out", "QXAU0000017", written / "log.csv")
    assert "note: error: QXAU0000017: No such file" in done.stderr


@pytest.mark.parametrize("zone", ["Nowhere", "europe/nowhere"])
def test_a_zone_that_is_none_is_told_before_the_papers_are_read(tmp_path: Path, zone: str) -> None:
    (tmp_path / "log.csv").write_text(GOOD, encoding="utf-8")
    (tmp_path / "notes.csv").write_text(
        "container,time,observation\nQXAU0000016,2026-01-01 06:00,warm\n", encoding="utf-8"
    )
    for call in (("screen",), ("dossier", "QXAU0000016", "--from", "2026-01-01 06:00")):
        done = run(*call, "log.csv", "--notes", "notes.csv", "--time-zone", zone, cwd=tmp_path)
        assert done.returncode == 2
        assert f"{zone!r} is no time zone" in done.stderr
        assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("QXAU0000016",), "name the container and then its logs"),
        (("QXAU0000017", "log.csv"), "Near it: QXAU0000016"),
        (
            ("QXAU0000016", "log.csv", "--from", "2027-01-01", "--to", "2027-01-02"),
            "has no reading from 2027",
        ),
        (("QXAU0000016", "log.csv", "--from", "soon"), "--from 'soon' is no time"),
        (("QXAU0000016", "log.csv", "--notes", "none.csv"), "Name a file that can be read"),
        (("QXAU0000016", "log.csv", "--events", "events.csv"), "line 2"),
        (("QXAU0000016", "log.csv", "--facts", "facts.toml"), "no goods called 'moon rock'"),
        (("QXAU0000016", "log.csv", "--goods", "goods.toml"), "commodities.foo.optimum: is missing"),
        (("QXAU0000016", "log.csv", "--protocols", "goods.toml"), "goods.toml"),
        (("--verify", "nowhere", "log.csv"), "Leave out --out"),
    ],
)
def test_a_wrong_call_is_status_two_and_leaves_no_output(
    written: Path, tmp_path: Path, arguments: tuple[str, ...], told: str
) -> None:
    (tmp_path / "log.csv").write_text(GOOD, encoding="utf-8")
    (tmp_path / "events.csv").write_text(
        "container,time,holder\nQXAU0000016,2026-01-02,Ship\nQXAU0000016,2026-01-01,Quay\n", encoding="utf-8"
    )
    (tmp_path / "facts.toml").write_text("[every_unit]\ncargo = 'moon rock'\n", encoding="utf-8")
    (tmp_path / "goods.toml").write_text("[commodities.foo]\nname = 'Foo'\n", encoding="utf-8")
    done = run("dossier", *arguments, "--out", "out", cwd=tmp_path)
    assert "\ufffd" not in done.stderr
    assert done.returncode == 2, done.stdout + done.stderr
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


def test_a_facts_file_serves_the_screening_too(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(GOOD, encoding="utf-8")
    (tmp_path / "facts.toml").write_text("[every_unit]\ncargo = 'ice cream'\n", encoding="utf-8")
    done = run("screen", tmp_path / "log.csv", "--facts", tmp_path / "facts.toml", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "ce cream" in (tmp_path / "out" / "index.html").read_text(encoding="utf-8")


def test_a_single_reading_makes_a_dossier_that_says_how_little_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_printing(monkeypatch)
    (tmp_path / "log.csv").write_text("\n".join(GOOD.splitlines()[:2]) + "\n", encoding="utf-8")
    done = run("dossier", "QXAU0000016", tmp_path / "log.csv", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "This window shows nothing before 2026-01-01 00:00 and after 2026-01-01 00:00 UTC" in done.stdout


def test_without_a_browser_the_page_stands_and_the_message_says_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(GOOD, encoding="utf-8")
    command = [sys.executable, "-m", "coldsift.cli", "dossier", "QXAU0000016", "log.csv", "--out", "out"]
    bare = {"PATH": "", "HOME": str(tmp_path)}
    done = subprocess.run(
        command, capture_output=True, text=True, encoding="utf-8", check=False, cwd=tmp_path, env=bare
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "No PDF: " in done.stdout
    assert (tmp_path / "out" / "index.html").is_file()
    assert not list((tmp_path / "out").glob("*.pdf"))


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of one voyage."""
    folder = tmp_path_factory.mktemp("kept")
    (folder / "log.csv").write_text(GOOD, encoding="utf-8")
    (folder / "facts.toml").write_text("[every_unit]\ncargo = 'ice cream'\n", encoding="utf-8")
    paper = ("--facts", folder / "facts.toml")
    assert run("screen", folder / "log.csv", *paper, "--out", folder / "run").returncode == 0
    added = run("archive", "add", folder / "run", "--to", folder / "archive", "--voyage", "North")
    assert added.returncode == 0, added.stderr
    return folder


def test_a_dossier_out_of_an_archive_needs_no_log(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_printing(monkeypatch)
    done = run("dossier", "QXAU0000016", "--archive", kept / "archive", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "What happened, and when?" in done.stdout
    logs = (kept / "log.csv", "--facts", kept / "facts.toml")
    assert run("dossier", "QXAU0000016", *logs, "--out", tmp_path / "logs").stdout == done.stdout.replace(
        str(tmp_path / "out"), str(tmp_path / "logs")
    )
    for name in ("index.html", "bundle/dossier.json", "bundle/inputs/facts/facts.toml"):
        assert (tmp_path / "out" / name).read_bytes() == (tmp_path / "logs" / name).read_bytes()
    asked = run("archive", "sql", "SELECT content FROM inputs", "--archive", kept / "archive", "--json")
    (paper,) = json.loads(asked.stdout)
    assert base64.b64decode(paper["content"]) == (kept / "facts.toml").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("QXAU0000017", "--archive", "archive"), "in the voyage 'North'. Near it: QXAU0000016"),
        (("QXAU0000016", "--archive", "archive", "--voyage", "Nord"), "no voyage 'Nord' in archive"),
        (("QXAU0000016", "--archive", "run"), "run holds no archive"),
        (("QXAU0000016", "--archive", "nowhere"), "nowhere holds no archive"),
        (("QXAU0000016", "log.csv", "--archive", "archive"), "with --archive no logs are read"),
        (("QXAU0000016", "log.csv", "--voyage", "North"), "Give the archive's folder with --archive"),
        (
            ("QXAU0000016", "--archive", "archive", "--facts", "facts.toml", "--band", "3"),
            "Leave out --facts, --band; or screen the logs again",
        ),
        (("QXAU0000016", "--archive", "archive", "--from", "soon"), "--from 'soon' is no time"),
        (("QXAU0000016", "--archive", "archive", "--from", "2027-01-01"), "before it begins at 2027"),
        (("--verify", "nowhere", "log.csv", "--archive", "archive"), "Leave out --out, --archive"),
    ],
)
def test_a_wrong_call_of_an_archive_is_status_two_and_leaves_no_output(
    kept: Path, arguments: tuple[str, ...], told: str
) -> None:
    done = run("dossier", *arguments, "--out", "out", cwd=kept)
    assert done.returncode == 2, done.stdout + done.stderr
    assert told in done.stderr
    assert not (kept / "out").exists()
