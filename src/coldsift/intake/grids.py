"""Bytes to a grid: text lines, worksheet cells or records, before any layout is known.

Goes in: the bytes of one source. Comes out: :class:`TextGrid` (delimited, fixed width), :class:`CellGrid`
(a worksheet) or :class:`RecordGrid` (Parquet, JSON lines), each able to show its first rows as texts.
"""

from __future__ import annotations

import codecs
import csv
import io
import json
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import charset_normalizer
import fastexcel
import numpy as np
import polars as pl

from coldsift.intake.files import LARGEST_MEMBER, Payload
from coldsift.intake.records import Message

HEAD = 64 * 1024
"""Bytes at the beginning that decide on encoding and binary junk."""
HEAD_ROWS = 100
"""Rows at the beginning that decide on layout and heading."""

Kind = Literal["text", "cells", "parquet", "json"]


@dataclass(frozen=True, slots=True)
class Lines:
    r"""A text as UTF-8 bytes with the place of every line.

    Attributes
    ----------
    data
        UTF-8, lines ended by ``\n``.
    starts, ends
        Byte offsets of each line, the line end left out.
    encoding
        What it was decoded from.
    damaged
        Lines (from 1) with bytes that the encoding does not have.
    """

    data: bytes
    starts: np.ndarray
    ends: np.ndarray
    encoding: str
    damaged: tuple[int, ...] = ()

    def text(self, index: int) -> str:
        """One line, counted from 0."""
        return self.data[self.starts[index] : self.ends[index]].decode("utf-8", "replace")

    def texts(self, rows: Sequence[int]) -> list[str]:
        """Lines by their numbers, counted from 1."""
        return [self.text(row - 1) for row in rows]


class TextGrid:
    """Text whose delimiter is not known yet."""

    kind: Kind = "text"

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        self._decoded: dict[str | None, Lines] = {}
        self._rows: dict[tuple[str | None, str, int], list[list[str]]] = {}

    def lines(self, encoding: str | None = None) -> Lines:
        """The text in lines; ``encoding`` is used when the text is not UTF-8 or UTF-16."""
        key = encoding if encoding and not self._says_unicode else None
        if key not in self._decoded:
            self._decoded[key] = _decode(self.raw, key)
        return self._decoded[key]

    @cached_property
    def _says_unicode(self) -> bool:
        return _says_unicode(self.raw)

    def head(self, encoding: str | None, delimiter: str, count: int = HEAD_ROWS) -> list[list[str]]:
        """The first rows taken apart at a delimiter."""
        key = (encoding, delimiter, count)
        if key not in self._rows:
            lines = self.lines(encoding)
            self._rows[key] = [
                split_line(lines.text(index), delimiter) for index in range(min(count, len(lines.starts)))
            ]
        return self._rows[key]


@dataclass(frozen=True, slots=True)
class CellGrid:
    """A worksheet, every cell as text."""

    frame: pl.DataFrame
    kind: Kind = "cells"

    def head(self) -> list[list[str]]:
        """The first rows."""
        return [[cell or "" for cell in row] for row in self.frame.head(HEAD_ROWS).rows()]


@dataclass(frozen=True, slots=True)
class RecordGrid:
    """Records with named fields.

    Attributes
    ----------
    frame
        Typed as the file types it.
    rows
        Line of each record, from 1.
    facts
        From a first JSON line that is not a record.
    unread
        Lines that are no record: line and text.
    """

    frame: pl.DataFrame
    rows: np.ndarray
    kind: Kind = "parquet"
    lines: int = 0
    blank_lines: int = 0
    facts: dict[str, str] = field(default_factory=dict)
    unread: tuple[tuple[int, str], ...] = ()
    text: Lines | None = None

    def head(self) -> list[list[str]]:
        """Field names, then the first records as texts."""
        return [self.frame.columns, *([_cell(value) for value in row] for row in self.frame.head(40).rows())]


Grid = TextGrid | CellGrid | RecordGrid


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return ",".join(map(str, value)) if isinstance(value, list) else str(value)


def split_line(line: str, delimiter: str) -> list[str]:
    """The cells of one line, quotes honoured."""
    if '"' not in line:
        return line.split(delimiter)
    try:
        return next(csv.reader([line], delimiter=delimiter), [""])
    except csv.Error:
        return line.split(delimiter)


def _says_unicode(raw: bytes) -> bool:
    if raw.startswith((codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return True
    return _valid_utf8(raw) or bool(_utf16_without_mark(raw))


def _utf16_without_mark(raw: bytes) -> str:
    if b"\0" not in raw[:HEAD]:
        return ""
    head = np.frombuffer(raw[: HEAD - HEAD % 2], dtype=np.uint8)
    if len(head) < 20:
        return ""
    head = head[: len(head) // 2 * 2]
    even, odd = (head[0::2] == 0).mean(), (head[1::2] == 0).mean()
    if odd > 0.6 and even < 0.1:
        return "utf-16-le"
    return "utf-16-be" if even > 0.6 and odd < 0.1 else ""


_LATIN = frozenset("°µ²³ÄÖÜäöüßéèêëáàâåçñóòôøæÅØÆÉíìúù±·–’€\xa0")


def _found_encoding(raw: bytes) -> tuple[str, str]:
    """Encoding of bytes that are not valid UTF-8, and how to treat what it does not have."""
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16", "replace"
    if wide := _utf16_without_mark(raw):
        return wide, "replace"
    patched = raw.decode("utf-8", "replace")
    broken = patched.count("\ufffd")
    whole = sum(1 for character in patched if character > "\x7f") - broken
    if whole > broken:
        return "utf-8", "replace"
    foreign = {byte for byte in raw if byte > 0x7F}
    if all(bytes([byte]).decode("cp1252", "replace") in _LATIN for byte in foreign):
        return "cp1252", "replace"
    best = charset_normalizer.from_bytes(raw[:HEAD], preemptive_behaviour=True).best()
    return (best.encoding if best and best.encoding not in ("ascii", "utf_8") else "cp1252"), "replace"


def _decode(raw: bytes, encoding: str | None) -> Lines:
    name, data = "utf-8", raw
    damaged: list[int] = []
    if raw.startswith(codecs.BOM_UTF8):
        data = raw[3:]
    wide = raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or _utf16_without_mark(raw)
    if wide or not _valid_utf8(data):
        name, errors = (encoding, "replace") if encoding else _found_encoding(raw)
        text = data.decode(name, errors)
        if "\ufffd" in text:
            damaged = [at for at, line in enumerate(text.split("\n"), 1) if "\ufffd" in line]
        data = text.encode("utf-8", "replace")
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n")
        if b"\n" not in data:
            data = data.replace(b"\r", b"\n")
    buffer = np.frombuffer(data, dtype=np.uint8)
    ends = np.flatnonzero(buffer == 10)
    if data and not data.endswith(b"\n"):
        ends = np.append(ends, len(data))
    starts = np.concatenate(([0], ends[:-1] + 1)) if len(ends) else ends
    return Lines(data, starts, ends, name.replace("_", "-"), tuple(damaged))


def _valid_utf8(data: bytes) -> bool:
    # Behind the headings most logs are ASCII, which need not be decoded to be known.
    try:
        (data[:HEAD] if data[HEAD:].isascii() else data).decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


_CONTROL = bytes(byte for byte in (*range(32), 127) if byte not in (0, 9, 10, 12, 13, 26))
"""Bytes that stand in no text."""


def _is_binary(raw: bytes) -> bool:
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or _utf16_without_mark(raw):
        return False
    head = raw[:HEAD]
    control = len(head) - len(head.translate(None, _CONTROL))
    return control / len(head) > 0.01 or head.count(0) / len(head) > 0.3


def open_grids(payload: Payload) -> list[tuple[str, Grid | Message]]:
    """Every grid in one payload.

    Parameters
    ----------
    payload
        Bytes of one file or member.

    Returns
    -------
    list
        Shown path and grid; a message in place of a grid that cannot be read.
    """
    data, shown = payload.data, payload.shown
    refusal = payload.refusal or _refusal(shown, data)
    if refusal is not None:
        return [(shown, refusal)]
    if data[:4] == b"PK\x03\x04":
        return _workbook(payload)
    if data[:4] == b"PAR1":
        return [(shown, _parquet(payload))]
    grid = TextGrid(data)
    if data[:HEAD].lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"{":
        return [(shown, _json_lines(shown, grid))]
    return [(shown, grid)]


def _refusal(shown: str, data: bytes) -> Message | None:
    """Why bytes cannot be a log, None when they may be one."""
    content = data.removeprefix(codecs.BOM_UTF8)
    if not content or content.isspace():
        return Message("error", shown, None, "The file is empty.", "Fetch it once more.")
    if data[:4] not in (b"PK\x03\x04", b"PAR1") and _is_binary(data):
        return Message(
            "error",
            shown,
            None,
            "This is not text, nor a workbook, nor Parquet: binary data that no reader knows.",
            "Export the log as text from the program that wrote it, or leave the file out.",
        )
    return None


def _workbook(payload: Payload) -> list[tuple[str, Grid | Message]]:
    shown = payload.shown
    try:
        with zipfile.ZipFile(io.BytesIO(payload.data)) as parts:
            if sum(part.file_size for part in parts.infolist()) > LARGEST_MEMBER:
                return [(shown, Message("error", shown, None, "The workbook is too large.", "Split it."))]
        book = fastexcel.read_excel(payload.data)
        names = book.sheet_names
        grids: list[tuple[str, Grid | Message]] = []
        for name in names:
            frame = book.load_sheet(name, header_row=None, dtypes="string").to_polars()
            if frame.height and frame.width:
                grids.append((shown if len(names) == 1 else f"{shown}!{name}", CellGrid(frame)))
    except (
        fastexcel.FastExcelError,
        zipfile.BadZipFile,
        OSError,
        ValueError,
        pl.exceptions.PolarsError,
    ) as error:
        reason = str(error).splitlines()[0]
        return [
            (shown, Message("error", shown, None, f"The workbook is damaged ({reason}).", "Save it anew."))
        ]
    if not grids:
        return [(shown, Message("error", shown, None, "The workbook is empty.", "Fetch it once more."))]
    return grids


def _parquet(payload: Payload) -> Grid | Message:
    try:
        frame = pl.read_parquet(io.BytesIO(payload.data))
    except (pl.exceptions.PolarsError, OSError, ValueError) as error:
        reason = str(error).splitlines()[0]
        return Message(
            "error", payload.shown, None, f"The Parquet file is damaged ({reason}).", "Fetch it once more."
        )
    if frame.is_empty():
        return Message("error", payload.shown, None, "The file has a heading but no rows.", "Fetch it anew.")
    return RecordGrid(frame, np.arange(1, frame.height + 1), lines=frame.height)


def _json_lines(shown: str, grid: TextGrid) -> Grid | Message:
    lines = grid.lines()
    texts = lines.data.decode("utf-8", "replace").split("\n")[: len(lines.starts)]
    kept = [at for at, text in enumerate(texts) if text.strip()]
    blank = len(texts) - len(kept)
    facts: dict[str, str] = {}
    first_facts = _json_facts(texts, kept)
    if first_facts is not None:
        facts, kept = first_facts, kept[1:]
    frame = _json_frame(texts, kept)
    unread: tuple[tuple[int, str], ...] = ()
    if frame is None:
        records = {at: record for at in kept if (record := _record(texts[at])) is not None}
        unread = tuple((at + 1, texts[at]) for at in kept if at not in records)
        kept = list(records)
        names = dict.fromkeys(name for record in records.values() for name in record)
        frame = pl.DataFrame(
            {name: [record.get(name) for record in records.values()] for name in names},
            schema=dict.fromkeys(names, pl.String),
        )
    if frame is None or frame.is_empty():
        return Message("error", shown, None, "No line of the file is a JSON record.", "Fetch it once more.")
    return RecordGrid(
        frame,
        np.array(kept, dtype=np.int64) + 1,
        "json",
        lines=len(texts),
        blank_lines=blank,
        facts=facts,
        unread=unread,
        text=lines,
    )


def _json_facts(texts: list[str], kept: list[int]) -> dict[str, str] | None:
    """The first line as facts, when its fields are none of those of the second."""
    try:
        first, second = (json.loads(texts[at]) for at in kept[:2])
    except (ValueError, RecursionError):
        return None
    if not isinstance(first, dict) or not isinstance(second, dict) or set(first) & set(second):
        return None
    return {str(key): _cell(value) for key, value in first.items()}


def _record(text: str) -> dict[str, str] | None:
    """One line as a record of texts, None when it is none."""
    try:
        record = json.loads(text)
    except (ValueError, RecursionError):
        return None
    if not isinstance(record, dict):
        return None
    return {str(key): _cell(value) for key, value in record.items()}


def _json_frame(texts: list[str], kept: list[int]) -> pl.DataFrame | None:
    """All lines at once, None when one of them is no record or fits no common type."""
    body = "\n".join(texts[at] for at in kept).encode()
    try:
        frame = pl.read_ndjson(io.BytesIO(body), infer_schema_length=None)
    except (pl.exceptions.PolarsError, ValueError):
        return None
    return frame if frame.height == len(kept) else None
