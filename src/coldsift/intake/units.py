"""Units of measure: from what a heading says to the inside unit, once, at the edge.

Goes in: unit words as logs spell them. Comes out: factor and offset, inside = logged x factor + offset.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from coldsift.schema import Quantity

ATMOSPHERE = 1.01325
"""Standard atmosphere. [bar] Exact by definition; a gauge reads pressure above it."""

PSI = 0.45359237 * 9.80665 / 0.0254**2 / 1e5
"""Pound-force per square inch. [bar] From the exact pound, standard gravity and the exact inch."""

INCH_MERCURY = 0.0254 * 13595.1 * 9.80665 / 1e5
"""Inch of mercury at 0 °C. [bar] From the exact inch, conventional mercury density, standard gravity."""


class Reference(StrEnum):
    """What a pressure is measured against."""

    ABSOLUTE = "absolute"
    GAUGE = "gauge"
    VACUUM = "vacuum"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class UnitOfMeasure:
    """A unit as logged.

    Attributes
    ----------
    symbol
        How the project writes it.
    scales
        Per quantity, factor and offset to the inside unit (pressures: to bar, before the reference).
    reference
        For pressures only.
    """

    symbol: str
    scales: dict[Quantity, tuple[float, float]]
    reference: Reference | None = None

    def to_inside(self, quantity: Quantity, reference: Reference | None = None) -> tuple[float, float] | None:
        """Factor and offset to the inside unit, None when the unit cannot measure the quantity.

        Parameters
        ----------
        quantity
            What the channel measures.
        reference
            Overrides an unknown pressure reference once the data have settled it.
        """
        scale = self.scales.get(quantity)
        if scale is None or self.reference is None:
            return scale
        factor, offset = scale
        against = reference if reference and self.reference is Reference.UNKNOWN else self.reference
        if against is Reference.ABSOLUTE:
            return factor, offset
        if against is Reference.VACUUM:
            return -factor, ATMOSPHERE - offset
        return factor, offset + ATMOSPHERE

    @property
    def reads_unknown_pressure(self) -> bool:
        """True when nothing says whether it is gauge or absolute."""
        return self.reference is Reference.UNKNOWN


_T, _D = Quantity.TEMPERATURE, Quantity.TEMPERATURE_DIFFERENCE
_PLAIN_UNITS: dict[str, tuple[str, dict[Quantity, tuple[float, float]]]] = {
    "c": ("°C", {_T: (1, 0), _D: (1, 0)}),
    "f": ("°F", {_T: (5 / 9, -160 / 9), _D: (5 / 9, 0)}),
    "k": ("K", {_T: (1, -273.15), _D: (1, 0)}),
    "%": ("%", {Quantity.SHARE: (1, 0)}),
    "ppm": ("ppm", {Quantity.SHARE: (1e-4, 0)}),
    "hz": ("Hz", {Quantity.FREQUENCY: (1, 0)}),
    "v": ("V", {Quantity.VOLTAGE: (1, 0)}),
    "a": ("A", {Quantity.CURRENT: (1, 0)}),
    "w": ("W", {Quantity.POWER: (1, 0)}),
    "kw": ("kW", {Quantity.POWER: (1000, 0)}),
    "m3/h": ("m³/h", {Quantity.AIR_FLOW: (1, 0)}),
    "cfm": ("ft³/min", {Quantity.AIR_FLOW: (0.3048**3 * 60, 0)}),
}
_SPELLINGS = {
    "celsius": "c",
    "centigrade": "c",
    "fahrenheit": "f",
    "kelvin": "k",
    "percent": "%",
    "pct": "%",
    "%rh": "%",
    "volt": "v",
    "volts": "v",
    "vac": "v",
    "amp": "a",
    "amps": "a",
    "ampere": "a",
    "watt": "w",
    "watts": "w",
    "kilowatt": "kw",
    "cbm/h": "m3/h",
    "cmh": "m3/h",
    "ft3/min": "cfm",
}
_PRESSURES = {
    "bar": 1.0,
    "mbar": 1e-3,
    "hpa": 1e-3,
    "kpa": 1e-2,
    "mpa": 10.0,
    "pa": 1e-5,
    "psi": PSI,
    "inhg": INCH_MERCURY,
    "kgf/cm2": 0.980665,
    "kg/cm2": 0.980665,
    "atm": ATMOSPHERE,
}
_REFERENCES = {
    "g": Reference.GAUGE,
    "gauge": Reference.GAUGE,
    "ü": Reference.GAUGE,
    "a": Reference.ABSOLUTE,
    "abs": Reference.ABSOLUTE,
    "absolute": Reference.ABSOLUTE,
    "vac": Reference.VACUUM,
    "vacuum": Reference.VACUUM,
    "": Reference.UNKNOWN,
}
_PRESSURE = re.compile(
    rf"({'|'.join(re.escape(name) for name in sorted(_PRESSURES, key=len, reverse=True))})"
    r"(gauge|absolute|abs|vacuum|vac|g|ü|a|)"
)


@lru_cache(maxsize=4096)
def parse_unit(text: str | None) -> UnitOfMeasure | None:
    """The unit that a word of a heading means.

    Parameters
    ----------
    text
        Such as ``°C``, ``degF``, ``bar g``, ``psi(a)``, ``inHg vac``; case and blanks do not matter.

    Returns
    -------
    UnitOfMeasure or None
        None when it is not a unit known here.
    """
    if not text:
        return None
    word = text.strip().lower().replace("℃", "c").replace("℉", "f").replace("³", "3").replace("²", "2")
    word = re.sub(r"[\s°º_().\[\]·-]+|deg(rees?)?\b|deg(?=[cfk]$)", "", word)
    word = _SPELLINGS.get(word, word)
    plain = _PLAIN_UNITS.get(word)
    if plain:
        return UnitOfMeasure(*plain)
    pressure = _PRESSURE.fullmatch(word)
    if pressure is None:
        return None
    name, against = pressure.groups()
    symbol = text.strip()
    return UnitOfMeasure(symbol, {Quantity.PRESSURE: (_PRESSURES[name], 0.0)}, _REFERENCES[against])


def spellings(quantity: Quantity) -> list[str]:
    """Units that a quantity can be given in, as they can be typed."""
    if quantity is Quantity.PRESSURE:
        return [f"{name}_{reference}" for name in _PRESSURES for reference in ("g", "a")]
    return [symbol for symbol, scales in _PLAIN_UNITS.values() if quantity in scales]
