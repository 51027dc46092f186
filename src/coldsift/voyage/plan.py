"""Stowage plans: where each container stands, and at what temperature it is to be kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import polars as pl

from coldsift.container_numbers import fault
from coldsift.intake.records import Message, Severity
from coldsift.schema import PLAN
from coldsift.voyage.bayplan import Box, read_boxes
from coldsift.voyage.edifact import is_edifact, take_apart
from coldsift.voyage.plan_table import read_plan_table
from coldsift.voyage.remarks import Remarks
from coldsift.voyage.size_types import is_thermal, length_of
from coldsift.voyage.stowage import in_words
from coldsift.voyage.tables import read_paper


@dataclass(frozen=True, slots=True)
class StowagePlan:
    """A stowage plan as read.

    Attributes
    ----------
    table
        :data:`coldsift.schema.PLAN`, in order of container.
    messages
        What could not be used or looks wrong, and what to do.
    """

    table: pl.DataFrame
    messages: tuple[Message, ...]


def read_plan(path: Path) -> StowagePlan:
    """Read a stowage plan.

    Parameters
    ----------
    path
        UN/EDIFACT BAPLIE of D.95B (SMDG 2.x) or D.13B (SMDG 3.x), or a CSV with the headings of
        :data:`coldsift.voyage.headings.PLAN_WORDS`; told apart by what is in it.

    Returns
    -------
    StowagePlan
        A container that is there twice is used as it stands first. Of two in one place the first keeps it,
        the other is used without one. Wrong check digits are kept and told.

    Raises
    ------
    TableError
        When it cannot be read, or is neither.
    """
    data = read_paper(path)
    if is_edifact(data):
        remarks = Remarks(path.name, "segment")
        boxes = read_boxes(take_apart(data), remarks)
    else:
        remarks = Remarks(path.name, "line")
        boxes = read_plan_table(path, remarks)
    boxes = _one_in_a_place(_once(boxes, remarks), remarks)
    if not boxes:
        remarks.add("error", None, "No container can be read from the plan", "Ask for the plan once more.")
    for box in boxes:
        if wrong := fault(box.container):
            do = "Compare it with the container; it is used as written."
            remarks.add("warning", box.line, f"{box.container}: {wrong}", do)
    rows = [
        asdict(box) | {"length": length_of(box.size_type), "refrigerated": _is_cold(box)}
        for box in sorted(boxes, key=lambda each: each.container)
    ]
    schema = {column.name: column.dtype for column in PLAN.columns}
    return StowagePlan(PLAN.conform(pl.DataFrame(rows, schema=schema)), remarks.messages())


def _once(boxes: Sequence[Box], remarks: Remarks) -> list[Box]:
    """Each container as it stands first."""
    first: dict[str, Box] = {}
    for box in boxes:
        known = first.setdefault(box.container, box)
        if known is not box:
            places = [in_words(each.position) for each in (known, box)]
            at = f"in {places[0]} and in {places[1]}" if places[0] != places[1] else f"twice in {places[0]}"
            what = f"{box.container} is there {at}, {_both(known, box, remarks)}; the first is used"
            remarks.add("warning", box.line, what, "Correct the plan: a container has one place.")
    return list(first.values())


def _one_in_a_place(boxes: Sequence[Box], remarks: Remarks) -> list[Box]:
    """The boxes with each place given to one of them, the first."""
    taken: dict[str, Box] = {}
    kept = []
    for box in boxes:
        covered = _covered(box.position)
        first = next((taken[place] for place in covered if place in taken), None)
        if first is None:
            taken.update(dict.fromkeys(covered, box))
            kept.append(box)
            continue
        places = [in_words(first.position), in_words(box.position)]
        what = (
            f"{first.container} and {box.container} stand in one place, "
            f"{' and '.join(dict.fromkeys(places))}, {_both(first, box, remarks)}; "
            f"{first.container} keeps it, {box.container} is used without a place"
        )
        severity: Severity = "warning" if _is_cold(first) or _is_cold(box) else "note"
        remarks.add(severity, box.line, what, "Correct the plan, unless they are flats in one bundle.")
        kept.append(replace(box, position=None))
    return kept


def _both(one: Box, other: Box, remarks: Remarks) -> str:
    return f"{remarks.place}s {one.line} and {other.line}"


def _covered(position: str | None) -> tuple[str, ...]:
    """What a place takes of the 20 ft places.

    An even bay covers the odd ones before and behind it (published: GDV Container Handbook, 1.3.3), so that a
    40 ft box stands in the way of two 20 ft ones.
    """
    if position is None:
        return ()
    bay, cell = int(position[:3]), position[3:]
    return tuple(f"{half:03d}{cell}" for half in ((bay,) if bay % 2 else (bay - 1, bay + 1)))


def _is_cold(box: Box) -> bool:
    return is_thermal(box.size_type) or box.required_temperature is not None
