"""From places on board to drawings of the bays: counting and sorting, nothing on refrigeration.

Goes in: the stowage plan, the units of the list with their places, and the stops of the round. Comes out: one
section a bay, as seen looking forward, with the boxes that are refrigerated or listed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import polars as pl

from coldsift.report import words
from coldsift.report.model import Row
from coldsift.report.ship_model import Bay, Slot
from coldsift.rounds.walking import FIRST_DECK_TIER

PLACE = re.compile(r"(\d{2,3})(\d\d)(\d\d)")
"""Bay, row and tier (ISO 9711-1)."""

LOWEST_ON_DECK = 82
"""The usual number of the first tier on deck: drawn even where it is empty. Common practice, no source."""

NO_LOG = "no_log"
"""Stands for a ranking group where there is no log."""


@dataclass(frozen=True, slots=True)
class _Box:
    """A box and its place: numbers of bay, row and tier, and the bay of 40 ft that it is drawn in."""

    slot: Slot
    bay: int
    pair: int
    stack: int
    tier: int


def draw_bays(
    plan: pl.DataFrame, rows: Sequence[Row], stops: Mapping[str, int]
) -> tuple[tuple[Bay, ...], tuple[Row, ...]]:
    """Draw every bay that holds a refrigerated box or a unit of the list.

    Parameters
    ----------
    plan
        :data:`coldsift.schema.PLAN`.
    rows
        The units' lines of the list; where one has no place, the plan's counts.
    stops
        Stop of the round by container.

    Returns
    -------
    tuple
        The bays from the bow; and the units that stand in none of them.
    """
    placed = [box for box in _boxes(plan, rows, stops) if box is not None]
    known = {box.bay for box in placed}
    placed = [replace(box, pair=_pair(box.bay, known)) for box in placed]
    placed.sort(key=lambda box: (box.pair, box.slot.row.rank if box.slot.row else len(rows) + 1))
    bays = tuple(_bay(pair, list(boxes)) for pair, boxes in groupby(placed, key=lambda box: box.pair))
    there = {box.slot.container for box in placed}
    return bays, tuple(row for row in rows if row.container not in there)


def _boxes(plan: pl.DataFrame, rows: Sequence[Row], stops: Mapping[str, int]) -> Iterator[_Box | None]:
    planned = {row["container"]: row for row in plan.iter_rows(named=True)}
    for row in rows:
        place = row.position or (planned.get(row.container, {}).get("position") or "")
        yield _box(row.container, place, row, stops.get(row.container))
    listed = {row.container for row in rows}
    for container, own in planned.items():
        if own["refrigerated"] and container not in listed:
            box = _box(container, own["position"] or "", None, None)
            if box is not None:
                asked = own["required_temperature"]
                slot = replace(
                    box.slot,
                    temperature=words.number(asked, 1, "°C") if asked is not None else "",
                    empty=own["full"] is False,
                )
                yield replace(box, slot=slot)


def _box(container: str, place: str, row: Row | None, stop: int | None) -> _Box | None:
    found = PLACE.fullmatch(place)
    if found is None:
        return None
    bay, stack, tier = found.groups()
    # 010 and 10 are one bay; two figures are what people say as long as two are enough.
    slot = Slot(container, row, f"{int(bay):02d}", stack, tier, 1, 1, 1, stop, "", False)
    return _Box(slot, int(bay), int(bay), int(stack), int(tier))


def _pair(bay: int, known: Iterable[int]) -> int:
    """The bay of 40 ft that an odd bay is one half of: 01 and 03 make 02 (GDV Container Handbook, 1.3.3).

    Where the plan does not show which of its neighbours that is, they are counted from the bow.
    """
    if bay % 2 == 0:
        return bay
    beside = [each for each in (bay - 1, bay + 1) if each in known]
    return beside[0] if len(beside) == 1 else bay + 1 if bay % 4 == 1 else bay - 1


def _bay(pair: int, boxes: Sequence[_Box]) -> Bay:
    """Lay a bay out: tiers on deck, a line for the hatch, tiers in the hold; two columns a row of boxes."""
    stacks = _stacks({box.stack for box in boxes})
    tiers = {box.tier for box in boxes}
    on_deck = {tier for tier in tiers if tier >= FIRST_DECK_TIER}
    deck = _tiers(on_deck | {LOWEST_ON_DECK} if on_deck else on_deck)
    hold = _tiers(tiers - on_deck)
    lines = {tier: line for line, tier in enumerate([*deck, None, *hold], start=1)}
    taken: set[tuple[int, int]] = set()
    drawn: list[Slot] = []
    doubled: list[Slot] = []
    for box in boxes:
        whole = box.bay == box.pair
        first = 1 + 2 * stacks.index(box.stack) + (box.bay > box.pair)
        slot = replace(box.slot, line=lines[box.tier], column=first, columns=2 if whole else 1)
        here = {(slot.line, column) for column in range(first, first + slot.columns)}
        (doubled if here & taken else drawn).append(slot)
        taken |= here
    return Bay(
        name=f"{pair:02d}",
        halves=(f"{pair - 1:02d}", f"{pair + 1:02d}") if any(box.bay != box.pair for box in boxes) else (),
        stacks=tuple(f"{stack:02d}" for stack in stacks),
        deck=tuple(f"{tier:02d}" for tier in deck),
        hold=tuple(f"{tier:02d}" for tier in hold),
        # Read and stepped through from top to bottom, port to starboard.
        slots=tuple(sorted(drawn, key=lambda slot: (slot.line, slot.column))),
        doubled=tuple(doubled),
        counts=_counts([box.slot for box in boxes]),
    )


def _stacks(used: set[int]) -> list[int]:
    """Rows from port to starboard, alike on both sides; looking forward, even numbers are to port."""
    outermost = max((stack + 1) // 2 for stack in used)
    port = [2 * place for place in range(outermost, 0, -1)]
    starboard = [2 * place - 1 for place in range(1, outermost + 1)]
    return [*port, *([0] if 0 in used or not outermost else []), *starboard]


def _tiers(used: set[int]) -> list[int]:
    """Every tier from the uppermost to the lowest; odd ones only where some box stands there."""
    between = range(min(used, default=0), max(used, default=-1) + 1)
    return sorted(used | {tier for tier in between if tier % 2 == 0}, reverse=True)


def _counts(slots: Iterable[Slot]) -> tuple[tuple[str, str, int], ...]:
    found: dict[tuple[str, str], int] = {}
    for slot in slots:
        key = (slot.row.group.mark, slot.row.group.key) if slot.row else ("", NO_LOG)
        found[key] = found.get(key, 0) + 1
    return tuple((mark, key, count) for (mark, key), count in found.items())
