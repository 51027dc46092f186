"""A unit's page as somebody has it in front of the box, on a phone, on paper, or sent on by itself."""

from __future__ import annotations

import re
import shutil
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.browser.opened import PHONE, WIDE, Opened, written
from tests.browser.printed import printed_text
from tests.report.fleet import START, container, one_page, pages

pytestmark = pytest.mark.browser

FIRST, SECOND, NOTHING_FOUND, LAST = (container(number) for number in (1, 2, 8, 12))
SHOWN = """() => {
    window.shown = [];
    const { show } = window.coldsiftCharts;
    window.coldsiftCharts.show = (place, ...times) => {
        window.shown.push([place.className.split(" ")[0], ...times]);
        show(place, ...times);
    };
}"""


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the most urgent of 12 invented units, with the others and the index around it."""
    folder = tmp_path_factory.mktemp("report")
    written(folder, pages())
    return folder / "units" / f"{FIRST}.html"


@pytest.fixture(scope="module")
def alone(report: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same page without anything beside it."""
    return Path(shutil.copy(report, tmp_path_factory.mktemp("mailed")))


def _chart(opened: Opened) -> Any:
    drawn = opened.page.locator(".chart svg.main-svg").first
    drawn.wait_for(state="attached")
    return opened.page.locator("figure").first


def test_a_page_draws_its_chart_and_asks_for_nothing_but_the_script_beside_it(open_report: Any) -> None:
    opened = open_report()
    assert _chart(opened).is_visible()
    assert [address.rpartition("/")[2] for address in opened.asked] == [f"{FIRST}.html", "shared.js"]
    assert not opened.page.locator(".alone").is_visible()
    opened.assert_quiet()


def test_the_numbers_behind_a_sentence_are_one_click_or_one_key_away(open_report: Any) -> None:
    opened = open_report()
    reason = opened.page.locator(".reasons li").first
    assert not reason.locator("dl").is_visible()
    reason.locator("summary").click()
    assert "1.92 K to 2.88 K, middle 2.40 K" in reason.inner_text().replace("\u00a0", " ")
    assert "split_hold" in reason.inner_text()
    evidence = opened.page.locator(".evidence summary").first
    evidence.focus()
    opened.page.keyboard.press("Enter")
    assert opened.page.locator(".evidence dl").first.is_visible()
    opened.assert_quiet()


@pytest.mark.parametrize("place", [".reasons", ".excursions"])
def test_an_excursion_is_shown_on_the_chart_from_the_sentence_and_from_the_table(
    open_report: Any, place: str
) -> None:
    opened = open_report(viewport=PHONE)
    figure = _chart(opened)
    opened.page.evaluate(SHOWN)
    if place == ".reasons":
        opened.page.locator(".reasons summary").nth(1).click()
    button = opened.page.locator(f"{place} .show:visible").last
    button.click()
    opened.until("window.shown.length === 1")
    start = START + timedelta(hours=250)
    times = [round(1000 * each.timestamp()) for each in (start, start + timedelta(hours=20))]
    assert opened.page.evaluate("window.shown") == [["chart", *times]]
    assert figure.evaluate("(each) => each === document.activeElement")
    box = figure.bounding_box()
    assert box["y"] < PHONE["height"]
    assert box["y"] + box["height"] > 0
    opened.assert_quiet()


def test_the_causes_that_answers_bring_up_come_from_the_script_beside_the_page(open_report: Any) -> None:
    opened = open_report()
    before = opened.page.locator(".hypothesis:visible").count()
    for _ in range(12):
        opened.page.locator('.best [data-seen="no"]').click()
    assert opened.page.locator(".hypothesis:visible").count() > before
    assert opened.page.locator(".so-far").inner_text().startswith("After 12 answers: ")
    opened.assert_quiet()


def test_where_nothing_was_found_the_checks_stand_further_down(open_report: Any, report: Path) -> None:
    # Without a cause worth telling there is no check at all.
    opened = open_report(address=(report.parent / f"{NOTHING_FOUND}.html").as_uri())
    assert opened.page.locator(".do-first .panel").count() == 0
    assert "The log asks for no visit." in opened.page.locator(".do-first").inner_text()
    opened.assert_quiet()


def test_on_a_phone_the_first_check_stands_on_the_first_screen(open_report: Any) -> None:
    opened = open_report(viewport=PHONE, has_touch=True, is_mobile=True)
    bottom = "(each) => each.getBoundingClientRect().bottom"
    assert opened.page.locator(".best .question").evaluate(bottom) < PHONE["height"]
    assert opened.page.locator('.best [data-seen="yes"]').evaluate(bottom) < 1.15 * PHONE["height"]


@pytest.mark.parametrize("viewport", [PHONE, WIDE], ids=["phone", "wide"])
@pytest.mark.parametrize("name", [FIRST, LAST])
def test_nothing_sticks_out_sideways_with_everything_open(
    open_report: Any, report: Path, name: str, viewport: dict[str, int]
) -> None:
    phone = {"has_touch": True, "is_mobile": True} if viewport is PHONE else {}
    address = (report.parent / f"{name}.html").as_uri()
    opened = open_report(viewport=viewport, address=address, **phone)
    _chart(opened)
    opened.page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    opened.page.wait_for_timeout(300)
    assert opened.page.evaluate("document.documentElement.scrollWidth") == viewport["width"]
    opened.assert_quiet()


def test_degrees_fahrenheit_reach_the_numbers_behind_the_sentences_but_not_what_people_wrote(
    open_report: Any,
) -> None:
    opened = open_report()
    opened.page.locator(".reasons summary").first.click()
    opened.page.locator("#temperature").select_option("F")
    behind = opened.page.locator(".reasons dl").first.inner_text().replace("\u00a0", " ")
    # Differences: 1.92 K is 3.46 °F; not 35.46.
    assert "3.46 °F to 5.18 °F, middle 4.32 °F" in behind
    excursions = opened.page.locator(".excursions table").inner_text().replace("\u00a0", " ")
    assert "43.5 °F" in excursions
    assert "51.1 °F·h" in excursions
    assert opened.page.locator(".work-notes").inner_text().endswith("coil iced over Done: defrosted by hand")
    opened.assert_quiet()


def test_the_neighbours_and_the_list_are_one_link_away(open_report: Any) -> None:
    opened = open_report()
    opened.page.locator('header a[rel="next"]').click()
    opened.page.wait_for_url(re.compile(SECOND))
    opened.page.locator('header a[rel="prev"]').click()
    opened.page.wait_for_url(re.compile(FIRST))
    opened.page.get_by_role("link", name="Back to the list").first.click()
    opened.page.wait_for_url(re.compile(rf"/index\.html#at=unit-{FIRST}$"))


# Sent on by itself, on paper, without scripts


def test_a_page_sent_on_by_itself_says_what_is_missing_and_still_tells_everything(
    open_report: Any, alone: Path
) -> None:
    opened = open_report(address=alone.as_uri())
    opened.page.locator(".alone").wait_for()
    assert "shared.js, which belongs beside it, is missing" in opened.page.locator(".alone").inner_text()
    assert opened.page.locator("figure").is_hidden()
    assert opened.page.locator(".show:visible").count() == 0
    listed = opened.page.locator(".paper-check")
    assert listed.count() == 5
    assert listed.first.locator(".boxes").inner_text() == "☐ yes ☐ no"
    opened.page.locator(".reasons summary").first.click()
    assert opened.page.locator(".reasons dl").first.is_visible()
    opened.page.locator("#temperature").select_option("F")
    assert "3.46" in opened.page.locator(".reasons dl").first.inner_text()
    assert all("ERR_FILE_NOT_FOUND" in each for each in opened.said), opened.said


def test_without_scripts_every_word_and_number_is_there(open_report: Any) -> None:
    opened = open_report(java_script_enabled=False)
    page = opened.page
    assert page.locator(".paper-check").count() == 5
    page.locator(".reasons summary").first.click()
    assert page.locator(".reasons dl").first.is_visible()
    assert page.locator(".excursions tbody tr").count() == 2
    assert page.locator("button:visible").count() == 0
    assert not page.locator(".alone").is_visible()


def test_the_card_prints_on_about_three_sheets_with_boxes_cautions_and_its_chart(open_report: Any) -> None:
    opened = open_report()
    _chart(opened)
    question = opened.page.locator(".best .question").inner_text()
    pdf = opened.page.pdf(format="A4")
    assert len(re.findall(rb"/Type /Page\n", pdf)) <= 3
    printed = printed_text(pdf)

    def told(text: str) -> str:
        return "".join(text.split())

    assert told(f"{question} ☐ yes ☐ no") in printed
    assert told("Mains voltage, rotating fans, gas under pressure, low oxygen.") in printed
    assert told("Split 0.3 K; 11 peers hold 1.9 to 2.9 K") in printed
    assert told("Supply air") in printed
    for screen_only in ("Show on the chart", "Back to the list", "Cannot tell", "coldsift dossier"):
        assert told(screen_only) not in printed
    opened.assert_quiet()


# The command to copy


def test_the_command_of_the_dossier_is_copied(open_report: Any, address: str) -> None:
    opened = open_report(address=address, permissions=["clipboard-read", "clipboard-write"])
    opened.page.get_by_role("button", name="Copy").click()
    opened.page.get_by_role("button", name="Copied").wait_for()
    copied = opened.page.evaluate("navigator.clipboard.readText()")
    assert copied == f"coldsift dossier {FIRST} LOGS --out dossiers/{FIRST}"


def test_where_copying_is_refused_the_command_is_selected(open_report: Any) -> None:
    refused = (
        "Clipboard.prototype.writeText = () => Promise.reject(new DOMException('no', 'NotAllowedError'));"
    )
    opened = open_report(beforehand=refused)
    opened.page.get_by_role("button", name="Copy").click()
    opened.until("getSelection().toString() !== ''")
    selected = opened.page.evaluate("getSelection().toString()")
    assert selected == f"coldsift dossier {FIRST} LOGS --out dossiers/{FIRST}"
    opened.assert_quiet()


# In one file


def test_in_one_file_a_link_into_a_closed_card_opens_it_and_draws_its_chart(
    open_report: Any, tmp_path: Path
) -> None:
    path = tmp_path / "index.html"
    path.write_text(one_page(), encoding="utf-8")
    opened = open_report(f"#at=excursions-unit-{SECOND}", address=path.as_uri())
    card = opened.page.locator(f'details.unit[data-unit="unit-{SECOND}"]')
    card.locator(".chart svg.main-svg").first.wait_for(state="attached")
    assert card.locator(".excursions").is_visible()
    opened.assert_quiet()
