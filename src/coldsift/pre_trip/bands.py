"""The pass bands: read from TOML, ours or the user's, and checked so that a slip is named."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from coldsift.pre_trip.measures import MEASURES
from coldsift.schema import PRE_TRIP_PHASES

NEAR = 0.1
"""Near the edge is this share of the band's width, or of the edge itself where there is only one."""

AGAINST = {"ambient": "°C", "frequency": "Hz"}
"""What a band may depend on, and its unit."""

_TEXTS = ("phase", "measure", "unit", "words", "why", "look_first", "source")
_NUMBERS = ("low", "high")
_KEYS = (*_TEXTS, *_NUMBERS, "near", "against", "at", "set_point", "off")
_NEEDED = ("phase", "measure", "unit", "words", "why", "source")


class PassBandsError(ValueError):
    """A bands file that cannot be used: what is wrong in it, one fault a line, and what to do."""


@dataclass(frozen=True, slots=True)
class Item:
    """One item of the inspection with its pass band.

    Attributes
    ----------
    id, words
        Stable id, and the item in the trade's words.
    phase, measure, unit
        Part of the inspection, what is measured in it (:data:`coldsift.pre_trip.MEASURES`), its unit.
    low, high
        Edges of the band, each one value or one for every ``at``; empty where there is none.
    near
        Distance to an edge from which the item is watched, in ``unit``; None for ``NEAR``.
    against, at
        What the edges depend on, and the values that they are given for, rising; between two of them the
        edges are interpolated, beyond them the item is not tested.
    set_point
        Range of set points that the band holds for. [°C]
    why, look_first, source
        Why the band matters, what to look at when it is left, where it comes from.
    """

    id: str
    words: str
    phase: str
    measure: str
    unit: str
    low: tuple[float, ...]
    high: tuple[float, ...]
    why: str
    source: str
    look_first: str = ""
    near: float | None = None
    against: str | None = None
    at: tuple[float, ...] = ()
    set_point: tuple[float, float] | None = None


SHIPPED = resources.files("coldsift.pre_trip") / "bands.toml"


def load_pass_bands(path: Path | None = None) -> tuple[Item, ...]:
    """Read the shipped bands, and a file of the user's over them.

    Parameters
    ----------
    path
        TOML with ``[items.ID]`` tables. One with a known id changes the keys that it names; ``off = true``
        takes the item out; another id adds an item.

    Returns
    -------
    tuple of Item
        In the order of the files.

    Raises
    ------
    PassBandsError
        When the file cannot be read, or an item in it is wrong; all faults are told at once.
    """
    tables = _tables(SHIPPED.read_text(encoding="utf-8"), "bands.toml")
    if path is None:
        return _items(tables, "bands.toml")
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise PassBandsError(f"{path}: {error.strerror}. Name a file that can be read.") from error
    except UnicodeDecodeError as error:
        raise PassBandsError(f"{path.name} is not UTF-8: {error}. Save it as UTF-8.") from error
    for name, own in _tables(text, path.name).items():
        if name not in tables and own == {"off": True}:
            raise PassBandsError(
                f"{path.name}: items.{name}: there is no such item to take out. Correct its name."
            )
        merged = {**tables.get(name, {}), **own}
        # Edges for one ambient, given over a table of them, replace it.
        if "at" not in own and {"low", "high"} & set(own):
            single = [key for key in ("low", "high") if key in own and not isinstance(own[key], list)]
            if single:
                merged.pop("at", None)
                merged.pop("against", None)
                for key in ("low", "high"):
                    if key not in own and isinstance(merged.get(key), list):
                        merged.pop(key)
        tables[name] = merged
    return _items(tables, path.name)


def _tables(text: str, name: str) -> dict[str, dict[str, Any]]:
    try:
        read = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise PassBandsError(f"{name} is not valid TOML: {error}. Correct it there.") from error
    unknown = sorted(set(read) - {"items"})
    if unknown or not isinstance(read.get("items", {}), dict):
        raise PassBandsError(f"{name}: {', '.join(unknown) or 'items'}: write every item as [items.ID].")
    items: dict[str, Any] = read.get("items", {})
    wrong = [key for key, table in items.items() if not isinstance(table, dict)]
    if wrong:
        raise PassBandsError(f"{name}: items.{wrong[0]} is no table. Write [items.{wrong[0]}] and its keys.")
    return items


def _items(tables: Mapping[str, dict[str, Any]], file: str) -> tuple[Item, ...]:
    used = {name: table for name, table in tables.items() if table.get("off") is not True}
    faults = [f"{file}: items.{name}: {fault}" for name, table in used.items() for fault in _faults(table)]
    if faults:
        raise PassBandsError("\n".join(faults))
    if not used:
        raise PassBandsError(f"{file}: every item is off. Leave at least one.")
    return tuple(
        Item(
            id=name,
            words=table["words"],
            phase=table["phase"],
            measure=table["measure"],
            unit=table["unit"],
            low=_edges(table.get("low")),
            high=_edges(table.get("high")),
            why=table["why"],
            source=table["source"],
            look_first=table.get("look_first", ""),
            near=table.get("near"),
            against=table.get("against"),
            at=_edges(table.get("at")),
            set_point=tuple(map(float, table["set_point"])) if "set_point" in table else None,  # type: ignore[arg-type]
        )
        for name, table in used.items()
    )


def _edges(value: Any) -> tuple[float, ...]:
    if value is None:
        return ()
    return tuple(map(float, value)) if isinstance(value, list) else (float(value),)


def _faults(table: Mapping[str, Any]) -> Iterator[str]:
    """What is wrong with one item."""
    unknown = sorted(set(table) - set(_KEYS))
    if unknown:
        yield f"unknown key {', '.join(unknown)}. There are: {', '.join(_KEYS)}."
    for key in _NEEDED:
        if not isinstance(table.get(key), str) or not str(table.get(key)).strip():
            yield f"{key} is missing or no text. Add it."
            return
    if not isinstance(table.get("off", False), bool):
        yield f"off = {table['off']!r} is neither true nor false."
    if not isinstance(table.get("look_first", ""), str):
        yield "look_first is no text."
    if table["phase"] not in PRE_TRIP_PHASES:
        yield f"no phase {table['phase']!r}. There are: {', '.join(PRE_TRIP_PHASES)}."
    measure = MEASURES.get(table["measure"])
    if measure is None:
        yield f"no measure {table['measure']!r}. There are: {', '.join(MEASURES)}."
    elif table["unit"] != measure.unit:
        yield f"unit {table['unit']!r}: {measure.name} is in {measure.unit!r}. Convert the edges."
    yield from _edge_faults(table)


def _edge_faults(table: Mapping[str, Any]) -> Iterator[str]:
    given = [key for key in _NUMBERS if key in table]
    if not given:
        yield "neither low nor high. Give at least one edge."
        return
    for key in (*given, *(each for each in ("near", "at", "set_point") if each in table)):
        listed = table[key] if isinstance(table[key], list) else [table[key]]
        if not listed or any(
            isinstance(each, bool) or not isinstance(each, int | float) or not math.isfinite(each)
            for each in listed
        ):
            yield f"{key} = {table[key]!r} is no number. Write one, such as 12.5."
            return
    if isinstance(table.get("near"), list) or table.get("near", 0) < 0:
        yield "near is a single number, 0 or more."
    if ("against" in table) != ("at" in table):
        yield "against and at go together: what the edges depend on, and for which values they are given."
        return
    if "against" in table:
        at = _edges(table["at"])
        if table["against"] not in AGAINST:
            yield f"against = {table['against']!r}. There are: {', '.join(AGAINST)}."
        if len(at) < 2 or list(at) != sorted(set(at)):
            yield "at needs two or more values, rising."
    count = len(_edges(table.get("at"))) or 1
    for key in given:
        if len(_edges(table[key])) != count:
            yield f"{key} has {len(_edges(table[key]))} values, {count} are needed: one for each value of at."
            return
    if len(given) == 2 and any(
        low >= high for low, high in zip(_edges(table["low"]), _edges(table["high"]), strict=True)
    ):
        yield "low is not below high. Swap or correct them."
    if "set_point" in table and (
        not isinstance(table["set_point"], list)
        or len(table["set_point"]) != 2
        or table["set_point"][0] > table["set_point"][1]
    ):
        yield "set_point is a range, such as [-20, -15]."
