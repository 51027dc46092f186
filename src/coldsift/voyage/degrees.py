"""Temperatures as people and messages write them."""

from __future__ import annotations

import re

from coldsift.intake.units import parse_unit
from coldsift.schema import CHANNELS, Quantity

_WRITTEN = re.compile(r"(?P<number>[+\-−–]?\s?[0-9]{1,6}(?:[.,][0-9]{1,6})?)\s*(?P<unit>\S.*)?", re.ASCII)

WITH_UNIT = "Name the unit in the heading, such as 'set point (°C)', or in a column 'temperature unit'."
"""What to do about a temperature that says no unit."""


class NoTemperature(ValueError):
    """A text is no temperature; says why, without a full stop."""


def celsius(text: str, unit: str | None) -> float:
    """Read a temperature.

    Parameters
    ----------
    text
        A number with decimal point or comma; a unit behind it goes before ``unit``.
    unit
        As headings have it, such as ``°C`` or ``degF``; None when nothing says it.

    Returns
    -------
    float
        [°C]

    Raises
    ------
    NoTemperature
        When it is no number, has no unit, or no set point can be so.
    """
    match = _WRITTEN.fullmatch(text.strip())
    if match is None:
        raise NoTemperature(f"{text[:20]!r} is no temperature")
    word = match["unit"] or unit
    if not word:
        raise NoTemperature(f"{text[:20]!r} is °C or °F, nothing says which")
    measure = parse_unit(word)
    scale = measure.to_inside(Quantity.TEMPERATURE) if measure else None
    if scale is None:
        raise NoTemperature(f"{word[:20]!r} is no unit of temperature")
    number = re.sub(r"[−–]", "-", match["number"]).replace(" ", "").replace(",", ".")
    factor, offset = scale
    value = float(number) * factor + offset
    low, high = CHANNELS["set_point"].low, CHANNELS["set_point"].high
    if low is not None and high is not None and not low <= value <= high:
        raise NoTemperature(f"{value:.1f} °C is outside {low:g} to {high:g} °C")
    return round(value, 6)
