"""From the report's views to the one sheet that a watch hands to the next: choosing and cutting.

Goes in: the units' lines of the list, and what is known from beside the logs. Comes out: lists that fit on
one printed page; each says how much of it the report has besides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from coldsift.report import words
from coldsift.report.material import Material
from coldsift.report.model import Row
from coldsift.report.ship_model import Handover, Listed, ShipView
from coldsift.report.ship_views import note_views, work

T = TypeVar("T")

OPEN = ("go_now", "this_round")


@dataclass(frozen=True, slots=True)
class Room:
    """Of a list on the sheet: entries that it has whatever the others need, and lines that each takes."""

    least: int
    lines: int


OPENED, DONE, CHANGED = Room(8, 3), Room(5, 2), Room(5, 1)

MOST_STOPS, MOST_LACKING = 8, 6
"""Named one behind the other."""


def handover(material: Material, rows: Sequence[Row], ship: ShipView) -> Handover:
    """Put together the hand-over sheet.

    Parameters
    ----------
    material
        Everything the report is made from.
    rows
        The units' lines of the list.
    ship
        From :func:`coldsift.report.ship_views.ship_view`.
    """
    opened = [row for row in rows if row.group.key in OPEN]
    done = work(note_views(material.notes, material.repairs), {row.container: row for row in rows})
    stops = ship.inspection.stops if ship.inspection else ()
    most = _shared((len(opened), OPENED), (len(done), DONE), (len(ship.changes), CHANGED))
    return Handover(
        until=words.moment(material.overview.last),
        open=_listed(opened, most[0]),
        done=_listed(done, most[1]),
        stops=_listed(stops, MOST_STOPS),
        lacking=_listed(ship.lacking, MOST_LACKING),
        changes=_listed(ship.changes, most[2]),
    )


def _shared(*wanted: tuple[int, Room]) -> list[int]:
    """How many entries each list gets: lines that one does not need go to the others, the first one first."""
    given = [min(entries, room.least) for entries, room in wanted]
    spare = sum((room.least - own) * room.lines for own, (_, room) in zip(given, wanted, strict=True))
    for place, (entries, room) in enumerate(wanted):
        more = min(entries - given[place], spare // room.lines)
        given[place] += more
        spare -= more * room.lines
    return given


def _listed(all_of_it: Sequence[T], most: int) -> Listed[T]:
    return Listed(tuple(all_of_it[:most]), max(len(all_of_it) - most, 0))
