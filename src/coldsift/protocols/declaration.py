"""Protocols as they are declared: one TOML file each, checked whole before any of it is used.

Goes in: the files of ``declared/``, and the user's own. Comes out: :class:`Protocol` by id. Every number
keeps its source beside it, and how well that source was seen.
"""

from __future__ import annotations

import difflib
import itertools
import math
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

Chosen = TypeVar("Chosen", bound=StrEnum)

DECLARED = Path(__file__).with_name("declared")

NOT_STATED = "not stated"
"""Edition of a protocol whose source names none."""


NO_SOURCE = "none"
"""What a rule of common practice writes for a source; words in its place say what it leans on."""


class ProtocolError(ValueError):
    """A protocol cannot be used or found; lists every fault with the file, the key, and what to do."""


class Standing(StrEnum):
    """How well the source of a number was seen."""

    READ = "read"
    """In the named text itself, or in a copy of it."""
    SECONDARY = "secondary"
    """In a text that restates the named one."""
    FROM_MEMORY = "from memory"
    """Not read again: look it up before it is relied on."""
    COMMON_PRACTICE = "common practice"
    """A fact of the trade without a source."""


class BeyondGap(StrEnum):
    """What becomes of the count where readings are missing for longer than is bridged."""

    BREAK = "break"
    """It starts again after the gap."""
    EXTEND = "extend"
    """It goes on after the gap, and the time of the gap does not count."""
    CANNOT_JUDGE = "cannot_judge"
    """Nobody can tell: what rests on the gap is neither complete nor failed."""


class Reset(StrEnum):
    """What becomes of the count when a probe is above the step's temperature."""

    STEP_DOWN = "step_down"
    """It goes on at the next step that held, with that step's days; above the warmest it starts again."""
    RESTART = "restart"
    """It starts again, on every step."""


@dataclass(frozen=True, slots=True)
class Basis:
    """Where a number or a rule comes from, and how well that was seen."""

    source: str
    standing: Standing


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the ladder.

    Attributes
    ----------
    at_or_below
        Warmest pulp allowed, exactly as the unit of the text gives it. [°C]
    days
        How long without a break. [d of 24 h]
    name
        The temperature in the unit of the text, such as ``34 °F``.
    printed
        What the text prints in °C where that is rounded; None where it is not.
    basis
        Where it comes from.
    """

    at_or_below: float
    days: float
    name: str
    printed: float | None
    basis: Basis

    @property
    def exactly(self) -> str:
        """The temperature with the exact value that readings are compared with."""
        if not self.name.endswith("F"):
            return self.name
        printed = f"; the text prints {self.printed:g} °C" if self.printed is not None else ""
        return f"{self.name} (exactly {self.at_or_below:.4f} °C{printed})"


@dataclass(frozen=True, slots=True)
class Protocol:
    """A cold treatment by its rules.

    Attributes
    ----------
    id, name, about
        Id in the trade's words, name for headings, and what it is for.
    edition
        Date of the edition (ISO 8601), or ``not stated``.
    basis
        Where the ladder comes from.
    ladder
        Steps from cold to warm; a warmer one takes more days.
    least_probes, placing
        Pulp probes that a container needs, and where they sit.
    interval_minutes
        Longest time between two readings of a probe. [min]
    start_at_or_below, precooling
        Pulp of every probe must be this cold before the clock starts [°C], None where a step's own
        temperature is enough; the rule in words.
    bridged_minutes, beyond_gap
        Longest gap that is bridged when the readings on both its sides hold [min]; what becomes of the count
        beyond it.
    reset, tolerance, longest_above_minutes
        What a reading above the step does; by how much [K] and how long [min] it may be above and yet hold.
    ice_point_limit
        Furthest a probe may read from 0 °C in melting ice. [K]
    after_treatment
        What must follow that no log shows; empty where nothing must.
    bases
        Where the rules come from: probes, interval, precooling, gap, reset, calibration.
    """

    id: str
    name: str
    about: str
    edition: str
    basis: Basis
    ladder: tuple[Step, ...]
    least_probes: int
    placing: str
    interval_minutes: float
    start_at_or_below: float | None
    precooling: str
    bridged_minutes: float
    beyond_gap: BeyondGap
    reset: Reset
    tolerance: float
    longest_above_minutes: float
    ice_point_limit: float
    after_treatment: str
    bases: Mapping[str, Basis]

    @property
    def how_counted(self) -> tuple[str, ...]:
        """The rules in sentences, each with its source and how well that was seen."""
        steps = "; ".join(f"{step.exactly} for {step.days:g} days" for step in self.ladder)
        above = {
            Reset.STEP_DOWN: "A probe above a step's temperature moves the count to the next step that held, "
            "with that step's days; above the warmest step it starts again.",
            Reset.RESTART: "A probe above a step's temperature starts the count again.",
        }[self.reset]
        if self.tolerance:
            above += f" Up to {self.tolerance:g} K for {self.longest_above_minutes:g} min are let pass."
        beyond = {
            BeyondGap.BREAK: "starts the count again",
            BeyondGap.EXTEND: "does not count, and the treatment lasts that much longer",
            BeyondGap.CANNOT_JUDGE: "cannot be judged",
        }[self.beyond_gap]
        said = {
            "probes": f"At least {self.least_probes} pulp probes, and every probe that is logged must hold. "
            f"{self.placing}",
            "interval": f"A reading at least every {self.interval_minutes:g} min.",
            "precooling": self.precooling,
            "gap": f"A single gap of up to {self.bridged_minutes:g} min is bridged when the readings on both "
            f"its sides hold; a longer one {beyond}.",
            "reset": above,
            "calibration": f"In melting ice a probe may read up to {self.ice_point_limit:g} K from 0 °C; its "
            "ice-point correction is taken off every reading.",
        }
        apart = (f" {each.name}: {_told(each.basis)}" for each in self.ladder if each.basis != self.basis)
        return (
            f"Pulp at or below {steps}, in days of 24 h from the start of the count. {_told(self.basis)}"
            + "".join(apart),
            *(f"{words} {_told(self.bases[name])}" for name, words in said.items()),
            *((self.after_treatment,) if self.after_treatment else ()),
        )


def _told(basis: Basis) -> str:
    if basis.standing is Standing.COMMON_PRACTICE:
        return f"(Common practice, no source{'' if basis.source == NO_SOURCE else f': {basis.source}'}.)"
    return f"({basis.source}: {basis.standing}.)"


def load_protocols(own: Path | None = None) -> Mapping[str, Protocol]:
    """Read the shipped protocols, and the user's own over them.

    Parameters
    ----------
    own
        A TOML file, or a folder of them: each holds one protocol, which replaces the shipped one of the same
        id, or is added.

    Returns
    -------
    Mapping[str, Protocol]
        By id, in alphabetical order.

    Raises
    ------
    ProtocolError
        When a file cannot be read, or holds what a protocol cannot hold: every fault of every file is listed.
    """
    faults: list[str] = []
    found: dict[str, Protocol] = {}
    for files in (sorted(DECLARED.glob("*.toml")), _own_files(own)):
        seen: dict[str, str] = {}
        for path in files:
            protocol = _read(path, faults)
            if protocol is None:
                continue
            if protocol.id in seen:
                faults.append(
                    f"{path.name}: id: {seen[protocol.id]} has {protocol.id} too. Give one another id."
                )
            seen[protocol.id] = path.name
            found[protocol.id] = protocol
    if faults:
        raise ProtocolError("\n".join(faults))
    return MappingProxyType(dict(sorted(found.items())))


def find_protocol(id: str, own: Path | None = None) -> Protocol:
    """One protocol by its id.

    Parameters
    ----------
    id
        As in the facts file.
    own
        As for :func:`load_protocols`.

    Raises
    ------
    ProtocolError
        When there is none of this id; names those that are spelled much alike, and all there are.
    """
    protocols = load_protocols(own)
    if id in protocols:
        return protocols[id]
    near = difflib.get_close_matches(id, protocols, n=3, cutoff=0.5)
    meant = f" Did you mean {' or '.join(near)}?" if near else ""
    raise ProtocolError(
        f"There is no cold-treatment protocol {id!r}.{meant} There are: {', '.join(protocols)}. Another one "
        "can be declared in a TOML file of your own."
    )


def _own_files(own: Path | None) -> list[Path]:
    if own is None:
        return []
    if not own.is_dir():
        return [own]
    files = sorted(own.glob("*.toml"))
    if not files:
        raise ProtocolError(f"{own} holds no TOML file. Name a protocol file or a folder of them.")
    return files


def _read(path: Path, faults: list[str]) -> Protocol | None:
    try:
        read = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        faults.append(f"{path}: {error.strerror}. Name a file that can be read.")
        return None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        faults.append(f"{path.name} is not valid TOML: {error}. Correct it there.")
        return None
    before = len(faults)
    protocol = _protocol(_Table(path.name, "", read, faults))
    return protocol if len(faults) == before else None


_TO_CELSIUS = {"°C": (1.0, 0.0), "°F": (5 / 9, 32.0)}
_WIDEST = (-60.0, 60.0)
"""Range of a cargo probe. [°C]"""

_RULES = ("probes", "interval", "precooling", "gap", "reset", "calibration")


class _Table:
    """One table of a file, read key by key; notes every fault and hands out a stand-in for what is wrong."""

    def __init__(self, file: str, where: str, entries: object, faults: list[str]) -> None:
        self.faults = faults
        self._file = file
        self._where = where
        self._known: list[str] = []
        self._entries: dict[str, Any] = entries if isinstance(entries, dict) else {}
        if not isinstance(entries, dict):
            self.fault("", f"a table is needed, not {entries!r}", f"Write [{where}] and its keys")

    def fault(self, key: str, what: str, to_do: str) -> None:
        at = ".".join(filter(None, (self._where, key)))
        self.faults.append(f"{self._file}: {at}: {what}. {to_do}.")

    def has(self, key: str) -> bool:
        return key in self._entries

    def take(self, key: str) -> Any:
        self._known.append(key)
        return self._entries.get(key)

    def text(self, key: str, default: str | None = None) -> str:
        value = self.take(key)
        if value is None and default is not None:
            return default
        if isinstance(value, str) and value.strip():
            return " ".join(value.split())
        self.fault(key, "missing" if value is None else f"{value!r} is no text", "Write a text")
        return ""

    def number(self, key: str, low: float, high: float, unit: str, default: float | None = None) -> float:
        """A number from low to high, both allowed."""
        value = self.take(key)
        if value is None and default is not None:
            return default
        if not isinstance(value, int | float) or isinstance(value, bool) or not math.isfinite(value):
            what = "missing" if value is None else f"{value!r} is no number"
        elif low <= value <= high:
            return float(value)
        else:
            what = f"{value:g} does not lie between {low:g} and {high:g}"
        self.fault(key, what, f"Write a number from {low:g} to {high:g} ({unit})")
        return math.nan

    def choice(self, key: str, among: type[Chosen]) -> Chosen:
        value = self.take(key)
        words = [each.value for each in among]
        if isinstance(value, str) and value in words:
            return among(value)
        self.fault(
            key, "missing" if value is None else f"{value!r} is not known", f"Write one of {', '.join(words)}"
        )
        return among(words[0])

    def tables(self, key: str) -> Iterator[_Table]:
        value = self.take(key)
        if not isinstance(value, list) or not value:
            self.fault(
                key,
                "missing" if value is None else f"{value!r} is no list of steps",
                f"Write [[{key}]] with at_or_below, unit and days, once for every step",
            )
            return
        for place, entry in enumerate(value, 1):
            yield _Table(self._file, f"{key} {place}", entry, self.faults)

    def table(self, key: str) -> _Table:
        value = self.take(key)
        if value is None:
            self.fault(key, "missing", f"Write [{key}] and its keys")
            return _Table(self._file, key, {}, [])
        return _Table(self._file, key, value, self.faults)

    def basis(self, default: Basis | None = None) -> Basis:
        if default is not None and not self.has("source") and not self.has("standing"):
            return default
        return Basis(self.text("source"), self.choice("standing", Standing))

    def done(self) -> None:
        """Refuse what nobody asked for."""
        for key in self._entries:
            if key not in self._known:
                near = difflib.get_close_matches(key, self._known, n=1)
                meant = f"Did you mean {near[0]}" if near else f"There are {', '.join(self._known)}"
                self.fault(key, "not known", f"{meant}{'?' if near else ''}".rstrip("."))


def _protocol(file: _Table) -> Protocol:
    id = file.text("id")
    if id and not re.fullmatch(r"[a-z][a-z0-9_]*", id):
        file.fault("id", f"{id!r} is no id", "Use small letters, figures and _, a letter first")
    name, about = file.text("name"), file.text("about")
    edition = file.take("edition")
    if not isinstance(edition, date) and edition != NOT_STATED:
        what = "missing" if edition is None else f"{edition!r} is no date"
        file.fault("edition", what, f'Write a date such as 2019-11-15, or "{NOT_STATED}"')
    basis = file.basis()
    ladder = tuple(_step(table, basis) for table in file.tables("ladder"))
    for colder, warmer in itertools.pairwise(ladder):
        if colder.at_or_below >= warmer.at_or_below or colder.days >= warmer.days:
            file.fault(
                "ladder",
                f"{warmer.name} for {warmer.days:g} days follows {colder.name} for {colder.days:g} days",
                "Put the steps from cold to warm; a warmer one takes more days",
            )
    tables = {key: file.table(key) for key in _RULES}
    bases = {key: table.basis() for key, table in tables.items()}
    start = _temperature(tables["precooling"]) if tables["precooling"].has("at_or_below") else None
    if start is not None and ladder and start[0] > ladder[-1].at_or_below:
        tables["precooling"].fault("at_or_below", "warmer than every step", "Leave it out, or correct it")
    interval = tables["interval"].number("longest_minutes", 1, 1440, "min")
    bridged = tables["gap"].number("bridged_minutes", 1, 10_080, "min")
    if bridged < interval:
        tables["gap"].fault(
            "bridged_minutes",
            f"{bridged:g} is less than the {interval:g} min that lie between two readings",
            "Write at least as much",
        )
    tolerance = tables["reset"].number("tolerance", 0, 10, "K", 0.0)
    longest_above = tables["reset"].number("longest_above_minutes", 0, 10_080, "min", 0.0)
    if (tolerance > 0) != (longest_above > 0):
        tables["reset"].fault(
            "tolerance", "goes with longest_above_minutes", "Give both above 0, or leave out both"
        )
    protocol = Protocol(
        id=id,
        name=name,
        about=about,
        edition=str(edition),
        basis=basis,
        ladder=ladder,
        least_probes=_whole(tables["probes"], "least"),
        placing=tables["probes"].text("placing"),
        interval_minutes=interval,
        start_at_or_below=start[0] if start else None,
        precooling=tables["precooling"].text("words"),
        bridged_minutes=bridged,
        beyond_gap=tables["gap"].choice("beyond", BeyondGap),
        reset=tables["reset"].choice("rule", Reset),
        tolerance=tolerance,
        longest_above_minutes=longest_above,
        ice_point_limit=tables["calibration"].number("limit", 0.01, 5, "K"),
        after_treatment=file.text("after_treatment", ""),
        bases=MappingProxyType(bases),
    )
    for table in (file, *tables.values()):
        table.done()
    return protocol


def _whole(table: _Table, key: str) -> int:
    value = table.number(key, 1, 20, "probes")
    if math.isfinite(value) and value != int(value):
        table.fault(key, f"{value:g} is no whole number", "Write how many probes")
    return int(value) if math.isfinite(value) else 0


def _step(table: _Table, basis: Basis) -> Step:
    celsius, name = _temperature(table)
    step = Step(
        at_or_below=celsius,
        days=table.number("days", 0.01, 365, "d"),
        name=name,
        printed=table.number("printed", *_WIDEST, "°C") if table.has("printed") else None,
        basis=table.basis(basis),
    )
    if step.printed is not None and abs(step.printed - celsius) > 0.1:
        table.fault("printed", f"{step.printed:g} °C is not {name}", "Correct one of the two")
    table.done()
    return step


def _temperature(table: _Table) -> tuple[float, str]:
    """A temperature with its unit: exactly in °C, and as the text names it."""
    unit = table.text("unit")
    if unit and unit not in _TO_CELSIUS:
        table.fault("unit", f"{unit!r} is not known", f"Write {' or '.join(_TO_CELSIUS)}")
    factor, zero = _TO_CELSIUS.get(unit, (1.0, 0.0))
    low, high = (each / factor + zero for each in _WIDEST)
    value = table.number("at_or_below", low, high, unit or "°C")
    return (value - zero) * factor, f"{value:g} {unit}"
