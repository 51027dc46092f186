"""Names of refrigerants: from what a log or a person writes to one spelling.

Goes in: any spelling. Comes out: the designation, such as R134a, or an error that lists what is known.
"""

from __future__ import annotations

import re

DEFAULT_REFRIGERANT = "R134a"

KNOWN = ("R134a", "R1234yf", "R404A", "R513A", "R452A", "R407C", "R410A", "R507A", "R744")
"""Refrigerants with a shipped table. R744 is CO2."""

_NUMBER = re.compile(r"(?:R|HFC|HFO|HCFC|CFC|HC)?(\d{2,4}[A-Z]*)")


class UnknownRefrigerant(ValueError):
    """A name without saturation lines, here or in CoolProp."""

    def __init__(self, name: str) -> None:
        super().__init__(
            f"no saturation data for a refrigerant {name[:40]!r}: known are {', '.join(KNOWN)} (CO2); "
            "any pure fluid or predefined refrigerant blend that CoolProp can compute also works, by its name"
        )


def squeezed(name: str) -> str:
    """Letters and digits only, in capitals; a number, with or without a prefix, gets the prefix R."""
    word = re.sub(r"[^A-Z0-9]", "", name.upper())
    number = _NUMBER.fullmatch(word)
    return f"R{number[1]}" if number else word


_SPELLINGS = {squeezed(name): name for name in KNOWN} | dict.fromkeys(
    ("CO2", "R744CO2", "CO2R744", "CARBONDIOXIDE"), "R744"
)


def canonical(name: str) -> str:
    """The designation of a refrigerant.

    Parameters
    ----------
    name
        Any spelling: ``r-134a``, ``R 134A``, ``HFC-134a``, ``CO2``, ``propane``.

    Returns
    -------
    str
        One of :data:`KNOWN`, otherwise the R designation CoolProp has for it, or its CoolProp name.

    Raises
    ------
    UnknownRefrigerant
        When CoolProp knows no such fluid either.
    """
    word = squeezed(name)
    if word in _SPELLINGS:
        return _SPELLINGS[word]
    # CoolProp takes seconds to load: only names without a shipped table wait for it.
    from coldsift.refrigerant.tabulate import fluids

    found = fluids().get(word)
    if found is None:
        raise UnknownRefrigerant(name)
    return found.designation
