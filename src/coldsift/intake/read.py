"""The intake stage as a whole: every source read by its layout, merged into one log, accounted for."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Literal

import polars as pl

from coldsift.intake import layouts as layout_stage
from coldsift.intake import times
from coldsift.intake.body import Table, read_body
from coldsift.intake.files import Found, Payload, gather, open_file
from coldsift.intake.fitting import Fit
from coldsift.intake.grids import Grid, RecordGrid, TextGrid, open_grids
from coldsift.intake.merge import merge
from coldsift.intake.readings import NothingReadable, Reader, Reading, Settings
from coldsift.intake.records import Intake, Message, SourceRecord
from coldsift.intake.tag_value import TagValueReader
from coldsift.schema import COMMON_LOG, SET_ASIDE
from coldsift.voyage.recognise import voyage_table

_HEADING_BYTES = 4096
"""Of a file, in which a voyage table shows its headings."""

Progress = Callable[[str, int, int], None]


class _Source:
    """One source while it is being read."""

    def __init__(self, shown: str, payload: Payload) -> None:
        digest = hashlib.sha256(payload.stored)
        self.payload = payload
        self.record = SourceRecord("", shown, digest.hexdigest(), len(payload.stored))
        self.messages: list[Message] = []
        self.frame: pl.DataFrame | None = None
        self.aside: list[pl.DataFrame] = []
        self.line_map: pl.DataFrame | None = None
        self.text_of: Callable[[Sequence[int]], list[str]] | None = None


def read_logs(
    paths: Sequence[Path | str],
    *,
    parsers: Sequence[Path] = (),
    progress: Progress | None = None,
    date_order: Literal["day_first", "month_first"] | None = None,
    time_zone: str | None = None,
    layout: str | None = None,
) -> Intake:
    """Read a batch of log files.

    Parameters
    ----------
    paths
        Files, folders, glob patterns, zip and gzip; their order never changes the result.
    parsers
        The user's own layout folders.
    progress
        Called with the shown path, the number of files done and their total.
    date_order
        Settles dates that the data cannot settle.
    time_zone
        ``UTC``, an offset or an IANA name, for clocks of which nothing says the zone.
    layout
        Name of the layout to use for every file; found file by file when None.

    Returns
    -------
    Intake
        Log, lines set aside, source records, messages. Bad input ends in messages, never in an exception.

    Raises
    ------
    WrongCall
        When ``time_zone`` is no time zone.
    """
    time_zone = times.given_zone(time_zone)
    layouts, messages = layout_stage.load_layouts(parsers)
    chooser = layout_stage.Chooser(layouts, layout)
    files, missing = gather(paths)
    messages += missing
    settings = Settings(date_order, time_zone)
    sources: list[_Source] = []
    for number, found in enumerate(files):
        if progress:
            progress(found.shown, number, len(files))
        sources += _read_file(found, chooser, settings, messages)
    if progress:
        progress("", len(files), len(files))
    sources.sort(key=lambda source: source.record.path)
    _give_ids(sources)
    log, asides = _merge(sources)
    every = [*messages, *(message for source in sources for message in source.record.messages)]
    every.sort(key=lambda message: message.file)
    return Intake(log, asides, tuple(source.record for source in sources), tuple(every))


def _give_ids(sources: Sequence[_Source]) -> None:
    """Ids from content and name; equal content under equal names is told apart by the path order."""
    seen: dict[str, int] = {}
    for source in sources:
        record = source.record
        name = record.path.rsplit("/", 1)[-1]
        identity = hashlib.sha256(f"{record.sha256} {name}".encode()).hexdigest()[:12]
        seen[identity] = seen.get(identity, 0) + 1
        if seen[identity] > 1:
            identity = f"{identity}-{seen[identity]}"
        source.record = replace(record, id=identity)


def _read_file(
    found: Found, chooser: layout_stage.Chooser, settings: Settings, messages: list[Message]
) -> list[_Source]:
    sources = []
    for payload in open_file(found):
        if isinstance(payload, Message):
            messages.append(payload)
            continue
        if table := voyage_table(payload.data[:_HEADING_BYTES]):
            messages.append(
                Message(
                    "note",
                    payload.shown,
                    None,
                    f"Left out: these are {table[0]}, not a log.",
                    f"Give the file with {table[1]}.",
                )
            )
            continue
        for shown, grid in open_grids(payload):
            source = _Source(shown, payload)
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
        source.messages.append(Message("error", shown, None, choice.what, choice.do))
        _all_aside(source, grid, None, "the file as a whole could not be read: no layout was chosen")
        return
    fit = choice.fit
    source.record = replace(
        source.record, layout=fit.name, score=fit.score, margin=choice.margin, delimiter=fit.delimiter
    )
    table = read_body(grid, fit)
    source.text_of = table.text_of
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


def _aside_frame(entries: Sequence[tuple[int, str, str]]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "row": [row for row, _, _ in entries],
            "container": pl.Series([None] * len(entries), dtype=pl.String),
            "channel": pl.Series([None] * len(entries), dtype=pl.String),
            "reason": [reason for _, reason, _ in entries],
            "text": [text for _, _, text in entries],
        },
        schema_overrides={"row": pl.Int64, "reason": pl.String, "text": pl.String},
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
        texts = lines.texts(range(1, len(lines.starts) + 1))
        entries = [(at, reason, text[:4000]) for at, text in enumerate(texts, 1) if text.strip()]
        record = replace(record, lines=len(texts), blank_lines=len(texts) - len(entries))
    else:
        frame = grid.frame
        numbers = grid.rows.tolist() if isinstance(grid, RecordGrid) else range(1, frame.height + 1)
        entries = [
            (row, reason, "\t".join("" if cell is None else str(cell) for cell in cells)[:4000])
            for row, cells in zip(numbers, frame.rows(), strict=True)
        ]
        extra = grid.unread if isinstance(grid, RecordGrid) else ()
        entries += [(row, "not a JSON record", text) for row, text in extra]
        blank = grid.blank_lines if isinstance(grid, RecordGrid) else 0
        facts = int(bool(grid.facts)) if isinstance(grid, RecordGrid) else 0
        record = replace(record, lines=len(entries) + blank + facts, blank_lines=blank, fact_lines=facts)
    source.aside = [_aside_frame(entries)]
    source.record = replace(
        record, rows=len(entries), set_aside=len(entries), messages=tuple(source.messages)
    )


def _take(source: _Source, table: Table, reading: Reading) -> None:
    aside = [*([_aside_frame(table.aside)] if table.aside else []), *reading.aside]
    whole_lines = sum(int(frame["channel"].null_count()) for frame in aside)
    source.frame = reading.frame if reading.frame.height else None
    source.aside = aside
    source.line_map = reading.line_map
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
    if isinstance(source.payload, Payload):
        source.payload = replace(source.payload, data=b"", stored=b"")


def _merge(sources: Sequence[_Source]) -> tuple[pl.DataFrame, pl.DataFrame]:
    frames = [
        source.frame.with_columns(
            pl.lit(source.record.id).alias("source"), pl.lit(order, dtype=pl.Int64).alias("order")
        )
        for order, source in enumerate(sources)
        if source.frame is not None
    ]
    by_id = {source.record.id: source for source in sources}
    if frames:
        merged = merge(pl.concat(frames, how="diagonal"))
        _account_repeats(by_id, merged.repeats)
        log = COMMON_LOG.conform(merged.log)
    else:
        log = COMMON_LOG.empty()
    for source in sources:
        source.frame = None
    asides = [
        frame.select(
            pl.lit(source.record.id).alias("source"),
            pl.lit(source.record.path).alias("file"),
            "row",
            "container",
            "channel",
            "reason",
            "text",
        )
        for source in sources
        for frame in source.aside
    ]
    aside = pl.concat(asides) if asides else SET_ASIDE.empty()
    aside = aside.sort("file", "row", "channel", nulls_last=False, maintain_order=True)
    return log, SET_ASIDE.conform(aside)


def _account_repeats(by_id: dict[str, _Source], repeats: pl.DataFrame) -> None:
    """Book rows that met an earlier one: merged or set aside, with a message per pair of files."""
    if repeats.is_empty():
        return
    for (identity, other), part in repeats.group_by("source", "other_source", maintain_order=True):
        source, earlier = by_id[str(identity)], by_id[str(other)]
        record = source.record
        equal, against = part.filter(pl.col("conflict") == ""), part.filter(pl.col("conflict") != "")
        equal_lines, against_lines = int(equal["lines"].sum()), int(against["lines"].sum())
        found = []
        where = "above in this file" if source is earlier else f"of {earlier.record.path}"
        if equal_lines:
            found.append(
                Message(
                    "note",
                    record.path,
                    int(equal["row"].min()),  # type: ignore[arg-type]
                    f"{equal_lines} lines are for the same container and time as lines {where}; merged.",
                    "",
                )
            )
        if against_lines:
            channels = sorted({name for text in against["conflict"].unique() for name in text.split(", ")})
            source.aside.append(_conflicts(source, earlier.record.path, against))
            found.append(
                Message(
                    "warning",
                    record.path,
                    int(against["row"].min()),  # type: ignore[arg-type]
                    f"{against_lines} lines conflict with lines {where} for the same container and time "
                    f"({', '.join(channels[:6])}); the first were kept.",
                    "See set_aside.parquet; find out which file is right.",
                )
            )
        source.record = replace(
            record,
            used=record.used - equal_lines - against_lines,
            merged=record.merged + equal_lines,
            set_aside=record.set_aside + against_lines,
            messages=(*record.messages, *found),
        )


def _conflicts(source: _Source, earlier: str, against: pl.DataFrame) -> pl.DataFrame:
    lines = against.select("row", "other_row")
    if source.line_map is not None:
        lines = source.line_map.join(lines, on="row", how="inner", maintain_order="left").select(
            row="line", other_row="other_row"
        )
    assert source.text_of is not None
    numbers = lines["row"].to_list()
    return _aside_frame(
        [
            (row, f"conflicts with {earlier} line {other}", text)
            for row, other, text in zip(numbers, lines["other_row"], source.text_of(numbers), strict=True)
        ]
    )
