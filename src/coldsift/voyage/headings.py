"""Headings of the tables that a person keeps by hand, and how a message begins.

Imports no stage, so that intake can ask it too.
"""

from __future__ import annotations

import re

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

_SIZE_WORDS = ("size type", "size/type", "size and type", "iso code", "iso type", "type")
_UNIT_WORDS = ("temperature unit", "unit of temperature", "°c/°f", "c/f")

PLAN_WORDS = {
    "container": ("container", "container number", "container no", "unit"),
    "position": ("position", "place on board", "stowage", "stowage position", "cell", "slot"),
    "bay": ("bay",),
    "row": ("row",),
    "tier": ("tier",),
    "size_type": _SIZE_WORDS,
    "required_temperature": (
        "required temperature",
        "carriage temperature",
        "transport temperature",
        "set point",
        "temperature",
        "temp",
    ),
    "temperature_unit": _UNIT_WORDS,
    "full": ("full/empty", "full or empty", "full", "f/e", "status", "load status", "laden"),
    "load_port": ("load port", "loading port", "port of loading", "pol"),
    "discharge_port": ("discharge port", "port of discharge", "pod"),
}
"""Headings of a stowage plan; container must be there, and position or bay, row and tier."""

BOOKINGS_WORDS = {
    "container": ("container", "container number", "container no", "unit"),
    "set_point": ("booked set point", "set point", "booked temperature", "required temperature", "booked"),
    "temperature_unit": _UNIT_WORDS,
    "cargo": ("cargo", "commodity", "goods"),
    "size_type": _SIZE_WORDS,
    "time": ("from", "valid from", "from utc", "changed", "change", "time", "time utc"),
}
"""Headings of a bookings file; container and set point must be there."""

SPARES_WORDS = {
    "part": ("part", "spare", "spare part", "item"),
    "on_board": ("on board", "quantity", "qty", "count", "number", "in stock"),
    "place": ("place", "location", "kept", "store"),
    "time": ("time", "counted", "time utc", "date", "counted on"),
}
"""Headings of a spares file; part and on board must be there."""

MEASURED = ("required_temperature", "set_point")
"""Columns whose heading may go on with a unit, such as ``set point (°C)``."""

EDIFACT_BEGIN = re.compile(r"\s*UN[ABH][^A-Za-z0-9\s]")
"""How an interchange or a message begins, whatever its separators."""

EDIFACT_HEADER = re.compile(r"UNA[^A-Za-z0-9].{5}\s*UN[BGH]|UNB[^A-Za-z0-9]UNO[A-Z]", re.DOTALL)
"""The first segment of an interchange, wherever it stands."""

STOWAGE_MESSAGE = re.compile(r"UNH.{1,60}?BAPLIE", re.DOTALL)
"""The header of a stowage plan message."""

EPCIS_BEGIN = re.compile(
    r'\s*[{\[].*"(?:EPCISDocument|EPCISQueryDocument|epcisBody|eventTimeZoneOffset)"', re.DOTALL
)
"""How a JSON file of EPCIS events begins."""


def delimiter_of(text: str) -> str:
    """The delimiter that the first line with anything in it has most of."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    return max(DELIMITERS, key=first.count)
