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
SCHEMES = ("light", "dark")


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


@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_view_of_the_index_keeps_the_rules(open_report: Any, axe: str, scheme: str) -> None:
    page = open_report(color_scheme=scheme).page
    broken = {}
    for view in VIEWS:
        page.evaluate("view => { location.hash = view; }", view)
        page.locator(f"#{view}").wait_for()
        page.wait_for_timeout(300)
        broken[view] = _broken(page, axe)
    assert broken == {view: [] for view in VIEWS}


@pytest.mark.parametrize(
    ("place", "viewport", "scheme"),
    [(1, WIDE, "light"), (3, WIDE, "dark"), (10, PHONE, "light"), (12, PHONE, "dark")],
    ids=["1", "3", "10", "12"],
)
def test_a_unit_page_keeps_the_rules_at_any_width_in_either_scheme(
    open_report: Any, report: Path, axe: str, place: int, viewport: dict[str, int], scheme: str
) -> None:
    """Opened as one of the four, and turned into the others: to open a page takes longer than the rules."""
    address = (report.parent / "units" / f"{container(place)}.html").as_uri()
    page = open_report(address=address, viewport=viewport, color_scheme=scheme).page
    page.locator(".chart .main-svg").first.wait_for()
    broken = {}
    for size in (viewport, PHONE if viewport is WIDE else WIDE):
        page.set_viewport_size(size)
        for shown in (scheme, *(each for each in SCHEMES if each != scheme)):
            page.emulate_media(color_scheme=shown)
            page.wait_for_timeout(300)
            broken[size["width"], shown] = _broken(page, axe)
    assert broken == {(size["width"], shown): [] for size in (WIDE, PHONE) for shown in SCHEMES}


def test_the_list_on_a_phone_and_the_one_file_report_keep_the_rules(
    open_report: Any, report: Path, axe: str
) -> None:
    assert _broken(open_report(viewport=PHONE).page, axe) == []
    opened = open_report(f"#unit-{container(1)}", address=(report.parent / "one.html").as_uri())
    opened.page.locator(".chart .main-svg").first.wait_for()
    assert _broken(opened.page, axe) == []
