"""Tables that a person keeps by hand: found by their headings, every line remembered."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path

import polars as pl

from coldsift.container_numbers import tidy
from coldsift.intake import times
from coldsift.intake.files import read_regular
from coldsift.intake.grids import LONGEST_LINE, TextGrid, is_binary
from coldsift.intake.headings import split_heading
from coldsift.intake.records import cut_short
from coldsift.schema import TIME
from coldsift.voyage.headings import MEASURED, delimiter_of

MOST = 80
"""Characters of a cell that a message shows."""

LARGEST = 64 * 1024**2
"""Bytes that a paper may have."""

ENCODINGS = ("utf-8", "utf-16", "utf-16-le", "utf-16-be", "cp1252")
"""Encodings that can be told from a text; of others only that it is none of these."""

SHOWN_LINES = 3
"""Faulty lines named in one message."""

EXCESS = "excess"
"""Column that says how many cells a line has beyond the headings."""


QUOTE = "Put a cell with a comma in it in quotation marks, or separate with semicolons."
"""What to do about a line with more cells than headings."""


class TableError(ValueError):
    """A table cannot be used; says which file and line, what is wrong, and what to do."""

    def __init__(self, text: str) -> None:
        super().__init__(cut_short(text))


def read_table(path: Path, words: Mapping[str, Sequence[str]], needed: Sequence[str]) -> pl.DataFrame:
    """Read a CSV by its headings.

    Parameters
    ----------
    path
        UTF-8, with or without a byte-order mark, UTF-16 or Windows-1252; comma, semicolon or tab.
    words
        Column name, and the headings that mean it, lower case. Other headings are not read. Those of
        :data:`coldsift.voyage.headings.MEASURED` may go on with a unit.
    needed
        Columns that must be there.

    Returns
    -------
    polars.DataFrame
        ``line`` (from 1), ``excess`` (cells beyond the headings) and the columns of
        ``words`` as text, blanks stripped, empty as null; lines that hold nothing are left out. Where there
        is a column ``temperature_unit``, the unit of the heading stands in it unless a cell says another.

    Raises
    ------
    TableError
        When the file cannot be read or is empty, or a heading is missing or there twice.
    """
    text = _text_of(path, read_paper(path))
    table = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter_of(text))
    try:
        rows = [(table.line_num, row) for row in table if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise TableError(
            f"{path.name}, line {table.line_num}: {error}. Save it as a plain CSV file."
        ) from error
    if not rows:
        raise TableError(f"{path.name} is empty. Give a CSV whose first line names {_named(words, needed)}.")
    headings = rows[0][1]
    places = _places(path, headings, words, needed)
    read = [
        (
            line,
            max(len(row) - len(headings), 0),
            *(row[at].strip() or None if at is not None and at < len(row) else None for at in places),
        )
        for line, row in rows[1:]
    ]
    schema = {"line": pl.Int64, EXCESS: pl.Int64, **dict.fromkeys(words, pl.String)}
    frame = pl.DataFrame(read, schema=schema, orient="row")
    return _with_unit(frame, headings, dict(zip(words, places, strict=True)))


def read_paper(path: Path) -> bytes:
    """The bytes of a paper.

    Raises
    ------
    TableError
        When it cannot be read, is no file, or is larger than :data:`LARGEST`.
    """
    try:
        return read_regular(path, LARGEST)
    except OSError as error:
        raise TableError(f"{path}: {error.strerror}. Name a file that can be read.") from error


def _text_of(path: Path, data: bytes) -> str:
    """The text of a table, in the encoding that it is found to have, as that of a log is."""
    if data and is_binary(data):
        raise TableError(f"{path.name} is no text. Save it as CSV in UTF-8.")
    lines = TextGrid(data).lines()
    if lines.encoding not in ENCODINGS or lines.damaged:
        at = f", line {lines.damaged[0]}" if lines.damaged else ""
        raise TableError(f"{path.name}{at} is no UTF-8 text, nor Windows-1252. Save it as CSV in UTF-8.")
    if (lines.ends - lines.starts).max(initial=0) > LONGEST_LINE:
        raise TableError(
            f"{path.name} has a line of over {LONGEST_LINE} characters. Save it as a plain CSV file."
        )
    return lines.data.decode()


def _with_unit(
    frame: pl.DataFrame, headings: Sequence[str], places: Mapping[str, int | None]
) -> pl.DataFrame:
    """The table with the unit of its temperature heading in every line that says no other."""
    if "temperature_unit" not in frame.columns:
        return frame
    at = next((places[column] for column in MEASURED if places.get(column) is not None), None)
    unit = split_heading(headings[at])[1] if at is not None else None
    return frame.with_columns(pl.col("temperature_unit").fill_null(pl.lit(unit, pl.String)))


def _places(
    path: Path, row: Sequence[str], words: Mapping[str, Sequence[str]], needed: Sequence[str]
) -> list[int | None]:
    """Place of each column in a row of headings."""
    headings = [cell.strip().lower() for cell in row]
    names = [split_heading(heading)[0].strip().lower() for heading in row]
    places: list[int | None] = []
    for column, meant in words.items():
        found = [
            at
            for at, (heading, name) in enumerate(zip(headings, names, strict=True))
            if heading in meant or (column in MEASURED and name in meant)
        ]
        if len(found) > 1:
            again = headings[found[1]][:MOST]
            raise TableError(f"{path.name} has the heading {again!r} twice or in two words. Take one out.")
        if not found and column in needed:
            raise TableError(
                f"{path.name} has no heading {meant[0]!r}. Its first line must name "
                f"{_named(words, needed)}; it may name "
                f"{', '.join(names[0] for each, names in words.items() if each not in needed)}."
            )
        places.append(found[0] if found else None)
    return places


def _named(words: Mapping[str, Sequence[str]], columns: Sequence[str]) -> str:
    return ", ".join(words[each][0] for each in columns)


def read_kept_table(path: Path, words: Mapping[str, Sequence[str]], needed: Sequence[str]) -> pl.DataFrame:
    """As :func:`read_table`; a line with more cells than headings is refused.

    A comma within a cell, such as that of 2,5 °C, would move what follows into the next columns.

    Raises
    ------
    TableError
        Also for such a line.
    """
    table = read_table(path, words, needed)
    refuse(path, table.filter(pl.col(EXCESS) > 0), "more cells than there are headings", QUOTE)
    return table


def with_containers(path: Path, table: pl.DataFrame) -> pl.DataFrame:
    """The table with its container numbers in one spelling.

    Raises
    ------
    TableError
        When a line names none.
    """
    refuse(path, table.filter(pl.col("container").is_null()), "no container number", "Fill it in.")
    return table.with_columns(pl.col("container").map_elements(tidy, return_dtype=pl.String))


def with_instants(
    path: Path, table: pl.DataFrame, column: str, zone: str | None, date_order: str | None
) -> pl.DataFrame:
    """The table with a column of clock readings put in UTC.

    Parameters
    ----------
    path, table
        File, for messages, and its lines.
    column
        Text of clock readings; null stays null.
    zone
        Of readings that name none; UTC without it.
    date_order
        ``day_first`` or ``month_first`` where the readings leave it open.

    Raises
    ------
    TableError
        When a reading is no time, or its date can be read in two ways.
    """
    texts = table[column]
    owners = table["container"] if "container" in table.columns else texts
    try:
        parsed = times.parse(texts, None, date_order)
    except times.AmbiguousDateOrder:
        raise TableError(
            f"{path.name}: the dates under {column} can be day first or month first, such as "
            f"{texts.drop_nulls()[0]!r}. Write them as 2026-01-31 10:00, or give --date-order."
        ) from None
    placed = times.to_utc(parsed.naive, zone or "UTC", owners).instant
    known = parsed.instant.dt.replace_time_zone("UTC")
    instant = placed.zip_with(known.is_null(), known).cast(TIME)
    refuse(
        path,
        table.filter(instant.is_null() & texts.is_not_null()),
        f"{column} is no time",
        "Write it as 2026-01-31 10:00, in UTC or with its offset such as +02:00.",
    )
    return table.with_columns(instant.alias(column))


def refuse(path: Path, faulty: pl.DataFrame, what: str, do: str) -> None:
    """Raise when there are faulty lines, with the first of them as they stand."""
    if faulty.is_empty():
        return
    lines = "; ".join(as_it_stands(row) for row in faulty.head(SHOWN_LINES).iter_rows(named=True))
    more = f" and {faulty.height - SHOWN_LINES} more" if faulty.height > SHOWN_LINES else ""
    raise TableError(f"{path.name}, {lines}{more}: {what}. {do}")


def with_next(table: pl.DataFrame, of: pl.Expr | None = None) -> pl.DataFrame:
    """Each line with the next one of its container, or of what ``of`` says, in columns ``next_…``."""
    key = pl.col("container") if of is None else of
    return table.with_columns(pl.all().shift(-1).over(key).name.prefix("next_"))


def refuse_pair(path: Path, pairs: pl.DataFrame, what: str, do: str) -> None:
    """Raise when there are lines that do not go with the next one, with the first two as they stand."""
    if pairs.is_empty():
        return
    row = pairs.row(0, named=True)
    first = {name: value for name, value in row.items() if not name.startswith("next_")}
    second = {name.removeprefix("next_"): value for name, value in row.items() if name.startswith("next_")}
    more = f" ({pairs.height - 1} more pairs like this)" if pairs.height > 1 else ""
    raise TableError(f"{path.name}, {as_it_stands(first)} and {as_it_stands(second)} {what}{more}. {do}")


def as_it_stands(row: Mapping[str, object]) -> str:
    """A line for a message: ``line 4 (CSQU3054383, 2026-01-05 10:00, ...)``."""
    cells = [
        f"{value:%Y-%m-%d %H:%M} UTC" if hasattr(value, "strftime") else " ".join(str(value).split())[:MOST]
        for name, value in row.items()
        if name not in ("line", EXCESS) and value is not None
    ]
    return f"line {row['line']} ({', '.join(cells)})"
