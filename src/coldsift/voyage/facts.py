"""What is known of a unit beyond its log: place on board, cargo, contract limits, treatment ordered."""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from coldsift.container_numbers import tidy
from coldsift.intake.files import read_regular
from coldsift.intake.records import cut_short
from coldsift.schema import CHANNELS
from coldsift.voyage.stowage import HOW_WRITTEN, cell


class FactsError(ValueError):
    """A facts file cannot be used; lists the faults in it with what to do."""

    def __init__(self, text: str) -> None:
        super().__init__(cut_short(text))


@dataclass(frozen=True, slots=True)
class UnitFacts:
    """What a facts file says of one unit; None where it says nothing.

    Attributes
    ----------
    cargo
        Commodity as named: an id or a name of the commodities file.
    packaging
        Id of a packaging of the commodities file.
    cargo_mass
        Net mass of the cargo. [kg]
    limit_low, limit_high
        Coldest and warmest cargo temperature that the contract allows. [°C]
    band_below, band_above
        Distance of the controlling air from its set point that the contract allows. [K]
    heat_leak
        Heat leak of the box, from its certificate. [W/K]
    wall_coefficient, inside_area, outside_area
        The same as certificates of the walls give it: overall coefficient K [W/(m² K)], areas [m²].
    protocol
        Id of the cold-treatment protocol that is ordered.
    probes
        Channels that hold the treatment's probes; every logged cargo probe without it.
    ice_point
        What each of them read in melting ice, by channel. [°C]
    position
        Place on board as BBBRRTT, see :func:`coldsift.voyage.stowage.cell`.
    """

    cargo: str | None = None
    packaging: str | None = None
    cargo_mass: float | None = None
    limit_low: float | None = None
    limit_high: float | None = None
    band_below: float | None = None
    band_above: float | None = None
    heat_leak: float | None = None
    wall_coefficient: float | None = None
    inside_area: float | None = None
    outside_area: float | None = None
    protocol: str | None = None
    probes: tuple[str, ...] = ()
    ice_point: Mapping[str, float] = field(default_factory=dict)
    position: str | None = None


@dataclass(frozen=True, slots=True)
class Facts:
    """What a facts file says.

    Attributes
    ----------
    band_chilled, band_frozen
        Allowed distance of the controlling air from the set point, for every unit of the class. [K]
    every
        What holds for a unit that is not named.
    units
        By container number.
    """

    band_chilled: float | None = None
    band_frozen: float | None = None
    every: UnitFacts = field(default_factory=UnitFacts)
    units: Mapping[str, UnitFacts] = field(default_factory=dict)

    def of(self, container: str) -> UnitFacts:
        """What is known of one unit."""
        return self.units.get(container, self.every)


LARGEST = 8 * 1024**2
"""Bytes that a facts file may have."""

SECTIONS = ("bands", "every_unit", "units")

POSITIVE = {
    "cargo_mass": 40_000.0,
    "band_below": 20.0,
    "band_above": 20.0,
    "heat_leak": 200.0,
    "wall_coefficient": 2.0,
    "inside_area": 300.0,
    "outside_area": 300.0,
}
"""Numbers that must lie above 0 and not above this: kg, K, K, W/K, W/(m² K), m², m²."""

WALLS = ("wall_coefficient", "inside_area", "outside_area")

TEMPERATURES = {"limit_low": (-60.0, 60.0), "limit_high": (-60.0, 60.0)}
"""Numbers in °C and their widest range."""


def read_facts(path: Path) -> Facts:
    """Read a facts file.

    Parameters
    ----------
    path
        TOML: ``[bands]`` with ``chilled`` and ``frozen`` [K]; ``[every_unit]`` and ``[units.NUMBER]`` with
        the keys of :class:`UnitFacts`, the second over the first.

    Raises
    ------
    FactsError
        When it cannot be read, or holds keys or values that it cannot hold: all of them are listed.
    """
    try:
        read = tomllib.loads(read_regular(path, LARGEST).decode("utf-8-sig"))
    except OSError as error:
        raise FactsError(f"{path}: {error.strerror}. Name a file that can be read.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise FactsError(f"{path.name} is not valid TOML: {error}. Correct it there.") from error
    faults: list[str] = []
    _unknown(faults, "the file", read, SECTIONS)
    bands = _table(faults, "bands", read.get("bands", {}))
    _unknown(faults, "bands", bands, ("chilled", "frozen"))
    every = _table(faults, "every_unit", read.get("every_unit", {}))
    _check(faults, "every_unit", every)
    units: dict[str, UnitFacts] = {}
    for number, entry in _table(faults, "units", read.get("units", {})).items():
        own = _table(faults, f"units.{number}", entry)
        _check(faults, f"units.{number}", own)
        container = tidy(number)
        if container in units:
            faults.append(f"units.{number}: the container is there twice")
        units[container] = UnitFacts() if faults else _unit({**every, **own})
    widths = {
        f"band_{name}": _number(faults, f"bands.{name}", bands[name], 0.0, 20.0, "K")
        for name in ("chilled", "frozen")
        if name in bands
    }
    if faults:
        raise FactsError(f"{path.name}: {'; '.join(faults)}. Correct it there.")
    return Facts(**widths, every=_unit(every), units=units)


KEYS = tuple(entry.name for entry in fields(UnitFacts))


def _unit(entry: Mapping[str, Any]) -> UnitFacts:
    values: dict[str, Any] = {key: value for key, value in entry.items() if key in KEYS}
    for key in (*POSITIVE, *TEMPERATURES):
        if isinstance(values.get(key), int):
            values[key] = float(values[key])
    values["position"] = cell(values.get("position"))
    values["probes"] = tuple(values.get("probes", ()))
    values["ice_point"] = dict(values.get("ice_point", {}))
    return UnitFacts(**values)


def _table(faults: list[str], where: str, entry: object) -> dict[str, Any]:
    if isinstance(entry, dict):
        return entry
    faults.append(f"{where}: a table is needed, write [{where}] and its keys")
    return {}


def _unknown(faults: list[str], where: str, entry: Mapping[str, Any], known: tuple[str, ...]) -> None:
    for key in entry:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            meant = f"; did you mean {near[0]}?" if near else f"; there are {', '.join(known)}"
            faults.append(f"{where}: {key} is not known{meant}")


def _check(faults: list[str], where: str, entry: Mapping[str, Any]) -> None:
    _unknown(faults, where, entry, KEYS)
    for key, most in POSITIVE.items():
        if key in entry:
            _number(faults, f"{where}.{key}", entry[key], 0.0, most, "above 0")
    for key, (low, high) in TEMPERATURES.items():
        if key in entry:
            _number(faults, f"{where}.{key}", entry[key], low, high, "°C")
    coldest, warmest = entry.get("limit_low"), entry.get("limit_high")
    if isinstance(coldest, int | float) and isinstance(warmest, int | float) and coldest >= warmest:
        faults.append(f"{where}: limit_low {coldest:g} is not below limit_high {warmest:g}")
    if 0 < sum(key in entry for key in WALLS) < len(WALLS):
        faults.append(f"{where}: {', '.join(WALLS)} go together")
    for key in ("cargo", "packaging", "protocol"):
        if key in entry and not (isinstance(entry[key], str) and entry[key].strip()):
            faults.append(f"{where}.{key}: a text is needed, not {entry[key]!r}")
    if "position" in entry and where == "every_unit":
        faults.append(f"{where}.position: no two units have one place, put it under [units.NUMBER]")
    elif "position" in entry and cell(entry["position"]) is None:
        faults.append(f"{where}.position: {entry['position']!r} is no place on board; {HOW_WRITTEN}")
    probes = entry.get("probes", [])
    known = [name for name in CHANNELS if name.startswith("cargo_probe_")]
    ice_point = _table(faults, f"{where}.ice_point", entry.get("ice_point", {}))
    _unknown(faults, f"{where}.ice_point", ice_point, tuple(known))
    for probe, reading in ice_point.items():
        _number(faults, f"{where}.ice_point.{probe}", reading, -3.0, 3.0, "°C")
    if not isinstance(probes, list) or not all(probe in known for probe in probes):
        faults.append(f"{where}.probes: a list of {', '.join(known)} is needed, not {probes!r}")


def _number(faults: list[str], where: str, value: object, low: float, high: float, unit: str) -> float | None:
    if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        if low < value <= high:
            return float(value)
        faults.append(f"{where} = {value:g} is not above {low:g} and up to {high:g} ({unit})")
    else:
        faults.append(f"{where}: a number is needed ({unit}), not {value!r}")
    return None
