"""Fixtures of all tests."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.opened import CHROMIUM, QUIET


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
