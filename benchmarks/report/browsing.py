"""What a reader's browser needs to open the report, and how a first-time reader finds the worst unit."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

from playwright.sync_api import sync_playwright

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
TIMES = 3
"""Openings of each page; the middle one is told."""

LIST_USABLE = "() => document.querySelector('#shown')?.textContent"
CHART_DRAWN = "() => document.querySelector('.chart .scatterlayer .trace')"
DAYS_DRAWN = "() => document.querySelector('#days .js-plotly-plot image')"
LIBRARY_READY = "() => window.Plotly"


@dataclass(frozen=True, slots=True)
class Opening:
    """Seconds until a page could be used, and every address that it asked for."""

    seconds: float
    requests: tuple[str, ...]


@contextmanager
def chromium() -> Iterator[Any]:
    """Headless Chromium of the system."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield browser
        browser.close()


def opening(browser: Any, page_file: Path, usable: str, part: str = "") -> Opening:
    """Open a page several times, each in a fresh context.

    Parameters
    ----------
    browser
        From :func:`chromium`.
    page_file
        The page.
    usable
        JavaScript that is true once the page can be used.
    part
        Part of the page to open at, such as ``#fleet``.

    Returns
    -------
    Opening
        The middle time. [s]
    """
    seconds, requests = [], set()
    for _ in range(TIMES):
        context = browser.new_context(viewport={"width": 1440, "height": 900})
        page = context.new_page()
        page.on("request", lambda request: requests.add(request.url.partition("#")[0]))
        began = perf_counter()
        page.goto(page_file.as_uri() + part, wait_until="commit")
        # Asked from outside: the page's own policy lets nothing inside it ask again.
        while not page.evaluate(usable):
            page.wait_for_timeout(5)
        seconds.append(perf_counter() - began)
        context.close()
    return Opening(median(seconds), tuple(sorted(requests - {page_file.as_uri()})))


def walk(browser: Any, index: Path, width: int) -> list[tuple[str, str, float]]:
    """Find the worst unit, its reason and the first check, as somebody does who never saw the report.

    Parameters
    ----------
    browser
        From :func:`chromium`.
    index
        The report.
    width
        Of the screen. [px]

    Returns
    -------
    list of tuple
        What was done, what was read, and when. [s]
    """
    context = browser.new_context(viewport={"width": width, "height": 844 if width < 600 else 900})
    page = context.new_page()
    began = perf_counter()
    steps: list[tuple[str, str, float]] = []

    def note(did: str, read: str) -> None:
        steps.append((did, " ".join(read.split()), perf_counter() - began))

    page.goto(index.as_uri())
    note("opened the report", page.locator(".headline").inner_text())
    worst = page.locator(".now tbody tr").first
    note("read the first line of the urgent ones", worst.inner_text())
    worst.get_by_role("link").first.click()
    page.locator(".reasons").first.wait_for()
    note("pressed the container’s number", page.get_by_role("heading", level=1).inner_text())
    note("read why", page.locator(".reasons li").first.inner_text())
    check = page.locator(".best .question").first
    check.scroll_into_view_if_needed()
    note("read the first check", check.inner_text())
    page.get_by_role("button", name="Yes").first.click()
    note("ticked it", page.locator(".so-far").first.inner_text())
    context.close()
    return steps
