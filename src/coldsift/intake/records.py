"""What intake hands on: the messages, one record per source with its exact row accounting, and the log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import polars as pl

Severity = Literal["error", "warning", "note"]


LONGEST = 1500
"""Characters of what a message says; what a file holds may be of any length."""


def cut_short(text: str) -> str:
    """What is said, with its middle left out where it is longer than :data:`LONGEST`."""
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 303]} … {text[-300:]}"


class WrongCall(ValueError):
    """An argument that cannot be, whatever the files hold; says what would do."""


@dataclass(frozen=True, slots=True)
class Message:
    """Something the user should know about a file.

    Attributes
    ----------
    severity
        ``error``: nothing of the file could be used; ``warning``: read, but look at it; ``note``: a choice
        that was made or a harmless finding.
    file
        Path as shown to the user.
    line
        Line, from 1; None when it concerns the whole file.
    what
        What happened.
    do
        What to do about it.
    """

    severity: Severity
    file: str
    line: int | None
    what: str
    do: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "what", cut_short(self.what))

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file} line {self.line}"
        return f"{self.severity}: {place}: {self.what} {self.do}".rstrip()


@dataclass(frozen=True, slots=True)
class SourceRecord:
    """One file, archive member or worksheet, and where each of its lines went.

    Two sums always hold: ``lines = heading_lines + fact_lines + blank_lines + rows`` and
    ``rows = used + merged + set_aside``.

    Attributes
    ----------
    id
        Twelve hexadecimal digits made from content and name, so the order of files never matters.
    path
        As given, ``archive.zip!member.csv`` for members, ``book.xlsx!Sheet`` for sheets.
    sha256, size
        Of the bytes as stored (an archive member: its unpacked bytes).
    layout
        Name of the layout, ``generic`` for the reader by trade words, None when none fitted.
    score, margin
        0 to 100, and the lead over the second best.
    encoding, delimiter
        As found, empty where they have no meaning.
    time_zone
        Zone of the clock readings and where that is known from.
    pressure_reading
        How gauge or absolute was settled; empty without pressures.
    refrigerant
        As the file states it; empty when it does not, or names none that is known.
    truncated
        True when the end of the file is cut off.
    """

    id: str
    path: str
    sha256: str
    size: int
    layout: str | None = None
    score: float = 0.0
    margin: float = 0.0
    encoding: str = ""
    delimiter: str = ""
    time_zone: str = ""
    pressure_reading: str = ""
    refrigerant: str = ""
    lines: int = 0
    heading_lines: int = 0
    fact_lines: int = 0
    blank_lines: int = 0
    rows: int = 0
    used: int = 0
    merged: int = 0
    set_aside: int = 0
    truncated: bool = False
    messages: tuple[Message, ...] = ()


@dataclass(frozen=True, slots=True)
class Intake:
    """Everything read from a batch of paths.

    Attributes
    ----------
    log
        The common log (:data:`coldsift.schema.COMMON_LOG`), sorted by container and time, unique.
    set_aside
        Lines and readings not used, with their reason (:data:`coldsift.schema.SET_ASIDE`).
    sources
        One record per source, in path order.
    messages
        Every message of the batch, those of the sources included, in path order.
    """

    log: pl.DataFrame
    set_aside: pl.DataFrame
    sources: tuple[SourceRecord, ...]
    messages: tuple[Message, ...]
