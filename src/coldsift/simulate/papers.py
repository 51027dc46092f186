"""The papers of the invented voyage: what each container carries and where, who had it, what was noted.

Goes in: the simulated fleet. Comes out: the texts of a facts file, a custody file and a notes file, as
:mod:`coldsift.voyage` reads them. All of it is invented.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import product

from coldsift.simulate import Fleet
from coldsift.simulate.plan import UnitPlan

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

FILES = ("facts.toml", "custody.csv", "notes.csv")
"""Names of the three papers."""


def papers_of(fleet: Fleet) -> dict[str, str]:
    """The text of each paper by its file name."""
    return dict(zip(FILES, (facts_file(fleet), events_file(fleet), notes_file(fleet)), strict=True))


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
