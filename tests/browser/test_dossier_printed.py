"""The dossier as it is read: on paper, on a wide screen, on a phone, without a network."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from tests.browser.opened import CHROMIUM, PHONE, WIDE
from tests.browser.printed import printed_text
from tests.dossier.reconstructed import CONTAINER, bare, reconstruction

from coldsift.dossier import build_dossier, print_pdf

pytestmark = pytest.mark.browser

MEGABYTE = 1_000_000
SHEETS = {"A4": (595.0, 842.0), "Letter": (612.0, 792.0)}
"""Width and height. [pt] ISO 216: 210 mm by 297 mm; ANSI/ASME Y14.1 size A: 8.5 in by 11 in."""
TEXT_WIDTH = {"A4": round((210 - 30) / 25.4 * 96), "Letter": round((215.9 - 30) / 25.4 * 96)}
"""Between the margins. [CSS px]"""


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A dossier with hostile text in every part."""
    path = tmp_path_factory.mktemp("dossier") / "dossier.html"
    path.write_text(build_dossier(reconstruction()), encoding="utf-8")
    return path


@pytest.fixture(scope="module", params=["A4", "Letter"])
def printed(request: pytest.FixtureRequest, report: Path) -> tuple[str, bytes]:
    """The paper and the file."""
    if CHROMIUM is None:
        pytest.skip("no chromium found on this machine")
    target = report.parent / f"{request.param}.pdf"
    print_pdf(report.read_text(encoding="utf-8"), target, request.param)
    return request.param, target.read_bytes()


def _pages(pdf: bytes) -> list[str]:
    """Text of each page; Chromium paints the margins first, and the page number ends them."""
    text = printed_text(pdf)
    starts = [found.start() for found in re.finditer(CONTAINER + r"Temperaturedossier,", text)]
    return [text[first:last] for first, last in zip(starts, [*starts[1:], len(text)], strict=True)]


def test_every_sheet_has_its_size_the_container_and_its_number(printed: tuple[str, bytes]) -> None:
    paper, pdf = printed
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert len(boxes) > 5
    for box in boxes:
        assert tuple(map(float, box)) == pytest.approx(SHEETS[paper], abs=1)
    pages = _pages(pdf)
    assert len(pages) == len(boxes)
    for number, page in enumerate(pages, start=1):
        assert f"Page{number}of{len(boxes)}" in page
        assert "Inventeddata" in page
    assert len(pdf) < 3 * MEGABYTE


def test_the_first_sheet_holds_answers_overview_and_key_figures(printed: tuple[str, bytes]) -> None:
    first = _pages(printed[1])[0]
    for said in ("Whatcanthelognottell?", "Figure1.", "Began", "Meankinetictemperature", "Alongwithit"):
        assert said in first
    assert "Figure2." not in first


def test_no_heading_stands_alone_at_the_foot_of_a_sheet(printed: tuple[str, bytes]) -> None:
    headings = ("1Whathappened", "2Thewholewindow", "3Themainexcursion", "4Excursionsin", "5Wasitthe")
    pages = _pages(printed[1])
    for heading in headings:
        page = next(each for each in pages if heading in each)
        assert len(page) - page.index(heading) > 150, heading


def test_letters_of_the_drawings_can_be_searched(printed: tuple[str, bytes]) -> None:
    text = printed_text(printed[1])
    for said in ("Supplyair(controlstheunit)", "Possibleinagap(hatched)", "Abovesetpoint,K", "Setpoint,°C"):
        assert said in text
    # No drawing came out as a picture.
    assert b"/Subtype /Image" not in printed[1]


def test_the_same_dossier_prints_the_same_bytes(
    printed: tuple[str, bytes], report: Path, tmp_path: Path
) -> None:
    paper, pdf = printed
    again = tmp_path / "again.pdf"
    print_pdf(report.read_text(encoding="utf-8"), again, paper)  # type: ignore[arg-type]
    assert again.read_bytes() == pdf
    assert list(tmp_path.iterdir()) == [again]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_nothing_is_wider_than_the_sheet(open_report: Any, paper: str) -> None:
    # The browser would shrink the whole print to make it fit.
    opened = open_report(viewport={"width": TEXT_WIDTH[paper], "height": 1000})
    opened.page.emulate_media(media="print")
    assert _widest(opened) <= TEXT_WIDTH[paper]


@pytest.mark.parametrize("viewport", [PHONE, WIDE])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_reads_on_any_screen_without_scrolling_sideways(
    open_report: Any, viewport: dict[str, int], scheme: str
) -> None:
    opened = open_report(viewport=viewport, color_scheme=scheme)
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    opened.assert_quiet()
    opened.page.locator("figure").first.scroll_into_view_if_needed()
    picture = Image.open(io.BytesIO(opened.page.screenshot())).convert("RGB")
    colours = picture.getcolors(maxcolors=1 << 24)
    assert colours is not None
    assert len(colours) > 100
    most = max(colours)[1]
    assert (sum(most) > 380) == (scheme == "light")


def test_drawings_follow_the_page_into_the_dark(open_report: Any) -> None:
    said = "getComputedStyle(document.querySelector('.drawing text')).fill"
    light = open_report(color_scheme="light").page.evaluate(said)
    dark = open_report(color_scheme="dark").page.evaluate(said)
    assert light == "rgb(26, 32, 38)"
    assert dark == "rgb(232, 235, 238)"


def test_on_a_phone_every_cell_says_what_it_is(open_report: Any) -> None:
    opened = open_report(viewport=PHONE)
    cell = "document.querySelector('.events td.time')"
    said = opened.page.evaluate(f"getComputedStyle({cell}, '::before').content")
    assert "From [UTC]" in said
    assert opened.page.evaluate("getComputedStyle(document.querySelector('thead')).display") == "none"


def test_a_dossier_with_hardly_anything_in_it_prints_as_well(tmp_path: Path) -> None:
    if CHROMIUM is None:
        pytest.skip("no chromium found on this machine")
    target = tmp_path / "bare.pdf"
    print_pdf(build_dossier(bare()), target)
    pages = _pages(target.read_bytes())
    assert len(pages) > 1
    assert "Inventeddata" not in pages[0]


def _widest(opened: Any) -> float:
    """Right edge of whatever reaches furthest. [CSS px]"""
    return opened.page.evaluate(
        "Math.max(...[...document.querySelectorAll('body *:not(.hidden)')]"
        ".filter((each) => !each.closest('svg') || each.tagName === 'svg')"
        ".map((each) => each.getBoundingClientRect().right))"
    )
