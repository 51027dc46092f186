"""The report as a reader uses it: in a real browser, from a file, without a network."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.browser.opened import PHONE
from tests.report.fleet import HOSTILE, container, report_arguments

from coldsift.report import build_report

pytestmark = pytest.mark.browser

FIRST, SECOND = container(1), container(2)


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A report of 40 invented units, one of them with hostile text."""
    arguments = report_arguments(40, 2)
    arguments["reasons"] = arguments["reasons"] | {SECOND: (f"Coil ice {HOSTILE}",)}
    path = tmp_path_factory.mktemp("report") / "index.html"
    path.write_text(build_report(**arguments), encoding="utf-8")
    return path


def test_the_page_opens_without_an_error_and_asks_for_nothing(open_report: Any) -> None:
    opened = open_report()
    assert opened.page.locator(".headline").inner_text() == "2 of 40 units need someone now."
    assert len(opened.shown()) == 40
    opened.page.get_by_role("button", name="Open “go now” and “this round”").click()
    opened.page.wait_for_function("document.querySelectorAll('.chart .scatterlayer .trace').length > 20")
    opened.assert_quiet()


def test_search_narrows_the_list_to_units_with_every_word(open_report: Any) -> None:
    opened = open_report()
    opened.page.get_by_label("Search").fill("split PEERS")
    assert opened.shown() == [FIRST]
    assert opened.page.locator("#shown").inner_text() == "1 of 40 shown"
    assert opened.page.locator("details.unit:visible").count() == 1
    opened.page.get_by_label("Search").fill("no such words")
    assert opened.shown() == []
    assert opened.page.get_by_text("No unit fits this search.").is_visible()
    opened.page.get_by_label("Search").fill("")
    assert len(opened.shown()) == 40
    opened.assert_quiet()


def test_the_group_filter_and_the_tiles_show_one_group(open_report: Any) -> None:
    opened = open_report()
    opened.page.get_by_label("Group").select_option("this_round")
    assert opened.shown() == [container(number) for number in (3, 4, 5, 6)]
    opened.page.locator("a.tile.go_now").click()
    assert opened.shown() == [FIRST, SECOND]
    assert opened.page.get_by_label("Group").input_value() == "go_now"
    opened.assert_quiet()


def test_headings_sort_with_the_keyboard_and_units_without_a_value_stay_last(open_report: Any) -> None:
    opened = open_report()
    heading = opened.page.get_by_role("button", name="Time to limit")
    heading.focus()
    opened.page.keyboard.press("Enter")
    assert opened.shown()[:3] == [container(1), container(2), container(3)]
    opened.page.keyboard.press("Enter")
    assert opened.shown()[:3] == [container(3), container(2), container(1)]
    column = opened.page.get_by_role("columnheader", name="Time to limit")
    assert column.get_attribute("aria-sort") == "descending"
    opened.page.get_by_role("button", name="Rank").click()
    assert opened.shown() == [container(number) for number in range(1, 41)]
    opened.assert_quiet()


def test_a_link_to_a_unit_opens_it_and_draws_its_chart(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    section = opened.page.locator(f"#unit-{FIRST}")
    opened.wait_for_chart()
    assert section.is_visible()
    assert section.locator(".chart .barlayer .trace").count() == 4
    assert section.locator(".key button").all_text_contents() == [
        "Defrost",
        "Power off",
        "No usable readings",
        "Band",
        "Set point",
        "Ambient air",
        "Return air",
        "Supply air",
        "Excursion",
    ]
    assert opened.page.locator(".chart[data-drawn]").count() == 1
    opened.assert_quiet()


def test_a_row_opens_its_unit_with_the_keyboard_also_after_it_was_closed(open_report: Any) -> None:
    opened = open_report()
    link = opened.page.locator(f'.ranking a[href="#unit-{SECOND}"]')
    section = opened.page.locator(f"#unit-{SECOND}")
    for _ in range(2):
        link.focus()
        opened.page.keyboard.press("Enter")
        section.wait_for(state="visible")
        opened.page.get_by_role("button", name="Close all").click()
        section.wait_for(state="hidden")
    opened.assert_quiet()


def test_a_key_button_hides_its_line(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    button = opened.page.locator(f"#unit-{FIRST} .key").get_by_role("button", name="Ambient air")
    button.click()
    assert button.get_attribute("aria-pressed") == "false"
    hidden = opened.page.evaluate(
        """(() => {
            const traces = document.querySelector(".chart[data-drawn]").data;
            return traces.filter((trace) => trace.visible === false).map((trace) => trace.name);
        })()"""
    )
    assert hidden == ["Ambient air"]
    opened.assert_quiet()


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "America/St_Johns", "UTC"])
def test_charts_show_utc_whatever_the_clock_of_the_device(open_report: Any, zone: str) -> None:
    opened = open_report(f"#unit-{FIRST}", timezone_id=zone)
    opened.wait_for_chart()
    drawn = opened.page.evaluate(
        """(() => {
            const chart = document.querySelector(".chart[data-drawn]");
            const axis = chart._fullLayout.xaxis;
            const excursion = chart.data.filter((trace) => trace.name === "Excursion")[0];
            return [axis.range[0], excursion.x[1], new Date(axis.r2l("2031-03-01T00:00:00")).toISOString()];
        })()"""
    )
    assert drawn[0][:16].replace(" ", "T") in ("2031-03-01T00:00", "2031-03-01")
    assert drawn[1] == "2031-03-11T10:00:00"
    assert drawn[2] == "2031-03-01T00:00:00.000Z"
    opened.assert_quiet()


def test_the_line_on_the_screen_has_a_hole_at_the_gap(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    opened.wait_for_chart()
    pieces = opened.page.evaluate(
        """(() => {
            const chart = document.querySelector(".chart[data-drawn]");
            const lines = chart.data.filter((trace) => trace.type === "scatter");
            const place = lines.findIndex((trace) => trace.name === "Supply air");
            const line = chart.querySelectorAll(".scatterlayer .trace")[place];
            const drawn = [...line.querySelectorAll(".lines path")].map((path) => path.getAttribute("d"));
            return drawn.join("").match(/M/g).length;
        })()"""
    )
    assert pieces == 2
    opened.assert_quiet()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_sticks_out_sideways_on_a_phone(open_report: Any, scheme: str) -> None:
    opened = open_report(f"#unit-{FIRST}", PHONE, color_scheme=scheme, has_touch=True, is_mobile=True)
    opened.wait_for_chart()
    opened.page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    opened.page.wait_for_function(
        "[...document.querySelectorAll('.chart')].every((chart) => chart.dataset.drawn === 'yes')"
    )
    width = opened.page.evaluate("document.documentElement.scrollWidth")
    assert width == PHONE["width"]
    chart = opened.page.locator(f"#unit-{FIRST} .chart .main-svg").first.bounding_box()
    assert 250 < chart["width"] <= PHONE["width"]
    opened.assert_quiet()


def test_an_opened_unit_prints_with_its_chart_inside_the_paper(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    opened.wait_for_chart()
    opened.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert opened.page.locator(".chart .main-svg").first.bounding_box()["width"] == 680
    opened.page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    opened.page.wait_for_function("document.querySelector('.chart .main-svg').clientWidth > 1000")
    assert opened.page.pdf(format="A4").startswith(b"%PDF")
    opened.assert_quiet()


def test_hostile_text_from_a_log_is_shown_and_never_run(open_report: Any) -> None:
    opened = open_report(f"#unit-{SECOND}")
    reason = opened.page.locator(f"#unit-{SECOND} .reasons li").first.inner_text()
    assert reason == 'Coil ice <script>alert("1")</script>‹U+202E›</details>'
    opened.assert_quiet()


def test_without_scripts_the_list_and_the_numbers_are_still_there(open_report: Any) -> None:
    opened = open_report(java_script_enabled=False)
    assert len(opened.shown()) == 40
    assert not opened.page.locator("form.controls").is_visible()
    opened.page.locator("details.unit summary").first.click()
    assert opened.page.locator(f"#unit-{FIRST} .reasons").is_visible()
