"""Places on board, as bay, row and tier."""

from __future__ import annotations

import re

_CELL = re.compile(r"[0-9]{6,7}")

HOW_WRITTEN = 'write bay, row and tier as six digits BBRRTT or seven BBBRRTT, in quotation marks: "0210482"'


def cell(written: object) -> str | None:
    """A place on board in one spelling.

    Parameters
    ----------
    written
        Text of six digits, BBRRTT, or seven, BBBRRTT: bay, row and tier as ISO 9711-1 numbers them.

    Returns
    -------
    str or None
        Seven digits, BBBRRTT; None where it is no such text.

    Notes
    -----
    Six digits are common practice after ISO 9711-1:1990, Bay plan system; stowage plans (BAPLIE) write the
    same cell with three digits for the bay. Both from secondary sources, the standard was not at hand.
    """
    if isinstance(written, str) and _CELL.fullmatch(written.strip()):
        return written.strip().zfill(7)
    return None


def in_words(position: str | None) -> str:
    """A place as people say it: ``bay 021, row 04, tier 82``; ``no place`` without one."""
    if position is None:
        return "no place"
    return f"bay {position[:3]}, row {position[3:5]}, tier {position[5:]}"
