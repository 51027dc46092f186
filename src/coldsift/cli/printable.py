"""Text from logs as a terminal may show it. Loads nothing, so that quick commands stay quick."""

from __future__ import annotations

import unicodedata

LONGEST = 2000
"""Characters shown of a line: a log can hold any length."""


def counted(count: int, word: str, several: str | None = None) -> str:
    """A number and what it counts."""
    return f"{count} {word if count == 1 else several or f'{word}s'}"


def plain(text: str, most: int = LONGEST) -> str:
    """Text from a log without control and direction characters, which can rewrite a terminal; cut if long."""
    shown = text if len(text) <= most else f"{text[: most - 1]}…"
    return "".join("\ufffd" if unicodedata.category(letter) in {"Cc", "Cf"} else letter for letter in shown)
