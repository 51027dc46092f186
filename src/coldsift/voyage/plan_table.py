"""Stowage plans kept as CSV."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from coldsift.container_numbers import tidy
from coldsift.voyage.bayplan import Box
from coldsift.voyage.degrees import WITH_UNIT, NoTemperature, celsius
from coldsift.voyage.headings import PLAN_WORDS
from coldsift.voyage.remarks import Remarks
from coldsift.voyage.stowage import HOW_WRITTEN, cell
from coldsift.voyage.tables import EXCESS, QUOTE, TableError, read_table

FULL = ("full", "f", "laden", "loaded", "yes", "5")
EMPTY = ("empty", "e", "mt", "no", "4")
"""Words of a column that says whether a container is laden; 5 and 4 as in data element 8169."""

_PARTS = re.compile(r"([0-9]{1,3})[-./ ]([0-9]{1,2})[-./ ]([0-9]{1,2})")


def read_plan_table(path: Path, remarks: Remarks) -> list[Box]:
    """The containers of a plan kept as CSV.

    Parameters
    ----------
    path
        With the headings of :data:`coldsift.voyage.headings.PLAN_WORDS`.
    remarks
        Takes what could not be used, line by line.

    Returns
    -------
    list of Box
        In order; a container can be there twice.

    Raises
    ------
    TableError
        When the file cannot be read, or a heading is missing or there twice.
    """
    table = read_table(path, PLAN_WORDS, ("container",))
    if table.is_empty():
        raise TableError(f"{path.name} has headings and no line below them. Ask for the plan once more.")
    named = {column for column in PLAN_WORDS if table[column].is_not_null().any()}
    if "position" not in named and not {"bay", "row", "tier"} <= named:
        raise TableError(
            f"{path.name} names no place on board. Its first line must name position, or bay, row and tier."
        )
    boxes = []
    for row in table.iter_rows(named=True):
        line, text = row["line"], ", ".join(row[column] for column in PLAN_WORDS if row[column])
        if row[EXCESS]:
            remarks.add("warning", line, "Left out: it has more cells than there are headings", QUOTE, text)
        elif row["container"] is None:
            remarks.add("warning", line, "Left out: no container number", "Fill it in.", text)
        else:
            boxes.append(_box(row, line, text, remarks))
    return boxes


def _box(row: Mapping[str, str | None], line: int, text: str, remarks: Remarks) -> Box:
    position = _position(row)
    if position is None:
        do = f"{HOW_WRITTEN[0].upper()}{HOW_WRITTEN[1:]}."
        remarks.add("warning", line, "Used without a place: it names no bay, row and tier", do, text)
    temperature = None
    if written := row["required_temperature"]:
        try:
            temperature = celsius(written, row["temperature_unit"])
        except NoTemperature as trouble:
            what = f"Used without a required temperature: {trouble}"
            remarks.add("warning", line, what, WITH_UNIT.replace("set point", "required temperature"), text)
    word = (row["full"] or "").lower()
    if word and word not in (*FULL, *EMPTY):
        do = "Write full or empty."
        remarks.add("warning", line, "It does not say whether it is full or empty", do, text)
    return Box(
        line=line,
        container=tidy(row["container"] or ""),
        position=position,
        size_type=row["size_type"].upper() if row["size_type"] else None,
        required_temperature=temperature,
        full=True if word in FULL else False if word in EMPTY else None,
        load_port=row["load_port"],
        discharge_port=row["discharge_port"],
    )


def _position(row: Mapping[str, str | None]) -> str | None:
    """Place of a line; bay, row and tier may stand apart, in one cell or in three."""
    written = row["position"]
    if written is None and row["bay"] and row["row"] and row["tier"]:
        written = f"{row['bay']}-{row['row']}-{row['tier']}"
    if written is None:
        return None
    if parts := _PARTS.fullmatch(written):
        bay, across, tier = map(int, parts.groups())
        return cell(f"{bay:03d}{across:02d}{tier:02d}")
    # A spreadsheet takes away the nought of a bay below 10.
    return cell(written.zfill(6) if len(written) == 5 else written)
