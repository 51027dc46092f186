"""What every page shares: temperatures, times and colours as the reader wants them, views, the keyboard."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.browser.opened import PHONE, WIDE, Opened, written
from tests.browser.printed import printed_text
from tests.report.fleet import HOSTILE, container, pages, reasons

pytestmark = pytest.mark.browser

FIRST = container(1)
BESIDE = f"units/{FIRST}.html"
NBSP = "\u00a0"
THIN = "\u202f"


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """12 invented units; a log's text holds what looks like a temperature and a time."""
    told = {
        FIRST: ("Supply air −18.0 °C since 2031-03-01 23:30 UTC", "Alarm 12.5 K"),
        container(2): (HOSTILE,),
    }
    return written(tmp_path_factory.mktemp("preferred"), pages(12, 1, 3, reasons=reasons(told)))


def _say(opened: Opened, words: str, kind: str = "") -> Any:
    """A new paragraph, made by script."""
    opened.page.evaluate(
        """([words, kind]) => {
            const made = document.createElement("p");
            made.className = `made ${kind}`;
            made.textContent = words;
            document.querySelector("main").prepend(made);
        }""",
        [words, kind],
    )
    return opened.page.locator(".made").first


def _fahrenheit(opened: Opened) -> None:
    opened.switches.get_by_label("Temperatures").select_option("F")


def _offset(opened: Opened, minutes: int) -> None:
    opened.switches.get_by_label("Times").select_option(str(minutes))


CONVERSIONS = [
    ("−18.0 °C", "−0.4 °F"),
    ("0.0 °C", "32.0 °F"),
    ("−40.0 °C", "−40.0 °F"),
    ("−17.8 °C", "0.0 °F"),
    ("-18.0 °C", "−0.4 °F"),
    ("2.0 K", "3.6 °F"),
    ("± 2.0 K", "± 3.6 °F"),
    ("0.31 K", "0.56 °F"),
    ("2 °C", "35.6 °F"),
    ("10 °C", "50 °F"),
    ("2 K", "3.6 °F"),
    ("5 K", "9 °F"),
    ("1.9 to 2.9 K", "3.4 to 5.2 °F"),
    ("−18.4 to −17.3 °C", "−1.1 to 0.9 °F"),
    ("1.9–2.9 K", "3.4–5.2 °F"),
    ("entre −18.4 y −17.3 °C", "entre −1.1 y 0.9 °F"),
    ("de −18.4 a −17.3 °C", "de −1.1 a 0.9 °F"),
    ("−18.0 °C (−18.4 to −17.3 °C)", "−0.4 °F (−1.1 to 0.9 °F)"),
    ("Split 0.3 K; 11 peers hold 1.9 to 2.9 K.", "Split 0.5 °F; 11 peers hold 3.4 to 5.2 °F."),
    ("28.4 K·h", "51.1 °F·h"),
    (f"1{THIN}200.5 K·h", f"2{THIN}160.9 °F·h"),
    ("0.5 K/h", "0.9 °F/h"),
    ("−0.87 K/d", "−1.57 °F/d"),
    ("1.2 °C/d", "1.2 °C/d"),
    (f"4.0{NBSP}°C", f"39.2{NBSP}°F"),
    ("41.2 W/K", "41.2 W/K"),
    ("3.6 K/bar", "3.6 K/bar"),
    ("12.7 K/100 Hz", "12.7 K/100 Hz"),
    ("5.0 kW, 50 Hz, 12 K2", "5.0 kW, 50 Hz, 12 K2"),
    ("unit QXAU4 K", "unit QXAU4 K"),
    ("2031-03-01 12:00, 3.0 K", "2031-03-01 12:00, 5.4 °F"),
]
"""°F = 1.8 °C + 32 and, for differences, 1.8 K (NIST Special Publication 811, appendix B.9)."""


@pytest.mark.parametrize("early", [True, False], ids=["before", "after"])
def test_temperatures_and_differences_turn_to_fahrenheit_and_back_byte_for_byte(
    open_report: Any, early: bool
) -> None:
    opened = open_report()
    if not early:
        _fahrenheit(opened)
    for words, _ in CONVERSIONS:
        _say(opened, words)
    if early:
        _fahrenheit(opened)
    made = opened.page.locator(".made")
    assert made.all_text_contents()[::-1] == [shown for _, shown in CONVERSIONS]
    opened.switches.get_by_label("Temperatures").select_option("C")
    assert made.all_text_contents()[::-1] == [words for words, _ in CONVERSIONS]
    opened.assert_quiet()


@pytest.mark.parametrize(
    ("words", "minutes", "shown"),
    [
        ("2031-03-01 12:00 UTC", 480, "2031-03-01 20:00 UTC+8"),
        ("2031-03-01 23:30 UTC", 60, "2031-03-02 00:30 UTC+1"),
        ("2031-03-31 23:30 UTC", 330, "2031-04-01 05:00 UTC+5:30"),
        ("2031-01-01 00:15 UTC", -210, "2030-12-31 20:45 UTC−3:30"),
        ("2028-02-28 23:00 UTC", 120, "2028-02-29 01:00 UTC+2"),
        ("2031-03-01 00:00 to 2031-03-14 23:45 UTC", 600, "2031-03-01 10:00 to 2031-03-15 09:45 UTC+10"),
        ("2031-03-01T12:00", 60, "2031-03-01T13:00"),
        ("2031-03-01T12:00:00Z", 60, "2031-03-01T12:00:00Z"),
        ("2031-03-01", 840, "2031-03-01"),
        ("time zone UTC+02:00", 60, "time zone UTC+02:00"),
        ("12031-03-01 12:00", 60, "12031-03-01 12:00"),
    ],
)
def test_times_turn_to_the_ships_and_back_byte_for_byte(
    open_report: Any, words: str, minutes: int, shown: str
) -> None:
    opened = open_report()
    made = _say(opened, words)
    _offset(opened, minutes)
    assert made.text_content() == shown
    _offset(opened, 0)
    assert made.text_content() == words
    opened.assert_quiet()


def test_what_logs_and_people_wrote_stays_as_it_is(open_report: Any) -> None:
    opened = open_report()
    words = "−18.0 °C, 2.0 K at 2031-03-01 12:00 UTC"
    _fahrenheit(opened)
    _offset(opened, 480)
    assert _say(opened, words, "as-logged").text_content() == words
    assert _say(opened, words).text_content() == "−0.4 °F, 3.6 °F at 2031-03-01 20:00 UTC+8"


def test_texts_that_a_script_changes_later_are_converted_too(open_report: Any) -> None:
    opened = open_report()
    made = _say(opened, "2.0 K")
    _fahrenheit(opened)
    made.evaluate("(each) => { each.textContent = '4.0 K'; }")
    opened.until("document.querySelector('.made').textContent === '7.2 °F'")
    # A text that was taken out of the page and comes back when it is in °C again.
    opened.page.evaluate("(window.apart = document.querySelector('.made')).remove()")
    opened.switches.get_by_label("Temperatures").select_option("C")
    opened.page.evaluate("document.querySelector('main').prepend(window.apart)")
    opened.until("document.querySelector('.made').textContent === '4.0 K'")
    opened.assert_quiet()


@pytest.mark.parametrize("page", ["index.html", BESIDE])
def test_a_whole_page_is_the_same_again_after_every_switch(open_report: Any, report: Path, page: str) -> None:
    opened = open_report(address=(report.parent / page).as_uri())
    opened.page.wait_for_timeout(500)
    texts = "[...document.querySelectorAll('header p, h1, main')].map((each) => each.textContent)"
    before = opened.page.evaluate(texts)
    _fahrenheit(opened)
    _offset(opened, 330)
    changed = "".join(opened.page.evaluate(texts))
    assert f"Supply air −0.4{NBSP}°F since 2031-03-02 05:00 UTC+5:30" in changed
    opened.switches.get_by_label("Temperatures").select_option("C")
    _offset(opened, 0)
    assert opened.page.evaluate(texts) == before


def test_scripts_are_told_of_a_change_and_can_convert_their_own_numbers(open_report: Any) -> None:
    opened = open_report()
    opened.page.evaluate(
        """window.heard = [];
        window.coldsift.onPreferences(() => {
            const { celsius, kelvins, temperatureUnit, shift, timeName } = window.coldsift;
            window.heard.push([celsius(-18), kelvins(2), temperatureUnit(), shift(0), timeName()]);
        });"""
    )
    _fahrenheit(opened)
    _offset(opened, -210)
    (temperature, difference, unit, time, name), last = opened.page.evaluate("window.heard")
    assert temperature == pytest.approx(-0.4)
    assert difference == pytest.approx(3.6)
    assert (unit, time, name) == ("°F", 0, "UTC")
    assert last[3:] == [-210 * 60_000, "UTC−3:30"]


def test_preferences_are_kept_on_the_device_for_every_page(open_report: Any, address: str) -> None:
    opened = open_report(address=address)
    _fahrenheit(opened)
    _offset(opened, 480)
    opened.switches.get_by_label("Colours").select_option("dark")
    assert opened.page.evaluate("location.hash") == "#temperature=F&offset=480"
    opened.page.goto("about:blank")
    opened.page.goto(address.replace("index.html", BESIDE))
    assert opened.switches.get_by_label("Temperatures").input_value() == "F"
    assert opened.switches.get_by_label("Times").input_value() == "480"
    assert opened.page.evaluate("document.documentElement.dataset.scheme") == "dark"
    # An address that says otherwise goes first.
    opened.page.goto("about:blank")
    opened.page.goto(f"{address}#temperature=C")
    assert opened.switches.get_by_label("Temperatures").input_value() == "C"


def test_an_offset_of_a_quarter_of_an_hour_can_be_given_in_the_address(open_report: Any) -> None:
    opened = open_report("#offset=345")
    assert opened.switches.get_by_label("Times").input_value() == "345"
    assert opened.page.locator(".span").inner_text().endswith("UTC+5:45")


# Colours

GROUND = "getComputedStyle(document.body).backgroundColor"
LIGHT, DARK = "rgb(245, 244, 240)", "rgb(16, 20, 24)"


@pytest.mark.parametrize("device", ["light", "dark"])
@pytest.mark.parametrize("page", ["index.html", BESIDE])
def test_colours_follow_the_device_unless_the_reader_chose(
    open_report: Any, report: Path, page: str, device: str
) -> None:
    opened = open_report(address=(report.parent / page).as_uri(), color_scheme=device)
    own = LIGHT if device == "light" else DARK
    scheme = "document.documentElement.dataset.scheme"
    assert opened.page.evaluate(GROUND) == own
    assert opened.page.evaluate(scheme) == device
    choice = opened.switches.get_by_label("Colours")
    for chosen, ground in (("dark", DARK), ("light", LIGHT)):
        choice.select_option(chosen)
        assert opened.page.evaluate(GROUND) == ground
        assert opened.page.evaluate(scheme) == chosen
        assert opened.page.evaluate("getComputedStyle(document.documentElement).colorScheme") == chosen
    choice.select_option("")
    assert opened.page.evaluate(GROUND) == own
    other = "dark" if device == "light" else "light"
    opened.page.emulate_media(color_scheme=other)
    opened.until(f"{scheme} === '{other}'")
    opened.page.emulate_media(media="print")
    assert opened.page.evaluate(GROUND) == "rgb(255, 255, 255)"


def test_without_scripts_the_page_still_follows_the_device(open_report: Any) -> None:
    opened = open_report(java_script_enabled=False, color_scheme="dark")
    picture = opened.page.screenshot()
    light = open_report(java_script_enabled=False, color_scheme="light").page.screenshot()
    assert picture != light


def test_charts_are_told_to_be_light_while_the_page_is_printed(open_report: Any) -> None:
    opened = open_report(color_scheme="dark")
    opened.page.evaluate(
        """window.heard = [];
        window.coldsift.onPreferences(() => window.heard.push(document.documentElement.dataset.scheme));
        dispatchEvent(new Event("beforeprint"));
        dispatchEvent(new Event("afterprint"));"""
    )
    assert opened.page.evaluate("window.heard") == ["light", "dark"]


def test_the_badge_of_an_urgent_unit_is_filled_on_its_own_page_too(open_report: Any, report: Path) -> None:
    fill = "getComputedStyle(document.querySelector('.badge.go_now')).backgroundColor"
    grounds = {
        open_report(address=(report.parent / page).as_uri()).page.evaluate(fill)
        for page in ("index.html", BESIDE)
    }
    assert grounds == {"rgb(150, 22, 26)"}


# Views and the keyboard


def test_one_part_of_the_index_is_shown_at_a_time_and_named_in_the_address(open_report: Any) -> None:
    opened = open_report()
    views = opened.page.locator(".view:visible")
    for name in ("Fleet", "Data", "Method", "Cautions", "Round"):
        opened.page.locator("nav.views").get_by_role("link", name=name).click()
        assert views.count() == 1
        assert views.get_attribute("id") == name.lower()
        current = opened.page.locator("nav.views [aria-current=page]")
        assert current.all_inner_texts() == [name]
        assert opened.page.evaluate("window.coldsift.address.get('at')") == name.lower()
    opened.page.locator(".untold").get_by_role("link", name="1 message").click()
    assert opened.page.locator("#quality").is_visible()
    assert opened.page.locator("nav.views [aria-current]").inner_text() == "Data"
    opened.assert_quiet()


def test_a_link_inside_another_part_opens_at_its_place(open_report: Any) -> None:
    opened = open_report("#quality")
    assert opened.page.locator("#quality").is_visible()
    assert not opened.page.locator("#round").is_visible()


def _tab(opened: Opened) -> str:
    opened.page.keyboard.press("Tab")
    return str(
        opened.page.evaluate(
            """() => {
                const at = document.activeElement;
                return at.id || at.dataset.group || at.dataset.key || at.textContent.trim();
            }"""
        )
    )


def test_the_keyboard_goes_through_the_page_in_the_order_it_is_read(open_report: Any) -> None:
    opened = open_report()
    assert _tab(opened) == "Skip to the list of units"
    parts = ["Round", "Fleet", "Data", "Method", "Cautions", "Hand-over sheet"]
    assert [_tab(opened) for _ in parts] == parts
    assert [_tab(opened) for _ in range(3)] == ["temperature", "offset", "scheme"]
    assert [_tab(opened) for _ in range(5)] == [
        "go_now",
        "this_round",
        "watch",
        "nothing_found",
        "cannot_tell",
    ]
    assert _tab(opened) == FIRST
    order = [_tab(opened) for _ in range(60)]
    wanted = ["search", "go_now", "cause", "class", "Columns", "copy"]
    places = [order.index(each) for each in wanted]
    assert places == sorted(places)
    # Every stop can be seen: it lies on the page and has a mark around it.
    opened.page.evaluate("scrollTo(0, 0); document.activeElement.blur()")
    for _ in range(40):
        opened.page.keyboard.press("Tab")
        seen = opened.page.evaluate(
            """() => {
                const at = document.activeElement;
                const { top, bottom, width } = at.getBoundingClientRect();
                const mark = getComputedStyle(at);
                return top >= 0 && bottom <= innerHeight && width > 0 && mark.outlineStyle !== "none"
                    && parseFloat(mark.outlineWidth) >= 2;
            }"""
        )
        assert seen, opened.page.evaluate("document.activeElement.outerHTML.slice(0, 200)")
    opened.assert_quiet()


def test_the_skip_link_leads_past_the_first_screen(open_report: Any) -> None:
    opened = open_report()
    opened.page.keyboard.press("Tab")
    opened.page.keyboard.press("Enter")
    assert opened.page.evaluate("document.activeElement.id") == "units"
    opened.page.keyboard.press("Tab")
    assert opened.page.evaluate("document.activeElement.id") == "search"


def test_a_heading_that_stays_in_sight_does_not_cover_what_has_the_focus(open_report: Any) -> None:
    # WCAG 2.2, success criterion 2.4.11.
    opened = open_report(viewport={"width": 1440, "height": 500})
    links = opened.page.locator(".ranking tbody td.container a")
    links.last.focus()
    for place in range(links.count() - 2, 0, -1):
        links.nth(place).focus()
        covered = links.nth(place).evaluate(
            """(link) => {
                const { left, top, bottom } = link.getBoundingClientRect();
                const at = (y) => document.elementFromPoint(left + 2, y);
                return [top + 1, bottom - 1].some((y) => at(y)?.closest("thead"));
            }"""
        )
        assert not covered


def test_nothing_moves_by_itself_for_a_reader_who_wants_that(open_report: Any) -> None:
    opened = open_report(reduced_motion="reduce")
    moving = opened.page.evaluate(
        """() => [...document.querySelectorAll("*")].filter((each) => {
            const { transitionDuration, animationName, scrollBehavior } = getComputedStyle(each);
            const moves = parseFloat(transitionDuration) > 0 || animationName !== "none";
            return moves || scrollBehavior === "smooth";
        }).map((each) => each.outerHTML.slice(0, 100))"""
    )
    assert moving == []


def test_forced_colours_leave_every_state_visible(open_report: Any) -> None:
    opened = open_report(forced_colors="active")
    chip = opened.page.locator('.chip[data-group="go_now"]')
    before = chip.evaluate("(each) => getComputedStyle(each).backgroundColor")
    chip.click()
    after = chip.evaluate("(each) => getComputedStyle(each).backgroundColor")
    assert before != after
    opened.assert_quiet()


@pytest.mark.parametrize("viewport", [PHONE, WIDE], ids=["phone", "wide"])
@pytest.mark.parametrize("view", ["round", "fleet", "data", "method", "cautions"])
def test_no_part_of_the_index_scrolls_sideways(open_report: Any, viewport: dict[str, int], view: str) -> None:
    opened = open_report(f"#{view}", viewport=viewport)
    opened.page.locator(f"#{view}").wait_for()
    assert opened.page.evaluate("document.documentElement.scrollWidth") == viewport["width"]


@pytest.mark.parametrize("view", ["data", "method", "cautions"])
def test_the_part_that_is_shown_is_printed_without_switches_and_links_to_parts(
    open_report: Any, view: str
) -> None:
    printed = printed_text(open_report(f"#{view}").page.pdf(format="A4"))
    assert "Inventeddata" in printed
    heading = {"data": "Dataquality", "method": "Method", "cautions": "Mainsvoltage"}[view]
    assert heading in printed
    for left_out in ("Temperatures°C", "Skiptothelist", "Unitsintheorder"):
        assert left_out not in printed
