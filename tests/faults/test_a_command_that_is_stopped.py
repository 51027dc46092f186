"""A command that is stopped, or has no room: a line, an exit status, and the outputs as they were."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import polars as pl
import pytest
from tests.cli.calls import run

from coldsift.engine.folders import write_table
from coldsift.engine.running import deaf_to_interrupts
from coldsift.places import disk_faults
from coldsift.simulate.folder import VoyageError, write_new

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")

FULL = "parquet: File out of specification: underlying IO error: No space left on device (os error 28)"


def test_what_polars_says_of_a_full_disk_is_an_error_of_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise pl.exceptions.ComputeError(FULL)

    monkeypatch.setattr(pl.DataFrame, "write_parquet", full)
    with pytest.raises(OSError, match="No space left on device") as raised:
        write_table(pl.DataFrame({"a": [1]}), tmp_path / "a.parquet")
    assert raised.value.errno == 28
    with pytest.raises(pl.exceptions.ComputeError), disk_faults():
        raise pl.exceptions.ComputeError("another thing")


def test_a_simulated_voyage_that_finds_no_room_leaves_nothing(tmp_path: Path) -> None:
    def fill(folder: Path) -> list[Path]:
        (folder / "half").write_text("a log", encoding="utf-8")
        raise OSError(28, "No space left on device")

    with pytest.raises(VoyageError, match=r"No space left on device: on the disk of .* MB are free"):
        write_new(tmp_path / "out", fill)
    assert not list(tmp_path.iterdir())


def test_a_command_is_told_at_once_that_its_place_is_being_written(tmp_path: Path) -> None:
    holder = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import sys; from pathlib import Path; from coldsift.places import held\n"
            "with held(Path(sys.argv[1])):\n    print('ready', flush=True); sys.stdin.read()",
            str(tmp_path / "out"),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert holder.stdout
    assert holder.stdout.readline() == "ready\n"
    (tmp_path / "logs").mkdir()
    for command in ("screen", "pretrip"):
        done = run(command, tmp_path / "logs", "--out", tmp_path / "out")
        assert done.returncode == 2
        assert "Another coldsift is writing to" in done.stderr
    holder.kill()
    holder.communicate()
    done = run("screen", tmp_path / "logs", "--out", tmp_path / "out")
    assert "Another coldsift" not in done.stderr


def test_a_disk_of_its_own_cannot_be_replaced(tmp_path: Path) -> None:
    done = run("screen", tmp_path, "--out", "/proc")
    assert done.returncode == 2
    assert "a disk of its own" in done.stderr


def test_an_answer_that_cannot_be_printed_ends_with_a_line_also_without_a_home() -> None:
    # Nobody can write there, not even root.
    nowhere = dict.fromkeys(("HOME", "TMPDIR", "XDG_CACHE_HOME", "XDG_CONFIG_HOME"), "/proc")
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run(
            [sys.executable, "-m", "coldsift.cli", "schema"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            env={**os.environ, **nowhere},
        )
    assert done.returncode == 2
    assert done.stderr.startswith("error: ")
    assert "No space left on device" in done.stderr
    assert "Traceback" not in done.stderr


def test_ctrl_c_while_processes_are_started_is_heard_by_this_one_alone() -> None:
    asked = "import signal; print(signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, []))"
    with pytest.raises(KeyboardInterrupt):
        with deaf_to_interrupts():
            os.kill(os.getpid(), signal.SIGINT)
            child = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
            assert child.stdout == "True\n"
        time.sleep(1)


ORPHANS = """
import os, sys
from pathlib import Path
from coldsift.engine.running import Processes
pool = Processes(Path(sys.argv[1]), 2)
print(*set(pool.each(os.getpid, [()] * 8)), flush=True)
sys.stdin.read()
"""


def test_workers_end_when_the_run_that_started_them_is_killed(tmp_path: Path) -> None:
    parent = subprocess.Popen(
        [sys.executable, "-c", ORPHANS, str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert parent.stdout
    workers = [int(each) for each in parent.stdout.readline().split()]
    assert workers
    parent.kill()
    parent.communicate()
    until = time.monotonic() + 20
    while any(lives(worker) for worker in workers):
        assert time.monotonic() < until
        time.sleep(0.05)


def lives(process: int) -> bool:
    try:
        os.kill(process, 0)
        return " Z " not in Path(f"/proc/{process}/stat").read_text(encoding="utf-8")
    except OSError:
        return False


@pytest.mark.parametrize(("sent", "status"), [(signal.SIGTERM, 143), (signal.SIGINT, 130)])
def test_a_command_that_is_told_to_end_does_so_quietly(
    tmp_path: Path, sent: signal.Signals, status: int
) -> None:
    logs = tmp_path / "logs"
    logs.mkdir()
    # The screening takes longer than this test waits.
    waits = (
        "import time\n"
        "import coldsift.engine as engine\n"
        "def wait(*_, **__): print('ready', flush=True); time.sleep(60)\n"
        "engine.screen = wait\n"
        "from coldsift.cli import main; main()"
    )
    command = subprocess.Popen(
        [sys.executable, "-c", waits, "screen", str(logs), "--out", str(tmp_path / "out")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert command.stdout
    assert command.stdout.readline() == "ready\n"
    command.send_signal(sent)
    _, said = command.communicate(timeout=60)
    assert command.returncode == status
    assert said.strip() == f"Stopped. Nothing was written to {tmp_path / 'out'}."
    assert list(tmp_path.iterdir()) == [logs]
