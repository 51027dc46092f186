"""Characters that do not show, or that change how others show: where each of them is.

Goes in: text from logs and people. Comes out: the same with every such character replaced. Loads nothing but
the standard library, so that quick commands stay quick.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable

_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Controls, formats (bidirectional marks among them), half, private and unassigned characters, ends of lines
and paragraphs; by Unicode's general category."""

_UNSEEN = "\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180d\u180f\u3164\ufe00-\ufe0f\uffa0\U000e0100-\U000e01ef"
"""Letters and marks that show nothing: what else is Default_Ignorable_Code_Point in Unicode's
DerivedCoreProperties. From memory."""

_HAS_UNSEEN = re.compile(f"[{_UNSEEN}]")
_BLANKS = "\u00a0\u202f"
"""Blanks other than the plain one are not printable to Python, but they can be read."""


def shows(text: str) -> bool:
    """Whether every character of a text shows."""
    if text.isascii():
        return text.isprintable()
    for blank in _BLANKS:
        text = text.replace(blank, "")
    return text.isprintable() and not _HAS_UNSEEN.search(text)


def replaced(text: str, by: Callable[[str], str]) -> str:
    """A text with what ``by`` makes of each hidden character in its place."""
    if shows(text):
        return text
    return "".join(by(each) if _is_hidden(each) else each for each in text)


def _is_hidden(character: str) -> bool:
    return unicodedata.category(character) in _CATEGORIES or bool(_HAS_UNSEEN.match(character))
