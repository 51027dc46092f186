"""One process, several, or a cluster: the outcome is the same, and what goes wrong is said."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from itertools import chain
from pathlib import Path

import polars as pl
import pytest

from coldsift.engine import RunnerError, Settings, on_cluster, processes, reading, screen, write_outputs
from coldsift.engine.cluster import LOCAL
from coldsift.engine.running import Here, Runner
from coldsift.simulate import plan_fleet, simulate
from coldsift.simulate.layouts import write_logs

# Sockets and files of workers that were killed are closed when they are collected.
pytestmark = [
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]

ROWS, BYTES = 900, 60_000
"""Batches so small that a dozen units make several."""


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A dozen units: most with a file each, two with two, two in a file together, one that came later."""
    folder = tmp_path_factory.mktemp("voyage") / "logs"
    fleet = simulate(plan_fleet(units=12, days=3, seed=81, interval_minutes=15))
    names = fleet.log["container"].unique().sort().to_list()
    layouts = dict.fromkeys(names, "plain_words")
    layouts |= {names[1]: "comma_iso+split", names[7]: "comma_iso+split"}
    layouts |= {names[3]: "tag_value", names[10]: "tag_value"}
    late = (pl.col("container") == names[5]) & (pl.col("time") < pl.col("time").min() + pl.duration(days=2))
    write_logs(fleet.log.filter(~late), folder, layouts)
    return folder


@pytest.fixture
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "ROWS_A_BATCH", ROWS)
    monkeypatch.setattr(reading, "BYTES_A_BATCH", BYTES)


def written(logs: Path | str, out: Path, runner: Runner, progress: reading.Progress | None = None) -> Path:
    screening = screen([logs], Settings(), progress, runner)
    write_outputs(screening, out, "Voyage")
    return out


def contents(out: Path) -> dict[str, bytes]:
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def at_once(logs: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All in one batch, in this process."""
    return written(logs, tmp_path_factory.mktemp("once") / "out", Here())


@pytest.fixture(scope="module")
def in_batches(logs: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Batch by batch, in this process."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(reading, "ROWS_A_BATCH", ROWS)
        patched.setattr(reading, "BYTES_A_BATCH", BYTES)
        return written(logs, tmp_path_factory.mktemp("batches") / "out", Here())


def test_batches_change_nothing_but_the_parts_of_the_log(at_once: Path, in_batches: Path) -> None:
    def whole(out: Path, name: str) -> pl.DataFrame:
        return pl.read_parquet(sorted((out / name).glob("*.parquet")))

    once, batches = contents(at_once), contents(in_batches)
    parts = re.compile(r"(common_log|unit_hours)/")
    assert sum(name.startswith("common_log/") for name in batches) > 3
    assert {name for name in once if not parts.match(name)} == {n for n in batches if not parts.match(n)}
    differing = [name for name in once if not parts.match(name) and once[name] != batches[name]]
    assert differing == ["manifest.json"], "which names the parts of the log"
    one, other = (json.loads(held["manifest.json"]) for held in (once, batches))
    assert one.pop("reading")["parts"] != other.pop("reading")["parts"]
    assert one == other
    for name in ("common_log", "unit_hours"):
        assert whole(at_once, name).equals(whole(in_batches, name))


def test_a_part_of_the_log_holds_whole_units_in_whole_row_groups(in_batches: Path) -> None:
    import pyarrow.parquet

    last = ""
    for path in sorted((in_batches / "common_log").glob("*.parquet")):
        file = pyarrow.parquet.ParquetFile(path)
        for group in range(file.num_row_groups):
            told = file.metadata.row_group(group).column(0).statistics
            assert told.min > last
            last = told.max


@pytest.mark.usefixtures("small_batches")
def test_processes_write_the_same_bytes(logs: Path, in_batches: Path, tmp_path: Path) -> None:
    with processes(tmp_path / "out") as runner:
        out = written(logs, tmp_path / "out", runner)
    assert contents(out) == contents(in_batches)
    assert list(tmp_path.iterdir()) == [out], "nothing is left beside the outputs"


@pytest.mark.usefixtures("small_batches")
def test_a_cluster_that_loses_a_worker_writes_the_same_bytes(
    logs: Path, in_batches: Path, tmp_path: Path
) -> None:
    killed: list[int] = []
    with on_cluster(LOCAL) as runner:
        client = runner._client  # type: ignore[attr-defined]

        def kill_one(what: str, done: int, total: int) -> None:
            if what == "features" and done == 2 and not killed:
                killed.append(next(iter(client.run(os.getpid).values())))
                os.kill(killed[0], signal.SIGKILL)

        out = written(logs, tmp_path / "out", runner, kill_one)
    assert killed
    assert contents(out) == contents(in_batches)


@pytest.fixture
def scheduler(tmp_path: Path) -> Iterator[str]:
    """A scheduler and two workers, each a program of its own, met over the loopback interface."""
    command = [sys.executable, "-m", "dask"]
    quiet = ["--no-dashboard", "--host", "127.0.0.1"]
    began = [
        subprocess.Popen(
            [*command, "scheduler", "--port", "0", *quiet],
            stderr=subprocess.PIPE,
            text=True,
            cwd=tmp_path,
        )
    ]
    assert began[0].stderr is not None
    try:
        said = iter(began[0].stderr.readline, "")
        address = next(
            found[0] for line in chain(said) if (found := re.search(r"tcp://127\.0\.0\.1:\d+", line))
        )
        threading.Thread(target=lambda: list(said), daemon=True).start()
        for _ in range(2):
            worker = [*command, "worker", address, "--nthreads", "1", "--no-nanny", *quiet]
            began.append(subprocess.Popen(worker, stderr=subprocess.DEVNULL, cwd=tmp_path))
        yield address
    finally:
        for process in reversed(began):
            process.terminate()
        for process in began:
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        began[0].stderr.close()


@pytest.mark.usefixtures("small_batches")
def test_workers_reached_over_the_network_write_the_same_bytes(
    logs: Path, in_batches: Path, scheduler: str, tmp_path: Path
) -> None:
    with on_cluster(scheduler) as runner:
        out = written(logs, tmp_path / "out", runner)
    assert contents(out) == contents(in_batches)


def test_a_cluster_that_is_not_there_is_said_before_anything_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coldsift.engine.cluster.REACHED_WITHIN", 1)
    for address in ("tcp://127.0.0.1:9", "nowhere"):
        with (
            pytest.raises(RunnerError, match=f"No cluster can be reached at {address}"),
            on_cluster(address),
        ):
            pass


def test_a_process_ended_from_outside_is_said_and_the_earlier_outputs_stay(
    in_batches: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    shutil.copytree(in_batches, out)
    with processes(out) as runner, pytest.raises(RunnerError, match="want of memory"):
        list(runner.each(signal.raise_signal, [(signal.SIGKILL,)] * 2))
    assert contents(out) == contents(in_batches)
    assert list(tmp_path.iterdir()) == [out]


def test_work_that_ends_every_worker_is_given_up_and_said() -> None:
    import dask

    with dask.config.set({"distributed.scheduler.allowed-failures": 1}), on_cluster(LOCAL) as runner:
        began = time.monotonic()
        with pytest.raises(RunnerError, match="want of memory"):
            list(runner.each(signal.raise_signal, [(signal.SIGKILL,)]))
        assert time.monotonic() - began < 60
