"""Fixtures of all tests."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import Any

import pytest

from coldsift.engine import Screening, Settings, VoyageFiles, screen, write_outputs
from tests.browser.opened import CHROMIUM, QUIET

SAMPLE = Path(__file__).parents[1] / "sample_logs"

SLOWEST = (
    "docs/test_walkthrough.py",
    "engine/test_where_the_work_is_done.py",
    "browser",
    "engine",
    "cli",
    "dossier",
    "docs",
    "archive",
)
"""Files and folders that take longest."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Take the slowest first, so that workers side by side end together."""

    def turn(item: pytest.Item) -> int:
        file = PurePosixPath(item.nodeid.partition("::")[0])
        names = {each.as_posix() for each in (file, *file.parents)}
        return next((place for place, name in enumerate(SLOWEST) if f"tests/{name}" in names), len(SLOWEST))

    items.sort(key=turn)


@pytest.fixture(scope="session", autouse=True)
def _no_waiting_for_the_disk() -> Iterator[None]:
    """What is written need not have reached the disk: no test cuts the power."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _: None)
        yield


@pytest.fixture(scope="session")
def sample() -> Screening:
    """The sample voyage without its papers."""
    return screen([SAMPLE])


@pytest.fixture(scope="session")
def sample_run(sample: Screening, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its outputs, to be read only."""
    out = tmp_path_factory.mktemp("sample") / "out"
    write_outputs(sample, out, "Sample")
    return out


@pytest.fixture(scope="session")
def sample_with_papers() -> Screening:
    """The sample voyage with every paper, and an hour for the round."""
    papers = VoyageFiles(
        facts=SAMPLE / "facts.toml",
        plan=SAMPLE / "plan.edi",
        bookings=SAMPLE / "bookings.csv",
        events=SAMPLE / "custody.csv",
        notes=SAMPLE / "notes.csv",
        spares=SAMPLE / "spares.csv",
    )
    return screen([SAMPLE], Settings(voyage=papers, round_hours=1.0))


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Headless Chromium of the system."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("no chromium found on this machine")
    with playwright.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield started
        started.close()
