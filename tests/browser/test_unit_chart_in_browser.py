"""The chart of one unit as a reader uses it: zoom, reading line, key, units, gaps, hostile texts, paper."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path
from typing import Any

import plotly.offline
import polars as pl
import pytest
from tests.browser.opened import PHONE, WIDE
from tests.report.charted import chart_of, full_log, notes, peer_band, with_alarms
from tests.report.fleet import HOSTILE, START, container, defrosts, excursion, table

from coldsift import schema
from coldsift.report.unit_chart import PANELS

pytestmark = pytest.mark.browser

NAME = container(1)
TEMPLATES = resources.files("coldsift.report") / "templates"
START_MS = int(START.timestamp() * 1000)
HOUR_MS = 3_600_000
COLD_HOUR = 150
"""At this hour the supply air of the test's log reads −18.0 °C, and the superheat 5 K."""

LINE_PANELS, STRIPS = len(PANELS), 4
"""Of a unit that logs everything: strips are what it did, notes, alarms and what was on or off."""

PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="icon" href="data:,">
<style>{style}</style><style id="dark" media="screen and (prefers-color-scheme: dark)">{dark}</style></head>
<body>{switches}<main class="unit"><figure style="margin: 0"><div class="chart"></div></figure></main>
<script type="application/json" id="texts">{{}}</script>
<script type="application/json" id="figure">{figure}</script>
{scripts}
<script>coldsiftCharts.draw(document.querySelector(".chart"), document.getElementById("figure").textContent)
  .then(() => {{ document.body.dataset.drawn = "yes"; }});</script></body></html>"""


def _asset(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page with nothing but one chart of a unit that logs everything."""
    log = with_alarms(full_log(NAME), {HOSTILE: (20, 60), "return air high": (180, 220)})
    hour = (pl.col("time") - START).dt.total_minutes() / 60
    log = log.with_columns(supply_air=pl.when(hour == COLD_HOUR).then(-18.0).otherwise("supply_air"))
    chart = chart_of(
        log,
        pl.concat([peer_band("return_air", -1.5, 2.5), peer_band("superheat", 4.0, 6.0)]),
        table(schema.EXCURSIONS, [excursion(NAME, 250, 20)]),
        defrosts([NAME]),
        notes(NAME, {60.0: f"coil iced over {HOSTILE}"}),
    )
    scripts = ("base.js", "chart_data.js", "chart_panels.js", "charts.js")
    page = PAGE.format(
        style="\n".join(map(_asset, ("base.css", "card.css", "charts.css"))),
        dark=_asset("dark.css"),
        switches=re.sub(r"{%.*?%}", "", _asset("switches.html")),
        figure=chart,
        scripts="\n".join(
            f"<script>{each}</script>" for each in (plotly.offline.get_plotlyjs(), *map(_asset, scripts))
        ),
    )
    path = tmp_path_factory.mktemp("chart") / "index.html"
    path.write_text(page, encoding="utf-8")
    return path


@pytest.fixture
def open_chart(open_report: Any) -> Any:
    def open_at(viewport: dict[str, int] = WIDE, **options: Any) -> Any:
        opened = open_report("", viewport, **options)
        opened.page.locator("body[data-drawn]").wait_for()
        return opened

    return open_at


def _range(page: Any) -> list[float]:
    """What the time axis shows, in hours since the start."""
    edges = page.evaluate("document.querySelector('.chart-plot').layout.xaxis.range")
    return [(edge - START_MS) / HOUR_MS for edge in edges]


def _x(page: Any, hour: float) -> float:
    """Place of an instant on the screen."""
    plot = page.locator(".chart-plot .bglayer .bg").first.bounding_box()
    first, last = _range(page)
    return plot["x"] + (hour - first) / (last - first) * plot["width"]


def _read_at(page: Any, hour: float) -> None:
    stage = page.locator(".chart-stage").bounding_box()
    page.mouse.move(_x(page, hour), stage["y"] + 300)


def _value(page: Any, label: str, panel: str, part: str = "value") -> str:
    entry = page.locator(f'.panel-head[aria-label="{panel}"] .entry').filter(
        has=page.get_by_role("button", name=label, exact=True)
    )
    return entry.locator(f".{part}").inner_text().replace("\u00a0", " ")


def _drawn(page: Any, name: str) -> int:
    return page.evaluate(
        "(name) => document.querySelector('.chart-plot').data.filter((trace) => trace.meta === name).length",
        name,
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [WIDE, PHONE], ids=["wide", "phone"])
def test_the_chart_is_drawn_without_a_word_on_the_console(
    open_chart: Any, viewport: dict[str, int], scheme: str
) -> None:
    opened = open_chart(viewport, color_scheme=scheme)
    page = opened.page
    assert page.locator(".panel-head").count() == LINE_PANELS + STRIPS
    assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"]
    ground = page.evaluate("getComputedStyle(document.querySelector('.chart')).backgroundColor")
    assert (ground == "rgb(255, 255, 255)") == (scheme == "light")
    opened.assert_quiet()


def test_a_drag_in_the_lowest_panel_zooms_them_all(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    lowest = page.locator(".chart-plot .bglayer .bg").last
    lowest.scroll_into_view_if_needed()
    box = lowest.bounding_box()
    first, last = _x(page, 48), _x(page, 96)
    page.mouse.move(first, box["y"] + 20)
    page.mouse.down()
    page.mouse.move((first + last) / 2, box["y"] + 25)
    assert page.locator(".chart-selection").is_visible()
    page.mouse.move(last, box["y"] + 30)
    page.mouse.up()
    assert _range(page) == pytest.approx([48, 96], abs=0.6)
    layout = page.evaluate("document.querySelector('.chart-plot').layout")
    axes = [axis for key, axis in layout.items() if key.startswith("yaxis")]
    assert len(axes) == LINE_PANELS + STRIPS
    assert {axis["anchor"] for axis in axes} == {"x"}
    page.mouse.dblclick(first, box["y"] + 20)
    assert _range(page) == pytest.approx([0, 14 * 24], abs=1e-6)
    opened.assert_quiet()


def test_zoomed_in_every_reading_is_drawn(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    page.get_by_role("button", name="Last 24 h").click()
    assert _range(page) == pytest.approx([13 * 24, 14 * 24], abs=1e-6)
    counted = page.evaluate(
        """() => {
            const plot = document.querySelector(".chart-plot");
            const [from, to] = plot.layout.xaxis.range;
            const line = plot.data.find((trace) => trace.meta === "supply_air");
            return line.x.filter((at) => at !== null && at >= from && at <= to).length;
        }"""
    )
    assert counted == 96
    opened.assert_quiet()


def test_buttons_zoom_and_move_and_cannot_leave_the_log(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    whole = _range(page)
    page.get_by_role("button", name="Zoom in").click()
    assert _range(page) == pytest.approx([84, 252], abs=0.1)
    page.get_by_role("button", name="Earlier").click()
    assert _range(page) == pytest.approx([0, 168], abs=0.1)
    page.get_by_role("button", name="Earlier").click()
    assert _range(page) == pytest.approx([0, 168], abs=0.1)
    page.get_by_role("button", name="Later").click()
    assert _range(page) == pytest.approx([84, 252], abs=0.1)
    page.get_by_role("button", name="Zoom out").click()
    page.get_by_role("button", name="Zoom out").click()
    assert _range(page) == pytest.approx(whole)
    page.get_by_role("button", name="Last 7 days").click()
    assert _range(page) == pytest.approx([168, 336], abs=0.1)
    page.get_by_role("button", name="Whole log").click()
    assert _range(page) == pytest.approx(whole)
    opened.assert_quiet()


def test_keys_zoom_move_and_step_the_reading_line(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    page.locator(".chart-plot").focus()
    page.keyboard.press("+")
    assert _range(page) == pytest.approx([84, 252], abs=0.1)
    page.keyboard.press("ArrowRight")
    assert _range(page) == pytest.approx([126, 294], abs=0.1)
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("-")
    assert _range(page) == pytest.approx([0, 336], abs=0.1)
    _read_at(page, 100)
    assert page.locator(".chart-flag").inner_text() == "2031-03-05 04:00 UTC"
    page.locator(".chart-plot").focus()
    page.keyboard.press("Shift+ArrowRight")
    assert page.locator(".chart-flag").inner_text() == "2031-03-05 04:15 UTC"
    page.keyboard.press("+")
    page.keyboard.press("0")
    assert _range(page) == pytest.approx([0, 336], abs=0.1)
    opened.assert_quiet()


def test_the_reading_line_reads_every_line_with_its_unit(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    page.get_by_role("button", name="Zoom in").click()
    _read_at(page, COLD_HOUR)
    assert page.locator(".chart-flag").inner_text() == "2031-03-07 06:00 UTC"
    assert _value(page, "Supply air", "Air in the box") == "−18.0 °C"
    assert _value(page, "Set point", "Air in the box") == "2 °C"
    assert _value(page, "Allowed band", "Air in the box") == "0 °C to 4 °C"
    assert _value(page, "Superheat (as logged)", "Superheat") == "5 K"
    assert _value(page, "Oxygen", "Atmosphere").endswith(" %")
    assert re.fullmatch(
        r"2\.\d\d bar \(−\d\.\d °C\)", _value(page, "Suction pressure", "Refrigerant pressures")
    )
    assert re.fullmatch(r"[34]\u202f\d{3} W", _value(page, "Power", "Power"))
    opened.assert_quiet()


def test_without_a_pointer_the_last_reading_in_view_is_read(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    assert page.locator(".chart-flag").inner_text() == "2031-03-14 23:45 UTC"
    page.get_by_role("button", name="Zoom in").click()
    page.get_by_role("button", name="Earlier").click()
    assert page.locator(".chart-flag").inner_text() == "2031-03-08 00:00 UTC"
    opened.assert_quiet()


def test_degrees_fahrenheit_are_right_for_temperatures_and_for_differences(open_chart: Any) -> None:
    # t/°F = 1.8 t/°C + 32, and an interval of 1 K is one of 1.8 °F: NIST SP 811, appendix B.8 (from memory).
    # So −18.0 °C is −0.4 °F, 5 K are 9 °F, and 2 °C is 35.6 °F.
    opened = open_chart()
    page = opened.page
    page.get_by_role("button", name="Zoom in").click()
    before = _range(page)
    _read_at(page, COLD_HOUR)
    page.locator("#temperature").select_option("F")
    assert _range(page) == before
    assert _value(page, "Supply air", "Air in the box") == "−0.4 °F"
    assert _value(page, "Superheat (as logged)", "Superheat") == "9 °F"
    assert page.locator('.panel-head[aria-label="Air in the box"] .panel-unit').inner_text() == "°F"
    lowest = page.evaluate(
        """() => {
            const { data } = document.querySelector(".chart-plot");
            const line = data.find((trace) => trace.meta === "supply_air");
            return Math.min(...line.y.filter((value) => value !== null));
        }"""
    )
    assert lowest == pytest.approx(-0.4)
    assert _value(page, "Return air", "Air in the box", "like") == "like units 32.9 to 40.1 (11)"
    opened.assert_quiet()


def test_ships_time_shifts_the_reading_and_the_ticks(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    page.get_by_role("button", name="Last 24 h").click()
    page.locator("#offset").select_option("480")
    assert page.locator(".chart-flag").inner_text() == "2031-03-15 07:45 UTC+8"
    full = page.locator(".chart-bar .tick.full")
    assert full.all_text_contents() == ["15 Mar"]
    # Midnight there is 16:00 UTC, two thirds of the last day.
    bar = page.locator(".chart-bar").bounding_box()
    middle = full.bounding_box()["x"] + full.bounding_box()["width"] / 2
    assert middle == pytest.approx(_x(page, 13 * 24 + 16), abs=2)
    assert bar["width"] > 1000
    opened.assert_quiet()


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "America/St_Johns"])
def test_charts_show_utc_whatever_the_clock_of_the_device(open_chart: Any, zone: str) -> None:
    opened = open_chart(timezone_id=zone)
    assert opened.page.locator(".chart-flag").inner_text() == "2031-03-14 23:45 UTC"
    assert opened.page.locator(".chart-bar .tick").first.inner_text() == "1 Mar"
    opened.assert_quiet()


def test_like_units_are_a_range_with_their_number_and_can_be_hidden(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    assert _value(page, "Return air", "Air in the box", "like") == "like units 0.5 to 4.5 (11)"
    assert _drawn(page, "like units") == 4
    toggle = page.get_by_role("button", name="Like units’ range")
    toggle.click()
    assert toggle.get_attribute("aria-pressed") == "false"
    assert _drawn(page, "like units") == 0
    assert _value(page, "Return air", "Air in the box", "like") == ""
    opened.assert_quiet()


def test_a_key_button_hides_its_line_and_shows_it_again(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    button = page.locator(".key").get_by_role("button", name="Supply air", exact=True)
    for pressed, lines in (("false", 0), ("true", 1)):
        button.focus()
        page.keyboard.press("Enter")
        assert button.get_attribute("aria-pressed") == pressed
        assert _drawn(page, "supply_air") == lines
    opened.assert_quiet()


def test_a_panel_folds_away_and_keeps_its_readings(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    before = page.locator(".chart-stage").bounding_box()["height"]
    fold = page.get_by_role("button", name="Refrigerant temperatures")
    fold.click()
    assert fold.get_attribute("aria-expanded") == "false"
    assert _drawn(page, "evaporating") == 0
    assert page.locator(".chart-stage").bounding_box()["height"] == pytest.approx(before - 200, abs=1)
    assert _value(page, "Saturated suction", "Refrigerant temperatures").endswith(" °C")
    fold.click()
    assert _drawn(page, "evaporating") == 1
    opened.assert_quiet()


def test_the_line_on_the_screen_has_a_hole_at_the_gap_and_the_reading_line_stays_out_of_it(
    open_chart: Any,
) -> None:
    opened = open_chart()
    page = opened.page
    pieces = page.evaluate(
        """() => {
            const plot = document.querySelector(".chart-plot");
            const drawn = plot.data.filter((trace) => trace.type === "scatter");
            const place = drawn.findIndex((trace) => trace.meta === "power");
            const trace = plot.querySelectorAll(".scatterlayer .trace")[place];
            const paths = [...trace.querySelectorAll(".lines path")].map((path) => path.getAttribute("d"));
            return paths.join("").match(/M/g).length;
        }"""
    )
    assert pieces == 2
    # From 200 to 209.25 h there is no reading: the nearest ones are those on either side.
    _read_at(page, 203)
    assert page.locator(".chart-flag").inner_text() == "2031-03-09 07:45 UTC"
    opened.assert_quiet()


def test_what_the_unit_did_is_told_at_the_reading_line(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    page.get_by_role("button", name="Whole log").click()
    page.evaluate(
        "(edges) => coldsiftCharts.show(document.querySelector('.chart'), ...edges)",
        [START_MS + 6 * HOUR_MS, START_MS + 7 * HOUR_MS],
    )
    assert _range(page) == pytest.approx([3, 10], abs=0.1)
    told = page.locator('.panel-head[aria-label="What the unit did"] .value').inner_text()
    assert told.replace("\u00a0", " ") == "Defrost, 30 min, coil reached 15.0 °C"
    assert page.evaluate("document.activeElement.className").split()[0] == "chart-plot"
    opened.assert_quiet()


def test_a_stretch_asked_for_before_the_chart_is_drawn_is_shown_when_it_is(open_report: Any) -> None:
    opened = open_report("", WIDE)
    page = opened.page
    page.evaluate(
        f"""async () => {{
            const place = document.createElement("div");
            place.className = "chart";
            document.querySelector("main").prepend(place);
            coldsiftCharts.show(place, {START_MS + 250 * HOUR_MS}, {START_MS + 270 * HOUR_MS});
            await coldsiftCharts.draw(place, document.getElementById("figure").textContent);
        }}"""
    )
    assert _range(page) == pytest.approx([250 - 20 / 3, 270 + 20 / 3], abs=0.1)
    opened.assert_quiet()


def test_hostile_texts_of_a_log_are_shown_and_never_run(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    visible = HOSTILE.replace("\u202e", "‹U+202E›")
    assert page.locator(".row-label").first.inner_text() == visible
    assert visible in page.locator(".entry.note").inner_text()
    page.locator(".chart-numbers summary").click()
    page.get_by_role("rowheader", name=visible).wait_for()
    assert page.locator(".chart script").count() == 0
    opened.assert_quiet()


def test_the_numbers_of_all_readings_stand_in_a_table(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    page.locator(".chart-numbers summary").click()
    readings = page.get_by_role("region", name="Readings")
    readings.get_by_role("columnheader").first.wait_for()
    heads = readings.get_by_role("columnheader").all_inner_texts()
    assert heads == ["Channel", "Unit", "First", "Last", "Lowest", "Highest", "Median", "Readings"]
    supply = readings.get_by_role("row").filter(
        has=page.get_by_role("rowheader", name="Supply air", exact=True)
    )
    cells = supply.get_by_role("cell").all_inner_texts()
    assert (cells[0], cells[3]) == ("°C", "−18.0")
    page.locator("#temperature").select_option("F")
    cells = supply.get_by_role("cell").all_inner_texts()
    assert (cells[0], cells[3]) == ("°F", "−0.4")
    opened.assert_quiet()


def test_the_plot_is_an_image_with_a_name_for_those_who_do_not_see_it(open_chart: Any) -> None:
    opened = open_chart()
    plot = opened.page.get_by_role("img", name=f"Chart of the log of {NAME}")
    assert "2031-03-01 00:00 to 2031-03-15 00:00 UTC" in plot.get_attribute("aria-label")
    assert plot.locator("a, button, [tabindex]").count() == 0
    opened.assert_quiet()


def test_on_a_phone_panels_are_high_enough_ticks_few_and_a_finger_scrolls_the_page(open_chart: Any) -> None:
    opened = open_chart(PHONE, has_touch=True, is_mobile=True)
    page = opened.page
    heights = page.evaluate(
        """() => {
            const { layout } = document.querySelector(".chart-plot");
            const axes = Object.entries(layout).filter(([key]) => /^yaxis/.test(key)).map(([, axis]) => axis);
            const scaled = axes.filter((axis) => axis.showticklabels !== false);
            return scaled.map(({ domain }) => (domain[1] - domain[0]) * layout.height);
        }"""
    )
    assert len(heights) == LINE_PANELS
    assert min(heights) >= 90 - 1e-6
    assert 2 <= page.locator(".chart-bar .tick").count() <= 5
    assert "pan-y" in page.evaluate("getComputedStyle(document.querySelector('.chart-stage')).touchAction")
    small = page.evaluate(
        """() => [...document.querySelectorAll(".chart button")].filter((each) => {
            const { width, height } = each.getBoundingClientRect();
            return width && (width < 24 || height < 24);
        }).length"""
    )
    # WCAG 2.2, success criterion 2.5.8: targets of 24 by 24 CSS pixels.
    assert small == 0
    stage = page.locator(".chart-stage").bounding_box()
    page.touchscreen.tap(_x(page, COLD_HOUR), stage["y"] + 200)
    assert page.locator(".chart-flag").inner_text().startswith("2031-03-07")
    assert _range(page) == pytest.approx([0, 336], abs=0.1)
    opened.assert_quiet()


def test_a_change_of_colours_redraws_the_chart(open_chart: Any) -> None:
    opened = open_chart(color_scheme="light")
    page = opened.page
    colour = """() => {
        const { data } = document.querySelector(".chart-plot");
        return data.find((trace) => trace.meta === "supply_air").line.color;
    }"""
    light = page.evaluate(colour)
    page.locator("#scheme").select_option("dark")
    assert page.evaluate(colour) != light
    opened.assert_quiet()


def test_on_paper_the_chart_is_light_fits_the_sheet_and_no_panel_is_cut(open_chart: Any) -> None:
    opened = open_chart(color_scheme="dark")
    page = opened.page
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    sheets = page.evaluate(
        """() => [...document.querySelectorAll(".chart-sheet")].map((sheet) => {
            const { layout } = sheet.querySelector(".chart-plot");
            return [layout.width, layout.height, sheet.querySelectorAll(".panel-head").length];
        })"""
    )
    # A4 is 210 mm by 297 mm (ISO 216), a CSS inch 96 px; the page's margins are 12 mm, and 15 mm below.
    width, height = (round(length / 25.4 * 96) for length in (210 - 24, 297 - 27))
    assert len(sheets) >= 2
    assert all(sheet[0] <= width and sheet[1] + 50 < height for sheet in sheets)
    assert sum(sheet[2] for sheet in sheets) == LINE_PANELS + STRIPS
    assert (
        page.evaluate("getComputedStyle(document.querySelector('.chart')).backgroundColor")
        == "rgb(255, 255, 255)"
    )
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator(".chart-sheet").count() == 1
    assert page.locator(".chart-plot .main-svg").first.bounding_box()["width"] > 1000
    opened.assert_quiet()


def test_a_figure_that_cannot_be_opened_says_so(open_chart: Any) -> None:
    opened = open_chart()
    page = opened.page
    page.evaluate("coldsiftCharts.draw(document.querySelector('.chart'), '\"bm8gemxpYg==\"')")
    page.get_by_text("The chart could not be drawn; the tables hold the numbers.").wait_for()
