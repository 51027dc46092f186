"""The papers of the invented voyage: cargoes, places, bookings, custody, work notes and spare parts.

Goes in: the simulated fleet. Comes out: the texts of a facts file, a stowage plan, a bookings file, a custody
file, a notes file and a spares file, as :mod:`coldsift.voyage` reads them. All of it is invented.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import product

from pydifact.control.characters import Characters
from pydifact.segments import Segment
from pydifact.serializer import Serializer

from coldsift.simulate import Fleet
from coldsift.simulate.faults import HEALTHY
from coldsift.simulate.machines import draw_machines
from coldsift.simulate.plan import CARGOES, UnitPlan, container_number
from coldsift.voyage.edifact import DEFAULT_SIGNS

COMMODITIES = {
    "frozen meat": "beef_frozen",
    "frozen fish": "fish_frozen",
    "deep-frozen fish": "fish_frozen",
    "frozen vegetables": "vegetables_frozen",
    "ice cream": "ice_cream",
    "chilled meat": "beef_chilled",
    "dairy": "fresh_dairy",
    "apples": "apple",
    "citrus": "orange",
    "grapes": "grape",
    "avocados": "avocado",
    "pineapples": "pineapple",
    "bananas": "banana",
}
"""Commodity id of each simulated cargo."""

HOLDERS = ("Loading terminal (invented)", "Ship (invented)", "Discharge terminal (invented)")
MIDWAY = "Transhipment terminal (invented)"

LOADED, DISCHARGED = 40.0, 326.0
"""Hours of the voyage at which every container goes aboard and ashore. [h]"""

ASHORE, ABOARD = 180.0, 204.0
"""Hours of the voyage between which a container with hours without a socket is ashore. [h]"""

TREATMENTS = {"grapes": "medfly_t107a", "citrus": "medfly_australia_citrus"}
WARMEST_TREATED = 3.0
"""Cold treatment ordered for a cargo where the set point is no warmer than this. [°C]"""

BAYS, ROWS = range(10, 99, 4), (4, 2, 1, 3)
TIERS = {"deck": (82, 84), "hold": (2, 4)}
"""Places of the invented ship: bays of 40 ft, rows from port to starboard, tiers on deck and in the hold."""

SIZE_TYPES = {"20": "22R1", "40": "42R1", "40HC": "45R1"}
"""Size and type code of each simulated size, ISO 6346."""

LOADED_IN, DISCHARGED_IN = "ZZLOA", "ZZDIS"
"""Ports, invented: ZZ is a country code that ISO 3166 leaves to its users (from memory)."""

SILENT, SILENT_SET_POINT = 1900, -18.0
"""Index of a container that is on the plan and has no log, and its set point. [°C]"""

EMPTY_REEFER, FIRST_DRY, DRY = 1901, 1910, 8
"""Index of a refrigerated container that goes empty, and of the first of so many dry ones."""

TOP = 86
"""Tier of the containers that have no log. They stand on deck in the first bays."""

TARE = 4700.0
"""Of any container, of the right size (from memory). [kg]"""

BOOKED_OTHERWISE = ("dairy", 4.0, 2.0)
"""Cargo and set point of a healthy unit that was booked at the third number. [°C]"""

MISTYPED = "pineapples"
"""Cargo of the healthy unit whose number on the plan has two figures changed over."""

SPARES = {
    "coil cleaner": (4, "paint store"),
    "coil plug and cable": (1, "reefer workshop"),
    "compressor contactor": (1, "reefer workshop"),
    "condenser fan motor": (2, "reefer workshop"),
    "controller output module": (1, "office"),
    "door seal": (0, "forepeak store"),
    "drain heater": (1, "reefer workshop"),
    "drain trap": (2, "forepeak store"),
    "evaporator fan motor": (1, "reefer workshop"),
    "expansion valve body with gaskets": (1, "reefer workshop"),
    "expansion valve coil": (2, "reefer workshop"),
    "filter drier": (3, "reefer workshop"),
    "heater contactor": (2, "reefer workshop"),
    "power plug": (4, "electrical store"),
    "pressure switch": (1, "reefer workshop"),
    "refrigerant of the unit's own kind": (2, "gas locker"),
    "seals and caps": (6, "reefer workshop"),
    "sensor plug seal": (5, "electrical store"),
    "supply air sensor": (1, "electrical store"),
}
"""How many of each spare part were on board when the voyage began, and where."""

FILES = ("facts.toml", "plan.edi", "bookings.csv", "custody.csv", "notes.csv", "spares.csv")
"""Names of the papers."""


def papers_of(fleet: Fleet) -> dict[str, str]:
    """The text of each paper by its file name."""
    made = (facts_file, plan_file, bookings_file, events_file, notes_file, spares_file)
    return {name: make(fleet) for name, make in zip(FILES, made, strict=True)}


def facts_file(fleet: Fleet) -> str:
    """What each container carries and where, and the treatment that is ordered."""
    places = positions(fleet.plan.units)
    lines = [
        "# Invented. What the containers of the invented voyage carry; give it to coldsift with --facts.",
        "",
    ]
    for unit in sorted(fleet.plan.units, key=lambda each: each.container):
        lines += [
            f"[units.{unit.container}]",
            f'cargo = "{COMMODITIES[unit.cargo]}"',
            f'position = "{places[unit.container]}"',
        ]
        if unit.cargo in TREATMENTS and unit.set_point <= WARMEST_TREATED:
            lines.append(f'protocol = "{TREATMENTS[unit.cargo]}"')
        lines.append("")
    return "\n".join(lines)


def positions(units: Iterable[UnitPlan]) -> dict[str, str]:
    """A place of its own for each container, BBBRRTT; a 20 ft box stands in the fore half of a 40 ft bay."""
    cells = {stow: product(BAYS, tiers, ROWS) for stow, tiers in TIERS.items()}
    places = {}
    for unit in sorted(units, key=lambda each: each.container):
        bay, tier, row = next(cells[unit.stow])
        places[unit.container] = f"{bay - (unit.size == '20'):03d}{row:02d}{tier:02d}"
    return places


def plan_file(fleet: Fleet) -> str:
    """Where each container stands: a message BAPLIE of UN/EDIFACT D.95B.

    One unit is there with a number that was mistyped, and one container has no log. The order of segments is
    that of the segment table of BAPLIE in D.95B.
    """
    begin, places = fleet.plan.start, positions(fleet.plan.units)
    chosen = next(unit.container for unit in fleet.plan.units if unit.cargo == MISTYPED)
    boxes = [
        _Stowed(
            _mistyped(unit.container) if unit.container == chosen else unit.container,
            places[unit.container],
            SIZE_TYPES[unit.size],
            CARGOES[unit.cargo].mass * (0.7 if unit.size == "20" else 1.0),
            _booked(unit),
        )
        for unit in fleet.plan.units
    ]
    top = [f"{bay:03d}{row:02d}{TOP}" for bay, row in product(BAYS, ROWS)]
    boxes += [
        _Stowed(container_number(SILENT), top[0], "45R1", 24_000.0, SILENT_SET_POINT),
        _Stowed(container_number(EMPTY_REEFER), top[1], "45R1", 0.0),
        *(_Stowed(container_number(FIRST_DRY + at), top[2 + at], "42G1", 20_000.0) for at in range(DRY)),
    ]
    message = [
        Segment("BGM", "", "031", "9"),
        Segment("DTM", ["137", f"{begin:%y%m%d%H%M}", "201"]),
        Segment("TDT", "20", "031", "", "", ["INV", "172", "20"], "", "", ["ZZGH0", "103", "", "GREY HERON"]),
        Segment("LOC", "5", [LOADED_IN, "139", "6"]),
        Segment("LOC", "61", [DISCHARGED_IN, "139", "6"]),
        Segment("DTM", ["178", f"{begin:%y%m%d%H%M}", "201"]),
        Segment("RFF", ["VON", "031"]),
        Segment("FTX", "AAI", "", "", "INVENTED - NO SUCH SHIP, PORT OR CONTAINER EXISTS"),
        *(segment for box in sorted(boxes, key=lambda each: each.position) for segment in _stowed(box)),
    ]
    interchange = [
        Segment("UNB", ["UNOA", "2"], "INVENTED", "COLDSIFT", [f"{begin:%y%m%d}", f"{begin:%H%M}"], "1"),
        Segment("UNH", "1", ["BAPLIE", "D", "95B", "UN", "SMDG22"]),
        *message,
        Segment("UNT", str(len(message) + 2), "1"),
        Segment("UNZ", "1", "1"),
    ]
    signs = Characters.from_str(DEFAULT_SIGNS)
    return Serializer(signs).serialize(interchange, with_una_header=True, break_lines=True)


@dataclass(frozen=True, slots=True)
class _Stowed:
    """A container of the plan: cargo [kg], temperature to be kept [°C]; neither when it is empty and dry."""

    container: str
    position: str
    size_type: str
    cargo: float
    temperature: float | None = None


def _stowed(box: _Stowed) -> list[Segment]:
    """The group of one place; a temperature has three figures in D.95B."""
    kept = box.temperature
    return [
        Segment("LOC", "147", [box.position, "", "5"]),
        Segment("MEA", "WT", "", ["KGM", f"{TARE + box.cargo:.0f}"]),
        *([Segment("TMP", "2", [f"{'-' * (kept < 0)}{abs(kept):04.1f}", "CEL"])] if kept is not None else []),
        Segment("LOC", "9", [LOADED_IN, "139", "6"]),
        Segment("LOC", "11", [DISCHARGED_IN, "139", "6"]),
        Segment("RFF", ["BM", "1"]),
        Segment("EQD", "CN", box.container, [box.size_type, "102", "5"], "", "", "5" if box.cargo else "4"),
        Segment("NAD", "CA", ["INV", "172", "20"]),
    ]


def _mistyped(number: str) -> str:
    """The number with the first two unlike neighbours among its figures changed over."""
    at = next(at for at in range(4, len(number) - 1) if number[at] != number[at + 1])
    return f"{number[:at]}{number[at + 1]}{number[at]}{number[at + 2 :]}"


def _booked(unit: UnitPlan) -> float:
    """The set point a unit was booked at. [°C]"""
    cargo, logged, booked = BOOKED_OTHERWISE
    is_it = unit.cause == HEALTHY and (unit.cargo, unit.set_point) == (cargo, logged)
    return booked if is_it else unit.set_point


def bookings_file(fleet: Fleet) -> str:
    """What was booked; an ordered change of set point is a second line."""
    machines = draw_machines(fleet.plan)
    rows: list[Sequence[str]] = [
        (container_number(SILENT), f"{SILENT_SET_POINT:g}", "frozen meat", SIZE_TYPES["40HC"], "")
    ]
    for index, unit in enumerate(fleet.plan.units):
        about = (unit.cargo, SIZE_TYPES[unit.size])
        rows.append((unit.container, f"{_booked(unit):g}", *about, ""))
        if unit.hard_case == "set_point_change":
            changed = _stamp(fleet.plan.start, float(machines.set_point_change_hour[index]))
            rows.append((unit.container, f"{machines.set_point_later[index]:g}", *about, changed))
    return _table(
        ("container", "booked set point (°C)", "cargo", "size type", "from"), sorted(rows, key=_first)
    )


def _first(row: Sequence[str]) -> str:
    return row[0]


def spares_file(fleet: Fleet) -> str:
    """Which spare parts there were when the voyage began."""
    counted = _stamp(fleet.plan.start, 0.0)
    rows = [(part, str(number), place, counted) for part, (number, place) in SPARES.items()]
    return _table(("part", "on board", "place", "counted"), rows)


def events_file(fleet: Fleet) -> str:
    """Who had each container, from loading to discharge."""
    begin = fleet.plan.start
    rows: list[Sequence[str]] = []
    for unit in sorted(fleet.plan.units, key=lambda each: each.container):
        handed = [
            (0.0, "received and plugged in", HOLDERS[0], "quay A"),
            (LOADED, "loaded", HOLDERS[1], ""),
            *_midway(unit),
            (DISCHARGED, "discharged", HOLDERS[2], "quay Z"),
        ]
        rows += [
            (unit.container, _stamp(begin, hour), holder, event, place)
            for hour, event, holder, place in sorted(handed)
        ]
    return _table(("container", "time", "holder", "event", "place"), rows)


def _midway(unit: UnitPlan) -> list[tuple[float, str, str, str]]:
    """Ashore and aboard again around hours without a socket in port."""
    if unit.hard_case != "port_power_off":
        return []
    return [(ASHORE, "discharged", MIDWAY, "quay M"), (ABOARD, "loaded", HOLDERS[1], "")]


def notes_file(fleet: Fleet) -> str:
    """What was seen and done at the containers that failed."""
    told = {
        "expansion_valve_not_opening": (
            (20.0, "alarm shown; suction below zero gauge with the compressor running", "", ""),
            (44.0, "", "controller restarted; no change", ""),
        ),
        "defrost_not_starting": ((60.0, "coil iced over its whole face", "manual defrost started", ""),),
        "condenser_fouled": ((72.0, "salt and dust on the condenser", "", ""),),
        "condenser_fan_failed": (
            (20.0, "condenser_fan_still=yes", "", ""),
            (40.0, "", "fan motor replaced", "condenser fan motor"),
        ),
        "evaporator_iced": (
            (130.0, "evaporator_coil_iced=yes", "drain heater replaced", "drain heater"),
            (178.0, "evaporator_coil_iced=yes", "", ""),
        ),
        "phase_imbalance": ((85.5, "plug_hot_or_loose=yes", "power plug replaced", "power plug"),),
    }
    rows = [
        (unit.container, _stamp(fleet.plan.start, unit.onset_hours + after), *note)
        for unit in sorted(fleet.plan.units, key=lambda each: each.container)
        for after, *note in told.get(unit.cause, ())
    ]
    return _table(("container", "time", "observation", "action", "part"), rows)


def _stamp(begin: datetime, hour: float) -> str:
    return f"{begin + timedelta(hours=hour):%Y-%m-%d %H:%M}Z"


def _table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows(rows)
    return text.getvalue()
