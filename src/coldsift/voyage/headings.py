"""Headings of the tables that a person keeps by hand. Imports no stage, so that intake can ask it too."""

from __future__ import annotations

DELIMITERS = (",", ";", "\t")

CUSTODY_WORDS = {
    "container": ("container", "container number", "unit"),
    "time": ("time", "from", "start", "time utc", "from utc"),
    "until": ("until", "to", "end", "until utc"),
    "event": ("event", "what"),
    "holder": ("holder", "custodian", "party", "in custody of"),
    "place": ("place", "location", "port", "terminal"),
}
"""Headings of an events file; container, time and holder must be there."""

NOTES_WORDS = {
    "container": ("container", "container number", "unit"),
    "time": ("time", "time utc", "when"),
    "observation": ("observation", "seen", "observed", "finding"),
    "action": ("action", "done", "work done"),
    "part": ("part", "part used", "spare"),
}
"""Headings of a notes file; container and time must be there."""


def delimiter_of(text: str) -> str:
    """The delimiter that the first line with anything in it has most of."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    return max(DELIMITERS, key=first.count)
