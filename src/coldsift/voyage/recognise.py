"""Papers of the voyage that lie among the logs."""

from __future__ import annotations

import codecs
from collections.abc import Mapping, Sequence

from coldsift.intake.headings import split_heading
from coldsift.schema import CHANNELS, DATE_WORDS, TIME_WORDS
from coldsift.voyage.headings import (
    BOOKINGS_WORDS,
    CUSTODY_WORDS,
    EDIFACT_BEGIN,
    EPCIS_BEGIN,
    MEASURED,
    NOTES_WORDS,
    PLAN_WORDS,
    SPARES_WORDS,
    STOWAGE_MESSAGE,
    delimiter_of,
)

_READINGS = tuple(word for channel in CHANNELS.values() for word in channel.words)
_TIMES = frozenset((*TIME_WORDS, *DATE_WORDS))

_PLAN, _BOOKINGS = ("places of a stowage plan", "--plan"), ("bookings", "--bookings")
_EVENTS, _NOTES, _SPARES = (
    ("custody events", "--events"),
    ("work notes", "--notes"),
    ("spare parts", "--spares"),
)

_KEPT = frozenset((*PLAN_WORDS["required_temperature"], *BOOKINGS_WORDS["set_point"]))
"""A plan and a booking name the temperature to be kept, and no reading beside it."""


def voyage_table(begin: bytes) -> tuple[str, str] | None:
    """What a file is by its first bytes: (words, option to give it with); None when it may be a log.

    Parameters
    ----------
    begin
        First bytes of the file.
    """
    text = _text_of(begin)
    if EDIFACT_BEGIN.match(text) and STOWAGE_MESSAGE.search(text):
        return _PLAN
    if EPCIS_BEGIN.match(text):
        return _EVENTS
    return _by_headings(_headings(text))


def is_plan_alone(begin: bytes) -> bool:
    """Whether a table names places on board, and nothing that bookings alone would name.

    Parameters
    ----------
    begin
        First bytes of the file.
    """
    if voyage_table(begin) != _PLAN:
        return False
    headings = _headings(_text_of(begin))
    return not _is_booked(headings, _found(headings, BOOKINGS_WORDS))


def _text_of(begin: bytes) -> str:
    """First bytes of a file as text, in the encodings in which spreadsheet programs save tables."""
    if begin.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return begin.decode("utf-16", errors="replace")
    text = begin.decode("utf-8-sig", errors="replace")
    # The last sign may be cut in two.
    return begin.decode("cp1252", errors="replace") if "\ufffd" in text[:-1] else text


def _headings(text: str) -> set[str]:
    first = next((line for line in text.splitlines() if line.strip()), "")
    return {cell.strip().strip('"').lower() for cell in first.split(delimiter_of(first))}


def _is_booked(headings: set[str], bookings: set[str]) -> bool:
    return bool(bookings & {"cargo", "time"}) or any(each.startswith("booked") for each in headings)


def _by_headings(headings: set[str]) -> tuple[str, str] | None:
    plan, bookings, events, notes, spares = (
        _found(headings, meant)
        for meant in (PLAN_WORDS, BOOKINGS_WORDS, CUSTODY_WORDS, NOTES_WORDS, SPARES_WORDS)
    )
    kept = {heading for heading in headings if _name(heading) in _KEPT}
    # The heading of a log may go on with its unit.
    if any(heading.startswith(_READINGS) for heading in headings - kept):
        return None
    is_timed = any(_name(heading) in _TIMES for heading in headings)
    has_place = "position" in plan or {"bay", "row", "tier"} <= plan
    happened = {"container", "time"} <= events and not any(heading.startswith(_READINGS) for heading in kept)
    kinds = (
        (_PLAN, "container" in plan and has_place and not is_timed),
        (
            _BOOKINGS,
            {"container", "set_point"} <= bookings and _is_booked(headings, bookings) and not is_timed,
        ),
        (_EVENTS, happened and "holder" in events),
        (_NOTES, happened and bool(notes & {"observation", "action"})),
        (_SPARES, {"part", "on_board"} <= spares and "container" not in plan),
    )
    return next((told for told, fits in kinds if fits), None)


def _found(headings: set[str], meant: Mapping[str, Sequence[str]]) -> set[str]:
    """Columns of a kind of table that the headings name."""
    names = {_name(heading) for heading in headings}
    return {
        column
        for column, words in meant.items()
        if (headings | names if column in MEASURED else headings) & set(words)
    }


def _name(heading: str) -> str:
    """A heading without its unit."""
    return split_heading(heading)[0].strip()
