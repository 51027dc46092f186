"""Workbooks within bounds: a few kB of one can stand for more cells than there is memory.

Goes in: the bytes of an xlsx workbook. Comes out: the same workbook with its parts unpacked, each looked
at, so that the library that reads it unpacks nothing itself and makes no larger table than is allowed here.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping

import numpy as np
import polars as pl

from coldsift.intake.files import limit_of

MOST_COLUMNS = 4096
"""Most columns that a table may have; logs have some dozens."""
LONE_CELLS = 4_000_000
"""Cells that a worksheet may span whatever is in them."""
MOST_APART = 20
"""Beyond that, how many cells it may span for each that is filled."""
MOST_TEXT, MOST_SHARED = 64 * 1024**2, 4
"""Bytes of text that the cells of a worksheet may share, counted for each cell, and how many times the size
of the sheet beyond that."""

_CELL = r"<(?:\w+:)?c(?:\s(?:[^>]*[^/>])?)?>"
_PLACE = r'\sr\s*=\s*["\']([A-Za-z]+)([0-9]+)["\']'
_ROW = re.compile(rb'<(?:\w+:)?row\s[^>]*?\br\s*=\s*["\']([0-9]+)["\']')
_SHARED = r't="s"[^>]*>\s*<(?:\w+:)?v>\s*([0-9]+)\s*<'


class WorkbookError(ValueError):
    """A workbook goes beyond what a log can be; says how, and what to do."""

    def __init__(self, what: str, do: str) -> None:
        super().__init__(what)
        self.what, self.do = what, do


def within_bounds(data: bytes) -> bytes:
    """The workbook with its parts stored unpacked.

    Raises
    ------
    WorkbookError
        When it unpacks to too much, or its cells lie too far apart.
    """
    most = limit_of(len(data))
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        members = {member.filename: member for member in packed.infolist()}
        if sum(member.file_size for member in members.values()) > most:
            raise WorkbookError(
                f"The workbook unpacks to more than {most // 1024**2} MiB.", "Split it, or save it as CSV."
            )
        parts = {name: packed.read(member) for name, member in members.items() if "/media/" not in name}
    _look_at(parts)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as stored:
        for name, content in parts.items():
            stored.writestr(zipfile.ZipInfo(name), content)
    return out.getvalue()


def _look_at(parts: Mapping[str, bytes]) -> None:
    shared = next((part for name, part in parts.items() if name.lower().endswith("sharedstrings.xml")), b"")
    lengths = np.diff([0, *(match.end() for match in re.finditer(rb"</(?:\w+:)?si>", shared))])
    longest = int(lengths.max(initial=0))
    for name, sheet in parts.items():
        if "/worksheets/" not in name.replace("\\", "/").lower() or name.lower().endswith(".rels"):
            continue
        text = pl.Series([sheet.decode("utf-8", "replace")])
        cells = text.str.extract_all(_CELL).explode()
        _look_at_span(sheet, cells.drop_nulls())
        most = max(MOST_TEXT, MOST_SHARED * len(sheet))
        if longest * len(cells) > most:
            numbers = (
                text.str.extract_all(_SHARED).explode().str.extract(_SHARED).cast(pl.Int64, strict=False)
            )
            used = numbers.filter(numbers < len(lengths)).to_numpy()
            if int(lengths[used].sum()) > most:
                raise WorkbookError(
                    f"The texts of a worksheet come to more than {most // 1024**2} MiB.",
                    "Split it, or save it as CSV.",
                )


def _look_at_span(sheet: bytes, cells: pl.Series) -> None:
    """Refuse a worksheet whose cells lie so far apart that a table of them is mostly empty."""
    places = cells.to_frame("cell").select(
        column=pl.col("cell").str.extract(_PLACE).str.to_uppercase(),
        row=pl.col("cell").str.extract(_PLACE, 2).cast(pl.Int64, strict=False),
    )
    nameless = cells.filter(~cells.str.contains(_PLACE))
    last_row = places["row"].to_frame().select(pl.max("row").fill_null(0)).item()
    last_column = max(map(_number_of, places["column"].drop_nulls().unique()), default=0)
    if places["row"].null_count() > len(nameless):
        raise WorkbookError("A cell's place is none.", "Save the workbook anew.")
    if len(nameless):
        last_row = max(last_row, *(int(match[:12]) for match in _ROW.findall(sheet) or [b"0"]))
        last_row += sheet.count(b"row")
        last_column += max(len(re.findall(rb"<(?:\w+:)?c[\s>]", row)) for row in sheet.split(b"<row"))
    if last_column > MOST_COLUMNS or last_row * last_column > max(LONE_CELLS, MOST_APART * len(cells)):
        raise WorkbookError(
            f"The cells of a worksheet reach to row {last_row} and column {last_column}, and few are filled.",
            "Delete what stands far from the log, and save the workbook anew.",
        )


def _number_of(letters: str) -> int:
    """Column from 1 by its letters."""
    number = 0
    for letter in letters[:8]:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number
