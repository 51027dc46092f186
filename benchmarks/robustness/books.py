"""The writer's books against the reader's: where every line went, and what every reading became.

Goes in: files of :mod:`benchmarks.robustness.generated_logs` and what intake made of them. Comes out: an
:class:`Audit`. What must become of rows that share container and time is reckoned here in plain Python, row
by row, apart from intake.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import polars as pl

from benchmarks.robustness.generated_logs import EMPTY, Cell, Line, Value, Written
from coldsift.intake import Intake
from coldsift.schema import CHANNELS

Key = tuple[str, datetime]
SAME = 1e-5
"""Readings nearer than this, in share of themselves, are one reading written twice."""
EXACT = 0.02
"""Share of the last digit written by which a reading may be off: 32-bit floats, and printed factors."""
FRAGMENT = 4000
"""Characters that are kept of a line set aside."""


@dataclass(slots=True)
class Account:
    """What must become of the lines of one file: numbers of lines, and readings as line and channel."""

    used: set[int] = field(default_factory=set)
    merged: set[int] = field(default_factory=set)
    aside: set[int] = field(default_factory=set)
    told: set[tuple[int, str]] = field(default_factory=set)


@dataclass(slots=True)
class Entry:
    """A row of the common log as it must be."""

    file: int
    row: int
    cells: dict[str, Cell]


@dataclass(slots=True)
class Audit:
    """What was compared, and every difference in words.

    Attributes
    ----------
    lines, used, merged, set_aside
        Lines of all files, and what became of those of their bodies, by the writer's books.
    values
        Readings and gaps of the common log that were held against what was written.
    lost
        Lines that are not where they must be.
    off
        Readings that are not what was written.
    """

    lines: int = 0
    used: int = 0
    merged: int = 0
    set_aside: int = 0
    values: int = 0
    lost: list[str] = field(default_factory=list)
    off: list[str] = field(default_factory=list)


def fingerprint(intake: Intake) -> bytes:
    """All that intake hands on, as bytes."""
    written = io.BytesIO()
    for frame in (intake.log, intake.set_aside):
        frame.write_ipc(written, compression="uncompressed")
    return written.getvalue() + repr((intake.sources, intake.messages)).encode()


def same(one: Value, other: Value) -> bool:
    """Whether two readings are one and the same, unit conversion aside."""
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= SAME * (1 + abs(other))
    return one == other


def reckon(files: Sequence[Written]) -> tuple[dict[Key, Entry], list[Account]]:
    """The common log and the accounts that files must give, in the order that intake gives them."""
    log: dict[Key, Entry] = {}
    accounts = [Account() for _ in files]
    for at, file in enumerate(files):
        account = accounts[at]
        for number, line in enumerate(file.lines, 1):
            if line.fate == "aside":
                account.aside.add(number)
            elif line.fate == "row":
                account.told |= {(number, name) for name, cell in line.cells.items() if cell.told}
        rows = _of_tags(file.lines, account) if file.form.tagged else _of_rows(file.lines)
        for key, numbers, cells in rows:
            first = log.setdefault(key, Entry(at, numbers[0], {}))
            if first.file == at and first.row == numbers[0]:
                first.cells |= cells
                account.used |= set(numbers)
            elif _at_odds(first.cells, cells):
                account.aside |= set(numbers)
            else:
                first.cells |= {
                    name: cell for name, cell in cells.items() if _value(first.cells, name) is None
                }
                account.merged |= set(numbers)
    return log, accounts


def _value(cells: Mapping[str, Cell], name: str) -> Value:
    return cells[name].value if name in cells else None


def _at_odds(kept: Mapping[str, Cell], cells: Mapping[str, Cell]) -> bool:
    return any(
        cell.value is not None and _value(kept, name) is not None and not same(cell.value, _value(kept, name))
        for name, cell in cells.items()
    )


def _of_rows(lines: Sequence[Line]) -> list[tuple[Key, list[int], dict[str, Cell]]]:
    return [
        ((line.container, line.time), [number], dict(line.cells))
        for number, line in enumerate(lines, 1)
        if line.fate == "row"
    ]


def _of_tags(lines: Sequence[Line], account: Account) -> list[tuple[Key, list[int], dict[str, Cell]]]:
    """Rows put together of lines; of the lines for one reading the first counts that holds one."""
    readings: dict[tuple[Key, str], list[tuple[int, Cell]]] = {}
    for number, line in enumerate(lines, 1):
        if line.fate == "row":
            ((name, cell),) = line.cells.items()
            readings.setdefault(((line.container, line.time), name), []).append((number, cell))
    rows: dict[Key, tuple[list[int], dict[str, Cell]]] = {}
    for (key, name), found in readings.items():
        first, cell = next((entry for entry in found if entry[1].text not in EMPTY), found[0])
        numbers, cells = rows.setdefault(key, ([], {}))
        numbers.append(first)
        cells[name] = cell
        for number, other in found:
            if number != first:
                account.told.discard((number, name))
                repeats = other.text in EMPTY or other.text == cell.text
                (account.merged if repeats else account.aside).add(number)
    return [(key, sorted(numbers), cells) for key, (numbers, cells) in rows.items()]


def audit(files: Sequence[Written], intake: Intake) -> Audit:
    """Hold what intake made of files against the writer's books.

    Parameters
    ----------
    files
        In the order of the paths that intake shows, one source each.
    intake
        Of all of them.
    """
    log, accounts = reckon(files)
    found = Audit(
        lines=sum(len(file.lines) for file in files),
        used=sum(len(account.used) for account in accounts),
        merged=sum(len(account.merged) for account in accounts),
        set_aside=sum(len(account.aside) for account in accounts),
    )
    if len(intake.sources) != len(files):
        found.lost.append(f"{len(files)} files gave {len(intake.sources)} sources")
        return found
    ids = [source.id for source in intake.sources]
    for at, file in enumerate(files):
        _audit_file(found, file, accounts[at], intake, at)
    _audit_log(found, files, log, intake, ids)
    return found


def _audit_file(found: Audit, file: Written, account: Account, intake: Intake, at: int) -> None:
    source = intake.sources[at]
    fates = [line.fate for line in file.lines]
    wanted = {
        "layout": file.layout,
        "lines": len(fates),
        "heading_lines": fates.count("heading"),
        "fact_lines": fates.count("fact"),
        "blank_lines": fates.count("blank"),
        "rows": fates.count("row") + fates.count("aside"),
        "used": len(account.used),
        "merged": len(account.merged),
        "set_aside": len(account.aside),
        "truncated": file.cut,
    }
    for name, value in wanted.items():
        if getattr(source, name) != value:
            found.lost.append(f"{file.name}: {name} is {getattr(source, name)}, not {value}")
    aside = intake.set_aside.filter(pl.col("source") == source.id)
    if aside["reason"].null_count() or (aside["reason"].str.strip_chars() == "").any():
        found.lost.append(f"{file.name}: set aside without a reason")
    whole = aside.filter(pl.col("channel").is_null())
    if sorted(whole["row"].to_list()) != sorted(account.aside):
        found.lost.append(f"{file.name}: set aside are {whole['row'].to_list()}, not {sorted(account.aside)}")
    elif file.form.is_text:
        for row, text in whole.select("row", "text").iter_rows():
            written = file.lines[row - 1].text.replace("\0", "\u2400")
            if text != written[:FRAGMENT]:
                found.lost.append(f"{file.name} line {row}: set aside as {text!r}, not {written!r}")
    readings = aside.filter(pl.col("channel").is_not_null()).select("row", "channel").rows()
    if sorted(readings) != sorted(account.told):
        found.off.append(
            f"{file.name}: readings listed and not to be {sorted(set(readings) - account.told)}, "
            f"to be and not {sorted(account.told - set(readings))}"
        )


def _audit_log(
    found: Audit, files: Sequence[Written], log: Mapping[Key, Entry], intake: Intake, ids: Sequence[str]
) -> None:
    rows = {(row["container"], row["time"]): row for row in intake.log.iter_rows(named=True)}
    if len(rows) != intake.log.height:
        found.lost.append("a container has a time twice in the common log")
    for key in log.keys() ^ rows.keys():
        found.lost.append(f"{key} is {'missing in' if key in log else 'too many in'} the common log")
    for key in log.keys() & rows.keys():
        entry, row = log[key], rows[key]
        if (row["source"], row["row"]) != (ids[entry.file], entry.row):
            found.lost.append(f"{key} is of line {row['row']}, not of line {entry.row}")
        for name in CHANNELS:
            found.values += 1
            logged, wanted = row[name], entry.cells.get(name)
            if not _is_right(logged, wanted):
                written = files[entry.file].lines[entry.row - 1].text
                found.off.append(f"{key} {name} is {logged!r}, not {wanted} ({written})")


def _is_right(logged: object, cell: Cell | None) -> bool:
    wanted = cell.value if cell is not None else None
    if isinstance(wanted, float) and isinstance(logged, float):
        assert cell is not None
        return abs(logged - wanted) <= EXACT * abs(cell.step) + 2e-7 * abs(wanted)
    return (tuple(logged) if isinstance(logged, list) else logged) == wanted
