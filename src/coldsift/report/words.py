"""Numbers, times and hostile text in plain words."""

from __future__ import annotations

import math
import re
from datetime import datetime
from typing import Any

from markupsafe import Markup

from coldsift.hidden_characters import replaced, shows

NONE = "–"
"""Shown where there is no value."""

CHANCES = (
    (0.99, "virtually certain"),
    (0.90, "very likely"),
    (0.66, "likely"),
    (0.33, "about as likely as not"),
    (0.10, "unlikely"),
    (0.01, "very unlikely"),
    (0.0, "exceptionally unlikely"),
)
"""Lower edge of each word for a chance.

Source: the likelihood scale of the IPCC (Guidance Notes for Lead Authors of the Fourth Assessment Report on
Addressing Uncertainties, July 2005), as printed in the Fourth Assessment Report, Working Group II, front
matter F.
"""

MOST_TIMES = 1000
"""A larger factor on the odds is not told apart from this one."""

_LINE_ENDS = str.maketrans("\t\n\r", "   ")
_TO_THE_LEFT = "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefe\U00010800-\U00010fff\U0001e800-\U0001efff"
_RUN_TO_THE_LEFT = re.compile(rf"[{_TO_THE_LEFT}]+(?:[\W_]+[{_TO_THE_LEFT}]+)*")


def visible(text: str) -> str:
    """Text whose hidden characters show.

    Tabs and line ends become blanks. Every other control, format (bidirectional marks among them), private,
    unassigned, half or ignorable character becomes its code point between angle quotes, so that what is read
    is what is there.
    """
    if shows(text):
        return text
    return replaced(text.translate(_LINE_ENDS), lambda each: f"‹U+{ord(each):04X}›")


def isolated(text: str) -> str:
    """Text in which letters that run to the left turn nothing around them, such as the number after a name.

    They stand between U+2068 and U+2069 (Unicode Standard Annex 9: first strong isolate, pop directional
    isolate), which show nothing.
    """
    return text if text.isascii() else _RUN_TO_THE_LEFT.sub("\u2068\\g<0>\u2069", text)


def printed(value: Any) -> Any:
    """Every text that a template prints passes here, before it is escaped."""
    return isolated(visible(value)) if isinstance(value, str) and not isinstance(value, Markup) else value


HYPHENATED = {"pull_down": "pull-down", "set_point_step": "set-point step"}


def plain(identifier: str) -> str:
    """An identifier as the trade writes it: ``deep_frozen`` is "deep frozen"."""
    return HYPHENATED.get(identifier, identifier.replace("_", " "))


def number(value: float | None, digits: int = 1, unit: str = "") -> str:
    """A number with its unit, a true minus sign and thin thousands; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return NONE
    # Adding zero turns a negative zero into zero.
    text = f"{round(value, digits) + 0.0:,.{digits}f}".replace(",", "\u202f").replace("-", "−")
    return f"{text}\u00a0{unit}" if unit else text


def reading(value: float | None, unit: str = "") -> str:
    """A number to three figures or so, whatever its size."""
    if value is None or not math.isfinite(value):
        return NONE
    size = abs(value)
    digits = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 0.1 or size == 0 else 3
    return number(value, digits, unit)


def place(position: str) -> str:
    """A place on board, BBBRRTT (ISO 9711-1), with bay, row and tier apart."""
    return "\u202f".join(filter(None, (position[:-4], position[-4:-2], position[-2:])))


def moment(time: datetime | None) -> str:
    """An instant, UTC, to the minute."""
    return time.isoformat(" ")[:16] if time is not None else NONE


def duration(hours: float | None) -> str:
    """A length of time in the unit a person would use."""
    if hours is None or not math.isfinite(hours):
        return NONE
    if hours < 2:
        return number(hours * 60, 0, "min")
    if hours < 48:
        return number(hours, 1, "h")
    return number(hours / 24, 1, "days")


def minutes(value: float | None) -> str:
    """A length of work or of a walk in hours and minutes."""
    if value is None or not math.isfinite(value):
        return NONE
    hours, rest = divmod(round(value), 60)
    return " ".join(
        [
            *([number(hours, 0, "h")] if hours else []),
            *([number(rest, 0, "min")] if rest or not hours else []),
        ]
    )


def chance(value: float | None) -> str:
    """A chance in words and as a number."""
    if value is None or not math.isfinite(value):
        return "not judged"
    word = next(word for edge, word in CHANCES if value >= edge or edge == 0.0)
    return f"{word} ({percent(value)})"


def percent(value: float) -> str:
    """A chance as a number that never claims certainty."""
    text = "over 99" if value > 0.99 else "under 1" if value < 0.01 else f"{100 * value:.0f}"
    return f"{text}\u00a0%"


def odds(factor: float) -> str:
    """A factor on the odds in words: 5 times likelier, 5 times less likely."""
    times = max(factor, 1 / factor) if factor > 0 else math.inf
    if times > MOST_TIMES:
        text = f"over {number(MOST_TIMES, 0)}"
    elif times >= 100:
        text = number(round(times, -1), 0)
    else:
        text = number(times, 1 if times < 2.95 else 0).removesuffix(".0")
    return f"{text} times {'likelier' if factor >= 1 else 'less likely'}"


def inside_a_sentence(name: str) -> str:
    """A name that began with a capital, to go on with; an abbreviation keeps its own."""
    return name if name[1:2].isupper() else name[:1].lower() + name[1:]


def time_to_limit(hours: float | None) -> str:
    """Hours to the limit in words."""
    if hours is None or not math.isfinite(hours):
        return "no approach seen"
    if hours <= 0:
        return "outside its band now"
    if hours < 1:
        return "within the hour"
    if hours < 1.5:
        return "in about 1\u00a0hour"
    if hours < 36:
        return f"in about {round(hours)}\u00a0hours"
    days = hours / 24
    return f"in about {round(days)}\u00a0days" if days <= 14 else "in more than 14\u00a0days"
