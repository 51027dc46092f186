"""Findings for spreadsheet programs: a workbook for people, and a CSV for scripts."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
import xlsxwriter
from polars import selectors as cs

import coldsift
from coldsift import schema
from coldsift.causes import Catalogue, load_catalogue
from coldsift.engine.naming import UNNAMED, named_hypotheses, probable
from coldsift.engine.screening import Screening
from coldsift.report import words
from coldsift.report.cause_views import RISKS
from coldsift.report.unit_views import EXCURSION_KINDS
from coldsift.report.views import EVENT_KINDS, GROUPS

MOST_CHARACTERS = 32_767
"""UTF-16 units that a cell of the XLSX format holds."""

MOST_ROWS = 100_000
"""Rows of one sheet. The format holds 1,048,576 with the headings, but so many take minutes to write and to
open; the Parquet table beside the workbook has them all."""

CUT_TEXT = " … (cut: a cell holds no more)"

INVENTED = "Invented data: these logs are simulated. No such ship, cargo or container exists."
ADVICE = "This workbook advises. It never says that a unit is safe: nothing found is not safe."
CAUTIONS = (
    "Mains voltage, rotating fans, refrigerant under pressure, low oxygen in the box, work at heights. Local "
    "rules, the unit's manual and licensed practice come before anything written here."
)

FILLS = {
    "go_now": "#F8CBCB",
    "this_round": "#FCE0BD",
    "watch": "#FFF5C2",
    "nothing_found": "#F0F0F0",
    "cannot_tell": "#DCE4F2",
}
"""Behind the words of a group, in which black text stands out."""

GROUP_CELLS = {group.key: f"{group.mark} {group.word}" for group in GROUPS}

FORMATS = {
    "text": "@",
    "wrapped": "@",
    "count": "0",
    "tenths": "0.0",
    "share": "0%",
    # Like the page: a chance is never called certain.
    "chance": '[>0.99]"over 99%";[<0.01]"under 1%";0%',
    "time": "yyyy-mm-dd hh:mm",
}

_STARTERS = "=+\\-@＝＋－＠"
_FORMULA = re.compile(rf"[\t\r]|\s*[{_STARTERS}]")
_AFTER_SEPARATOR = re.compile(rf"(;[\"\s]*)(?=[{_STARTERS}])")


@dataclass(frozen=True, slots=True)
class _Column:
    """A column of a sheet: the frame's, its short heading, how it is shown, and how wide [characters].

    Unit and meaning are the schema's, unless stated.
    """

    name: str
    heading: str
    shown: str
    width: int
    meaning: str = ""
    unit: str = ""


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A sheet: the table it is of, columns, how many stay in view, and how many are printed (0: all)."""

    name: str
    table: schema.Table
    about: str
    columns: tuple[_Column, ...]
    frame: Callable[[Screening, Catalogue], pl.DataFrame]
    kept_in_view: int = 1
    printed: int = 0

    def unit(self, column: _Column) -> str:
        """Unit of a column as shown."""
        if column.shown in ("share", "chance"):
            return "%"
        own = {each.name: each.unit for each in self.table.columns}
        return column.unit or own.get(column.name, "")

    def heading(self, column: _Column) -> str:
        """Heading with the unit."""
        unit = self.unit(column)
        return f"{column.heading} [{unit}]" if unit else column.heading

    def meaning(self, column: _Column) -> str:
        """What a column holds."""
        return column.meaning or {each.name: each.words for each in self.table.columns}[column.name]


def neutral(text: str) -> str:
    """Text that a spreadsheet will not take for a formula, wherever it is pasted."""
    return f"'{text}" if _FORMULA.match(text) else text


def cell(text: str) -> str:
    """Text as a cell holds it: hidden characters shown, no formula, and no longer than a cell may be."""
    shown = neutral(words.visible(text))
    if 2 * len(shown) <= MOST_CHARACTERS:
        return shown
    units = shown.encode("utf-16-le")
    if len(units) <= 2 * MOST_CHARACTERS:
        return shown
    return units[: 2 * (MOST_CHARACTERS - len(CUT_TEXT))].decode("utf-16-le", "ignore") + CUT_TEXT


def findings_csv(findings: pl.DataFrame) -> str:
    """Findings as CSV for scripts and spreadsheets.

    Parameters
    ----------
    findings
        :data:`coldsift.schema.FINDINGS`.

    Returns
    -------
    str
        Starts with the byte-order mark that spreadsheets look for; lines end in CRLF. Headings are the
        table's names, with the unit in brackets. No text is a formula, neither as a field nor when a
        program that separates by semicolons takes it apart; numbers stay numbers.
    """
    headings = {
        column.name: f"{column.name} [{column.unit}]" for column in schema.FINDINGS.columns if column.unit
    }
    return (
        findings.with_columns(
            pl.col(pl.String).map_elements(
                lambda text: _AFTER_SEPARATOR.sub(r"\1'", cell(text)), return_dtype=pl.String
            )
        )
        .rename(headings, strict=False)
        .write_csv(include_bom=True, line_terminator="\r\n", datetime_format="%Y-%m-%dT%H:%M:%S%.fZ")
    )


def write_workbook(screening: Screening, path: Path) -> None:
    """Write findings and what stands behind them as a workbook.

    Parameters
    ----------
    screening
        From :func:`coldsift.screen`.
    path
        File to write; the same screening gives the same bytes.
    """
    catalogue = load_catalogue(screening.settings.causes)
    # Text goes in as text: no formula, no link is made of what a log says.
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(str(path), options) as workbook:
        # A fixed date keeps the bytes the same from run to run.
        workbook.set_properties({"title": "coldsift findings", "created": datetime(2000, 1, 1, tzinfo=UTC)})
        notes = []
        for sheet in SHEETS:
            worksheet = workbook.add_worksheet(sheet.name)
            notes.append(_write_sheet(workbook, worksheet, sheet, sheet.frame(screening, catalogue)))
            _set_up_print(worksheet, screening.invented, sheet.printed or len(sheet.columns))
        about = workbook.add_worksheet("About")
        _write_about(workbook, about, screening, notes)
        _set_up_print(about, screening.invented, 2)


def _write_sheet(workbook: Any, worksheet: Any, sheet: _Sheet, frame: pl.DataFrame) -> str:
    """Write a sheet; says what it holds and whether it was cut."""
    headings = {column.name: sheet.heading(column) for column in sheet.columns}
    shown = frame.head(MOST_ROWS).select(list(headings)).with_columns(
        pl.col(pl.Enum).cast(pl.String),
        pl.col(pl.Boolean).replace_strict({True: "yes", False: "no"}, return_dtype=pl.String),
        cs.temporal().dt.replace_time_zone(None),
        pl.when(cs.float().is_finite()).then(cs.float()),
    )
    shown = shown.with_columns(pl.col(pl.String).map_elements(cell, return_dtype=pl.String))
    shown.rename(headings).write_excel(
        workbook,
        worksheet,
        table_name=sheet.name.replace(" ", "_"),
        table_style=None,
        column_formats={
            headings[column.name]: {
                "num_format": FORMATS[column.shown],
                "valign": "top",
                "text_wrap": column.shown == "wrapped",
            }
            for column in sheet.columns
        },
        header_format={"bold": True, "text_wrap": True, "valign": "top", "bottom": 1, "bg_color": "#E6E6E6"},
        column_widths={headings[column.name]: 7 * column.width + 5 for column in sheet.columns},
        conditional_formats={headings["group"]: _group_fills()} if "group" in headings else None,
        freeze_panes=(1, sheet.kept_in_view),
    )
    if frame.height <= MOST_ROWS:
        return f"{frame.height} rows. {sheet.about}"
    cut = (
        f"Cut here: the first {MOST_ROWS} of {frame.height} rows. "
        f"All of them are in {sheet.table.name}.parquet."
    )
    worksheet.write_string(MOST_ROWS + 1, 0, cut, workbook.add_format({"bold": True}))
    return f"{cut} {sheet.about}"


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


def _set_up_print(worksheet: Any, invented: bool, columns: int) -> None:
    worksheet.set_landscape()
    worksheet.set_paper(9)
    worksheet.set_margins(left=0.4, right=0.4, top=0.6, bottom=0.6)
    worksheet.fit_to_pages(1, 0)
    worksheet.repeat_rows(0)
    worksheet.print_area(0, 0, max(worksheet.dim_rowmax or 0, 1), columns - 1)
    worksheet.set_header(f"&L{INVENTED}" if invented else "")
    worksheet.set_footer(f"&L&A&CPage &P of &N&R{ADVICE}")


def _write_about(workbook: Any, worksheet: Any, screening: Screening, notes: Sequence[str]) -> None:
    """What the workbook is, what to mind, and what every column means."""
    bold = workbook.add_format({"bold": True, "valign": "top", "text_wrap": True, "num_format": "@"})
    wrapped = workbook.add_format({"valign": "top", "text_wrap": True, "num_format": "@"})
    worksheet.set_column(0, 0, 44, bold)
    worksheet.set_column(1, 1, 100, wrapped)
    worksheet.freeze_panes(1, 0)
    rows = [
        ("Entry", "Meaning"),
        *([("Data", INVENTED)] if screening.invented else []),
        ("Mind", ADVICE),
        ("Cautions", CAUTIONS),
        ("Times", "All in UTC."),
        (
            "Texts",
            "An apostrophe in front of a text keeps spreadsheets from taking it for a formula. Hidden "
            "characters are shown by their number, such as ‹U+0007›.",
        ),
        ("Printing", "Findings prints its columns as far as what to bring; set the print area for the rest."),
        ("Made by", f"coldsift {coldsift.__version__}"),
        *((f"Setting: {name}", value) for name, value in screening.settings.in_words().items()),
        *((f"Sheet {sheet.name}", note) for sheet, note in zip(SHEETS, notes, strict=True)),
        *(
            (f"{sheet.name}: {sheet.heading(column)}", sheet.meaning(column))
            for sheet in SHEETS
            for column in sheet.columns
        ),
    ]
    for line, (entry, meaning) in enumerate(rows):
        worksheet.write_string(line, 0, cell(entry), bold)
        worksheet.write_string(line, 1, cell(meaning), wrapped if line else bold)


def _findings(screening: Screening, catalogue: Catalogue) -> pl.DataFrame:
    """Findings in words, with the probable cause and what to bring for it."""
    named = probable(screening.findings, screening.causes, catalogue)
    return (
        screening.findings.sort("rank")
        .join(
            pl.DataFrame(
                [(container, each.name, each.chance, ", ".join(each.bring)) for container, each in named.items()],
                schema={
                    "container": pl.String,
                    "cause": pl.String,
                    "cause_chance": pl.Float64,
                    "bring": pl.String,
                },
                orient="row",
            ),
            on="container",
            how="left",
            maintain_order="left",
        )
        .with_columns(
            pl.col("group").cast(pl.String),
            regime_class=pl.col("regime_class").str.replace_all("_", " "),
        )
    )


def _with_group_words(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns(pl.col("group").cast(pl.String).replace_strict(GROUP_CELLS))


def _checks(screening: Screening, catalogue: Catalogue) -> pl.DataFrame:
    """The units of the round, with what the first check of each takes."""
    checks = pl.DataFrame(
        [
            (each.question, each.how, float(each.minutes), RISKS[each.risk][0])
            for each in catalogue.observations.values()
        ],
        schema={"first_check": pl.String, "how": pl.String, "minutes": pl.Float64, "risk": pl.String},
        orient="row",
    ).unique("first_check", keep="first", maintain_order=True)
    return (
        _findings(screening, catalogue)
        .filter(pl.col("group") != "nothing_found")
        .join(checks, on="first_check", how="left", maintain_order="left")
        .with_columns(done=pl.lit(None, pl.String))
        .pipe(_with_group_words)
    )
