"""Container numbers by ISO 6346: one spelling for all, and whether the check digit is right."""

from __future__ import annotations

import re
from functools import lru_cache

from stdnum import iso6346
from stdnum.exceptions import ValidationError

_PLAIN = re.compile(r"[A-Z]{3}[UJZR][0-9]{7}")
_WITHIN = re.compile(r"(?<![A-Za-z0-9])([A-Za-z]{3}[UJZRujzr])[ _-]?([0-9]{6})[ _-]?([0-9])(?![0-9])")
_SEPARATORS = r"[\s\-]+"


def tidy(number: str) -> str:
    """One spelling: upper case, blanks and hyphens removed."""
    return re.sub(_SEPARATORS, "", number).upper()


@lru_cache(maxsize=65536)
def is_valid(number: str) -> bool:
    """True when a number has the form of ISO 6346 and its check digit is right.

    The form is tested here first, in plain ASCII: the library lets underscore and accented letters through
    its own form test and then fails on them.

    Source: ISO 6346 (check digit), by python-stdnum.
    """
    spelled = tidy(number)
    if not _PLAIN.fullmatch(spelled):
        return False
    try:
        iso6346.validate(spelled)
    except ValidationError:
        return False
    return True


@lru_cache(maxsize=65536)
def fault(number: str) -> str:
    """What is wrong with a number in words, empty when it is valid."""
    spelled = tidy(number)
    if is_valid(spelled):
        return ""
    if _PLAIN.fullmatch(spelled):
        return f"check digit {spelled[-1]} is wrong, {iso6346.calc_check_digit(spelled[:10])} would be right"
    return "not four letters and seven digits as ISO 6346 has it"


def find_in(text: str) -> str | None:
    """The first container number with a right check digit in a text such as a file name."""
    for match in _WITHIN.finditer(text):
        number = tidy("".join(match.groups()))
        if is_valid(number):
            return number
    return None
