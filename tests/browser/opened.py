"""An open report, and how the browser is started."""

from __future__ import annotations

import shutil
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    # One for all pages of a context: they share what is compiled of the same scripts.
    "--process-per-site",
]
PATIENCE = 15.0
"""Longest time that something on a page is waited for. [s]"""

WIDE = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}


def written(folder: Path, texts: Mapping[str, str]) -> Path:
    """Write a report's pages into a folder; gives the index."""
    for name, text in texts.items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder / "index.html"


@dataclass
class Opened:
    """An open report with what the browser said and asked for meanwhile."""

    page: Any
    address: str
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    @property
    def list(self) -> Any:
        """The controls of the list."""
        return self.page.locator("form.list")

    @property
    def switches(self) -> Any:
        """Temperatures, times and colours."""
        return self.page.locator("form.switches")

    def shown(self) -> list[str]:
        """Containers of the list's visible rows, from top to bottom."""
        rows = self.page.locator(".ranking tbody tr")
        return rows.evaluate_all(
            "rows => rows.filter((row) => row.checkVisibility()).map((row) => row.dataset.container)"
        )

    def wait_for_chart(self) -> None:
        """Until the first opened unit's chart has its lines and, last of all, its key."""
        self.page.locator(".chart .scatterlayer .trace").first.wait_for(state="attached")
        self.page.locator(".key button").first.wait_for()

    def until(self, expression: str, argument: Any = None) -> None:
        """Until an expression of the page is true; the page's own policy lets nothing inside it ask again."""
        last = time.monotonic() + PATIENCE
        while not self.page.evaluate(expression, argument):
            assert time.monotonic() < last, f"not within {PATIENCE:g} s: {expression}"
            self.page.wait_for_timeout(20)

    def assert_quiet(self) -> None:
        """Nothing on the console, and no request but for the report's own files."""
        assert self.said == []
        folder = self.address.rpartition("/")[0].removesuffix("/units")
        for asked in self.asked:
            assert asked.startswith(f"{folder}/"), asked
            assert asked.endswith((".html", "/units/shared.js")), asked
