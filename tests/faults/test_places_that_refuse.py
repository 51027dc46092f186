"""Folders and files that may not be written or read, disks that are full, a worker that is killed: a line."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.cli.calls import Done, run

import coldsift
from coldsift import engine
from coldsift.engine import reading, running

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="users and rights of POSIX")

NOBODY = 65534
Files = dict[str, bytes | None]


@contextmanager
def as_a_plain_user() -> Iterator[None]:
    """No rights beyond those that the files give: root puts them down for the time."""
    if os.geteuid() != 0:
        yield
        return
    groups = os.getgroups()
    os.setgroups([])
    os.setresgid(NOBODY, NOBODY, 0)
    os.setresuid(NOBODY, NOBODY, 0)
    try:
        yield
    finally:
        os.setresuid(0, 0, 0)
        os.setresgid(0, 0, 0)
        os.setgroups(groups)


@pytest.fixture(scope="module")
def earlier(two_logs: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Outputs of an earlier run."""
    out = tmp_path_factory.mktemp("earlier") / "out"
    assert run("screen", two_logs, "--out", out).returncode == 0
    return out


@pytest.fixture
def home(two_logs: Path, earlier: Path) -> Iterator[Path]:
    """A folder of the plain user: ``logs``, and ``place`` with the outputs ``out`` of an earlier run."""
    # The folders that pytest makes are open to their owner alone.
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        (home / "place").mkdir()
        shutil.copytree(two_logs, home / "logs")
        shutil.copytree(earlier, home / "place" / "out")
        if os.geteuid() == 0:
            for path in (home, *home.rglob("*")):
                os.chown(path, NOBODY, NOBODY)
        with as_a_plain_user():
            readable = os.access(coldsift.__file__, os.R_OK)
        if not readable:
            pytest.skip(f"a plain user cannot read {coldsift.__file__}")
        yield home
        for path in (home, *home.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)


def held(folder: Path) -> Files:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else None
        for path in sorted(folder.rglob("*"))
    }


def refused(done: Done, *words: str) -> bool:
    """A line that says so, status 2."""
    said = done.stdout + done.stderr
    assert done.returncode == 2, said
    assert "Traceback" not in said
    assert [word for word in words if word not in said] == []
    return True


def test_a_folder_that_may_not_be_written_is_named_before_anything_is_read(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    logs, place = home / "logs", home / "place"
    container = next(logs.glob("*.csv")).stem
    before = held(place)
    monkeypatch.setattr(engine, "screen", lambda *_, **__: pytest.fail("logs were read"))
    for fixed in (place / "out", place / "out" / "units"):
        fixed.chmod(0o555)
        with as_a_plain_user():
            assert refused(run("screen", logs, "--out", place / "out"), f"{fixed} cannot be written", "--out")
        fixed.chmod(0o755)
    place.chmod(0o555)
    with as_a_plain_user():
        for arguments in (
            ("screen", logs, "--out", place / "out"),
            ("screen", logs, "--out", place / "new"),
            ("screen", logs, "--out", place / "new" / "below"),
            ("pretrip", logs, "--out", place / "new"),
            ("dossier", container, logs, "--out", place / "new"),
            ("simulate", "--units", 1, "--days", 1, "--out", place / "new"),
        ):
            assert refused(run(*arguments), f"{place}", "Permission denied", "--out")
        added = run("archive", "add", place / "out", "--to", place / "archive")
        assert refused(added, f"{place / 'archive'}", "Permission denied", "--to")
    assert held(place) == before


def test_logs_that_may_only_be_read_are_read_and_one_that_may_not_is_named(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    logs, place = home / "logs", home / "place"
    closed = sorted(logs.glob("*.csv"))[0]
    before = held(logs)
    # Neither a home nor a folder for temporary files is needed: nobody can write there, not even root.
    monkeypatch.setattr(tempfile, "tempdir", "/proc")
    for name in ("HOME", "TMPDIR", "XDG_CACHE_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(name, "/proc")
    logs.chmod(0o555)
    with as_a_plain_user():
        assert run("screen", logs, "--out", place / "read_only").returncode == 0
        assert refused(run("screen", logs, "--out", logs / "out"), f"{logs} cannot be written", "--out")
    assert held(place / "read_only") == held(place / "out")
    closed.chmod(0o000)
    with as_a_plain_user():
        done = run("screen", logs, "--out", place / "without")
    assert done.returncode == 1
    assert f"{closed.name}: The file cannot be read: Permission denied" in done.stdout
    assert "1 file, 24 rows = 24 used" in done.stdout
    assert held(logs) == before
    assert {path.name for path in place.iterdir()} == {"out", "read_only", "without"}


@pytest.mark.parametrize("moment", ["submit", "_spawn_process"])
def test_a_worker_that_is_killed_ends_the_run_with_a_line_and_the_outputs_as_they_were(
    home: Path, monkeypatch: pytest.MonkeyPatch, moment: str
) -> None:
    # The first one is killed before, or while, the second is started.
    begun = getattr(ProcessPoolExecutor, moment)

    def killing(self: ProcessPoolExecutor, *arguments: object) -> object:
        if len(self._processes) == 1:
            os.kill(next(iter(self._processes)), signal.SIGKILL)
            until = time.monotonic() + 2
            while not self._broken and time.monotonic() < until:
                time.sleep(0.01)
        return begun(self, *arguments)

    monkeypatch.setattr(running, "cores", lambda: 2)
    monkeypatch.setattr(ProcessPoolExecutor, moment, killing)
    monkeypatch.setattr(reading, "ROWS_A_BATCH", 10)
    monkeypatch.setattr(reading, "BYTES_A_BATCH", 100)
    before, others = held(home), multiprocessing.active_children()
    done = run("screen", home / "logs", "--band", 1, "--out", home / "place" / "out")
    assert refused(done, "A worker process was ended from outside", "Close other programs")
    assert held(home) == before
    assert multiprocessing.active_children() == others


@contextmanager
def small_disk(folder: Path, kilobytes: int) -> Iterator[Path]:
    """A disk of this size, which only root can make."""
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "none", str(folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    if made.returncode != 0:
        pytest.skip(f"no disk can be made here: {made.stderr.strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def test_a_disk_that_is_full_is_named_and_nothing_is_left_on_it(home: Path) -> None:
    if shutil.which("mount") is None or os.geteuid() != 0:
        pytest.skip("only root can make a disk")
    full = "No space left on device"
    with small_disk(home / "disk", 40) as disk:
        (disk / "filler").write_bytes(bytes(32_000))
        done = run("simulate", "--units", 1, "--days", 1, "--out", disk / "voyage")
        assert refused(done, f"{full}: on the disk of {disk}", "Make room", "--out")
        assert list(held(disk)) == ["filler"]
        (disk / "filler").unlink()
        before = held(home / "place")
        done = run("screen", home / "logs", "--out", disk / "out")
        assert refused(done, f"{full}: on the disk of {disk}", "Make room", "--out")
        assert held(disk) == {}
        done = run("archive", "add", home / "place" / "out", "--to", disk / "archive")
        assert refused(done, f"{full}: on the disk of {disk / 'archive'}", "Make room", "--to")
        left = {name for name, content in held(disk / "archive").items() if content is not None}
        assert left == {".lock", "voyages.parquet"}
        assert held(home / "place") == before
