"""The pre-trip page in a browser: quiet, within the phone's width, readable, and on paper whole."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polars as pl
import pytest
from tests.browser.opened import PHONE, WIDE
from tests.pre_trip.inspected import by_hand, judged

from coldsift.pre_trip.page import Provenance, build_page

pytestmark = pytest.mark.browser

AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Seven boxes by hand, two of them not in order."""
    frames = [
        *(by_hand(f"QXAU00000{place}") for place in range(10, 15)),
        by_hand("QXAU0000021", supply_air=9.0, alarms=[["a long alarm text " * 8]] * 69),
        by_hand("QXAU0000022", voltage_1=388.0),
    ]
    path = tmp_path_factory.mktemp("pre_trip_page") / "index.html"
    text = build_page(judged(pl.concat(frames)), Provenance((), (), (), True), "Boxes of a test")
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("viewport", [WIDE, PHONE], ids=["wide", "phone"])
def test_it_is_quiet_and_fits_its_width(open_report: Any, viewport: dict[str, int]) -> None:
    opened = open_report(viewport=viewport)
    opened.assert_quiet()
    opened.page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    wide = opened.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= viewport["width"]


def test_one_of_the_two_drawings_is_shown(open_report: Any) -> None:
    for viewport, shown in ((WIDE, ".wide-chart"), (PHONE, ".small-chart")):
        page = open_report(viewport=viewport).page
        charts = page.locator("article").first.locator(".air-chart")
        assert [charts.nth(place).is_visible() for place in (0, 1)] == [
            shown == ".wide-chart",
            shown == ".small-chart",
        ]


def test_boxes_with_something_outside_are_open_and_first(open_report: Any) -> None:
    page = open_report().page
    open_ones = page.locator("article details").evaluate_all("all => all.map((each) => each.open)")
    assert open_ones == [True, True, False, False, False, False, False]
    first = page.locator(".overview tbody tr").first
    assert "QXAU0000021" in first.inner_text()
    first.locator("a").click()
    assert page.locator("#box-1 h2").inner_text() == "QXAU0000021"


def test_paper_shows_every_item(open_report: Any) -> None:
    page = open_report().page
    page.emulate_media(media="print")
    last = page.locator("article").last.locator(".items tbody tr").last
    assert last.is_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [WIDE, PHONE], ids=["wide", "phone"])
def test_it_keeps_the_accessibility_rules(open_report: Any, viewport: dict[str, int], scheme: str) -> None:
    if not AXE.is_file():
        pytest.skip("axe-core is not installed: npm ci in tests/browser")
    page = open_report(viewport=viewport, color_scheme=scheme).page
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert found["passes"], "axe ran no rule"
    told = [f"{each['id']}: {each['nodes'][0]['html'][:160]}" for each in found["violations"]]
    assert told == []
