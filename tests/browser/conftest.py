"""Fixtures of the tests that open a report; a module gives its own ``report``."""

from __future__ import annotations

import functools
import http.server
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from tests.browser.opened import WIDE, Opened


@dataclass(frozen=True, slots=True)
class Devices:
    """Contexts by their options, and in each the last page of every file, which is left open.

    The next page of that file finds its scripts compiled, which else is most of the time that it takes.
    """

    contexts: dict[str, Any] = field(default_factory=dict)
    kept: dict[tuple[str, str], Any] = field(default_factory=dict)

    def put_away(self, options: str, file: str, page: Any) -> None:
        """Leave nothing of a page that would be found by the next one."""
        page.evaluate("() => { localStorage.clear(); sessionStorage.clear(); }")
        for other in page.context.pages:
            if other is not page and other not in self.kept.values():
                other.close()
        gone = page
        if page.url.partition("#")[0] == file:
            gone, self.kept[options, file] = self.kept.get((options, file)), page
        if gone:
            gone.close()


@pytest.fixture(scope="module")
def devices(browser: Any) -> Iterator[Devices]:
    devices = Devices()
    yield devices
    for context in devices.contexts.values():
        context.close()


@pytest.fixture
def open_report(browser: Any, devices: Devices, report: Path) -> Iterator[Any]:
    """A function that opens the report as on another device: nothing is kept there yet."""
    contexts = []
    first: list[tuple[str, str, Any]] = []

    def open_at(
        fragment: str = "",
        viewport: dict[str, int] = WIDE,
        address: str = "",
        beforehand: str = "",
        color_scheme: str = "light",
        **options: Any,
    ) -> Opened:
        file = (address or report.as_uri()).partition("#")[0]
        if first or beforehand or not file.startswith("file:"):
            context = browser.new_context(viewport=viewport, color_scheme=color_scheme, **options)
            contexts.append(context)
            page = context.new_page()
        else:
            named = repr(options)
            if named not in devices.contexts:
                devices.contexts[named] = browser.new_context(viewport=viewport, **options)
            page = devices.contexts[named].new_page()
            page.set_viewport_size(viewport)
            page.emulate_media(color_scheme=color_scheme)
            first.append((named, file, page))
        page.add_init_script(beforehand)
        page.set_default_timeout(15_000)
        opened = Opened(page, address or report.as_uri())
        page.on("console", lambda message: opened.said.append(message.text))
        page.on("pageerror", lambda error: opened.said.append(str(error)))
        page.on("dialog", lambda dialog: (opened.said.append(dialog.message), dialog.dismiss()))
        page.on("request", lambda request: opened.asked.append(request.url.partition("#")[0]))
        page.goto(opened.address + fragment)
        return opened

    yield open_at
    for context in contexts:
        context.close()
    for opened in first:
        devices.put_away(*opened)


@pytest.fixture
def address(report: Path) -> Iterator[str]:
    """The report served from this machine, where a page may keep something on the device."""

    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, format: str, *values: Any) -> None:
            pass

    handler = functools.partial(Quiet, directory=str(report.parent))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/{report.name}"
        server.shutdown()
