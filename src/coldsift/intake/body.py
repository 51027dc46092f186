"""The rows of a file as columns of text or numbers, each row with its line, and the rows that are none.

Goes in: a grid and the fit that says where its body is. Comes out: a :class:`Table` whose counts already hold
``lines = heading + facts + blank + rows``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from coldsift.intake.fitting import Fit
from coldsift.intake.grids import NO_RECORD, CellGrid, Grid, Lines, RecordGrid, split_line

FRAGMENT = 4000
"""Characters of a line that are kept when it is set aside."""


@dataclass(slots=True)
class Table:
    """The body of one file.

    Attributes
    ----------
    frame
        Columns ``c0``, ``c1``, ... that the plan asks for, and ``row`` (line from 1).
    aside
        Rows that could not be taken apart: line, reason, text.
    text_of
        The text of lines, by line numbers.
    truncated
        Line at which the end of the file is cut off, None when it is whole.
    """

    frame: pl.DataFrame
    lines: int
    heading_lines: int
    fact_lines: int
    blank_lines: int
    text_of: Callable[[Sequence[int]], list[str]]
    aside: list[tuple[int, str, str]] = field(default_factory=list)
    truncated: int | None = None

    @property
    def rows(self) -> int:
        """Rows of the body, good or not."""
        return self.frame.height + len(self.aside)


def read_body(grid: Grid, fit: Fit) -> Table:
    """Read the body of a file.

    Parameters
    ----------
    grid, fit
        The file and how it fits.
    """
    if isinstance(grid, CellGrid):
        return _from_cells(grid, fit)
    if isinstance(grid, RecordGrid):
        return _from_records(grid, fit)
    lines = grid.lines(fit.encoding)
    read = _from_fixed_width if fit.layout.form == "fixed_width" else _from_delimited
    return read(lines, fit, grid.cut)


def _wanted(fit: Fit) -> tuple[list[int], set[int]]:
    """Columns to read, and those that hold plain numbers."""
    plan = fit.plan
    assert plan is not None
    keys = [*plan.time, plan.container, plan.tag, plan.value, plan.unit]
    numbers = {column.index for column in plan.columns if not column.channel.is_state}
    wanted = {index for index in keys if index is not None} | {column.index for column in plan.columns}
    return sorted(wanted), numbers


def _shorten(text: str) -> str:
    text = text.replace("\0", "\u2400")
    return text if len(text) <= FRAGMENT else text[:FRAGMENT] + " …"


def _before_body(lines: Lines, fit: Fit) -> tuple[int, int, int]:
    """Facts and blank lines above the heading, and the line at which the body begins (from 0)."""
    above = [lines.text(index) for index in range(fit.heading)]
    blank = sum(not text.strip(" \t\r,;|") for text in above)
    return len(above) - blank, blank, fit.heading + fit.heading_rows


def _from_delimited(lines: Lines, fit: Fit, cut: bool) -> Table:
    assert fit.plan is not None
    facts, blank, first = _before_body(lines, fit)
    total = len(lines.starts)
    table = Table(
        pl.DataFrame(), total, min(fit.heading_rows, total - fit.heading), facts, blank, lines.texts
    )
    width, delimiter = fit.plan.width, fit.delimiter
    begin = int(lines.starts[first]) if first < total else len(lines.data)
    body = lines.data[begin:]
    starts, ends = lines.starts[first:] - begin, lines.ends[first:] - begin
    good = _sound(body, starts, delimiter, width)
    closing = _closing_delimiter(body, starts, ends, delimiter, width, good)
    if closing is not None:
        good, width = closing, width + 1
    heading = lines.data[lines.starts[fit.heading] : lines.ends[fit.heading]]
    as_long = good & (ends - starts == len(heading))
    if heading and as_long.any() and heading in body:
        for at in np.flatnonzero(as_long):
            if body[starts[at] : ends[at]] == heading:
                good[at] = False
    if cut:
        good[-1:] = False
    frame = _columns(_only(body, starts, good), int(good.sum()), width, fit)
    if frame is None:
        frame, good = _one_by_one(body, starts, ends, good, width, fit)
    for at in np.flatnonzero(~good):
        row = first + int(at) + 1
        text = lines.text(row - 1)
        if not text.strip():
            table.blank_lines += 1
        elif body[starts[at] : ends[at]] == heading:
            table.heading_lines += 1
        else:
            open_end = row == total and not lines.data.endswith(b"\n")
            reason, cut_off = _ragged(text, delimiter, width, open_end, open_end and cut)
            if cut_off:
                table.truncated = row
            table.aside.append((row, reason, _shorten(text)))
    rows = np.flatnonzero(good) + first + 1
    table.frame = frame.hstack([pl.Series("row", rows, dtype=pl.Int64)])
    return table


def _only(body: bytes, starts: np.ndarray, good: np.ndarray) -> bytes:
    """The good lines."""
    if good.all():
        return body
    lengths = np.diff(np.append(starts, len(body)))
    kept: bytes = np.frombuffer(body, dtype=np.uint8)[np.repeat(good, lengths)].tobytes()
    return kept


def _sound(body: bytes, starts: np.ndarray, delimiter: str, width: int) -> np.ndarray:
    """Lines with the right number of fields, quotes closed and no NUL."""
    if not len(starts):
        return np.zeros(0, dtype=bool)
    buffer = np.frombuffer(body, dtype=np.uint8)
    marks = buffer == ord(delimiter)
    good: np.ndarray = _count(marks, starts) == width - 1
    quotes = np.flatnonzero(buffer == ord('"'))
    if len(quotes) % 2 or (quotes[1::2] - quotes[::2] > 1).any():
        # More than empty quotes: the delimiters between two of a line belong to the text.
        bounds = np.append(starts, len(body))
        in_line = np.diff(np.searchsorted(quotes, bounds))
        closed = in_line % 2 == 0
        paired, places = quotes[np.repeat(closed, in_line)], np.flatnonzero(marks)
        opening, closing = paired[::2], paired[1::2]
        quoted = np.searchsorted(places, closing) - np.searchsorted(places, opening)
        sums = np.concatenate(([0], np.cumsum(quoted)))
        quoted_in_line = np.diff(sums[np.searchsorted(opening, bounds)])
        good = closed & (_count(marks, starts) - quoted_in_line == width - 1)
    if b"\0" in body:
        good &= _count(buffer == 0, starts) == 0
    return good


def _count(marks: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Marked bytes in each line."""
    return np.add.reduceat(marks.view(np.uint8), starts, dtype=np.int32)


def _closing_delimiter(
    body: bytes, starts: np.ndarray, ends: np.ndarray, delimiter: str, width: int, good: np.ndarray
) -> np.ndarray | None:
    """The mask for one field more, when the rows close with a delimiter that the heading lacks."""
    if good.any() or not len(starts):
        return None
    wider = _sound(body, starts, delimiter, width + 1)
    closed = all(body[ends[at] - 1 : ends[at]] == delimiter.encode() for at in np.flatnonzero(wider))
    return wider if closed and wider.any() else None


def _ragged(text: str, delimiter: str, width: int, open_end: bool, cut: bool) -> tuple[str, bool]:
    fields = len(split_line(text, delimiter))
    odd_quotes = text.count('"') % 2 == 1
    if "\0" in text:
        return "NUL bytes in the line: it was damaged when written or copied", open_end
    if cut or (open_end and (fields < width or odd_quotes)):
        return f"the file ends within this line: {fields} of {width} fields", True
    if odd_quotes:
        return "a quotation mark opens and does not close on this line", False
    return _wrong_width(fields, width), False


def _wrong_width(fields: int, width: int) -> str:
    few = "few" if fields < width else "many"
    return f"too {few} fields: {fields} in place of {width}"


def _columns(body: bytes, height: int, width: int, fit: Fit) -> pl.DataFrame | None:
    """The columns of sound lines; None when they are not to be read all at once."""
    wanted, numbers = _wanted(fit)
    if not height:
        return pl.DataFrame(schema={f"c{index}": pl.String for index in wanted})
    texts: dict[str, type[pl.DataType]] = {f"c{index}": pl.String for index in range(width)}
    typed = texts | {f"c{index}": pl.Float64 for index in numbers}
    # Numbers are read as numbers when every one of them is one; otherwise all is read as text, so that what
    # is lost in casting can be counted.
    for schema in (typed, texts):
        try:
            frame = pl.read_csv(
                body,
                has_header=False,
                separator=fit.delimiter,
                schema=schema,
                columns=wanted,
                decimal_comma=fit.layout.decimal == "," and schema is typed,
                quote_char='"' if b'"' in body else None,
            )
        except (pl.exceptions.PolarsError, ValueError):
            continue
        if frame.height == height:
            return frame
    return None


def _one_by_one(
    body: bytes, starts: np.ndarray, ends: np.ndarray, good: np.ndarray, width: int, fit: Fit
) -> tuple[pl.DataFrame, np.ndarray]:
    """The columns of sound lines taken apart one by one, and which of the lines are sound after all.

    Quotation marks within a cell can be read in more than one way.
    """
    at = np.flatnonzero(good)
    rows = [split_line(body[starts[k] : ends[k]].decode("utf-8", "replace"), fit.delimiter) for k in at]
    good = good.copy()
    good[at[[len(row) != width for row in rows]]] = False
    wanted, _ = _wanted(fit)
    columns = {f"c{index}": [row[index] for row in rows if len(row) == width] for index in wanted}
    return pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String)), good


def _from_fixed_width(lines: Lines, fit: Fit, cut: bool) -> Table:
    facts, blank, first = _before_body(lines, fit)
    total = len(lines.starts)
    table = Table(
        pl.DataFrame(), total, min(fit.heading_rows, total - fit.heading), facts, blank, lines.texts
    )
    texts = lines.data[lines.starts[first] :].decode("utf-8", "replace").split("\n") if first < total else []
    texts = texts[: total - first]
    column = pl.Series("text", texts, dtype=pl.String).str.strip_chars_end("\r")
    full = max(place.start + place.width - 1 for place in fit.layout.fields)
    last_start = max(place.start for place in fit.layout.fields)
    heading = lines.text(fit.heading).rstrip()
    # A writer may trim blanks at the end of all lines; a line that ends before its last field was cut.
    lengths = column.str.len_chars()
    reach = full if int((lengths >= full).sum()) * 2 > len(texts) else last_start
    good = (
        (lengths >= reach)
        & (lengths.clip(full) == full)
        & ~column.str.contains("\0", literal=True)
        & (column.str.strip_chars_end() != heading)
        & (column.str.strip_chars() != "")
    ).to_numpy(writable=True)
    if cut:
        good[-1:] = False
    for at in np.flatnonzero(~good):
        row, text = first + int(at) + 1, column[int(at)]
        if not text.strip():
            table.blank_lines += 1
        elif text.rstrip() == heading:
            table.heading_lines += 1
        elif "\0" in text:
            table.aside.append((row, "NUL bytes in the line", _shorten(text)))
        elif row == total and not lines.data.endswith(b"\n") and (cut or len(text) < full):
            table.truncated = row
            table.aside.append((row, "the file ends within this line", _shorten(text)))
        else:
            kind = "short" if len(text) < full else "long"
            reason = f"the line is too {kind}: {len(text)} characters in place of {full}"
            table.aside.append((row, reason, _shorten(text)))
    rows = np.flatnonzero(good) + first + 1
    kept = pl.DataFrame({"text": column}).filter(pl.Series(good))
    wanted, _ = _wanted(fit)
    table.frame = kept.select(
        *(
            pl.col("text")
            .str.slice(fit.layout.fields[index].start - 1, fit.layout.fields[index].width)
            .str.strip_chars()
            .alias(f"c{index}")
            for index in wanted
        ),
        pl.Series("row", rows, dtype=pl.Int64),
    )
    return table


def _from_cells(grid: CellGrid, fit: Fit) -> Table:
    frame = grid.frame
    blank = frame.select(pl.all().is_null() | (pl.all().str.strip_chars() == ""))
    empty = blank.select(pl.all_horizontal(pl.all()).alias("empty"))["empty"]
    first = fit.heading + fit.heading_rows
    above = empty[: fit.heading]
    names = frame.columns
    # A sheet is as wide as its longest row. What stands beside the heading in some rows shows that their
    # cells were moved; in most of them it is a column without a name.
    width = _reach(blank[fit.heading : first].select(pl.all().all()).row(0))
    beside = blank.select(pl.any_horizontal(pl.lit(False), ~pl.col(names[width:]))).to_series()
    if beside[first:].sum() > (~empty[first:]).sum() / 2:
        beside = beside & False
    wanted, _ = _wanted(fit)

    def text_of(rows: Sequence[int]) -> list[str]:
        return [_shorten("\t".join(cell or "" for cell in frame.row(row - 1))) for row in rows]

    long = [first + int(at) for at in beside[first:].arg_true()]
    aside = [
        (at + 1, _wrong_width(_reach(blank.row(at)), width), text)
        for at, text in zip(long, text_of([at + 1 for at in long]), strict=True)
    ]
    body = frame.with_row_index("row", offset=1).slice(first).filter(~(empty | beside)[first:])
    return Table(
        body.select(
            *(pl.col(names[index]).str.strip_chars().alias(f"c{index}") for index in wanted),
            pl.col("row").cast(pl.Int64),
        ),
        frame.height,
        min(fit.heading_rows, frame.height - fit.heading),
        int((~above).sum()),
        int(above.sum()) + int(empty[first:].sum()),
        text_of,
        aside,
    )


def _reach(blank: Sequence[bool]) -> int:
    """Cells of a row, up to the last that holds something."""
    return max((at for at, is_blank in enumerate(blank, 1) if not is_blank), default=0)


def _from_records(grid: RecordGrid, fit: Fit) -> Table:
    wanted, _ = _wanted(fit)
    names = grid.frame.columns

    def text_of(rows: Sequence[int]) -> list[str]:
        if grid.text is not None:
            return [_shorten(text) for text in grid.text.texts(rows)]
        return [
            _shorten(str(grid.frame.row(int(np.searchsorted(grid.rows, row)), named=True))) for row in rows
        ]

    assert fit.plan is not None
    lists = {column.index for column in fit.plan.columns if column.channel.dtype == pl.List(pl.String)}
    columns = [_flat(grid.frame[names[at]], at in lists).alias(f"c{at}") for at in wanted]
    return Table(
        pl.DataFrame([*columns, pl.Series("row", grid.rows, dtype=pl.Int64)]),
        grid.lines,
        0,
        1 if grid.facts else 0,
        grid.blank_lines,
        text_of,
        [(row, reason, _shorten(text)) for row, reason, text in grid.unread],
        grid.unread[-1][0]
        if grid.unread
        and grid.unread[-1][:2] == (grid.lines, NO_RECORD)
        and grid.text is not None
        and not grid.text.data.endswith(b"\n")
        else None,
    )


def _flat(column: pl.Series, may_list: bool) -> pl.Series:
    """A column of single values: a list or record in place of one is kept as its text, and is no reading."""
    dtype = column.dtype
    if may_list and isinstance(dtype, pl.List) and not dtype.inner.is_nested():
        return column.list.drop_nulls()
    if not dtype.is_nested() and dtype not in (pl.Binary, pl.Object, pl.Duration):
        return column
    return pl.Series([None if value is None else str(value) for value in column.to_list()], dtype=pl.String)
