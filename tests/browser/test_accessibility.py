"""Accessibility rules (axe-core) on every part of the report, light and dark, wide and narrow.

The rules come from the npm package axe-core, which ``make browser`` installs beside these tests; it serves
the tests only.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.browser.opened import PHONE, WIDE
from tests.report.fleet import container, one_page, pages

pytestmark = pytest.mark.browser

AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
VIEWS = ("round", "fleet", "data", "method", "cautions")


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The index and a page a unit of 12 invented units, and the same in one file."""
    folder = tmp_path_factory.mktemp("accessible")
    for name, text in {**pages(), "one.html": one_page()}.items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder / "index.html"


@pytest.fixture(scope="module")
def axe() -> str:
    if not AXE.is_file():
        pytest.skip("axe-core is not installed: npm ci in tests/browser")
    return AXE.read_text(encoding="utf-8")


def _broken(page: Any, axe: str) -> list[str]:
    """Every rule that the page breaks, with the first place where."""
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert found["passes"], "axe ran no rule"
    return [f"{each['id']}: {each['nodes'][0]['html'][:200]}" for each in found["violations"]]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("view", VIEWS)
def test_every_view_of_the_index_keeps_the_rules(open_report: Any, axe: str, view: str, scheme: str) -> None:
    opened = open_report(f"#{view}", color_scheme=scheme)
    opened.page.locator(f"#{view}").wait_for()
    opened.page.wait_for_timeout(300)
    assert _broken(opened.page, axe) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [WIDE, PHONE], ids=["wide", "phone"])
@pytest.mark.parametrize("place", [1, 3, 10, 12])
def test_a_unit_page_keeps_the_rules(
    open_report: Any, report: Path, axe: str, place: int, viewport: dict[str, int], scheme: str
) -> None:
    address = (report.parent / "units" / f"{container(place)}.html").as_uri()
    opened = open_report(address=address, viewport=viewport, color_scheme=scheme)
    opened.page.locator(".chart .main-svg").first.wait_for()
    assert _broken(opened.page, axe) == []


def test_the_list_on_a_phone_and_the_one_file_report_keep_the_rules(
    open_report: Any, report: Path, axe: str
) -> None:
    assert _broken(open_report(viewport=PHONE).page, axe) == []
    opened = open_report(f"#unit-{container(1)}", address=(report.parent / "one.html").as_uri())
    opened.page.locator(".chart .main-svg").first.wait_for()
    assert _broken(opened.page, axe) == []
