"""How well a layout fits a file: a score with reasons, and where heading, facts and columns are.

Goes in: a grid and a layout. Comes out: a :class:`Fit`, 0 to 100, which also says how to read the body.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from coldsift import container_numbers
from coldsift.intake import times
from coldsift.intake.declaration import GENERIC, SHARE_WORDS, ColumnRule, Form, Layout
from coldsift.intake.grids import HEAD_ROWS, Grid, RecordGrid, TextGrid, split_line
from coldsift.intake.headings import meaning, spelled, split_heading
from coldsift.intake.units import UnitOfMeasure, parse_unit
from coldsift.schema import CHANNELS, Channel, Quantity

GENERIC_PRIOR = 0.8
"""A layout that was declared for a file beats the reader by trade words on the same evidence."""
SAMPLE = 12
"""Rows behind the heading that are looked at."""
DELIMITERS = (",", ";", "\t", "|")
_POINT, _COMMA = r"[+-]?\d*\.?\d+(e[+-]?\d+)?", r"[+-]?\d*,?\d+"
_NUMBER = {
    ".": re.compile(_POINT, re.IGNORECASE),
    ",": re.compile(_COMMA),
    None: re.compile(f"{_POINT}|{_COMMA}", re.IGNORECASE),
}
_DIGIT = re.compile(r"\d")
_KINDS = {
    "text": ("delimited", "fixed_width"),
    "cells": ("workbook",),
    "parquet": ("parquet",),
    "json": ("json_lines",),
}

_FORM_OF: dict[str, Form] = {
    "text": "delimited",
    "cells": "workbook",
    "parquet": "parquet",
    "json": "json_lines",
}


@dataclass(frozen=True, slots=True)
class ColumnPlan:
    """What one column of the file is read as."""

    index: int
    heading: str
    channel: Channel
    unit: UnitOfMeasure | None
    words: dict[str, float]


@dataclass(frozen=True, slots=True)
class Plan:
    """Which column is what.

    Attributes
    ----------
    width
        Columns of the file.
    time, container, tag, value, unit
        Column indices; ``time`` has one, or date and clock.
    columns
        Wide tables: the channels.
    tags
        Tag-value tables: rule by tag, as spelled by :func:`coldsift.intake.headings.spelled`.
    unknown
        Headings that mean nothing here.
    heading_zone
        Zone that the time heading names.
    differing_units
        Headings whose unit in the file is not the declared one.
    """

    width: int
    time: tuple[int, ...]
    container: int | None
    columns: tuple[ColumnPlan, ...] = ()
    tag: int | None = None
    value: int | None = None
    unit: int | None = None
    tags: dict[str, ColumnRule] = field(default_factory=dict)
    unknown: tuple[str, ...] = ()
    doubled: tuple[str, ...] = ()
    heading_zone: str | None = None
    differing_units: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fit:
    """A layout tried on a file.

    Attributes
    ----------
    layout
        For the generic reader: the layout as guessed from the headings.
    score
        0 does not fit at all, 100 fits in every point.
    reasons
        In words, for ``coldsift layout try``.
    heading
        Row of the heading from 0; the body begins ``heading_rows`` behind it.
    """

    layout: Layout
    score: float
    reasons: tuple[str, ...]
    heading: int = -1
    heading_rows: int = 1
    delimiter: str = ""
    encoding: str | None = None
    plan: Plan | None = None
    facts: dict[str, str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Name of the layout."""
        return self.layout.name


def fit(layout: Layout, grid: Grid, count: int = HEAD_ROWS) -> Fit:
    """Try a declared layout on a grid.

    Parameters
    ----------
    layout
        The declaration.
    grid
        The file.
    count
        Rows of a text that are looked at.

    Returns
    -------
    Fit
        Score 0 and the reason when it cannot be read this way.
    """
    if layout.form not in _KINDS[grid.kind]:
        return Fit(layout, 0, (f"the file is {_kind_in_words(grid)}, the layout is {layout.form}",))
    rows, delimiter = _rows(layout, grid, count)
    heading = _find_heading(layout, rows)
    if heading is None:
        wanted = " and ".join(layout.time_columns)
        return Fit(layout, 0, (f"no heading row with {wanted} and a known column",))
    names = rows[heading]
    units = rows[heading + 1] if layout.heading_rows == 2 and heading + 1 < len(rows) else []
    plan = _plan(layout, names, units)
    facts = _facts(rows[:heading], layout, grid)
    body = rows[heading + layout.heading_rows :]
    return _score(layout, names, plan, body, facts, heading, delimiter)


def heading_of(grid: Grid, found: Fit) -> list[str]:
    """The row of a grid that a fit, found on another one, takes for the heading; empty without one."""
    if found.layout.form not in _KINDS[grid.kind]:
        return []
    if isinstance(grid, TextGrid) and found.layout.form == "delimited":
        lines = grid.lines(found.encoding)
        if found.heading >= len(lines.starts):
            return []
        return split_line(lines.text(found.heading), found.delimiter)
    rows, _ = _rows(found.layout, grid, found.heading + 1)
    return rows[found.heading] if found.heading < len(rows) else []


def _kind_in_words(grid: Grid) -> str:
    return {"text": "text", "cells": "a worksheet", "parquet": "Parquet", "json": "JSON lines"}[grid.kind]


def again(found: Fit, grid: Grid) -> Fit:
    """A fit tried on another grid, by as many rows as can tell the same."""
    is_wide = found.plan is not None and found.plan.tag is None
    count = found.heading + found.heading_rows + SAMPLE if is_wide else HEAD_ROWS
    if found.name == GENERIC:
        return fit_generic(grid, (found.delimiter,), count)
    return fit(found.layout, grid, count)


def _rows(layout: Layout, grid: Grid, count: int) -> tuple[list[list[str]], str]:
    if not isinstance(grid, TextGrid):
        return grid.head(), ""
    if layout.form == "fixed_width":
        lines = grid.lines(layout.encoding)
        return [cut(lines.text(index), layout) for index in range(min(count, len(lines.starts)))], ""
    delimiter = layout.delimiter or ","
    return grid.head(layout.encoding, delimiter, count), delimiter


def cut(line: str, layout: Layout) -> list[str]:
    """The fields of one fixed-width line."""
    return [line[place.start - 1 : place.start - 1 + place.width].strip() for place in layout.fields]


def _find_heading(layout: Layout, rows: Sequence[Sequence[str]]) -> int | None:
    needed = [{spelled(name)} for name in layout.time_columns]
    if layout.shape == "tag_value":
        needed += [{spelled(name) for name in names} for names in (layout.tag_columns, layout.value_columns)]
        wanted: set[str] = set()
    else:
        wanted = {spelled(heading) for rule in layout.columns for heading in rule.headings}
    fewest = 1 if layout.form == "fixed_width" else 2
    for index, row in enumerate(rows):
        if len(row) < fewest or _is_data(row):
            continue
        cells = {spelled(cell) for cell in row} | {spelled(split_heading(cell)[0]) for cell in row}
        if all(group & cells for group in needed) and (not wanted or wanted & cells):
            return index
    return None


def _is_data(row: Sequence[str]) -> bool:
    """True when most cells begin like numbers, which headings do not; saves looking at each of them."""
    begins = "".join([cell.lstrip()[:1] for cell in row])
    return 2 * sum(map(_DIGITS.__contains__, begins)) > len(begins)


_DIGITS = frozenset("0123456789+-.")


def _index(names: Sequence[str], wanted: Sequence[str]) -> int | None:
    """Where one of the wanted headings stands, spelled whole or without its unit."""
    targets = {spelled(name) for name in wanted}
    for index, name in enumerate(names):
        if spelled(name) in targets:
            return index
    for index, name in enumerate(names):
        if spelled(split_heading(name)[0]) in targets:
            return index
    return None


def _plan(layout: Layout, names: Sequence[str], units: Sequence[str]) -> Plan:
    time = tuple(index for name in layout.time_columns if (index := _index(names, [name])) is not None)
    container = _index(names, layout.container_columns)
    tag, value, unit = (
        _index(names, wanted) for wanted in (layout.tag_columns, layout.value_columns, layout.unit_columns)
    )
    keys = {*time, container, tag, value, unit} - {None}
    heading_zone = next(
        (zone for index in time if (zone := times.zone_of(split_heading(names[index])[1]))), None
    ) or next((zone for index in time if index < len(units) and (zone := times.zone_of(units[index]))), None)
    if heading_zone is None and any(re.search(r"\butc\b", names[index], re.IGNORECASE) for index in time):
        heading_zone = "UTC"
    rules = {spelled(heading): rule for rule in layout.columns for heading in rule.headings}
    common = {
        "width": len(names),
        "time": time,
        "container": container,
        "heading_zone": heading_zone,
    }
    ignored = {spelled(name) for name in layout.ignore}
    if layout.shape == "tag_value":
        others = [
            name.strip()
            for index, name in enumerate(names)
            if index not in keys and name.strip() and spelled(name) not in ignored
        ]
        return Plan(**common, tag=tag, value=value, unit=unit, tags=rules, unknown=tuple(others))  # type: ignore[arg-type]
    columns: dict[str, ColumnPlan] = {}
    unknown: list[str] = []
    doubled: list[str] = []
    differing: list[str] = []
    for index, name in enumerate(names):
        if index in keys or not name.strip() or spelled(name) in ignored:
            continue
        bare, unit_word = split_heading(name)
        rule = rules.get(spelled(name)) or rules.get(spelled(bare))
        if rule is None:
            unknown.append(name.strip())
            continue
        if rule.channel in columns:
            doubled.append(name.strip())
            continue
        channel = CHANNELS[rule.channel]
        in_file = parse_unit(unit_word) or (parse_unit(units[index]) if index < len(units) else None)
        declared = parse_unit(rule.unit)
        if in_file and channel.quantity not in in_file.scales:
            in_file = None
        if in_file and declared and in_file.reads_unknown_pressure:
            in_file = None if in_file.scales == declared.scales else in_file
        if (
            in_file
            and declared
            and (in_file.scales, in_file.reference)
            != (
                declared.scales,
                declared.reference,
            )
        ):
            differing.append(f"{name.strip()} ({in_file.symbol}, declared {declared.symbol})")
        columns[rule.channel] = ColumnPlan(
            index, name.strip(), channel, in_file or declared, dict(rule.words) or _share_words(channel)
        )
    return Plan(
        **common,  # type: ignore[arg-type]
        columns=tuple(columns.values()),
        unknown=tuple(unknown),
        doubled=tuple(doubled),
        differing_units=tuple(differing),
    )


def _share_words(channel: Channel) -> dict[str, float]:
    return dict(SHARE_WORDS) if channel.quantity is Quantity.SHARE else {}


def _facts(rows: Sequence[Sequence[str]], layout: Layout, grid: Grid) -> dict[str, str]:
    """Preamble lines as key and value; a cell boundary divides as well as the separator does."""
    if isinstance(grid, RecordGrid):
        return dict(grid.facts)
    facts: dict[str, str] = {}
    for row in rows:
        cells = [cell.strip() for cell in row if cell.strip()]
        if not cells:
            continue
        key, mark, value = cells[0].partition(layout.fact_separator)
        if mark and (value.strip() or len(cells) == 1):
            facts.setdefault(key.strip(), value.strip())
        elif len(cells) > 1:
            facts.setdefault(key.strip(), cells[1])
    return facts


def fact(facts: dict[str, str], key: str | None) -> str | None:
    """A fact by its key, case and blanks evened out."""
    if key is None:
        return None
    return next((value for name, value in facts.items() if spelled(name) == spelled(key)), None)


def _score(
    layout: Layout,
    names: Sequence[str],
    plan: Plan,
    body: Sequence[Sequence[str]],
    facts: dict[str, str],
    heading: int,
    delimiter: str,
) -> Fit:
    reasons: list[str] = []
    filled = [name for name in names if name.strip()]
    # What a tag-value table has beside its readings does not tell whose it is.
    known = len(filled) - len(plan.doubled) - (len(plan.unknown) if plan.tag is None else 0)
    known_share = known / max(1, len(filled))
    sample = [row for row in body[:SAMPLE] if len(row) == plan.width]
    if plan.tag is not None:
        tags = {spelled(row[plan.tag]) for row in body if len(row) == plan.width}
        known_tags = len(tags & set(plan.tags))
        known_share *= known_tags / max(1, len(tags))
        reasons.append(f"{known_tags} of {len(tags)} tags known")
    else:
        reasons.append(f"{known} of {len(filled)} headings known")
    if plan.unknown:
        reasons.append(f"not known: {', '.join(plan.unknown[:5])}")
    clocks = [" ".join(row[at].strip() for at in plan.time) for row in sample]
    readable = times.count_readable(clocks, layout.time_format, layout.date_order)
    time_share = readable / max(1, len(sample))
    reasons.append(f"time read in {readable} of the first {len(sample)} rows")
    number_share = _number_share(layout, plan, sample)
    reasons.append(f"{number_share:.0%} of the readings are numbers as declared")
    wanted = [
        key
        for key in (
            layout.container_fact,
            layout.zone_fact,
            layout.refrigerant_fact,
            *(rule.key for rule in layout.facts),
        )
        if key
    ]
    met = sum(fact(facts, key) is not None for key in wanted)
    if wanted:
        reasons.append(f"{met} of {len(wanted)} preamble facts found")
    fact_share = met / len(wanted) if wanted else 1.0
    if layout.container_columns and plan.container is None:
        fact_share *= 0.5
        reasons.append("no container column")
    units_share = 1.0
    if plan.differing_units:
        units_share = 0.0
        reasons.append(f"other units than declared: {', '.join(plan.differing_units[:3])}")
    if layout.heading_rows == 2 and not any(column.unit for column in plan.columns):
        units_share = 0.0
        reasons.append("no row of units under the heading")
    score = 50 * known_share + 20 * time_share + 10 * number_share + 10 * fact_share + 10 * units_share
    if known_share == 0 or not (plan.columns or plan.tags):
        score = 0.0
    return Fit(
        layout,
        round(score, 1),
        tuple(reasons),
        heading,
        layout.heading_rows,
        delimiter,
        layout.encoding,
        plan,
        facts,
    )


def _number_share(layout: Layout, plan: Plan, sample: Sequence[Sequence[str]]) -> float:
    decimal = layout.decimal or (None if layout.form in ("parquet", "json_lines", "workbook") else ".")
    if plan.tag is not None and plan.value is not None:
        cells = [row[plan.value] for row in sample if not re.search("[A-Za-z]", row[plan.value])]
    else:
        measured = [
            column.index for column in plan.columns if not column.channel.is_state and not column.words
        ]
        cells = [row[index] for row in sample for index in measured]
    cells = [cell for cell in cells if _DIGIT.search(cell)]
    if not cells:
        return 0.5
    is_number = _NUMBER[decimal].fullmatch
    return sum(is_number(cell.strip()) is not None for cell in cells) / len(cells)


# ------------------------------------------------------------------------------------------ generic reader


def fit_generic(grid: Grid, delimiters: Sequence[str] = DELIMITERS, count: int = HEAD_ROWS) -> Fit:
    """Read a file by the trade's words in its headings.

    Parameters
    ----------
    grid
        The file.
    delimiters
        Those that are tried on a text.
    count
        Rows of a text that are looked at.

    Returns
    -------
    Fit
        Its layout is the one guessed; score 0 when no row of headings can be made out.
    """
    best = Fit(Layout(GENERIC), 0, ("no row of headings in the trade's words with a time column",))
    for delimiter in delimiters if isinstance(grid, TextGrid) else ("",):
        rows = grid.head(None, delimiter, count) if isinstance(grid, TextGrid) else grid.head()
        guess = _guess(rows, delimiter, grid)
        if guess is None:
            continue
        layout, heading = guess
        units = rows[heading + 1] if layout.heading_rows == 2 else []
        plan = _plan(layout, rows[heading], units)
        facts = _facts(rows[:heading], layout, grid)
        body = rows[heading + layout.heading_rows :]
        found = _score(layout, rows[heading], plan, body, facts, heading, delimiter)
        found = replace(found, score=round(found.score * GENERIC_PRIOR, 1), encoding=None)
        if found.score > best.score:
            best = found
    return best


def _guess(rows: Sequence[Sequence[str]], delimiter: str, grid: Grid) -> tuple[Layout, int] | None:
    for index, row in enumerate(rows):
        if len(row) < 2 or _is_data(row):
            continue
        means = [meaning(split_heading(cell)[0]) if cell.strip() else None for cell in row]
        following = rows[index + 1 : index + 1 + SAMPLE]
        is_long = "[tag]" in means and "[value]" in means
        if not is_long and not any(mean in CHANNELS for mean in means):
            continue
        means = by_content(means, following)
        if not ({"[time]", "[date]"} & set(means)):
            continue
        if is_long:
            return _guess_tags(row, means, following, delimiter, rows, grid), index
        return _guess_wide(row, means, following, delimiter, grid), index
    return None


def by_content(means: Sequence[str | None], following: Sequence[Sequence[str]]) -> list[str | None]:
    """Meanings of columns, time and container found by what stands below where no heading names them."""
    found = list(means)
    body = [row for row in following if len(row) == len(means)][1:]
    for key, fits in (
        ("[time]", lambda cell: ":" in cell and bool(times.formats_of(cell))),
        ("[container]", container_numbers.is_valid),
    ):
        if key in found or (key == "[time]" and "[date]" in found):
            continue
        for at, mean in enumerate(found):
            cells = [row[at] for row in body if row[at].strip()]
            if mean is None and cells and sum(map(fits, cells)) >= 0.8 * len(cells):
                found[at] = key
                break
    return found


def _key_columns(row: Sequence[str], means: Sequence[str | None], key: str) -> tuple[str, ...]:
    return tuple(name.strip() for name, mean in zip(row, means, strict=True) if mean == key)


def _guess_wide(
    row: Sequence[str],
    means: Sequence[str | None],
    following: Sequence[Sequence[str]],
    delimiter: str,
    grid: Grid,
) -> Layout:
    rules: dict[str, ColumnRule] = {}
    for name, mean in zip(row, means, strict=True):
        if mean is not None and mean in CHANNELS and mean not in rules:
            rules[mean] = ColumnRule((name.strip(),), mean)
    measured = [at for at, mean in enumerate(means) if mean in CHANNELS and not CHANNELS[str(mean)].is_state]
    return Layout(
        name=GENERIC,
        form=_FORM_OF[grid.kind],
        delimiter=delimiter or None,
        decimal=_guess_decimal(following, measured, delimiter),
        heading_rows=2 if _is_unit_row(following, means) else 1,
        time_columns=_guess_time(row, means),
        container_columns=_key_columns(row, means, "[container]")[:1],
        columns=tuple(rules.values()),
    )


def _guess_time(row: Sequence[str], means: Sequence[str | None]) -> tuple[str, ...]:
    times_, dates, clocks = (_key_columns(row, means, key) for key in ("[time]", "[date]", "[clock]"))
    if dates and (times_ or clocks):
        return (dates[0], (clocks or times_)[0])
    return ((times_ or dates)[0],)


def _guess_decimal(rows: Sequence[Sequence[str]], measured: Sequence[int], delimiter: str) -> str:
    if delimiter == ",":
        return "."
    cells = [row[at].strip() for row in rows for at in measured if at < len(row)]
    commas = sum(bool(re.fullmatch(r"[+-]?\d+,\d+", cell)) for cell in cells)
    points = sum(bool(re.fullmatch(r"[+-]?\d+\.\d+", cell)) for cell in cells)
    return "," if commas > points else "."


def _is_unit_row(following: Sequence[Sequence[str]], means: Sequence[str | None]) -> bool:
    if not following or len(following[0]) != len(means):
        return False
    cells = [
        cell.strip().strip("[]()") for cell, mean in zip(following[0], means, strict=True) if mean in CHANNELS
    ]
    units = sum(parse_unit(cell) is not None for cell in cells)
    return units >= 1 and units + cells.count("") + cells.count("-") == len(cells)


def _guess_tags(
    row: Sequence[str],
    means: Sequence[str | None],
    following: Sequence[Sequence[str]],
    delimiter: str,
    rows: Sequence[Sequence[str]],
    grid: Grid,
) -> Layout:
    tag = next(at for at, mean in enumerate(means) if mean == "[tag]")
    value = next(at for at, mean in enumerate(means) if mean == "[value]")
    units = _key_columns(row, means, "[unit]")
    containers = _key_columns(row, means, "[container]")
    if not units and len(containers) == 1 and spelled(containers[0]) == "unit":
        at = next(at for at, name in enumerate(row) if spelled(name) == "unit")
        cells = [line[at] for line in following if len(line) > at and line[at].strip()]
        if cells and all(parse_unit(cell) for cell in cells):
            units, containers = containers, ()
    elif not units and len(containers) > 1 and "unit" in map(spelled, containers):
        units = tuple(name for name in containers if spelled(name) == "unit")
        containers = tuple(name for name in containers if spelled(name) != "unit")
    return Layout(
        name=GENERIC,
        form=_FORM_OF[grid.kind],
        shape="tag_value",
        delimiter=delimiter or None,
        decimal=_guess_decimal(following, [value], delimiter),
        time_columns=_guess_time(row, means),
        container_columns=containers[:1],
        tag_columns=(row[tag].strip(),),
        value_columns=(row[value].strip(),),
        unit_columns=units[:1],
        columns=tuple(_tag_rules(rows, tag)),
    )


def _tag_rules(rows: Sequence[Sequence[str]], tag: int) -> list[ColumnRule]:
    rules = {}
    for row in rows:
        if len(row) > tag and (name := row[tag].strip()) and name not in rules:
            mean = meaning(split_heading(name)[0])
            if mean is not None and mean in CHANNELS:
                rules[name] = ColumnRule((name,), mean, split_heading(name)[1])
    # A tag may first come after the rows looked at here, so the channels' own words are listed too.
    seen = {spelled(name) for name in rules}
    for channel in CHANNELS.values():
        words = tuple(
            word
            for word in (channel.name, channel.name.replace("_", " "), *channel.words)
            if spelled(word) not in seen
        )
        seen |= {spelled(word) for word in words}
        if words:
            rules[f" {channel.name}"] = ColumnRule(words, channel.name)
    return list(rules.values())
