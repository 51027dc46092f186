"""Size and type codes of containers, ISO 6346."""

from __future__ import annotations

_LENGTHS = {
    "1": 10.0,
    "2": 20.0,
    "3": 30.0,
    "4": 40.0,
    "L": 45.0,
    "M": 48.0,
    "9": 45.0,
    "N": 49.0,
    "P": 53.0,
}
"""Nominal length by the first character. [ft] 1 to 4, L and M as the register of container codes lists them;
N and P of the same standard, and 9 of its edition of 1984, from memory."""


def length_of(code: str | None) -> float | None:
    """Nominal length that a size and type code tells, None where it tells none. [ft]"""
    return _LENGTHS.get(code[:1].upper()) if code else None


def is_thermal(code: str | None) -> bool:
    """True when a size and type code is of a thermal container.

    Notes
    -----
    Types that begin with R (refrigerated) or H (refrigerated with removable equipment, or insulated), as
    public lists of the standard have them. Codes of four digits are of the edition of 1984, where the types
    30 to 49 are thermal: from memory.
    """
    if not code or len(code) < 3:
        return False
    return code[2].upper() in "RH" or (len(code) == 4 and code.isdecimal() and code[2] in "34")
