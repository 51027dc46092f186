"""Text from logs as a terminal may show it. Loads nothing, so that quick commands stay quick."""

from __future__ import annotations

import json
import re
from typing import Any

from coldsift.hidden_characters import replaced

LONGEST = 2000
"""Characters shown of a line: a log can hold any length."""

_BEYOND_ASCII = re.compile(r"[^\x20-\x7e\n]+")


def counted(count: int, word: str, several: str | None = None) -> str:
    """A number and what it counts."""
    return f"{count} {word if count == 1 else several or f'{word}s'}"


def plain(text: str, most: int = LONGEST) -> str:
    """Text from a log without control, direction and hidden characters, which can rewrite a terminal.

    It is one line, and cut if long.
    """
    shown = text if len(text) <= most else f"{text[: most - 1]}…"
    return replaced(shown, lambda each: "\ufffd")


def as_json(value: Any, indent: int | None = 1) -> str:
    """JSON that a terminal may show: what :func:`plain` takes out stands by its number, and is not lost."""
    text = json.dumps(value, ensure_ascii=False, indent=indent, default=str)
    return _BEYOND_ASCII.sub(lambda found: replaced(found[0], lambda each: json.dumps(each)[1:-1]), text)
