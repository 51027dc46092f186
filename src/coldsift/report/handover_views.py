"""From the report's views to the one sheet that a watch hands to the next: choosing and cutting.

Goes in: the units' lines of the list, and what is known from beside the logs. Comes out: lists that fit on
one printed page; each says how much of it the report has besides.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import polars as pl

from coldsift.report import words
from coldsift.report.material import Material
from coldsift.report.model import Row
from coldsift.report.ship_model import Handover, Listed, ShipView
from coldsift.report.ship_views import note_views, work

T = TypeVar("T")

OPEN = ("go_now", "this_round")

LEAST_OPEN, LEAST_DONE, LEAST_CHANGED = 11, 5, 6
"""Lines that each list may have whatever the others need; what one does not need goes to the others."""

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
    done = work(note_views(material), {row.container: row for row in rows})
    stops = ship.inspection.stops if ship.inspection else ()
    most = _shared((len(opened), len(done), len(ship.changes)), (LEAST_OPEN, LEAST_DONE, LEAST_CHANGED))
    return Handover(
        until=words.moment(material.timeline.select(pl.col("time").max()).item()),
        open=_listed(opened, most[0]),
        done=_listed(done, most[1]),
        stops=_listed(stops, MOST_STOPS),
        lacking=_listed(ship.lacking, MOST_LACKING),
        changes=_listed(ship.changes, most[2]),
    )


def _shared(wanted: Sequence[int], least: Sequence[int]) -> list[int]:
    """How many lines each list gets: what one does not need goes to the others, the first one first."""
    given = [min(each, most) for each, most in zip(wanted, least, strict=True)]
    spare = sum(least) - sum(given)
    for place, each in enumerate(wanted):
        more = min(each - given[place], spare)
        given[place] += more
        spare -= more
    return given


def _listed(all_of_it: Sequence[T], most: int) -> Listed[T]:
    return Listed(tuple(all_of_it[:most]), max(len(all_of_it) - most, 0))
