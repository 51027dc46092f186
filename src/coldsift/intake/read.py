"""Files read by their layouts, one by one: their rows, their accounts, and what there is to say.

Goes in: files found on disk. Comes out: a :class:`Read`; nothing is merged across files yet.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
import polars as pl

from coldsift.intake import layouts as layout_stage
from coldsift.intake import times
from coldsift.intake.body import FRAGMENT, Table, read_body
from coldsift.intake.declaration import Layout
from coldsift.intake.files import Found, Payload, changed_since, load, open_file, state_of
from coldsift.intake.fitting import Fit
from coldsift.intake.grids import NO_RECORD, Grid, RecordGrid, TextGrid, open_grids
from coldsift.intake.readings import NothingReadable, Reader, Reading, Settings
from coldsift.intake.records import Message, SourceRecord
from coldsift.intake.tag_value import TagValueReader
from coldsift.voyage.recognise import voyage_table

_HEADING_BYTES = 4096
"""Of a file, in which a voyage table shows its headings."""

ROWS = pl.Schema(
    [
        ("container", pl.String()),
        ("time", pl.Datetime("us", "UTC")),
        ("row", pl.Int64()),
        ("lines", pl.Int64()),
        ("number", pl.Int64()),
    ]
)
"""Columns that rows have beside their channels."""

ASIDE = pl.Schema(
    [
        ("row", pl.Int64()),
        ("container", pl.String()),
        ("channel", pl.String()),
        ("reason", pl.String()),
        ("text", pl.String()),
    ]
)
"""What is set aside of one source."""


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the logs themselves do not settle.

    Attributes
    ----------
    parsers
        The user's own layout folders.
    date_order
        Settles dates that the data cannot settle.
    time_zone
        ``UTC``, an offset or an IANA name, for clocks of which nothing says the zone.
    layout
        Name of the layout to use for every file; found file by file when None.
    """

    parsers: tuple[Path, ...] = ()
    date_order: Literal["day_first", "month_first"] | None = None
    time_zone: str | None = None
    layout: str | None = None


@dataclass(frozen=True, slots=True)
class ReadSource:
    """One source as read.

    Attributes
    ----------
    file
        Where it stands on disk.
    record
        Its account; the id is not given yet.
    aside
        Its lines and readings that are not used (:data:`ASIDE`).
    lines
        ``row, line``: lines that each row of the log was made from, where that is more than one; else None.
    """

    file: Found
    record: SourceRecord
    aside: pl.DataFrame
    lines: pl.DataFrame | None


@dataclass(frozen=True, slots=True)
class Read:
    """Several files read.

    Attributes
    ----------
    sources
        One for each file, archive member or worksheet.
    rows
        Rows of all of them: ``number`` (place in ``sources``), ``container, time, row, lines`` and the
        channels that any of them has.
    messages
        Of what gave no source.
    digests
        SHA-256 of every file by the path shown for it; of one that cannot be read, empty.
    """

    sources: tuple[ReadSource, ...]
    rows: pl.DataFrame
    messages: tuple[Message, ...]
    digests: Mapping[str, str]


class _Source:
    """One source while it is being read."""

    def __init__(self, found: Found, shown: str, payload: Payload, sha256: str) -> None:
        self.found = found
        self.payload = payload
        self.record = SourceRecord("", shown, sha256, len(payload.stored))
        self.messages: list[Message] = []
        self.rows = pl.DataFrame()
        self.aside: list[pl.DataFrame] = []
        self.lines: pl.DataFrame | None = None

    def done(self) -> ReadSource:
        aside = pl.concat(
            [pl.DataFrame(schema=ASIDE), *(frame.select(ASIDE.names()) for frame in self.aside)]
        )
        return ReadSource(self.found, self.record, aside, self.lines)


def read_files(
    files: Sequence[Found],
    options: ReadOptions,
    layouts: Sequence[Layout],
    told: Callable[[Found], None] = lambda found: None,
) -> Read:
    """Read files, each by the layout that fits it.

    Parameters
    ----------
    files
        From :func:`coldsift.intake.files.gather`.
    options
        What the logs themselves do not settle.
    layouts
        From :func:`coldsift.intake.layouts.load_layouts`.
    told
        Called with each file before it is read.

    Returns
    -------
    Read
        Bad input ends in messages, never in an exception.

    Raises
    ------
    WrongCall
        When ``options.time_zone`` is no time zone.
    """
    chooser = layout_stage.Chooser(layouts, options.layout)
    settings = Settings(options.date_order, times.given_zone(options.time_zone))
    sources: list[_Source] = []
    messages: list[Message] = []
    digests, states = {}, []
    for found in files:
        told(found)
        stored = load(found)
        if isinstance(stored, Message):
            messages.append(stored)
            digests[found.shown] = ""
            continue
        states.append((found, state_of(found)))
        digests[found.shown] = _sha256(stored)
        for payload in open_file(found, stored):
            if isinstance(payload, Message):
                messages.append(payload)
                continue
            sha256 = digests[found.shown] if payload.stored is stored else _sha256(payload.stored)
            sources += _read_payload(found, payload, sha256, chooser, settings, messages)
    messages += [changed for found, state in states if (changed := changed_since(found, state))]
    filled = [(number, source.rows) for number, source in enumerate(sources) if source.rows.height]
    rows = pl.DataFrame(schema=ROWS)
    if filled:
        number = np.repeat([number for number, _ in filled], [frame.height for _, frame in filled])
        rows = pl.concat([frame for _, frame in filled], how="diagonal", rechunk=True)
        rows = rows.with_columns(pl.Series("number", number, pl.Int64))
    return Read(
        tuple(source.done() for source in sources),
        rows,
        tuple(messages),
        digests,
    )


def lines_again(
    source: ReadSource,
    rows: Sequence[int],
    options: ReadOptions,
    layouts: Sequence[Layout],
) -> list[str]:
    """Open a source once more, for the text of some of its lines.

    Parameters
    ----------
    source, rows
        The source, and numbers of its lines.
    options, layouts
        As it was read with.

    Returns
    -------
    list of str
        The lines; where the source is not there any more as it was read, that is said in their place.
    """
    chooser = layout_stage.Chooser(layouts, options.layout)
    stored = load(source.file)
    for payload in () if isinstance(stored, Message) else open_file(source.file, stored):
        if isinstance(payload, Payload) and _sha256(payload.stored) == source.record.sha256:
            for shown, grid in open_grids(payload):
                if shown == source.record.path and not isinstance(grid, Message):
                    fit = chooser.choose(grid).fit
                    if fit is not None:
                        return read_body(grid, fit).text_of(rows)
    return ["(the file changed while it was read)"] * len(rows)


def _sha256(stored: bytes) -> str:
    return hashlib.sha256(stored).hexdigest()


def _read_payload(
    found: Found,
    payload: Payload,
    sha256: str,
    chooser: layout_stage.Chooser,
    settings: Settings,
    messages: list[Message],
) -> list[_Source]:
    if table := voyage_table(payload.data[:_HEADING_BYTES]):
        what, do = f"Left out: these are {table[0]}, not a log.", f"Give the file with {table[1]}."
        messages.append(Message("note", payload.shown, None, what, do))
        return []
    sources = []
    for shown, grid in open_grids(payload):
        source = _Source(found, shown, payload, sha256)
        if payload.trouble:
            source.messages.append(
                Message(
                    "warning",
                    shown,
                    None,
                    f"The packed file is damaged ({payload.trouble}); what came before is read.",
                    "Fetch the file once more.",
                )
            )
        if isinstance(grid, Message):
            source.messages.append(grid)
            source.record = replace(source.record, messages=tuple(source.messages))
        else:
            _read_grid(source, shown, grid, chooser, settings)
        sources.append(source)
    return sources


def _read_grid(
    source: _Source, shown: str, grid: Grid, chooser: layout_stage.Chooser, settings: Settings
) -> None:
    choice = chooser.choose(grid)
    if isinstance(grid, TextGrid):
        lines = grid.lines(choice.fit.encoding if choice.fit else None)
        source.record = replace(source.record, encoding=lines.encoding)
        if lines.damaged:
            source.messages.append(
                Message(
                    "warning",
                    shown,
                    lines.damaged[0],
                    f"{len(lines.damaged)} lines have bytes that are not {lines.encoding}.",
                    "Save the file in UTF-8, or declare its encoding in a layout.",
                )
            )
    if choice.fit is None:
        what, do = choice.what, choice.do
        if isinstance(grid, RecordGrid) and grid.frame.is_empty():
            what, do = "No line of the file is a JSON record.", "Fetch it once more."
            odd = [entry for entry in grid.unread if entry[1] != NO_RECORD]
            if odd:
                what = f"{len(odd)} lines could not be taken apart, the first: {odd[0][1]}."
                do = "See set_aside.parquet; mend the lines or export the log again."
        source.messages.append(Message("error", shown, None, what, do))
        _all_aside(source, grid, None, "the file as a whole could not be read: no layout was chosen")
        return
    fit = choice.fit
    source.record = replace(
        source.record, layout=fit.name, score=fit.score, margin=choice.margin, delimiter=fit.delimiter
    )
    table = read_body(grid, fit)
    if table.rows == 0:
        source.messages.append(
            Message("error", shown, None, "The file has a heading but no rows.", "Fetch it once more.")
        )
    _ragged_messages(source, shown, table)
    kind = Reader if fit.plan is None or fit.plan.tag is None else TagValueReader
    reader = kind(shown, source.payload.name, table, fit, settings)
    try:
        reading = reader.read() if table.frame.height else Reading(pl.DataFrame())
    except NothingReadable as trouble:
        source.messages.append(Message("error", shown, None, trouble.what, trouble.do))
        _all_aside(
            source, grid, fit, "the file as a whole could not be read: the date order is not settled", table
        )
        return
    _take(source, table, reading)


def _ragged_messages(source: _Source, shown: str, table: Table) -> None:
    if table.truncated is not None:
        source.messages.append(
            Message(
                "warning",
                shown,
                table.truncated,
                "The file is cut off: its last line is not whole and was set aside.",
                "The rows before it are used; fetch the file once more for the rest.",
            )
        )
    others = [entry for entry in table.aside if entry[0] != table.truncated]
    if others:
        source.messages.append(
            Message(
                "warning",
                shown,
                others[0][0],
                f"{len(others)} lines could not be taken apart, the first: {others[0][1]}.",
                "See set_aside.parquet; mend the lines or export the log again.",
            )
        )


def aside_frame(entries: Sequence[tuple[int, str, str]]) -> pl.DataFrame:
    """Whole lines set aside: line, reason, text."""
    rows, reasons, texts = zip(*entries, strict=True) if entries else ((), (), ())
    return pl.DataFrame(
        {"row": rows, "container": None, "channel": None, "reason": reasons, "text": texts}, schema=ASIDE
    )


def _all_aside(source: _Source, grid: Grid, fit: Fit | None, reason: str, table: Table | None = None) -> None:
    """Every row of a file that cannot be read, set aside."""
    record = source.record
    if table is not None:
        rows = table.frame["row"].to_list()
        entries = [
            *table.aside,
            *((row, reason, text) for row, text in zip(rows, table.text_of(rows), strict=True)),
        ]
        record = replace(
            record,
            lines=table.lines,
            heading_lines=table.heading_lines,
            fact_lines=table.fact_lines,
            blank_lines=table.blank_lines,
        )
    elif isinstance(grid, TextGrid):
        lines = grid.lines()
        every = pl.Series("text", [lines.data.decode("utf-8", "replace")]).str.split("\n").explode()
        texts = every.head(len(lines.starts)).to_frame().with_row_index("row", 1)
        held = texts.filter(pl.col("text").str.strip_chars() != "")
        source.aside = [
            held.select(
                pl.col("row").cast(pl.Int64),
                container=pl.lit(None, pl.String),
                channel=pl.lit(None, pl.String),
                reason=pl.lit(reason),
                text=pl.col("text").str.slice(0, FRAGMENT).str.replace_all("\0", "\u2400", literal=True),
            )
        ]
        source.record = replace(
            record,
            lines=texts.height,
            blank_lines=texts.height - held.height,
            rows=held.height,
            set_aside=held.height,
            messages=tuple(source.messages),
        )
        return
    else:
        frame = grid.frame
        numbers = grid.rows.tolist() if isinstance(grid, RecordGrid) else range(1, frame.height + 1)
        entries = [
            (row, reason, "\t".join("" if cell is None else str(cell) for cell in cells)[:4000])
            for row, cells in zip(numbers, frame.rows(), strict=True)
        ]
        extra = grid.unread if isinstance(grid, RecordGrid) else ()
        entries += extra
        blank = grid.blank_lines if isinstance(grid, RecordGrid) else 0
        facts = int(bool(grid.facts)) if isinstance(grid, RecordGrid) else 0
        record = replace(record, lines=len(entries) + blank + facts, blank_lines=blank, fact_lines=facts)
    source.aside = [aside_frame(entries)]
    source.record = replace(
        record, rows=len(entries), set_aside=len(entries), messages=tuple(source.messages)
    )


def _take(source: _Source, table: Table, reading: Reading) -> None:
    aside = [*([aside_frame(table.aside)] if table.aside else []), *reading.aside]
    whole_lines = sum(int(frame["channel"].null_count()) for frame in aside)
    source.rows = reading.frame
    source.aside = aside
    source.lines = reading.line_map
    source.messages += reading.messages
    used = int(reading.frame["lines"].sum()) if reading.frame.height else 0
    if reading.frame.height == 0 and table.rows and not any(m.severity == "error" for m in source.messages):
        source.messages.append(
            Message(
                "error",
                source.record.path,
                None,
                "No row of the file could be used.",
                "See set_aside.parquet.",
            )
        )
    source.record = replace(
        source.record,
        time_zone=reading.time_zone,
        pressure_reading=reading.pressure_reading,
        refrigerant=reading.refrigerant,
        lines=table.lines,
        heading_lines=table.heading_lines,
        fact_lines=table.fact_lines,
        blank_lines=table.blank_lines,
        rows=table.rows,
        used=used,
        merged=reading.merged_lines,
        set_aside=whole_lines,
        truncated=table.truncated is not None or bool(source.payload.trouble),
        messages=tuple(source.messages),
    )
