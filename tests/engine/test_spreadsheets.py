"""The workbook and the CSV, as spreadsheet programs and scripts read them."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import openpyxl
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.workbook import Workbook

from coldsift.causes import load_catalogue
from coldsift.engine import Screening, spreadsheets
from coldsift.engine.naming import probable
from coldsift.engine.sheets import GROUP_CELLS, SHEETS
from coldsift.engine.spreadsheets import FILLS, cell, findings_csv, neutral, write_workbook
from coldsift.report import words
from coldsift.report.cause_views import hypothesis_name, probable_causes
from coldsift.schema import EVIDENCE, FINDINGS

SAMPLE = Path(__file__).parents[2] / "sample_logs"
NAMES = [
    "Findings",
    "Excursions",
    "Causes",
    "Checks",
    "Defrosts",
    "Voyage events",
    "Set aside",
    "About",
]
FORMULAS = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "  =1+1",
    "\u00a0=1+1",
    "＝1+1",
    '=HYPERLINK("http://x")',
    "=cmd|' /C calc'!A0",
]


@pytest.fixture(scope="module")
def screening(sample: Screening) -> Screening:
    return sample


@pytest.fixture(scope="module")
def path(screening: Screening, tmp_path_factory: pytest.TempPathFactory) -> Path:
    written = tmp_path_factory.mktemp("book") / "findings.xlsx"
    write_workbook(screening, written)
    return written


@pytest.fixture(scope="module")
def book(path: Path) -> Workbook:
    return openpyxl.load_workbook(path)


def column(book: Workbook, sheet: str, heading: str) -> list[Any]:
    headings = [each.value for each in book[sheet][1]]
    assert heading in headings, f"{sheet}: {headings}"
    place = headings.index(heading) + 1
    return [book[sheet].cell(row, place) for row in range(2, book[sheet].max_row + 1)]


def values(book: Workbook, sheet: str, heading: str) -> list[Any]:
    return [each.value for each in column(book, sheet, heading)]


def rewritten(screening: Screening, path: Path, **frames: pl.DataFrame) -> Workbook:
    """The workbook of a screening with some of its frames replaced."""
    aside = frames.pop("set_aside", screening.set_aside)
    write_workbook(replace(screening, analysis=replace(screening.analysis, **frames), set_aside=aside), path)
    return openpyxl.load_workbook(path)


def test_the_workbook_has_a_sheet_for_each_question_and_one_that_explains(book: Workbook) -> None:
    assert book.sheetnames == NAMES


def test_every_container_is_in_the_findings_in_the_order_of_inspection(
    book: Workbook, screening: Screening
) -> None:
    expected = screening.findings.sort("rank")
    assert values(book, "Findings", "Container") == expected["container"].to_list()
    assert values(book, "Findings", "Rank") == expected["rank"].to_list()
    assert values(book, "Findings", "Group") == [GROUP_CELLS[each] for each in expected["group"]]


def test_headings_are_short_plain_words_with_the_unit_in_brackets(book: Workbook) -> None:
    findings = [each.value for each in book["Findings"][1]]
    for heading in ("Chance of fault [%]", "Hours to limit [h]", "Set point [°C]", "Probable cause"):
        assert heading in findings
    for sheet in book.worksheets:
        headings = [each.value for each in sheet[1]]
        assert len({heading.lower() for heading in headings}) == len(headings)
        assert all(len(heading) <= 30 and "_" not in heading for heading in headings)


def test_filters_are_on_and_heading_row_and_container_stay_in_view(book: Workbook) -> None:
    for sheet in book.worksheets[:-1]:
        (table,) = sheet.tables.values()
        assert table.autoFilter.ref == table.ref
        assert table.ref.startswith("A1:")
        stays = sheet[sheet.freeze_panes]
        assert stays.row == 2
        headings = [each.value for each in sheet[1]]
        if "Container" in headings[:2]:
            assert stays.column == headings.index("Container") + 2


def test_instants_are_real_dates_in_utc_and_the_heading_says_so(book: Workbook, screening: Screening) -> None:
    cells = column(book, "Excursions", "Start [UTC]")
    expected = screening.excursions.sort("container", "start")["start"].dt.replace_time_zone(None)
    assert all(each.is_date for each in cells)
    assert len(cells) == len(expected) > 0
    # A spreadsheet counts days in floating point: good to the millisecond.
    assert all(
        abs((each.value - true).total_seconds()) < 0.001 for each, true in zip(cells, expected, strict=True)
    )
    for sheet in book.worksheets[:-1]:
        for row in sheet.iter_rows(min_row=2):
            for each in row:
                if each.is_date:
                    assert sheet.cell(1, each.column).value.endswith("[UTC]")


def test_another_reader_sees_the_same_dates_and_numbers(path: Path, screening: Screening) -> None:
    read = pl.read_excel(path, sheet_name="Excursions", engine="calamine")
    expected = screening.excursions.sort("container", "start")
    assert read["Container"].to_list() == expected["container"].to_list()
    assert isinstance(read.schema["Start [UTC]"], pl.Datetime)
    starts = expected["start"].dt.replace_time_zone(None)
    assert (read["Start [UTC]"] - starts).dt.total_milliseconds().abs().max() <= 1
    assert read["Peak [°C]"].to_list() == pytest.approx(expected["peak"].to_list())


def test_shares_are_percent_and_hours_and_temperatures_have_one_decimal(
    book: Workbook, screening: Screening
) -> None:
    chances = column(book, "Findings", "Chance of fault [%]")
    expected = screening.findings.sort("rank")["chance_of_fault"].to_list()
    assert [each.value for each in chances] == pytest.approx(expected)
    assert all("0%" in each.number_format for each in chances)
    assert {each.number_format for each in column(book, "Findings", "Set point [°C]")} == {"0.0"}
    assert {each.number_format for each in column(book, "Findings", "Hours to limit [h]")} == {"0.0"}
    assert {each.number_format for each in column(book, "Findings", "Log covers [%]")} == {"0%"}


def test_a_chance_is_never_shown_as_certain(book: Workbook) -> None:
    (shown,) = {each.number_format for each in column(book, "Findings", "Chance of fault [%]")}
    high, low, _ = shown.split(";")
    assert high == '[>0.99]"over 99%"'
    assert low == '[<0.01]"under 1%"'
    assert "over\N{NO-BREAK SPACE}99".replace("\N{NO-BREAK SPACE}", " ") in words.percent(0.995)


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it (https://www.w3.org/TR/WCAG22/#dfn-relative-luminance)."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_a_group_is_told_by_words_and_by_a_fill_that_black_text_stands_out_on(book: Workbook) -> None:
    ((_, rules),) = [
        (range_, rules) for range_, rules in book["Findings"].conditional_formatting._cf_rules.items()
    ]
    fills = {rule.formula[0].strip('"'): rule.dxf.fill.bgColor.rgb for rule in rules}
    assert fills == {GROUP_CELLS[group]: f"FF{fill[1:]}" for group, fill in FILLS.items()}
    assert len(set(FILLS.values())) == len(FILLS)
    for fill in FILLS.values():
        assert (luminance(fill) + 0.05) / 0.05 >= 7


def test_nothing_found_is_not_painted_as_safe() -> None:
    red, green, blue = (int(FILLS["nothing_found"][place : place + 2], 16) for place in (1, 3, 5))
    assert red == green == blue


def test_print_is_landscape_one_page_wide_with_headings_repeated_and_pages_numbered(book: Workbook) -> None:
    for sheet in book.worksheets:
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert (sheet.page_setup.fitToWidth or 1, sheet.page_setup.fitToHeight) == (1, 0)
        assert sheet.print_title_rows == "$1:$1"
        assert sheet.oddFooter.left.text == "&A, page &P of &N"
        assert "safe" in sheet.oddFooter.right.text
        assert "Mains voltage" in sheet.oddHeader.left.text


def test_every_page_says_that_invented_data_is_invented(
    book: Workbook, screening: Screening, tmp_path: Path
) -> None:
    assert screening.invented
    assert all("Invented data" in sheet.oddHeader.left.text for sheet in book.worksheets)
    assert any("Invented data" in str(each) for each in values(book, "About", "Meaning"))
    write_workbook(replace(screening, invented=False), tmp_path / "real.xlsx")
    real = openpyxl.load_workbook(tmp_path / "real.xlsx")
    assert not any("Invented" in (sheet.oddHeader.left.text or "") for sheet in real.worksheets)
    assert not any("Invented" in str(each) for each in values(real, "About", "Meaning"))


def test_about_gives_every_column_a_meaning_and_calls_no_unit_safe(book: Workbook) -> None:
    told = dict(zip(values(book, "About", "Entry"), values(book, "About", "Meaning"), strict=True))
    for sheet in book.worksheets[:-1]:
        for each in sheet[1]:
            assert told[f"{sheet.title}: {each.value}"].strip()
        assert told[f"Sheet {sheet.title}"].startswith("Rows: ")
    assert "never says that a unit is safe" in told["Mind"]
    for danger in ("Mains voltage", "under pressure", "heights", "licensed"):
        assert danger in told["Cautions"]
    assert "UTC" in told["Times"]


def test_cause_and_chance_are_the_pages_own(book: Workbook, screening: Screening) -> None:
    catalogue = load_catalogue(None)
    groups = dict(screening.findings.select("container", "group").iter_rows())
    page = {
        container: each
        for container, each in probable_causes(
            screening.causes, EVIDENCE.empty(), catalogue, {}, groups
        ).items()
        if each.named
    }
    ours = probable(screening.findings, screening.causes, catalogue)
    assert {container: (each.name, words.chance(each.chance)) for container, each in ours.items()} == {
        container: (each.name, each.chance) for container, each in page.items()
    }
    named = zip(
        values(book, "Findings", "Container"), values(book, "Findings", "Probable cause"), strict=True
    )
    assert {container: cause for container, cause in named if cause} == {
        container: each.name for container, each in page.items()
    }
    for container, each in ours.items():
        if groups[container] in ("go_now", "this_round"):
            assert each.bring == tuple(dict.fromkeys((*page[container].parts, *page[container].tools)))
        else:
            assert each.bring == ()


def test_every_cause_that_the_findings_name_is_told_in_words(book: Workbook, screening: Screening) -> None:
    catalogue = load_catalogue(None)
    pairs = dict(screening.causes.drop_nulls("together").select("container", "together").iter_rows())
    expected, chances = [], []
    for row in screening.findings.sort("rank").iter_rows(named=True):
        for place in (1, 2, 3):
            if row[f"cause_{place}"]:
                pair = pairs.get(row["container"], "").split(", ")
                name = hypothesis_name(row[f"cause_{place}"], [each for each in pair if each], catalogue)
                expected.append((row["container"], place, name))
                chances.append(row[f"chance_{place}"])
    columns = ("Container", "Place", "Cause")
    assert [*zip(*(values(book, "Causes", each) for each in columns), strict=True)] == expected
    assert values(book, "Causes", "Chance [%]") == pytest.approx(chances)
    assert expected


def test_the_round_lists_all_but_nothing_found_with_check_and_what_to_bring(
    book: Workbook, screening: Screening
) -> None:
    there = screening.findings.sort("rank").filter(pl.col("group").cast(pl.String) != "nothing_found")
    assert values(book, "Checks", "Container") == there["container"].to_list()
    assert values(book, "Checks", "Check first") == there["first_check"].to_list()
    assert all(each > 0 for each in values(book, "Checks", "Work [min]"))
    assert all(values(book, "Checks", "Mind"))
    to_visit = [
        bring
        for bring, group in zip(values(book, "Checks", "Bring"), there["group"].cast(pl.String), strict=True)
        if group in ("go_now", "this_round")
    ]
    assert to_visit
    assert all(to_visit)


def test_every_defrost_event_and_line_set_aside_is_there(screening: Screening, book: Workbook) -> None:
    assert len(values(book, "Defrosts", "Container")) == screening.defrosts.height
    assert values(book, "Voyage events", "Kind") == ["Power off"]
    assert values(book, "Voyage events", "Share [%]") == screening.analysis.voyage_events["share"].to_list()


@pytest.mark.parametrize("text", FORMULAS)
def test_text_that_a_spreadsheet_takes_for_a_formula_is_neutralised(text: str) -> None:
    assert neutral(text) == f"'{text}"
    assert cell(text).startswith("'")


def hostile(screening: Screening, text: str) -> dict[str, pl.DataFrame]:
    first = screening.findings.sort("rank")["container"][0]
    swap = pl.col("container").replace({first: text})
    return {
        "findings": screening.findings.with_columns(swap, position=pl.lit(text), cannot_tell=pl.lit(text)),
        "reasons": screening.reasons.with_columns(swap, words=pl.lit(text)),
        "causes": screening.causes.with_columns(swap),
        "excursions": screening.excursions.with_columns(swap, along_with=pl.lit(text)),
        "defrosts": screening.defrosts.with_columns(swap),
        "set_aside": pl.DataFrame(
            {
                "source": ["1"],
                "file": [text],
                "row": [3],
                "container": [text],
                "channel": [None],
                "reason": [text],
                "text": [text],
            },
            schema=screening.set_aside.schema,
        ),
    }


@pytest.mark.parametrize("text", FORMULAS)
def test_no_sheet_holds_a_formula_or_a_link(screening: Screening, tmp_path: Path, text: str) -> None:
    path = tmp_path / "hostile.xlsx"
    book = rewritten(screening, path, **hostile(screening, text))
    cells = [each for sheet in book.worksheets for row in sheet.iter_rows() for each in row]
    assert all(each.data_type != "f" and each.hyperlink is None for each in cells)
    assert sum(each.value == cell(text) for each in cells) > 5
    with zipfile.ZipFile(path) as parts:
        for name in parts.namelist():
            assert b"<f>" not in parts.read(name)
            assert "externalLink" not in name


def test_negative_numbers_stay_numbers(book: Workbook, screening: Screening) -> None:
    set_points = column(book, "Findings", "Set point [°C]")
    assert {each.data_type for each in set_points} == {"n"}
    assert [each.value for each in set_points] == screening.findings.sort("rank")["set_point"].to_list()
    assert min(each.value for each in set_points) < 0


def test_characters_that_the_format_cannot_hold_are_made_visible(
    screening: Screening, tmp_path: Path
) -> None:
    text = "a\x00b\x07c\ufffed\u202ee _x0041_ \x1b[31m"
    book = rewritten(screening, tmp_path / "control.xlsx", **hostile(screening, text))
    (shown,) = values(book, "Set aside", "As it stood")
    assert shown == "a‹U+0000›b‹U+0007›c‹U+FFFE›d‹U+202E›e _x0041_ ‹U+001B›[31m"


@pytest.mark.parametrize("letter", ["x", "\N{SNOWFLAKE}", "\N{SHIP}", "\N{MATHEMATICAL BOLD CAPITAL A}"])
def test_a_text_longer_than_a_cell_is_cut_with_a_mark(
    screening: Screening, tmp_path: Path, letter: str
) -> None:
    book = rewritten(screening, tmp_path / "long.xlsx", **hostile(screening, 40_000 * letter))
    (shown,) = values(book, "Set aside", "As it stood")
    # The format counts UTF-16 units.
    assert len(shown.encode("utf-16-le")) // 2 in (32_766, 32_767)
    assert shown.endswith("(cut: a cell holds no more)")
    fits = 32_767 // (len(letter.encode("utf-16-le")) // 2)
    assert cell(fits * letter) == fits * letter


def test_more_rows_than_a_sheet_takes_are_cut_and_it_is_said(
    screening: Screening, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert spreadsheets.MOST_ROWS < 1_048_575
    monkeypatch.setattr(spreadsheets, "MOST_ROWS", 20)
    book = rewritten(screening, tmp_path / "cut.xlsx")
    sheet = book["Defrosts"]
    assert sheet.max_row == 22
    said = f"Cut here: the first 20 of {screening.defrosts.height} rows; defrosts.parquet has them all."
    assert sheet.cell(22, 1).value == said
    (table,) = sheet.tables.values()
    assert table.ref.endswith("21")
    told = dict(zip(values(book, "About", "Entry"), values(book, "About", "Meaning"), strict=True))
    assert told["Sheet Defrosts"].startswith(said)
    assert told["Sheet Voyage events"].startswith("Rows: 1.")


def test_a_screening_in_which_nothing_happened_gives_every_sheet(
    screening: Screening, tmp_path: Path
) -> None:
    book = rewritten(
        screening,
        tmp_path / "quiet.xlsx",
        excursions=screening.excursions.clear(),
        defrosts=screening.defrosts.clear(),
        voyage_events=screening.analysis.voyage_events.clear(),
    )
    assert book.sheetnames == NAMES
    for sheet in ("Excursions", "Defrosts", "Voyage events"):
        assert book[sheet].cell(1, 1).value
        assert book[sheet].cell(2, 1).value is None


def test_a_number_that_is_not_known_leaves_its_cell_empty(book: Workbook, screening: Screening) -> None:
    known = screening.findings.sort("rank")["hours_to_limit"].to_list()
    assert [each is None for each in values(book, "Findings", "Hours to limit [h]")] == [
        each is None for each in known
    ]
    assert None in known


def test_the_same_screening_gives_the_same_bytes(screening: Screening, path: Path, tmp_path: Path) -> None:
    write_workbook(screening, tmp_path / "again.xlsx")
    assert (tmp_path / "again.xlsx").read_bytes() == path.read_bytes()
    assert findings_csv(screening.findings) == findings_csv(screening.findings)


def test_every_row_is_as_high_as_its_text(book: Workbook) -> None:
    """Not every program finds the height out by itself; then lines lie over each other."""
    sheet = book["Findings"]
    why = [each.value for each in sheet[1]].index("Why") + 1
    width = sheet.column_dimensions[sheet.cell(1, why).column_letter].width
    for row in range(2, sheet.max_row + 1):
        lines = -(-len(sheet.cell(row, why).value) // int(width))
        assert (sheet.row_dimensions[row].height or 15) >= 15 * lines


def read_csv(text: str) -> list[dict[str, str]]:
    return [*csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""))]


def test_the_csv_begins_with_the_mark_that_spreadsheets_look_for_and_ends_lines_as_they_do(
    screening: Screening,
) -> None:
    data = findings_csv(screening.findings).encode("utf-8")
    assert data.startswith(b"\xef\xbb\xbfcontainer,rank,group,")
    assert data.count(b"\r\n") == screening.findings.height + 1
    assert b"\n" not in data.replace(b"\r\n", b"")


def test_a_script_finds_columns_by_the_tables_names_and_reads_their_values(screening: Screening) -> None:
    text = findings_csv(screening.findings)
    headings = text.splitlines()[0].removeprefix("\ufeff").split(",")
    assert [heading.split(" [")[0] for heading in headings] == FINDINGS.names
    assert "set_point [°C]" in headings
    assert "hours_to_limit [h]" in headings
    read = pl.read_csv(io.BytesIO(text.encode()), schema_overrides=dict.fromkeys(headings, pl.String))
    for heading, column in zip(headings, FINDINGS.columns, strict=True):
        expected = screening.findings[column.name]
        if isinstance(column.dtype, pl.Float64):
            assert read[heading].cast(pl.Float64).equals(expected, null_equal=True, check_names=False)
        elif isinstance(column.dtype, pl.Int64):
            assert read[heading].cast(pl.Int64).to_list() == expected.to_list()
        elif isinstance(column.dtype, pl.Enum):
            assert read[heading].to_list() == expected.cast(pl.String).to_list()


def test_negative_numbers_of_the_csv_stay_numbers(screening: Screening) -> None:
    set_points = [row["set_point [°C]"] for row in read_csv(findings_csv(screening.findings))]
    assert any(re.fullmatch(r"-\d+(\.\d+)?", each) for each in set_points)
    assert not any(each.startswith("'") for each in set_points)


@pytest.mark.parametrize("text", FORMULAS)
@pytest.mark.parametrize("before", ["", "a;", "a; ", 'a;"', 'a;""', 'a";"', "a;;", "a,b;"])
@pytest.mark.parametrize("separator", [",", ";"])
def test_no_field_of_the_csv_is_a_formula_whatever_it_is_parted_at(
    screening: Screening, text: str, before: str, separator: str
) -> None:
    findings = screening.findings.head(3).with_columns(
        why=pl.lit(before + text), container=pl.lit(before + text), cannot_tell=pl.lit(text + before + text)
    )
    body = findings_csv(findings).removeprefix("\ufeff")
    fields = [
        field for row in csv.reader(io.StringIO(body, newline=""), delimiter=separator) for field in row
    ]
    # A program that parts at every separator, quoted or not, is worse still.
    fields += [part.lstrip('" ') for line in body.split("\r\n") for part in line.split(";")]
    for field in fields:
        if not re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?(,.*)?", field):
            assert not re.match(r"[\s\"]*[=+\-@＝]", field), field


def test_times_of_the_csv_are_iso_with_the_zone(screening: Screening) -> None:
    seen = pl.lit(datetime(2031, 1, 5, 6, 7, 8, tzinfo=UTC)).cast(pl.Datetime("us", "UTC"))
    rows = read_csv(findings_csv(screening.findings.with_columns(seen=seen)))
    assert {row["seen"] for row in rows} == {"2031-01-05T06:07:08Z"}


@given(st.text(max_size=40))
def test_whatever_a_log_says_a_cell_can_hold_it(text: str) -> None:
    shown = cell(text)
    assert not re.match(r"[\s]*[=+\-@\t\r]", shown)
    # XML 1.0 has no way to write most control characters.
    assert ElementTree.fromstring(f"<t>{escaped(shown)}</t>").text == (shown or None)


def escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def test_every_sheet_is_made_from_a_table_whose_file_has_all_its_rows() -> None:
    assert [sheet.name for sheet in SHEETS] == NAMES[:-1]
    for sheet in SHEETS:
        assert all(sheet.meaning(each) for each in sheet.columns)
