"""Time and memory of a command, its children with it."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from benchmarks.speed.stages import REST, seconds_by_stage

pytest.importorskip("psutil", reason="psutil is not installed")

from benchmarks.speed.cost import Failed, cost_of
from benchmarks.speed.subjects import SUBJECTS, timed

MEGABYTE = 1_000_000
HOLDS_MEMORY = "import time; held = bytearray(b'x') * 60_000_000; time.sleep(0.4)"


def test_the_memory_of_children_counts() -> None:
    child = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {HOLDS_MEMORY!r}])"
    alone = cost_of([sys.executable, "-c", "import time; time.sleep(0.3)"])
    both = cost_of([sys.executable, "-c", child])
    assert both.peak - alone.peak > 55 * MEGABYTE


def test_the_time_of_children_on_the_cores_counts() -> None:
    busy = "import time\nwhile time.process_time() < 0.3: pass"
    child = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {busy!r}])"
    cost = cost_of([sys.executable, "-c", child])
    assert 0.3 < cost.cpu < 3 * cost.wall


def test_what_was_said_comes_back_and_any_status_but_0_is_a_failure() -> None:
    assert cost_of([sys.executable, "-c", "print('done')"]).said.strip() == "done"
    with pytest.raises(Failed, match=r"ended with 3:\n.*no such thing"):
        cost_of([sys.executable, "-c", "import sys; print('no such thing', file=sys.stderr); sys.exit(3)"])


def test_a_variable_of_the_environment_is_passed_on() -> None:
    said = cost_of(
        [sys.executable, "-c", "import os; print(os.environ['ASKED'])"], environment={"ASKED": "yes"}
    )
    assert said.said.strip() == "yes"


def test_bare_reads_count_every_row(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.csv").write_text("x,y\n1,2\n3,4\n", encoding="utf-8")
    for subject in ("polars", "pyarrow"):
        said = timed(SUBJECTS[subject]([tmp_path]))
        assert said["rows"] == 4
        assert said["wall"] > 0
        assert json.dumps(said)


def test_time_goes_to_the_stage_that_called_for_it() -> None:
    """Whatever a stage uses is its own time; the rest is the engine's."""
    source = "def wait(seconds):\n    import time\n    time.sleep(seconds)\n"
    stage: dict[str, Any] = {"__name__": "coldsift.peers.groups"}
    exec(source, stage)

    def work() -> None:
        stage["wait"](0.15)
        time.sleep(0.05)

    began = time.perf_counter()
    spent = seconds_by_stage(work)
    # On a busy machine the watcher may come late, and count what it missed for where it then finds the work.
    assert spent["peers"] > 0.1
    assert set(spent) >= {REST, "intake"}
    assert sum(spent.values()) < time.perf_counter() - began
