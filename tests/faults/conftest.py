"""Two logs of a day, simulated once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from coldsift.simulate import plan_fleet, simulate
from coldsift.simulate.layouts import write_logs


@pytest.fixture(scope="session")
def two_logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that stays as it is."""
    folder = tmp_path_factory.mktemp("faults") / "logs"
    fleet = simulate(plan_fleet(units=2, days=1, seed=20, interval_minutes=60))
    names = fleet.log["container"].unique().to_list()
    write_logs(fleet.log, folder, dict.fromkeys(names, "plain_words"))
    return folder


@pytest.fixture
def logs(tmp_path: Path, two_logs: Path) -> Path:
    """A copy of it, to be changed."""
    return shutil.copytree(two_logs, tmp_path / "logs")
