"""Fixtures of all tests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from coldsift.engine import Screening, Settings, VoyageFiles, screen, write_outputs
from tests.browser.opened import CHROMIUM, QUIET

SAMPLE = Path(__file__).parents[1] / "sample_logs"


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
