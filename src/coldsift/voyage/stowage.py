"""Places on board, as bay, row and tier."""

from __future__ import annotations

import re

_CELL = re.compile(r"([0-9]{2,3})([0-9]{2})([0-9]{2})")

LAST_BAY, LAST_ROW = 199, 40
"""Beyond any ship: one of 400 m has room for 65 bays of 20 ft, numbered to 129, and 24 rows (common practice,
no source)."""

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
        Seven digits, BBBRRTT; None where it is no such text, or no ship has such a place.

    Notes
    -----
    Six digits are common practice after ISO 9711-1:1990, Bay plan system; stowage plans (BAPLIE) write the
    same cell with three digits for the bay. Both from secondary sources, the standard was not at hand.
    """
    match = _CELL.fullmatch(written.strip()) if isinstance(written, str) else None
    if match is None:
        return None
    bay, row, tier = map(int, match.groups())
    if not 1 <= bay <= LAST_BAY or row > LAST_ROW or tier == 0:
        return None
    return f"{bay:03d}{row:02d}{tier:02d}"


def in_words(position: str | None) -> str:
    """A place as people say it: ``bay 021, row 04, tier 82``; ``no place`` without one."""
    if position is None:
        return "no place"
    return f"bay {position[:3]}, row {position[3:5]}, tier {position[5:]}"
