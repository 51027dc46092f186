"""Voyage tables that lie among the logs."""

from __future__ import annotations

from coldsift.schema import CHANNELS
from coldsift.voyage.headings import CUSTODY_WORDS, NOTES_WORDS, delimiter_of

_READINGS = tuple(word for channel in CHANNELS.values() for word in channel.words)

_KINDS = (
    ("custody events", "--events", CUSTODY_WORDS, ("holder",)),
    ("work notes", "--notes", NOTES_WORDS, ("observation", "action")),
)


def voyage_table(begin: bytes) -> tuple[str, str] | None:
    """What a file is by its headings: (words, option to give it with); None when it may be a log.

    Parameters
    ----------
    begin
        First bytes of the file.
    """
    text = begin.decode("utf-8-sig", errors="replace")
    first = next((line for line in text.splitlines() if line.strip()), "")
    headings = {cell.strip().strip('"').lower() for cell in first.split(delimiter_of(first))}
    # A heading of a log may go on with its unit.
    if any(heading.startswith(_READINGS) for heading in headings):
        return None
    for words, option, meant, telling in _KINDS:
        found = {column for column, names in meant.items() if headings & set(names)}
        if {"container", "time"} <= found and found & set(telling):
            return words, option
    return None
