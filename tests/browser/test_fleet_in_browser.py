"""Fleet, data and method of the index, as a reader uses them."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from PIL import Image
from tests.browser.opened import PHONE, Opened, written
from tests.report.fleet import (
    HOSTILE,
    container,
    defrosts,
    one_page,
    pages,
    report_arguments,
    report_of,
    timeline,
    unit_days,
)

from coldsift.report import UnitPages

pytestmark = pytest.mark.browser

FIRST, SECOND, SILENT = container(1), container(2), container(3)
EVIL = f"QX<b>A</b>{HOSTILE}"
SHOWN_EVIL = EVIL.replace("\u202e", "‹U+202E›")
HOSTILE_PLACE = 5


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pages of 12 invented units, one with a hostile name; beside them all in one file."""
    folder = tmp_path_factory.mktemp("fleet")
    named = {container(HOSTILE_PLACE): EVIL}
    arguments = {
        name: value.with_columns(pl.col("container").replace(named))
        if isinstance(value, pl.DataFrame) and "container" in value.columns
        else value
        for name, value in report_arguments(12, 2, 14).items()
    }
    (folder / "one.html").write_text(one_page(), encoding="utf-8")
    return written(folder, report_of(arguments))


def _open(open_report: Any, state: str = "at=fleet", **options: Any) -> Opened:
    opened: Opened = open_report(f"#{state}", **options)
    opened.page.locator(".view:visible .js-plotly-plot").first.wait_for()
    return opened


def _cell(opened: Opened, row: int, day: int, section: str = "#days") -> dict[str, float]:
    """Middle of a cell of a chart of days, on the screen."""
    plot = opened.page.locator(f"{section} .day-plot")
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    return {"x": box["x"] + (day + 0.5) * box["width"] / 14, "y": box["y"] + (row + 0.5) * box["height"] / 12}


def _hover(opened: Opened) -> str:
    label = opened.page.locator(".hoverlayer .hovertext")
    label.wait_for()
    return " ".join(label.locator("text").first.text_content().split())


# ---------------------------------------------------------------------------------------- units by days


def test_nothing_is_drawn_before_a_part_is_shown(open_report: Any) -> None:
    opened = open_report()
    opened.page.locator(".ranking").wait_for()
    assert opened.page.locator(".js-plotly-plot").count() == 0
    opened.page.get_by_role("navigation", name="Parts of this report").get_by_text("Fleet").click()
    opened.page.locator("#days .js-plotly-plot").wait_for()
    assert opened.page.locator("#coverage .js-plotly-plot").count() == 0
    opened.assert_quiet()


def test_a_cell_tells_unit_day_and_number(open_report: Any) -> None:
    opened = _open(open_report)
    opened.page.mouse.move(**_cell(opened, 0, 11))
    assert _hover(
        opened
    ) == f"▲ {FIRST}2031-03-12hours outside the band: 20.0\u00a0hreadings for 100\u00a0%".replace(
        "\u00a0", " "
    )
    opened.page.mouse.move(**_cell(opened, 2, 8))
    opened.page.wait_for_timeout(200)
    assert _hover(opened).endswith("2031-03-09no readings")
    opened.assert_quiet()


def test_a_day_without_readings_is_hatched_and_no_other_is(open_report: Any) -> None:
    opened = _open(open_report)

    def colours(row: int, day: int) -> int:
        middle = _cell(opened, row, day)
        clip = {"x": middle["x"] - 15, "y": middle["y"] - 6, "width": 30, "height": 12}
        shot = Image.open(io.BytesIO(opened.page.screenshot(clip=clip)))
        return len(shot.convert("RGB").getcolors(10_000))

    assert colours(2, 8) > 1
    assert colours(2, 7) == colours(3, 8) == colours(2, 9) == 1


def test_a_click_on_a_cell_opens_the_unit_of_its_row(open_report: Any) -> None:
    opened = _open(open_report)
    opened.page.mouse.click(**_cell(opened, 1, 3))
    opened.page.wait_for_url(f"**/units/{SECOND}.html*")
    assert SECOND in opened.page.title()


def test_in_one_file_a_click_on_a_cell_opens_the_units_card(open_report: Any, report: Path) -> None:
    opened = _open(open_report, address=(report.parent / "one.html").as_uri())
    opened.page.mouse.click(**_cell(opened, 1, 3))
    opened.page.locator(f"#unit-{SECOND}").wait_for()
    assert opened.page.locator("#round").is_visible()
    assert not opened.page.locator("#fleet").is_visible()


def _names(opened: Opened) -> list[str]:
    return [each[2:] for each in opened.page.locator("#days .day-names a").all_text_contents()]


def test_rows_can_be_narrowed_and_put_in_another_order(open_report: Any) -> None:
    opened = _open(open_report)
    days = opened.page.locator("#days")
    assert _names(opened)[:3] == [FIRST, SECOND, SILENT]
    days.locator("[name=order]").select_option("container")
    assert _names(opened) == sorted(_names(opened))
    days.locator("[name=filter]").select_option("rank:go_now")
    assert _names(opened) == [FIRST]
    days.locator("[name=filter]").select_option("peers:1")
    assert sorted(_names(opened)) == sorted(container(place) for place in range(2, 13, 2))
    opened.assert_quiet()


def test_what_was_chosen_stands_in_the_address_and_is_there_again_when_it_is_sent_on(
    open_report: Any,
) -> None:
    opened = _open(open_report)
    opened.page.locator("#days").get_by_label("Shown").select_option("air_middle")
    opened.page.locator("#spread").get_by_label("Scale").select_option("distance")
    address = opened.page.url.partition("#")[2]
    again = _open(open_report, address)
    assert again.page.locator("#days").get_by_label("Shown").input_value() == "air_middle"
    assert again.page.locator("#spread").get_by_label("Scale").input_value() == "distance"


def test_the_worst_days_are_a_table_whose_links_open_their_units(open_report: Any) -> None:
    opened = _open(open_report)
    opened.page.locator("#days .worst summary").click()
    rows = opened.page.locator("#days .worst tbody tr")
    assert rows.count() == 4
    assert rows.first.inner_text().split() == [FIRST, "2031-03-11", "20.0", "h"]
    opened.page.locator("#days").get_by_label("Shown").select_option("alarms")
    assert opened.page.get_by_text("No day of these units has any.").is_visible()
    opened.page.locator("#days").get_by_label("Shown").select_option("hours_outside")
    link = rows.first.get_by_role("link")
    link.focus()
    opened.page.keyboard.press("Enter")
    opened.page.wait_for_url(f"**/units/{FIRST}.html*")


def test_temperatures_are_the_readers_in_chart_key_and_table(open_report: Any) -> None:
    opened = _open(open_report, "at=fleet&days-measure=air_low")
    key = opened.page.locator("#days .day-key")
    assert "−18.5 °C" in key.inner_text().replace("\u00a0", " ")
    opened.page.get_by_label("Temperatures").select_option("F")
    assert "−1.3 °F" in key.inner_text().replace("\u00a0", " ")
    opened.page.mouse.move(**_cell(opened, 1, 3))
    assert "−1.3 °F" in _hover(opened).replace("\u00a0", " ")
    opened.page.locator("#days").get_by_label("Shown").select_option("split")
    opened.page.mouse.move(**_cell(opened, 0, 3))
    opened.page.wait_for_timeout(200)
    assert "2.16 °F" in _hover(opened).replace("\u00a0", " ")
    opened.assert_quiet()


def test_days_stay_days_of_utc_whatever_time_the_reader_prefers(open_report: Any) -> None:
    opened = _open(open_report)
    opened.page.get_by_label("Times").select_option("480")
    assert "midnight to midnight, UTC." in opened.page.locator("#days > p").first.inner_text()
    assert "Start, UTC+8" in opened.page.locator("#events th").nth(1).inner_text()


def test_the_charts_follow_the_colours_of_the_page(open_report: Any) -> None:
    opened = _open(open_report)

    def colours() -> list[Any]:
        return opened.page.evaluate(
            """() => [document.querySelector("#spread .strips")._fullLayout.paper_bgcolor,
                document.querySelector("#days .day-plot").data[1].colorscale[0][1]]"""
        )

    opened.page.locator("#spread .strips .main-svg").first.wait_for()
    light = colours()
    opened.page.get_by_label("Colours").select_option("dark")
    dark = colours()
    assert light[0] != dark[0]
    assert light[1] != dark[1]


# ---------------------------------------------------------------------------------------- peers


def test_every_unit_with_a_value_is_a_dot_and_the_odd_one_is_named_and_marked(open_report: Any) -> None:
    opened = _open(open_report, "at=spread&spread-feature=split_hold")
    drawn = opened.page.evaluate(
        """() => {
            const { data, layout } = document.querySelector("#spread .strips");
            return {
                x: data.map((trace) => trace.x), text: data[1].text, symbols: data[1].marker.symbol,
                bands: layout.shapes.filter(({ type }) => type === "rect").map(({ x0, x1 }) => [x0, x1]),
                strips: layout.annotations.map((each) => each.text),
            };
        }"""
    )
    assert sum(map(len, drawn["x"])) == 12
    assert drawn["x"][1] == [0.3]
    assert [each.strip() for each in drawn["text"]] == [FIRST]
    assert drawn["symbols"] == ["triangle-up"]
    assert drawn["bands"] == [[pytest.approx(1.92), pytest.approx(2.88)]] * 2
    assert drawn["strips"] == ["Chilled: 6 units, 1 odd", "Frozen: 6 units, 0 odd"]
    opened.assert_quiet()


def test_formula_source_and_regime_stand_under_the_dots(open_report: Any) -> None:
    opened = _open(open_report, "at=spread&spread-feature=split_hold")
    told = opened.page.locator("#spread .told").inner_text()
    for words in (
        "hold",
        "median of return air − supply air",
        "common practice, no source",
        "evaporator coil",
    ):
        assert words in told


def test_the_features_can_be_chosen_and_the_furthest_opened_without_a_mouse(open_report: Any) -> None:
    opened = _open(open_report, "at=spread&spread-feature=off_time")
    select = opened.page.locator("#spread").get_by_label("Feature")
    select.focus()
    before = opened.page.locator("#spread .furthest").inner_text()
    select.select_option("split_hold")
    assert opened.page.locator("#spread .furthest").inner_text() != before
    links = opened.page.locator("#spread .furthest li a")
    assert links.count() == 10
    assert links.first.inner_text() == FIRST
    links.first.focus()
    opened.page.keyboard.press("Enter")
    opened.page.wait_for_url(f"**/units/{FIRST}.html*")


def test_a_click_on_a_dot_opens_its_unit(open_report: Any) -> None:
    opened = _open(open_report, "at=spread&spread-feature=split_hold")
    opened.page.locator("#spread .strips .scatterlayer .trace").nth(1).locator(
        "path.point"
    ).scroll_into_view_if_needed()
    box = (
        opened.page.locator("#spread .strips .scatterlayer .trace")
        .nth(1)
        .locator("path.point")
        .bounding_box()
    )
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    opened.page.mouse.move(x, y)
    assert _hover(opened).startswith(f"▲ {FIRST}0.30")
    opened.page.mouse.click(x, y)
    opened.page.wait_for_url(f"**/units/{FIRST}.html*")


def test_a_hostile_name_is_text_everywhere(open_report: Any) -> None:
    opened = _open(open_report)
    assert SHOWN_EVIL in _names(opened)
    opened.page.mouse.move(**_cell(opened, HOSTILE_PLACE - 1, 3))
    assert '<b>A</b><script>alert("1")</script>' in _hover(opened)
    assert opened.page.locator("#days .day-names b, #fleet .members b").count() == 0
    opened.assert_quiet()


# ---------------------------------------------------------------------------------------- defrosts


def _bars(opened: Opened) -> list[list[float]]:
    return opened.page.evaluate(
        """() => document.querySelector("#defrosts .hours").data.map((trace) =>
            trace.base.map((from, place) => [trace.y[place], from, trace.x[place]]))"""
    )


def test_the_calendar_counts_defrosts_and_one_units_are_shown_by_the_hour(open_report: Any) -> None:
    opened = _open(open_report, "at=defrosts")
    opened.page.locator("#defrosts .day-plot .main-svg").first.wait_for()
    opened.page.mouse.move(**_cell(opened, 0, 3, "#defrosts"))
    assert "number of defrosts: 4" in _hover(opened)
    assert not opened.page.locator("#defrosts .hours").is_visible()
    opened.page.locator("#defrosts [name=unit]").select_option("0")
    told = opened.page.locator("#defrosts .hours-told").inner_text().replace("\u00a0", " ")
    assert told == "56 defrosts, usually 30 min, longest 30 min; 0 not properly ended."
    silent, ended, bad = _bars(opened)
    assert (silent, bad) == ([], [])
    assert ended[:5] == [[0, 0, 0.5], [0, 6, 0.5], [0, 12, 0.5], [0, 18, 0.5], [1, 0, 0.5]]
    opened.assert_quiet()


def test_the_hours_are_those_of_the_ships_time_and_a_stretch_is_cut_at_its_midnight(open_report: Any) -> None:
    opened = _open(open_report, "at=defrosts&defrosts-unit=2")
    opened.page.locator("#defrosts .hours .main-svg").first.wait_for()
    opened.page.get_by_label("Times").select_option("-30")
    silent, ended, _ = _bars(opened)
    assert ended[0] == [0, 23.5, 0.5]
    assert ended[1] == [1, 5.5, 0.5]
    # The day without readings, from midnight UTC.
    assert silent == [[8, 23.5, 0.5], [9, 0, 23.5]]


# ---------------------------------------------------------------------------------------- data, method


def test_the_share_of_readings_is_drawn_by_days(open_report: Any) -> None:
    opened = _open(open_report, "at=data")
    opened.page.mouse.move(**_cell(opened, 2, 7, "#coverage"))
    assert "share of the day with readings: 100" in _hover(opened)
    opened.page.locator("#coverage .worst summary").click()
    assert SILENT in opened.page.locator("#coverage .worst tbody tr").first.inner_text()
    opened.assert_quiet()


def test_the_glossary_can_be_searched(open_report: Any) -> None:
    opened = open_report("#glossary")
    terms = opened.page.locator("#glossary .terms > div:visible")
    every = terms.count()
    opened.page.locator("#glossary").get_by_label("Search").fill("SUPERHEAT refrigerant")
    assert 0 < terms.count() < every
    assert opened.page.locator("#glossary output").inner_text() == f"{terms.count()} of {every} shown"
    opened.page.locator("#glossary").get_by_label("Search").fill("")
    assert terms.count() == every
    opened.assert_quiet()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("view", ["fleet", "data", "method", "cautions"])
def test_nothing_sticks_out_sideways_on_a_phone(open_report: Any, view: str, scheme: str) -> None:
    opened = open_report(f"#{view}", PHONE, color_scheme=scheme, has_touch=True, is_mobile=True)
    opened.page.locator(f"#{view}").wait_for()
    opened.page.evaluate(
        f"document.querySelectorAll('#{view} details').forEach((each) => {{ each.open = true; }})"
    )
    for section in opened.page.locator(f"#{view} section").all():
        section.scroll_into_view_if_needed()
    opened.page.wait_for_timeout(300)
    assert opened.page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    opened.assert_quiet()


def test_on_paper_every_chart_is_drawn_and_fits_and_the_tables_are_open(open_report: Any) -> None:
    opened = _open(open_report)
    opened.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    plots = opened.page.locator("#fleet .js-plotly-plot .main-svg").evaluate_all(
        "plots => plots.map((plot) => plot.clientWidth)"
    )
    assert len(plots) >= 3
    assert max(plots) <= 680
    assert opened.page.locator("#days .worst table").is_visible()
    opened.page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert opened.page.locator("#days .day-plot .main-svg").first.evaluate("plot => plot.clientWidth") > 1000
    assert not opened.page.locator("#days .worst table").is_visible()
    assert opened.page.pdf(format="A4").startswith(b"%PDF")


def test_without_scripts_events_groups_clocks_and_method_are_still_there(open_report: Any) -> None:
    opened = open_report(java_script_enabled=False)
    assert opened.page.get_by_text("The charts of this part need scripts.").is_visible()
    assert not opened.page.locator("form.choices:visible").count()
    for identity in ("events", "peers", "clocks", "set-aside", "files", "method-peers", "glossary"):
        assert opened.page.locator(f"#{identity}").is_visible()


# ---------------------------------------------------------------------------------------- a whole ship


@pytest.fixture(scope="module")
def whole_ship(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The index of 400 units and 60 days; their logs are cut short, as no chart of the index draws them."""
    names = [container(place + 1) for place in range(400)]
    daily = {"unit_days": unit_days(names, 60), "defrosts": defrosts(names, 60)}
    with pytest.MonkeyPatch.context() as patch:
        # The units' own pages are not opened here.
        patch.setattr(UnitPages, "pages", lambda *_: ())
        html = pages(400, 2, 1, timeline=timeline(names, 1), **daily)["index.html"]
    path = tmp_path_factory.mktemp("ship") / "index.html"
    path.write_text(html, encoding="utf-8")
    return path


def test_four_hundred_rows_stay_usable(open_report: Any, whole_ship: Path) -> None:
    opened = open_report("#round", address=whole_ship.as_uri())
    opened.page.locator(".ranking").wait_for()
    opened.page.locator('nav.views a[href="#fleet"]').click()
    # How long that takes is measured by benchmarks/report.
    opened.page.locator("#days .js-plotly-plot image").first.wait_for(state="attached")
    frame = opened.page.locator("#days .day-frame")
    assert frame.bounding_box()["height"] < 0.8 * 900
    assert len(_names(opened)) == 400
    frame.evaluate("frame => { frame.scrollTop = frame.scrollHeight; }")
    assert frame.locator(".day-ticks").bounding_box()["y"] == pytest.approx(frame.bounding_box()["y"], abs=3)
    last = frame.locator(".day-names a").last
    assert last.inner_text().endswith(container(400))
    assert last.is_visible()
    opened.page.locator("#days").get_by_label("Rows").select_option("thin")
    assert frame.bounding_box()["height"] < 560
    assert frame.evaluate("frame => frame.scrollHeight <= frame.clientHeight + 2")
    opened.assert_quiet()
