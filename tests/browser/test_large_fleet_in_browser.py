"""The list of a fleet too large for a line a unit: every unit is found by its number, and its page opened."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.browser.opened import written
from tests.report.fleet import container, material_of, report_arguments

from coldsift.report import prepare
from coldsift.report.views import MOST_LISTED

pytestmark = pytest.mark.browser

COUNT = MOST_LISTED + 60
BEYOND = container(COUNT - 3)
"""A unit without a line of its own."""


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The index, and the page of one unit that it has no line of."""
    arguments = report_arguments(COUNT, 2, 1)
    large = prepare(material_of(arguments))
    pages = dict(large.units_of([BEYOND]).pages(arguments["timeline"].sort("container", "time")))
    return written(tmp_path_factory.mktemp("large"), pages | dict(large.rest()))


def _links(opened: Any) -> Any:
    return opened.page.locator(".unlisted a:visible")


def test_a_number_without_a_line_is_found_by_the_search_and_opens_its_page(open_report: Any) -> None:
    opened = open_report()
    assert not opened.page.locator(".unlisted").evaluate("details => details.open")
    opened.page.locator("#search").fill(BEYOND)
    link = _links(opened)
    assert link.all_inner_texts() == [BEYOND]
    assert opened.page.locator("#none-shown").is_hidden()
    assert opened.page.locator(".unlisted output").inner_text() == "1 of 60 shown"
    link.click()
    opened.page.locator(f"main.unit[data-unit='unit-{BEYOND}']").wait_for()
    opened.page.get_by_role("link", name="Back to the list").first.click()
    opened.until("([name]) => document.activeElement.textContent === name", [BEYOND])
    opened.assert_quiet()


def test_a_number_that_no_unit_has_is_said_to_be_none(open_report: Any) -> None:
    opened = open_report()
    opened.page.locator("#search").fill("QXAU999999")
    assert opened.page.locator("#none-shown").is_visible()
    assert _links(opened).count() == 0


def test_charts_say_how_many_of_the_units_they_show(open_report: Any) -> None:
    opened = open_report("#fleet")
    opened.page.locator("#days .js-plotly-plot").wait_for()
    assert f"show the first {MOST_LISTED} units" in opened.page.locator(".first-units").inner_text()
    assert opened.page.locator("#days .day-names a").count() == MOST_LISTED
    opened.assert_quiet()
