"""Fixtures of the tests that open a report; a module gives its own ``report``."""

from __future__ import annotations

import functools
import http.server
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.browser.opened import WIDE, Opened


@pytest.fixture
def open_report(browser: Any, report: Path) -> Iterator[Any]:
    """A function that opens the report; every context is closed afterwards."""
    contexts = []

    def open_at(
        fragment: str = "",
        viewport: dict[str, int] = WIDE,
        address: str = "",
        beforehand: str = "",
        **options: Any,
    ) -> Opened:
        context = browser.new_context(viewport=viewport, **options)
        contexts.append(context)
        context.add_init_script(beforehand)
        page = context.new_page()
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
