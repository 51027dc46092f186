"""A voyage in which every text is hostile: no page, spreadsheet, terminal or layout obeys one of them."""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import openpyxl
import polars as pl
import pytest
from benchmarks.robustness.hostile import (
    OBEYS,
    STRUCTURE,
    TOO_WIDE,
    Made,
    formulas_in_csv,
    formulas_in_workbook,
    hidden_in,
    make,
    watched,
)
from benchmarks.robustness.hostile_voyage import PAYLOADS
from rich.console import Console
from tests.browser.opened import PHONE, WIDE
from tests.cli.calls import Done, run

from coldsift.cli import terminal
from coldsift.cli.printable import as_json, plain
from coldsift.hidden_characters import shows
from coldsift.report.words import isolated, visible

STYLES = re.compile("\x1b\\[[0-9;]*m")
"""What the terminal's own library writes for bold and dim."""

KINDS = (
    "Alarm",
    "Mode",
    "Heading",
    "Seen",
    "Done",
    "Part",
    "Spare",
    "Goods",
    "Holder",
    "Cause",
    "File",
    "Name",
)
"""Where texts of the voyage stand that some page must show."""


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Made:
    return make(tmp_path_factory.mktemp("hostile"))


@pytest.fixture(scope="module")
def harmless(tmp_path_factory: pytest.TempPathFactory) -> Made:
    return make(tmp_path_factory.mktemp("harmless"), hostile=False)


@pytest.fixture
def opened(browser: Any) -> Iterator[Callable[..., tuple[Any, list[str]]]]:
    """Opens a page; gives it with what it says. Every context is closed afterwards."""
    contexts = []

    def open_(path: Path, **options: Any) -> tuple[Any, list[str]]:
        context = browser.new_context(**options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        said = watched(page)
        page.goto(path.as_uri())
        return page, said

    yield open_
    for context in contexts:
        context.close()


def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


# Pages.


def test_the_texts_of_every_kind_reach_a_page(hostile: Made) -> None:
    pages = "".join(map(text_of, hostile.pages.values()))
    assert [kind for kind in KINDS if not re.search(rf"{kind}\d\d", pages)] == []


def test_no_page_holds_a_character_that_hides_or_turns_what_is_around_it(hostile: Made) -> None:
    found = {name: hidden_in(text_of(path)) for name, path in hostile.pages.items()}
    assert {name: places for name, places in found.items() if places} == {}


def test_every_link_of_a_page_leads_to_a_file_of_its_report(hostile: Made) -> None:
    for name in ("index", "handover", "unit 1"):
        path = hostile.pages[name]
        for link in re.findall(r'href="([^"#]+?)(?:#[^"]*)?"', text_of(path)):
            assert link == "data:," or (path.parent / link).is_file(), (name, link)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("A\u202eB", "A‹U+202E›B"),
        ("A\u034fB\u3164", "A‹U+034F›B‹U+3164›"),
        ("a\x1b[2J\x9b\x00", "a‹U+001B›[2J‹U+009B›‹U+0000›"),
        ("half \udcff", "half ‹U+DCFF›"),
        ("tab\tline\r\nend", "tab line  end"),
        ("−18.0\u00a0°C, 1\u202f000 Ä", "−18.0\u00a0°C, 1\u202f000 Ä"),
    ],
)
def test_a_hidden_character_is_shown_by_its_number(text: str, shown: str) -> None:
    assert visible(text) == shown


def test_a_name_that_runs_to_the_left_does_not_turn_the_number_after_it() -> None:
    assert isolated("שלום עולם 12 bar, ABC") == "\u2068שלום עולם\u2069 12 bar, ABC"
    assert isolated("QXAU0000016 12 bar") == "QXAU0000016 12 bar"


@pytest.mark.browser
def test_no_page_has_an_element_or_attribute_more_than_with_harmless_texts(
    browser: Any, hostile: Made, harmless: Made
) -> None:
    page = browser.new_page()
    try:
        assert hostile.pages.keys() == harmless.pages.keys()
        differing = [
            name
            for name, path in hostile.pages.items()
            if page.evaluate(STRUCTURE, text_of(path))
            != page.evaluate(STRUCTURE, text_of(harmless.pages[name]))
        ]
    finally:
        page.close()
    assert differing == []


@pytest.mark.browser
@pytest.mark.parametrize("without_policy", [False, True])
def test_the_list_of_hostile_names_is_searched_sorted_and_filtered_and_none_of_them_runs(
    opened: Any, hostile: Made, without_policy: bool
) -> None:
    page, said = opened(hostile.pages["index"], viewport=WIDE, bypass_csp=without_policy)
    rows = page.locator(".ranking tbody tr")
    names = rows.locator(".number").all_text_contents()
    assert len(names) == hostile.screening.findings.height
    for name in names[::4]:
        page.locator("#search").fill(name[:40])
        found = rows.locator("visible=true").locator(".number").all_text_contents()
        assert name in found, name
    page.locator("#clear").click()
    for key in ("container", "rank"):
        page.locator(f'.ranking th[data-key="{key}"] button').click()
    assert sorted(rows.locator(".number").all_text_contents()) == sorted(names)
    cargo = page.locator("#cargo")
    chosen = cargo.locator("option").nth(1).get_attribute("value")
    cargo.select_option(chosen)
    assert 0 < rows.locator("visible=true").count() < len(names)
    for view in ("ship", "fleet", "data", "method", "round"):
        page.locator(f'nav.views a[href="#{view}"]').click()
        if view == "fleet":
            page.locator(".view:visible .js-plotly-plot").first.wait_for()
        assert page.evaluate(TOO_WIDE) == 0, view
    assert page.evaluate(OBEYS) == []
    page.set_viewport_size(PHONE)
    for view in ("ship", "round"):
        page.locator(f'nav.views a[href="#{view}"]').click()
        assert page.evaluate(TOO_WIDE) == 0, view
    assert said == []


@pytest.mark.browser
@pytest.mark.parametrize("without_policy", [False, True])
def test_the_chart_and_the_checks_of_a_hostile_unit_work_and_nothing_of_it_runs(
    opened: Any, hostile: Made, without_policy: bool
) -> None:
    page, said = opened(hostile.pages["unit 1"], viewport=WIDE, bypass_csp=without_policy)
    page.locator(".chart .scatterlayer .trace").first.wait_for(state="attached")
    page.locator(".row-label").first.wait_for(state="attached")
    assert re.search(r"Alarm\d\d", " ".join(page.locator(".row-label").all_text_contents()))
    page.locator(".do-first button:visible").first.click()
    page.locator(".chart-numbers summary").click()
    assert page.evaluate(OBEYS) == []
    page.set_viewport_size(PHONE)
    # The chart takes its new width a moment later.
    page.wait_for_function(f"({TOO_WIDE})() === 0")
    assert said == []


@pytest.mark.browser
@pytest.mark.parametrize("name", ["handover", "dossier", "pre-trip"])
def test_a_page_for_paper_runs_nothing_without_its_policy_and_fits_a_phone(
    opened: Any, hostile: Made, name: str
) -> None:
    page, said = opened(hostile.pages[name], viewport=PHONE, bypass_csp=True)
    assert page.evaluate(OBEYS) == []
    assert page.evaluate(TOO_WIDE) == 0
    assert said == []


# Spreadsheets and tables.


def test_no_cell_of_the_workbook_is_a_formula_or_a_link(hostile: Made) -> None:
    cells, faults = formulas_in_workbook(hostile.out / "findings.xlsx")
    assert cells > 500
    assert faults == []


def test_numbers_of_the_workbook_stay_numbers_below_zero_too(hostile: Made) -> None:
    sheet = openpyxl.load_workbook(hostile.out / "findings.xlsx")["Findings"]
    headings = [cell.value for cell in sheet[1]]
    place = headings.index("Set point [°C]")
    assert {row[place].value for row in sheet.iter_rows(min_row=2)} == {4, -18}


def test_no_field_of_a_csv_is_a_formula_and_numbers_stay_numbers(hostile: Made) -> None:
    for path in (hostile.out / "findings.csv", hostile.depot / "pre_trip.csv"):
        fields, faults = formulas_in_csv(path)
        assert fields > 100
        assert faults == []
    rows = csv.DictReader(io.StringIO((hostile.out / "findings.csv").read_bytes().decode("utf-8-sig")))
    assert {row["set_point [°C]"] for row in rows} == {"4.0", "-18.0"}


def test_parquet_keeps_every_text_as_it_was_logged(hostile: Made) -> None:
    findings = pl.read_parquet(hostile.out / "findings.parquet")
    assert set(hostile.voyage.containers) <= set(findings["container"])
    log = pl.read_parquet(hostile.out / "common_log" / "*.parquet")
    alarms = "".join(log["alarms"].explode().drop_nulls().unique().to_list())
    for logged in ("\x1b[2J", "\x9b31m", "\u202egnp.exe\u2066", "＝1", "{{7*7}}"):
        assert logged in alarms


# The terminal.


def lines(done: Done) -> str:
    return done.stdout + done.stderr


def assert_nothing_rewrites_a_terminal(text: str) -> None:
    assert [line for line in text.splitlines() if not shows(line)] == []


@pytest.mark.parametrize("on_a_terminal", [False, True])
def test_what_screening_prints_rewrites_no_terminal(hostile: Made, on_a_terminal: bool) -> None:
    file = io.StringIO()
    console = Console(
        width=80,
        force_terminal=on_a_terminal,
        color_system=None,
        file=file,
        highlight=False,
        soft_wrap=not on_a_terminal,
    )
    terminal.show(hostile.screening, hostile.out / f"\x1b[2J{PAYLOADS[19]}.html", console)
    told = STYLES.sub("", file.getvalue())
    assert_nothing_rewrites_a_terminal(told)
    assert "[link=" in told or "[RED]" in told, "markup of the library is text"
    if on_a_terminal:
        assert max(map(len, told.splitlines())) <= 80


@pytest.fixture(scope="module")
def archive(hostile: Made, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("kept") / "archive"
    name = f"{PAYLOADS[9]}{PAYLOADS[20]}{PAYLOADS[25]}"
    done = run("archive", "add", hostile.out, "--to", folder, "--voyage", name)
    assert done.returncode == 0
    assert_nothing_rewrites_a_terminal(lines(done))
    return folder


def test_what_commands_print_of_a_run_and_an_archive_rewrites_no_terminal(
    hostile: Made, archive: Path
) -> None:
    hidden = hostile.voyage.containers[4]
    for arguments in (
        ("check", hidden, "--run", hostile.out, "--causes", hostile.voyage.settings.causes),
        ("check", hidden, "--run", hostile.out, "--saw", f"{PAYLOADS[20]}=yes"),
        ("check", PAYLOADS[20], "--run", hostile.out),
        ("check", "--observations", "--causes", hostile.voyage.settings.causes),
        ("archive", "list", "--archive", archive),
        ("archive", "again", "--archive", archive),
        ("archive", "sql", "SELECT * FROM findings", "--archive", archive),
        ("archive", "sql", f"SELECT '{PAYLOADS[19]}' AS \"{PAYLOADS[20]}\"", "--archive", archive),
        ("archive", "sql", f"SELECT {PAYLOADS[20]}", "--archive", archive),
        ("archive", "list", "--archive", PAYLOADS[20]),
        ("layout", "list", "--parsers", hostile.voyage.settings.parsers[0]),
        ("screen", PAYLOADS[20], "--out", f"{PAYLOADS[20]}"),
        ("screen", hostile.out, "--refrigerant", PAYLOADS[20]),
        ("schema", PAYLOADS[20]),
    ):
        assert_nothing_rewrites_a_terminal(lines(run(*arguments, cwd=archive.parent)))


def test_json_for_machines_keeps_the_texts_and_rewrites_no_terminal(hostile: Made, archive: Path) -> None:
    query = "SELECT container FROM findings"
    for arguments in (("archive", "sql", query, "--json", "--archive", archive),):
        done = run(*arguments)
        assert_nothing_rewrites_a_terminal(done.stdout)
        assert {row["container"] for row in json.loads(done.stdout)} >= set(hostile.voyage.containers)
    kept = [*hostile.voyage.placed, "half \udcff", "\U000e0041"]
    assert json.loads(as_json(kept)) == kept
    assert_nothing_rewrites_a_terminal(as_json(kept))


def test_a_query_for_spreadsheets_holds_no_formula_and_rewrites_no_terminal(
    archive: Path, tmp_path: Path
) -> None:
    query = "SELECT *, -1.5 AS below, '=1+1' AS \"=1+1\" FROM voyages, set_aside"
    done = run("archive", "sql", query, "--csv", "--archive", archive)
    assert_nothing_rewrites_a_terminal(done.stdout.removeprefix("\ufeff"))
    path = tmp_path / "asked.csv"
    path.write_text(done.stdout, encoding="utf-8")
    fields, faults = formulas_in_csv(path)
    assert fields > 100
    assert faults == []


@pytest.mark.parametrize("text", PAYLOADS)
def test_a_line_for_the_terminal_shows_every_character(text: str) -> None:
    assert shows(plain(text))


# A layout that is drafted from a hostile file.


def test_no_heading_adds_a_key_to_the_draft_of_a_layout(tmp_path: Path) -> None:
    headings = [
        f'Supply air (°C)"\nname = "x"{PAYLOADS[20]}',
        '"] # \u0085\U000e0041\ufe0f\U0001f6a2',
        "\\",
        '"""',
        *(each for each in PAYLOADS if not re.search("[,\r\n]", each)),
    ]
    path = tmp_path / f"{PAYLOADS[20][3:8]}\u202e\n[x].csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(["Time (UTC)", "Container", "Return air (°C)", *headings[1:]])
        table.writerows(
            [[f"2031-01-01 {hour:02d}:00", "QXAU0000016", "1.0", *headings[1:]] for hour in range(9)]
        )
    done = run("layout", "draft", path)
    assert done.returncode == 0, done.stderr
    assert_nothing_rewrites_a_terminal(done.stdout)
    draft = tomllib.loads(done.stdout)
    assert set(draft) == {"layout", "text", "time", "container", "column"}
    assert [column["channel"] for column in draft["column"]] == ["return_air"]
    # What is not known stands in comments; read as keys, they give the headings back.
    wholly = tomllib.loads(re.sub(r"(?m)^# (?=\[\[column|heading|channel)", "", done.stdout))
    assert {column["heading"] for column in wholly["column"]} >= {each.strip() for each in headings[1:]}
