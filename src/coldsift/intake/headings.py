"""What a heading means: name and unit taken apart, the trade's words matched against the channel table.

Goes in: heading texts. Comes out: channels, key columns and units; the generic reader rests on this alone.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache

from coldsift.intake.times import zone_of
from coldsift.intake.units import parse_unit
from coldsift.schema import CHANNELS, CLOCK_WORDS, CONTAINER_WORDS, DATE_WORDS, TIME_WORDS

TAG_WORDS = ("tag", "channel", "parameter", "signal", "item", "variable", "measurement")
VALUE_WORDS = ("value", "reading", "measured value")
UNIT_WORDS = ("unit of measure", "uom", "units", "engineering unit")
"""Headings of a tag-value table; ``unit`` itself may be the unit of measure or the container."""

_BRACKET = re.compile(r"^(.*?)\s*[\[(]([^\[\]]*?)[\])]\s*$")
_COMMA = re.compile(r"^(.*\S)\s*[,/|;:]\s*([^,/|;:]+)$")
_LAST = re.compile(r"^(.*\S)[\s_]+(\S+)$")
_FILLERS = re.compile(r"\b(sensor|actual|reading|measured|current value|value|probe reading)\b")
LONGEST = 200
"""Characters of a heading that is taken apart; what is longer is none."""
_SHORT = {
    "temp": "temperature",
    "press": "pressure",
    "freq": "frequency",
    "no": "number",
    "setpt": "setpoint",
}


@lru_cache(maxsize=4096)
def split_heading(text: str) -> tuple[str, str | None]:
    """Name and unit word of a heading; the unit is None when there is none.

    ``Supply air (°C)``, ``Suction pressure [bar g]``, ``Return air, F`` and ``supply_air_degC`` are all taken
    apart.
    """
    text = text.strip()
    if len(text) > LONGEST:
        return text, None
    bracket = _BRACKET.match(text)
    if bracket and bracket.group(1):
        name, word = bracket.groups()
        if parse_unit(word) or zone_of(word) or not word.strip() or word.strip() == "-":
            return name, word.strip() or None
        return text, None
    for pattern in (_COMMA, _LAST):
        match = pattern.match(text)
        if match and parse_unit(match.group(2)) and not re.fullmatch(r"[AaVvKkFfCcWw]", match.group(2)):
            return match.group(1), match.group(2)
        if match and pattern is _COMMA and parse_unit(match.group(2)):
            return match.group(1), match.group(2)
    return text, None


@lru_cache(maxsize=4096)
def plain(text: str) -> str:
    """A heading's name in plain words: lower case, one blank, short forms written out."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text.strip())
    text = re.sub(r"[_\-./]+", " ", text.lower())
    words = [_SHORT.get(word, word) for word in text.split()]
    return " ".join(words)


@lru_cache(maxsize=4096)
def spelled(text: str) -> str:
    """A declared heading for comparison: blanks and case evened out, nothing else."""
    return " ".join(text.split()).casefold()


@cache
def _meanings() -> dict[str, str]:
    found: dict[str, str] = {}
    for channel in CHANNELS.values():
        for word in (channel.name.replace("_", " "), *channel.words):
            found.setdefault(plain(word), channel.name)
    keys = {"container": CONTAINER_WORDS, "date": DATE_WORDS, "clock": CLOCK_WORDS, "time": TIME_WORDS}
    for key, words in keys.items():
        for word in words:
            found[plain(word)] = f"[{key}]"
    for key, words in {"tag": TAG_WORDS, "value": VALUE_WORDS, "unit": UNIT_WORDS}.items():
        for word in words:
            found[plain(word)] = f"[{key}]"
    return found


@lru_cache(maxsize=4096)
def meaning(name: str) -> str | None:
    """Channel that a name means, or ``[time]``, ``[date]``, ``[clock]``, ``[container]``, ``[tag]``, ..."""
    words = plain(name)
    known = _meanings()
    found = known.get(words)
    if found is None:
        found = known.get(" ".join(_FILLERS.sub(" ", words).split()))
    if found is None and " utc" in f" {words}":
        found = known.get(" ".join(word for word in words.split() if word != "utc"))
        found = found if found in ("[time]", "[date]", "[clock]") else None
    return found
