"""An open report, and how the browser is started."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from typing import Any

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
WIDE = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}


@dataclass
class Opened:
    """An open report with what the browser said and asked for meanwhile."""

    page: Any
    address: str
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def shown(self) -> list[str]:
        """Containers of the list's visible rows, from top to bottom."""
        return self.page.locator(".ranking tbody tr:visible .container .number").all_text_contents()

    def wait_for_chart(self) -> None:
        """Until the first opened unit's chart has its lines and, last of all, its key."""
        self.page.locator(".chart .scatterlayer .trace").first.wait_for(state="attached")
        self.page.locator(".key button").first.wait_for()

    def assert_quiet(self) -> None:
        """Nothing on the console, and no request but the file itself."""
        assert self.said == []
        assert self.asked == [self.address]
