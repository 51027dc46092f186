"""The plan by bay, the round and the hand-over sheet in use: on a screen, a phone, by keyboard, on paper."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from tests.browser.opened import PHONE, WIDE, Opened, written
from tests.browser.printed import printed_text
from tests.browser.test_accessibility import AXE, _broken
from tests.report.contrast import _luminance
from tests.report.fleet import cargo, container, findings, report_of, table
from tests.report.ship import PLACES, changes, inspection, notes, repairs, ship_arguments

from coldsift import schema
from coldsift.report import HANDOVER

pytestmark = pytest.mark.browser

SHIP = 400
FIRST = container(1)


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ship of twelve units with all papers."""
    folder = tmp_path_factory.mktemp("ship")
    return written(folder, report_of(ship_arguments(12)))


@pytest.fixture(scope="module")
def axe() -> str:
    if not AXE.is_file():
        pytest.skip("axe-core is not installed: npm ci in tests/browser")
    return AXE.read_text(encoding="utf-8")


def _sheet(open_report: Any, report: Path, **options: Any) -> Opened:
    opened: Opened = open_report(address=(report.parent / HANDOVER).as_uri(), **options)
    return opened


def _pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type /Page\n", pdf))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [WIDE, PHONE], ids=["wide", "phone"])
def test_ship_and_sheet_keep_the_rules_of_accessibility(
    open_report: Any, report: Path, axe: str, viewport: dict[str, int], scheme: str
) -> None:
    opened = open_report("#ship", viewport=viewport, color_scheme=scheme)
    opened.page.locator("#bays").wait_for()
    assert _broken(opened.page, axe) == []
    assert _broken(_sheet(open_report, report, viewport=viewport, color_scheme=scheme).page, axe) == []


@pytest.mark.parametrize("fragment", ["#ship", HANDOVER])
def test_nothing_scrolls_sideways_on_a_phone(open_report: Any, report: Path, fragment: str) -> None:
    options = {"viewport": PHONE, "has_touch": True, "is_mobile": True}
    opened = (
        _sheet(open_report, report, **options) if fragment == HANDOVER else open_report(fragment, **options)
    )
    assert opened.page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    opened.assert_quiet()


def test_on_a_phone_bays_stand_one_below_the_other(open_report: Any, tmp_path: Path) -> None:
    larger = written(tmp_path, report_of(ship_arguments(70, days=2)))
    page = open_report("#ship", address=larger.as_uri(), viewport=PHONE).page
    bays = [page.locator(".bay").nth(place).bounding_box() for place in range(page.locator(".bay").count())]
    assert len(bays) == 3
    for above, below in pairwise(bays):
        assert below["y"] > above["y"] + above["height"]
        assert below["x"] == above["x"]
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]


def test_a_box_on_the_plan_leads_to_its_card_by_mouse_and_by_keyboard(open_report: Any) -> None:
    page = open_report("#ship").page
    page.locator(f'.bays a.slot[href$="{FIRST}.html"]').click()
    page.wait_for_url(re.compile(rf"units/{FIRST}\.html"))
    page.go_back()
    slots = page.locator(".bays a.slot")
    slots.first.focus()
    seen = []
    for _ in range(slots.count()):
        seen.append(page.evaluate("document.activeElement.getAttribute('aria-label')"))
        page.keyboard.press("Tab")
    assert len({*seen}) == slots.count()
    assert all(re.match(r"\w+, bay \d+ row \d\d tier \d\d, ", name) for name in seen)


def test_the_mouse_finds_the_words_of_a_box(open_report: Any) -> None:
    box = open_report("#ship").page.locator(".bays a.slot").first
    box.hover()
    assert box.get_attribute("title") == box.get_attribute("aria-label")


def test_two_boxes_of_20_ft_stand_side_by_side_in_one_place(open_report: Any) -> None:
    page = open_report("#ship").page
    fore, aft, whole = (
        page.locator(f'.bays [aria-label^="{container(number)},"]').bounding_box() for number in (7, 8, 1)
    )
    assert fore["y"] == aft["y"] == whole["y"]
    assert 0 < aft["x"] - (fore["x"] + fore["width"]) < 4
    assert fore["width"] < 0.55 * whole["width"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_is_more_urgent_stands_out_more_also_in_grey(open_report: Any, scheme: str) -> None:
    page = open_report("#ship", color_scheme=scheme).page
    shades = []
    for group in ("go_now", "this_round", "watch", "nothing_found"):
        colour = page.locator(f".bay-key .slot.{group}").first.evaluate(
            "each => getComputedStyle(each).backgroundColor"
        )
        rgb = [int(part) for part in re.findall(r"\d+", colour)[:3]]
        shades.append(_luminance("#" + "".join(f"{part:02x}" for part in rgb)))
    ordered = sorted(shades, reverse=scheme == "dark")
    assert shades == ordered
    # Each step is seen: WCAG's contrast between neighbours.
    steps = [(max(pair) + 0.05) / (min(pair) + 0.05) for pair in pairwise(shades)]
    assert min(steps) > 1.2


def test_every_group_has_a_mark_of_its_own_in_the_key(open_report: Any) -> None:
    marks = open_report("#ship").page.locator(".bay-key .slot span").all_inner_texts()
    assert len({*marks}) >= 5


def test_the_round_is_printed_on_sheets_of_its_own_with_boxes_to_tick(open_report: Any) -> None:
    page = open_report("#ship").page
    pdf = page.pdf(format="A4")
    text = printed_text(pdf)
    assert text.count("☐") == 2
    assert "Afterthis" in text
    page.emulate_media(media="print")
    for part in ("#stops", "#stops + section"):
        breaks = page.locator(part).evaluate("each => getComputedStyle(each).breakBefore")
        assert breaks == "page", part


def _crowded(language: str) -> dict[str, str]:
    """A ship of 400 with long sentences everywhere."""
    names = [container(place + 1) for place in range(SHIP)]
    question = "Voltage at the terminals of the compressor unequal by more than 3 %, under load?"
    long = "At the end of the log the return air is at −1.6 °C, 15.4 K outside its band (set point −20.0 °C)"
    found = findings(names, position=list(PLACES[:SHIP]), why=[long] * SHIP).with_columns(
        group=pl.lit("go_now"),
        first_check=pl.lit(question),
    )
    noted = notes(names, SHIP).with_columns(action=pl.lit("drain heater replaced, drain cleared " * 4))
    arguments = ship_arguments(
        SHIP,
        2,
        2,
        findings=found,
        notes=noted,
        repairs=repairs(noted).with_columns(words=pl.lit(f"{long}. " * 2)),
        changes=changes(found, SHIP),
        round=inspection(found, 24),
        cargo=cargo(names, hours_as_now=30.0, hours_as_now_low=20.0, hours_as_now_high=50.0),
        parts=table(
            schema.PARTS,
            [
                {
                    "part": f"controller output module, kind {kind}",
                    "on_board": 0,
                    "used": 0,
                    "wanted": 9,
                    "short": 9,
                }
                for kind in range(9)
            ],
        ),
        title="A voyage with a long name, from one port to another and back again, northbound",
    )
    return report_of(arguments, language=language)


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_sheet_of_a_crowded_ship_fills_one_page_of_a4(
    open_report: Any, tmp_path: Path, language: str
) -> None:
    crowded = written(tmp_path, _crowded(language))
    pdf = _sheet(open_report, crowded).page.pdf(format="A4")
    assert _pages(pdf) == 1
    text = printed_text(pdf)
    assert ("itneversaysthataunitissafe" if language == "en" else "nuncadice") in text
    assert ("moreinthereport" if language == "en" else "enelinforme") in text


def test_the_sheet_of_a_small_ship_is_one_page_and_says_when_the_logs_end(
    open_report: Any, report: Path
) -> None:
    opened = _sheet(open_report, report)
    pdf = opened.page.pdf(format="A4")
    assert _pages(pdf) == 1
    assert "Logsend2031-03-1423:45UTC" in printed_text(pdf)
    opened.assert_quiet()


def test_report_and_sheet_lead_to_each_other(open_report: Any) -> None:
    page = open_report().page
    page.get_by_role("link", name="Hand-over sheet").click()
    page.wait_for_url(re.compile(HANDOVER))
    page.get_by_role("link", name="The report").click()
    page.wait_for_url(re.compile(r"index\.html"))


def test_the_first_screen_leads_to_what_is_not_matched(open_report: Any) -> None:
    page = open_report().page
    page.get_by_role("link", name="2 boxes of the plan").click()
    assert page.locator("#unmatched").is_visible()
    assert page.locator('nav.views [aria-current="page"]').inner_text() == "Ship"
