"""Goods, the legal limits they travel under, and how they stand in the box: files a technician can read.

Goes in: the shipped TOML files and, over them, the user's own. Comes out: :class:`Goods`, checked, with the
source of every number in words.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache, lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from coldsift.regimes.bands import DEEP_FROZEN_SET_POINT, FROZEN_SET_POINT

SHIPPED = tuple(
    Path(__file__).with_name(name) for name in ("rules.toml", "packagings.toml", "commodities.toml")
)

LIVE_GROUPS = ("fruit", "vegetable", "flowers")
GROUPS = (*LIVE_GROUPS, "meat", "fish", "dairy", "food", "medicine")
REGIME_CLASSES = ("chilled", "frozen", "deep_frozen")

CARBON_DIOXIDE_DENSITY = 44.01 / 22.414
"""Of the gas at 0 °C and 101.325 kPa, molar mass by molar volume. [mg/ml] Both from memory."""

_TEMPERATURES = (-60.0, 60.0)
_TABLES = ("commodities", "rules", "packagings", "sources")


class Standing(StrEnum):
    """How well a source was seen."""

    READ = "read"
    SECONDARY = "secondary"
    MEMORY = "memory"
    PRACTICE = "practice"


STANDINGS: Mapping[Standing, str] = {
    Standing.READ: "read in a retrieved copy",
    Standing.SECONDARY: "secondary: read in a text that restates it",
    Standing.MEMORY: "from memory",
    Standing.PRACTICE: "common practice, no source",
}


class GoodsError(ValueError):
    """A file of goods cannot be used; says for every defect where, what, and what to do."""


class UnknownCommodity(ValueError):
    """No commodity has that name; says which are near, and how to add one."""


@dataclass(frozen=True, slots=True)
class Commodity:
    """What goods bear, and how they age.

    Attributes
    ----------
    id, name, other_names
        Id of the entry, name for the report, and what else it is called.
    group
        One of :data:`GROUPS`.
    regime_class
        ``chilled``, ``frozen`` or ``deep_frozen``, of its usual set point.
    optimum_low, optimum_high
        Temperature of long keeping as printed, often one and the same: not a band to hold. [°C]
    chilling_limit
        Lowest safe temperature of goods that cold harms without freezing them. [°C]
    freezing_point
        Where freezing begins. [°C]
    respiration
        Temperature [°C] and carbon dioxide given off [mg/(kg h)], ascending; empty when it does not live, and
        for the rare live goods with no known figure.
    q10
        How many times faster it spoils 10 K warmer.
    storage_life_days
        Short and long keeping at the optimum. [d]
    water
        Mass share, 0 to 1.
    packaging
        Id of its usual packaging.
    rule
        Id of the legal limit it travels under.
    sources
        By field, the source in words with its standing; ``optimum`` stands for both of its ends.
    """

    id: str
    name: str
    other_names: tuple[str, ...]
    group: str
    regime_class: str
    optimum_low: float
    optimum_high: float
    chilling_limit: float | None
    freezing_point: float | None
    respiration: tuple[tuple[float, float], ...]
    q10: float | None
    storage_life_days: tuple[float, float] | None
    water: float | None
    packaging: str
    rule: str | None
    sources: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Rule:
    """A legal limit.

    Attributes
    ----------
    id, name
        Id of the entry, and name for the report.
    limit_low, limit_high
        Coldest and warmest temperature of the goods. [°C]
    brief_rise
        How far above ``limit_high`` is allowed for a short time. [K]
    mean_kinetic_limit
        Warmest mean kinetic temperature. [°C]
    about, source
        What it says, and where it stands.
    """

    id: str
    name: str
    limit_low: float | None
    limit_high: float | None
    brief_rise: float | None
    mean_kinetic_limit: float | None
    about: str
    source: str


@dataclass(frozen=True, slots=True)
class Packaging:
    """How goods stand in the box; ranges from low to high.

    Attributes
    ----------
    id, name
        Id of the entry, and name for the report.
    half_thickness
        Of the piece of stow that the air flows round. [m]
    bulk_density
        Mass of goods per volume of that piece. [kg/m³]
    heat_transfer
        From the air to its surface. [W/(m² K)]
    conductivity_factor
        Conductivity of the piece, divided by that of the goods.
    source
        Where the ranges come from.
    """

    id: str
    name: str
    half_thickness: tuple[float, float]
    bulk_density: tuple[float, float]
    heat_transfer: tuple[float, float]
    conductivity_factor: tuple[float, float]
    source: str


@dataclass(frozen=True, slots=True)
class Goods:
    """All entries by id, in the order of the files."""

    commodities: Mapping[str, Commodity]
    rules: Mapping[str, Rule]
    packagings: Mapping[str, Packaging]


def load_goods(own: Path | None = None) -> Goods:
    """Read the shipped files, and the user's own over them.

    Parameters
    ----------
    own
        A TOML file with commodities, rules, packagings or sources: what it names replaces the shipped entry
        of the same id as a whole, or is added.

    Returns
    -------
    Goods
        Checked; the shipped files alone are read once.

    Raises
    ------
    GoodsError
        When a file cannot be read or an entry is wrong; names all defects at once.
    """
    return _load((*SHIPPED, own)) if own else _shipped()


def find_commodity(name: str, goods: Goods) -> Commodity:
    """Commodity by its id or any of its names.

    Parameters
    ----------
    name
        In any case, with or without hyphens, one or many, words in any order.
    goods
        Of :func:`load_goods`.

    Returns
    -------
    Commodity

    Raises
    ------
    UnknownCommodity
        When none has that name; names the nearest, and says how to add one.
    """
    keys = _keys(name)
    for commodity in goods.commodities.values():
        if any(keys & _keys(each) for each in _names(commodity)):
            return commodity
    near = _near_commodities(name, goods)
    hint = f"Did you mean {' or '.join(near)}?" if near else "No name is near it."
    raise UnknownCommodity(
        f"There are no goods called {name!r}. {hint} To add them, copy an entry of {SHIPPED[-1].name} into a "
        "TOML file of your own, give it a new id and change what differs."
    )


def _names(commodity: Commodity) -> tuple[str, ...]:
    return (commodity.id, commodity.name, *commodity.other_names)


@lru_cache(4096)
def _words(name: str) -> tuple[str, ...]:
    """Words of a name without case, accents and signs, each in the singular."""
    bare = unicodedata.normalize("NFKD", name).casefold()
    return tuple(map(_singular, re.findall(r"[a-z0-9]+", re.sub(r"[\u0300-\u036f'’]", "", bare))))


def _singular(word: str) -> str:
    if len(word) > 4 and word.endswith("ies"):
        return word[:-3] + "y"
    if len(word) > 4 and word.endswith(("oes", "ches", "shes", "xes", "sses")):
        return word[:-2]
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word


@lru_cache(4096)
def _keys(name: str) -> frozenset[str]:
    """What two names must share to be the same: their letters, as written or with the words sorted."""
    words = _words(name)
    return frozenset({"".join(words), " ".join(sorted(words))} - {""})


def _near_commodities(name: str, goods: Goods) -> list[str]:
    """Goods with a name that holds every word of this one, else with words spelled much like these."""
    owners = {each: commodity.name for commodity in goods.commodities.values() for each in _names(commodity)}
    known = sorted({word for each in owners for word in _words(each)})
    guesses = (difflib.get_close_matches(word, known, n=1, cutoff=0.75) or [word] for word in _words(name))
    for words in (set(_words(name)), {guess for guess, *_ in guesses}):
        near = dict.fromkeys(repr(owners[each]) for each in owners if words and words <= set(_words(each)))
        if near:
            return list(near)
    return []


@cache
def _shipped() -> Goods:
    return _load(SHIPPED)


def _load(paths: Iterable[Path]) -> Goods:
    defects: list[str] = []
    entries: dict[str, dict[str, tuple[str, Any]]] = {table: {} for table in _TABLES}
    for path in paths:
        for table, found in _read(path, defects).items():
            if table not in _TABLES:
                defects.append(f"{path.name}: {table} is no part of it.{_near(table, _TABLES)}")
            elif not isinstance(found, dict):
                defects.append(f"{path.name}: {table} = {found!r}; write [{table}.id] and its keys.")
            else:
                entries[table] |= {name: (path.name, entry) for name, entry in found.items()}
    sources = _sources(entries["sources"], defects)

    def read(table: str) -> Iterable[_Entry]:
        for name, (file, entry) in entries[table].items():
            if isinstance(entry, dict):
                yield _Entry(name, f"{file}, {table}.{name}", dict(entry), sources, defects)
            else:
                defects.append(f"{file}, {table}.{name}: {entry!r}; write [{table}.{name}] and its keys.")

    goods = Goods(
        rules={entry.id: _rule(entry) for entry in read("rules")},
        packagings={entry.id: _packaging(entry) for entry in read("packagings")},
        commodities={},
    )
    commodities = {entry.id: _commodity(entry, goods) for entry in read("commodities")}
    _check_names(commodities, entries["commodities"], defects)
    if defects:
        count = "1 defect" if len(defects) == 1 else f"{len(defects)} defects"
        raise GoodsError("\n".join((f"Goods cannot be used, {count}:", *(f"- {each}" for each in defects))))
    return Goods(commodities, goods.rules, goods.packagings)


def _read(path: Path, defects: list[str]) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        defects.append(f"{path}: {error.strerror}. Name a file that can be read.")
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        defects.append(f"{path.name} is not valid TOML: {error}. Correct it there.")
    return {}


def _near(name: str, known: Iterable[str]) -> str:
    known = list(known)
    near = difflib.get_close_matches(name, known, n=3)
    return f" Did you mean {' or '.join(near)}?" if near else f" There are: {', '.join(known)}."


def _sources(entries: Mapping[str, tuple[str, Any]], defects: list[str]) -> dict[str, str]:
    sources = {}
    for name, (file, entry) in entries.items():
        where = f"{file}, sources.{name}"
        if not (
            isinstance(entry, dict)
            and set(entry) == {"words", "standing"}
            and all(isinstance(each, str) for each in entry.values())
        ):
            defects.append(f'{where}: {entry!r}; write {{ words = "…", standing = "…" }}.')
        elif entry["standing"] not in list(Standing):
            defects.append(f"{where}.standing: {entry['standing']!r}.{_near(entry['standing'], Standing)}")
        else:
            sources[name] = f"{entry['words']} ({STANDINGS[Standing(entry['standing'])]})"
    return sources


@dataclass(slots=True)
class _Entry:
    """One entry of a file, read key by key; a defect is noted, and the reading goes on."""

    id: str
    where: str
    keys: dict[str, Any]
    known_sources: Mapping[str, str]
    defects: list[str]
    sources: dict[str, str] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)

    def note(self, key: str, what: str) -> None:
        """Note a defect: what is wrong, and what to do."""
        self.defects.append(f"{self.where}.{key}: {what}")

    def _take(self, key: str, *, needed: bool) -> Any:
        self.asked.append(key)
        if needed and key not in self.keys:
            self.note(key, "is missing. Add it.")
        return self.keys.get(key)

    def text(self, key: str, *, needed: bool = True) -> str | None:
        """Text; None when it is left out or wrong."""
        value = self._take(key, needed=needed)
        if value is None or (isinstance(value, str) and value.strip()):
            return value
        self.note(key, f"{value!r} is no text. Write it in quotes.")
        return None

    def texts(self, key: str) -> tuple[str, ...]:
        """List of texts."""
        value = self._take(key, needed=False)
        if value is None:
            return ()
        if isinstance(value, list) and all(isinstance(each, str) and _words(each) for each in value):
            return tuple(value)
        self.note(key, f'{value!r} is no list of names. Write ["…", "…"].')
        return ()

    def choice(self, key: str, known: Iterable[str], *, needed: bool = True) -> str | None:
        """One of the known texts."""
        value, known = self.text(key, needed=needed), list(known)
        if value is not None and value not in known:
            self.note(key, f"there is no {value!r}.{_near(value, known)}")
        return value if value in known else None

    def _sourced(self, key: str, *, needed: bool, units: tuple[str, ...] = ()) -> tuple[Any, object]:
        """Value and unit of a number or numbers; where they come from is kept."""
        value = self._take(key, needed=needed)
        table = value if isinstance(value, dict) else {"value": value}
        unknown = table.keys() - {"value", "source", *(("unit",) if units else ())}
        if unknown or "value" not in table:
            self.note(key, f"{value!r}; write {{ value = …, source = … }}.")
            return None, None
        unit = table.get("unit", units[0] if units else None)
        if units and unit not in units:
            self.note(key, f"unit {unit!r} is none of {', '.join(units)}. Convert it.")
        if table["value"] is not None:
            source = table.get("source", self.keys.get("source"))
            self.sources[key] = self._source_words(key, source)
        return table["value"], unit

    def _source_words(self, key: str, source: object) -> str:
        """Words of a source that is named by its key, or of several words that are the source."""
        if not isinstance(source, str) or not source.strip():
            self.note(key, "has no source. Name one, for all numbers of the entry or for this one.")
        elif source in self.known_sources:
            return self.known_sources[source]
        elif " " in source.strip():
            return source.strip()
        else:
            near = difflib.get_close_matches(source, list(self.known_sources), n=3)
            what_to_do = (
                f"Did you mean {' or '.join(near)}?"
                if near
                else "Add it under [sources], or write the source in several words."
            )
            self.note(key, f"there is no source {source!r}. {what_to_do}")
        return ""

    def _within(self, key: str, value: object, bounds: tuple[float, float]) -> float | None:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            self.note(key, f"{value!r} is no number. Write one without quotes.")
        elif not bounds[0] <= value <= bounds[1]:
            self.note(
                key, f"{value:g} must lie between {bounds[0]:g} and {bounds[1]:g}. Check unit and sign."
            )
        else:
            return float(value)
        return None

    def number(self, key: str, bounds: tuple[float, float]) -> float | None:
        """Number within bounds; None when it is left out or wrong."""
        value, _ = self._sourced(key, needed=False)
        return None if value is None else self._within(key, value, bounds)

    def pair(self, key: str, bounds: tuple[float, float], *, needed: bool) -> tuple[float, float] | None:
        """Low and high end within bounds; None when they are left out or wrong."""
        value, _ = self._sourced(key, needed=needed)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != 2:
            self.note(key, f"{value!r} is no pair. Write [low, high].")
            return None
        low, high = (self._within(key, each, bounds) for each in value)
        if low is None or high is None:
            return None
        if low > high:
            self.note(key, f"{low:g} is above {high:g}. Write the lower one first.")
            return None
        return low, high

    def respiration(self) -> tuple[tuple[float, float], ...]:
        """Temperature and carbon dioxide by mass, from rows by mass or, with ``unit = "ml"``, by volume."""
        key = "respiration"
        rows, unit = self._sourced(key, needed=False, units=("mg", "ml"))
        if rows is None:
            return ()
        if not isinstance(rows, list) or not all(
            isinstance(row, list) and len(row) in {2, 3} for row in rows
        ):
            self.note(
                key, f"{rows!r} is no table. Write [[temperature, rate], …] or [[temperature, low, high], …]."
            )
            return ()
        table = []
        for row in rows:
            temperature = self._within(key, row[0], _TEMPERATURES)
            rates = [self._within(key, each, (0.0, 1000.0)) for each in row[1:]]
            if temperature is not None and None not in rates:
                rate = math.fsum(each for each in rates if each is not None) / len(rates)
                table.append(
                    (temperature, round(rate * _milligrams(temperature), 2) if unit == "ml" else rate)
                )
        for (cold, slow), (warm, fast) in pairwise(table):
            if warm <= cold or fast < slow:
                self.note(
                    key,
                    f"the row of {warm:g} °C must be warmer and no slower than the one before, {cold:g} °C.",
                )
        return tuple(table)

    def source_of_all(self) -> str:
        """Source of the entry in words; a number with a source of its own is named with it."""
        entry = self._source_words("source", self.keys["source"]) if "source" in self.keys else ""
        others = (f"{key}: {words}" for key, words in self.sources.items() if words != entry)
        return "; ".join(filter(None, (entry, *others)))

    def done(self) -> None:
        """Note the keys that nobody asked for."""
        for key in self.keys.keys() - {*self.asked, "source"}:
            self.note(key, f"is no key of this entry.{_near(key, self.asked)}")


def _milligrams(temperature: float) -> float:
    """Mass of one millilitre of carbon dioxide at this temperature. [mg]."""
    return CARBON_DIOXIDE_DENSITY * 273.15 / (temperature + 273.15)


def _rule(entry: _Entry) -> Rule:
    low, high = entry.number("limit_low", _TEMPERATURES), entry.number("limit_high", _TEMPERATURES)
    rise = entry.number("brief_rise", (0.0, 30.0))
    kinetic = entry.number("mean_kinetic_limit", _TEMPERATURES)
    name, about = entry.text("name"), entry.text("about")
    entry.done()
    if low is not None and high is not None and low > high:
        entry.note("limit_low", f"{low:g} is above limit_high {high:g}. Write the lower one first.")
    if not entry.sources:
        entry.note("limit_high", "the rule has no limit. Give it one, and its source.")
    return Rule(entry.id, name or "", low, high, rise, kinetic, about or "", entry.source_of_all())


def _packaging(entry: _Entry) -> Packaging:
    def pair(key: str, *bounds: float) -> tuple[float, float]:
        return entry.pair(key, (bounds[0], bounds[1]), needed=True) or (math.nan, math.nan)

    name = entry.text("name")
    packaging = Packaging(
        id=entry.id,
        name=name or "",
        half_thickness=pair("half_thickness", 0.005, 1.5),
        bulk_density=pair("bulk_density", 20.0, 1500.0),
        heat_transfer=pair("heat_transfer", 0.5, 200.0),
        conductivity_factor=pair("conductivity_factor", 0.01, 10.0),
        source=entry.source_of_all(),
    )
    entry.done()
    return packaging


def _commodity(entry: _Entry, goods: Goods) -> Commodity:
    name = entry.text("name")
    optimum_low, optimum_high = entry.pair("optimum", _TEMPERATURES, needed=True) or (math.nan, math.nan)
    commodity = Commodity(
        id=entry.id,
        name=name or "",
        other_names=entry.texts("other_names"),
        group=entry.choice("group", GROUPS) or "",
        regime_class=entry.choice("regime_class", REGIME_CLASSES) or "",
        optimum_low=optimum_low,
        optimum_high=optimum_high,
        chilling_limit=entry.number("chilling_limit", _TEMPERATURES),
        freezing_point=entry.number("freezing_point", _TEMPERATURES),
        respiration=entry.respiration(),
        q10=entry.number("q10", (1.0, 30.0)),
        storage_life_days=entry.pair("storage_life_days", (0.1, 5000.0), needed=False),
        water=entry.number("water", (0.0, 1.0)),
        packaging=entry.choice("packaging", goods.packagings) or "",
        rule=entry.choice("rule", goods.rules, needed=False),
        sources=entry.sources,
    )
    entry.done()
    _check_temperatures(entry, commodity, goods)
    return commodity


def _check_temperatures(entry: _Entry, commodity: Commodity, goods: Goods) -> None:
    """Note where temperatures of an entry contradict each other; a missing minus sign mostly shows here."""
    low, high = commodity.optimum_low, commodity.optimum_high
    if math.isnan(high):
        return
    fitting = class_of(high)
    if commodity.regime_class and commodity.regime_class != fitting:
        entry.note(
            "regime_class",
            f"{commodity.regime_class} does not fit an optimum up to {high:g} °C, which is {fitting}. "
            "Correct one of them.",
        )
    live = commodity.group in LIVE_GROUPS
    if live and commodity.freezing_point is not None and commodity.freezing_point >= high:
        entry.note(
            "freezing_point",
            f"{commodity.freezing_point:g} must be colder than the optimum of live goods, up to {high:g}. "
            "Correct one of them.",
        )
    if commodity.chilling_limit is not None and commodity.chilling_limit > high:
        entry.note(
            "chilling_limit",
            f"{commodity.chilling_limit:g} °C is warmer than the optimum, up to {high:g} °C. "
            "Correct one of them.",
        )
    if commodity.respiration and not live and commodity.group:
        entry.note("respiration", f"goods of the group {commodity.group} do not breathe. Take it out.")
    rule = goods.rules.get(commodity.rule or "")
    if rule and not (
        (rule.limit_low is None or high >= rule.limit_low)
        and (rule.limit_high is None or low <= rule.limit_high)
    ):
        entry.note(
            "rule", f"the whole optimum {low:g} to {high:g} °C is outside {rule.id}. Correct one of them."
        )


def class_of(temperature: float) -> str:
    """Regime class of a set point of these goods. [°C]; the edges are those of :mod:`coldsift.regimes`."""
    if temperature <= DEEP_FROZEN_SET_POINT:
        return "deep_frozen"
    return "frozen" if temperature <= FROZEN_SET_POINT else "chilled"


def _check_names(
    commodities: Mapping[str, Commodity], entries: Mapping[str, tuple[str, Any]], defects: list[str]
) -> None:
    """Note names that two entries share."""
    owners: dict[str, str] = {}
    for commodity in commodities.values():
        for name in _names(commodity):
            for key in _keys(name):
                owner = owners.setdefault(key, commodity.id)
                if owner != commodity.id:
                    where = f"{entries[commodity.id][0]}, commodities.{commodity.id}"
                    defects.append(f"{where}: {name!r} is a name of {owner} too. Leave it to one of them.")
                    break
