"""Findings for spreadsheet programs: a workbook for people, and a CSV that scripts read too."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
import xlsxwriter
from polars import selectors as cs
from xlsxwriter.exceptions import FileCreateError

import coldsift
from coldsift.causes import load_catalogue
from coldsift.engine.screening import Screening
from coldsift.engine.sheets import GROUP_CELLS, SHEETS, Sheet, Shown
from coldsift.report.words import visible
from coldsift.schema import FINDINGS, SCHEMA_VERSION, Table

MOST_CHARACTERS = 32_767
"""UTF-16 units that a cell of the XLSX format holds."""

MOST_ROWS = 100_000
"""Rows of one sheet. The format holds 1,048,575 under the headings, but so many take minutes to write and to
open; the Parquet table beside the workbook has them all."""

CUT_TEXT = " … (cut: a cell holds no more)"

INVENTED = "Invented data. These logs are simulated. No such ship, cargo or container exists."
ADVICE = "This workbook advises. It never says that a unit is safe: nothing found is not safe."
CAUTIONS = (
    "Mains voltage, rotating fans, refrigerant under pressure, low oxygen in the box, work at heights. Local "
    "rules, the unit's manual and licensed practice come before anything written here."
)

NUMBER_FORMATS = {
    Shown.TEXT: "General",
    Shown.WRAPPED: "General",
    Shown.COUNT: "0",
    Shown.TENTHS: "0.0",
    Shown.SHARE: "0%",
    # As on the page: a chance is never called certain.
    Shown.CHANCE: '[>0.99]"over 99%";[<0.01]"under 1%";0%',
    Shown.TIME: "yyyy-mm-dd hh:mm",
}

ALIGNED: Mapping[Shown, Mapping[str, Any]] = {
    Shown.TEXT: {"align": "left", "indent": 1},
    Shown.WRAPPED: {"align": "left", "indent": 1},
    Shown.TIME: {"align": "left", "indent": 1},
    Shown.COUNT: {"align": "center"},
}
"""Kept apart from the numbers beside them."""

SHORT_CAUTION = (
    "Mains voltage, rotating fans, pressure, low oxygen, heights: local rules and licensed practice first."
)
"""On every printed page."""

FILLS = {
    "go_now": "#F8CBCB",
    "this_round": "#FCE0BD",
    "watch": "#FFF5C2",
    "nothing_found": "#F0F0F0",
    "cannot_tell": "#DCE4F2",
}
"""Behind the words of a group; black text stands out on each."""

A4 = 9
"""Paper size in the XLSX format."""

LINE_HEIGHT = 20
MOST_LINES = 20
"""Height of a line, and lines that a row is made high enough for. [pixels]"""

ABOUT_WIDTHS = (44, 100)

_STARTERS = r"=+\-@＝＋－＠"
_FORMULA = re.compile(rf"[\t\r]|\s*[{_STARTERS}]")
_AFTER_SEMICOLON = re.compile(rf"(;[\"\s]*)(?=[{_STARTERS}])")


def neutral(text: str) -> str:
    """Text that a spreadsheet will not take for a formula, blanks before it or not."""
    return f"'{text}" if _FORMULA.match(text) else text


def cell(text: str) -> str:
    """Text as a cell holds it: hidden characters shown, no formula, and no longer than a cell may be."""
    shown = neutral(visible(text))
    units = shown.encode("utf-16-le")
    if len(units) <= 2 * MOST_CHARACTERS:
        return shown
    return units[: 2 * (MOST_CHARACTERS - len(CUT_TEXT))].decode("utf-16-le", "ignore") + CUT_TEXT


def csv_field(text: str) -> str:
    """Text as a field of a CSV: no formula either where a program parts fields at semicolons."""
    return _AFTER_SEMICOLON.sub(r"\1'", cell(text))


def findings_csv(findings: pl.DataFrame) -> str:
    """Findings as CSV, as :func:`table_csv` writes it.

    Parameters
    ----------
    findings
        :data:`coldsift.schema.FINDINGS`.
    """
    return table_csv(findings, FINDINGS)


def table_csv(frame: pl.DataFrame, table: Table) -> str:
    """A table as CSV.

    Parameters
    ----------
    frame, table
        The rows, and what they are rows of.

    Returns
    -------
    str
        Begins with the byte-order mark that spreadsheets look for; lines end in CRLF. Headings are the
        table's names, with the unit in brackets. No text is a formula, neither as a field nor in a program
        that parts fields at semicolons; numbers stay numbers.
    """
    return (
        frame.with_columns(pl.col(pl.String).map_elements(csv_field, return_dtype=pl.String))
        .rename({column.name: f"{column.name} [{column.unit}]" for column in table.columns if column.unit})
        .write_csv(include_bom=True, line_terminator="\r\n", datetime_format="%Y-%m-%dT%H:%M:%S%.fZ")
    )


def write_workbook(screening: Screening, path: Path) -> None:
    """Write findings, and what stands behind them, as a workbook.

    Parameters
    ----------
    screening
        From :func:`coldsift.screen`.
    path
        File to write. The same screening gives the same bytes.
    """
    catalogue = load_catalogue(screening.settings.causes)
    # Text goes in as text: no formula, no link, no number is made of what a log says.
    options = {
        **dict.fromkeys(("strings_to_formulas", "strings_to_urls", "strings_to_numbers"), False),
        # Its parts are put together beside it: the place for outputs is the only one that must have room.
        "tmpdir": str(path.parent),
    }
    with _disk_faults(), xlsxwriter.Workbook(str(path), options) as workbook:
        # A fixed date keeps the bytes the same from run to run.
        workbook.set_properties({"title": "coldsift findings", "created": datetime(2000, 1, 1, tzinfo=UTC)})
        held = []
        for sheet in SHEETS:
            worksheet = workbook.add_worksheet(sheet.name)
            held.append(_write_sheet(workbook, worksheet, sheet, sheet.frame(screening, catalogue)))
            _set_up_print(worksheet, screening.invented)
        about = workbook.add_worksheet("About")
        _write_about(workbook, about, screening, held)
        _set_up_print(about, screening.invented)


@contextmanager
def _disk_faults() -> Iterator[None]:
    """The system's error, which the library hides in one of its own."""
    try:
        yield
    except FileCreateError as error:
        raise error.args[0] from error


def _write_sheet(workbook: Any, worksheet: Any, sheet: Sheet, frame: pl.DataFrame) -> str:
    """Write a sheet; says what it holds, and whether it was cut."""
    headings = {column.name: sheet.heading(column) for column in sheet.columns}
    as_cells = (
        frame.head(MOST_ROWS)
        .select(*headings)
        .with_columns(
            pl.col(pl.Boolean).replace_strict({True: "yes", False: "no"}, return_dtype=pl.String),
            cs.datetime().dt.replace_time_zone(None),
        )
        .with_columns(pl.col(pl.String).map_elements(cell, return_dtype=pl.String))
    )
    as_cells.rename(headings).write_excel(
        workbook,
        worksheet,
        table_name=sheet.name.replace(" ", "_"),
        column_formats={
            sheet.heading(column): {
                "num_format": NUMBER_FORMATS[column.shown],
                "valign": "top",
                "text_wrap": column.shown is Shown.WRAPPED,
                **ALIGNED.get(column.shown, {}),
            }
            for column in sheet.columns
        },
        header_format={"bold": True, "text_wrap": True, "valign": "top", "bottom": 1, "bg_color": "#E6E6E6"},
        column_widths={sheet.heading(column): 7 * column.width + 5 for column in sheet.columns},
        conditional_formats={headings["group"]: _group_fills()} if "group" in headings else None,
        row_heights=_heights(
            [
                (
                    column.width,
                    [
                        sheet.heading(column),
                        *(as_cells[column.name] if column.shown is Shown.WRAPPED else ()),
                    ],
                )
                for column in sheet.columns
            ]
        ),
        freeze_panes=(1, sheet.kept_in_view),
    )
    printed = min(frame.height, MOST_ROWS) + (frame.height > MOST_ROWS)
    worksheet.print_area(0, 0, max(printed, 1), (sheet.printed or len(sheet.columns)) - 1)
    if frame.height <= MOST_ROWS:
        return f"Rows: {frame.height}. {sheet.about}"
    cut = f"Cut here: the first {MOST_ROWS} of {frame.height} rows; {sheet.table.name}.parquet has them all."
    worksheet.write_string(MOST_ROWS + 1, 0, cut, workbook.add_format({"bold": True}))
    return f"{cut} {sheet.about}"


def _heights(columns: Sequence[tuple[int, Sequence[str | None]]]) -> dict[int | tuple[int, ...], int]:
    """Height of every row in which a text of these columns, each with its width, takes more than a line.

    Not every program finds it out by itself.
    """
    lines: dict[int, int] = {}
    for width, texts in columns:
        for row, text in enumerate(texts):
            if text and len(text) > width - 2:
                wrapped = len(textwrap.wrap(text[: MOST_LINES * width], width - 2))
                lines[row] = max(lines.get(row, 1), min(wrapped, MOST_LINES))
    return {row: LINE_HEIGHT * count for row, count in lines.items()}


def _group_fills() -> list[dict[str, Any]]:
    return [
        {
            "type": "cell",
            "criteria": "==",
            "value": f'"{GROUP_CELLS[group]}"',
            "format": {"bg_color": fill, "font_color": "#000000"},
        }
        for group, fill in FILLS.items()
    ]


def _set_up_print(worksheet: Any, invented: bool) -> None:
    worksheet.set_landscape()
    worksheet.set_paper(A4)
    worksheet.set_margins(left=0.4, right=0.4, top=0.7, bottom=0.7)
    worksheet.fit_to_pages(1, 0)
    worksheet.repeat_rows(0)
    worksheet.set_header("&L" + "\n".join([INVENTED, SHORT_CAUTION] if invented else [SHORT_CAUTION]))
    worksheet.set_footer(f"&L&A, page &P of &N&R{ADVICE}")


def _write_about(workbook: Any, worksheet: Any, screening: Screening, held: list[str]) -> None:
    """What to mind, what was set, what each sheet holds, and what every column means."""
    rows = [
        ("Entry", "Meaning"),
        *([("Data", INVENTED)] if screening.invented else []),
        ("Mind", ADVICE),
        ("Cautions", CAUTIONS),
        ("Times", "All in UTC."),
        (
            "Texts",
            "An apostrophe in front keeps a spreadsheet from taking a text for a formula. Hidden characters "
            "are shown by their number, such as ‹U+0007›.",
        ),
        ("Printing", "Findings and Excursions print their first columns; the print area can be widened."),
        ("Made by", f"coldsift {coldsift.__version__}, tables of schema {SCHEMA_VERSION}"),
        *((f"Setting: {name}", value) for name, value in screening.settings.in_words().items()),
        *((f"Sheet {sheet.name}", words) for sheet, words in zip(SHEETS, held, strict=True)),
        *(
            (f"{sheet.name}: {sheet.heading(column)}", sheet.meaning(column))
            for sheet in SHEETS
            for column in sheet.columns
        ),
    ]
    bold = workbook.add_format({"bold": True, "valign": "top", "text_wrap": True})
    wrapped = workbook.add_format({"valign": "top", "text_wrap": True})
    for place, width in enumerate(ABOUT_WIDTHS):
        worksheet.set_column(place, place, width)
    for row, height in _heights([*zip(ABOUT_WIDTHS, zip(*rows, strict=True), strict=True)]).items():
        worksheet.set_row_pixels(row, height)
    worksheet.freeze_panes(1, 0)
    for line, (entry, meaning) in enumerate(rows):
        worksheet.write_string(line, 0, cell(entry), bold)
        worksheet.write_string(line, 1, cell(meaning), wrapped if line else bold)
