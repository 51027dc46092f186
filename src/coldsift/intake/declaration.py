"""A log layout as declared in ``layout.toml``: what may be said, and nothing else.

Goes in: the text of a declaration. Comes out: a :class:`Layout`. A declaration cannot run code; a key that is
not known is refused by name, so that a slip of the pen never passes for a setting.
"""

from __future__ import annotations

import functools
import hashlib
import math
import re
import stat
import tomllib
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, cast

import polars as pl

from coldsift.intake.times import zone_of
from coldsift.intake.units import parse_unit
from coldsift.schema import CHANNELS, Quantity

Form = Literal["delimited", "fixed_width", "workbook", "parquet", "json_lines"]
Shape = Literal["wide", "tag_value"]
FORMS = ("delimited", "fixed_width", "workbook", "parquet", "json_lines")
SHAPES = ("wide", "tag_value")

ON_WORDS = ("on", "1", "yes", "true", "high", "active", "running", "open", "x")
OFF_WORDS = ("off", "0", "no", "false", "low", "inactive", "stopped", "closed", "standby")
SHARE_WORDS: Mapping[str, float] = MappingProxyType(
    {"high": 100, "on": 100, "open": 100, "low": 50, "off": 0, "closed": 0}
)
EMPTY_WORDS = ("", "null", "none", "nan", "n/a", "na")
SENTINELS = (-999.0, -999.9, -9999.0, 3276.7, -3276.8, 32767.0, -32768.0)

MOST_BYTES = 1_000_000
"""Of one declaration."""
WIDEST = 100_000
"""Last character of a fixed-width line that a field may begin at, and its greatest width."""
_FEW = 5
"""So many unknown keys are named."""


class DeclarationError(ValueError):
    """A declaration says something that is not known or not possible."""


@dataclass(frozen=True, slots=True)
class ColumnRule:
    """One column (or tag) of a layout.

    Attributes
    ----------
    headings
        Spellings of the heading or tag.
    channel
        Channel of the common log.
    unit
        As a heading would say it; None when the file says it or the channel has none.
    words
        Words in place of numbers, lower case.
    """

    headings: tuple[str, ...]
    channel: str
    unit: str | None = None
    words: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Field:
    """Place of a field in a fixed-width line, start counted from 1."""

    heading: str
    start: int
    width: int


@dataclass(frozen=True, slots=True)
class FactRule:
    """A preamble line that stands for a column, such as the set point."""

    key: str
    channel: str
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class Layout:
    """How one kind of log file is laid out; the keys of ``parsers/README.md``.

    ``origin`` (words) and ``sha256`` of its file say where it comes from; neither shapes what is read.
    """

    name: str
    about: str = ""
    form: Form = "delimited"
    shape: Shape = "wide"
    encoding: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    heading_rows: int = 1
    fields: tuple[Field, ...] = ()
    ignore: tuple[str, ...] = ()
    time_columns: tuple[str, ...] = ()
    time_format: str | None = None
    date_order: str | None = None
    zone: str | None = None
    zone_fact: str | None = None
    container_columns: tuple[str, ...] = ()
    container_fact: str | None = None
    container_pattern: str | None = None
    fact_separator: str = ":"
    facts: tuple[FactRule, ...] = ()
    refrigerant_fact: str | None = None
    tag_columns: tuple[str, ...] = ()
    value_columns: tuple[str, ...] = ()
    unit_columns: tuple[str, ...] = ()
    alarm_separator: str | None = None
    on_words: tuple[str, ...] = ON_WORDS
    off_words: tuple[str, ...] = OFF_WORDS
    empty_words: tuple[str, ...] = EMPTY_WORDS
    sentinels: tuple[float, ...] = SENTINELS
    columns: tuple[ColumnRule, ...] = ()
    origin: str = field(default="", repr=False, compare=False)
    sha256: str = field(default="", repr=False, compare=False)


GENERIC = "generic"

_KEYS: Mapping[str, frozenset[str]] = {
    "layout": frozenset({"name", "about", "form", "shape"}),
    "text": frozenset({"encoding", "delimiter", "decimal", "heading_rows", "ignore"}),
    "field": frozenset({"heading", "start", "width"}),
    "time": frozenset({"columns", "format", "date_order", "zone", "zone_fact"}),
    "container": frozenset({"columns", "fact", "file_name"}),
    "preamble": frozenset({"separator", "refrigerant"}),
    "fact": frozenset({"key", "channel", "unit"}),
    "tags": frozenset({"tag", "value", "unit"}),
    "values": frozenset({"on", "off", "empty", "sentinels", "alarm_separator"}),
    "column": frozenset({"heading", "channel", "unit", "words"}),
}
_LISTS = frozenset({"field", "fact", "column"})


def _check_keys(declared: Mapping[str, Any]) -> None:
    unknown = [f"[{table}]" for table in declared if table not in _KEYS]
    for table, keys in _KEYS.items():
        entries = declared.get(table, [] if table in _LISTS else {})
        if (table in _LISTS) != isinstance(entries, list):
            raise DeclarationError(
                f"[{table}] must be written {'[[' + table + ']]' if table in _LISTS else '[' + table + ']'}"
            )
        for entry in entries if isinstance(entries, list) else [entries]:
            if not isinstance(entry, dict):
                raise DeclarationError(f"[{table}] must be a table")
            unknown += [f"{table}.{key}" for key in entry if key not in keys]
    if unknown:
        named = sorted(set(unknown))
        more = f" and {len(named) - _FEW} more" if len(named) > _FEW else ""
        raise DeclarationError(f"keys not known: {', '.join(named[:_FEW])}{more}")


def _strings(value: Any, what: str) -> tuple[str, ...]:
    values = [value] if isinstance(value, str) else value
    if not isinstance(values, list) or not all(isinstance(entry, str) for entry in values):
        raise DeclarationError(f"{what} must be a text or a list of texts")
    return tuple(values)


def _text(table: Mapping[str, Any], key: str, what: str) -> str | None:
    value = table.get(key)
    if value is not None and not isinstance(value, str):
        raise DeclarationError(f"{what} must be a text")
    return value


def _mark(table: Mapping[str, Any], key: str, what: str) -> str | None:
    """What stands between two things: a text, and not an empty one."""
    value = _text(table, key, what)
    if value == "":
        raise DeclarationError(f"{what} must not be empty")
    return value


def _place(entry: Mapping[str, Any], key: str) -> int:
    value = entry.get(key, 0)
    if type(value) is not int or not 0 <= value <= WIDEST:
        raise DeclarationError(f"field.{key} must be a whole number up to {WIDEST}")
    return value


def _numbers(values: Any, what: str) -> tuple[float, ...]:
    if not isinstance(values, list | tuple) or not all(_is_number(value) for value in values):
        raise DeclarationError(f"{what} must be a list of numbers")
    return tuple(float(value) for value in values)


def _is_number(value: Any) -> bool:
    try:
        return isinstance(value, int | float) and math.isfinite(value)
    except OverflowError:
        return False


def _encoding(body: Mapping[str, Any]) -> str | None:
    """A text encoding that any bytes can be read by."""
    name = _text(body, "encoding", "text.encoding")
    if name is None:
        return None
    try:
        with warnings.catch_warnings(action="error"):
            bytes(range(256)).decode(name, errors="replace")
    except (LookupError, ValueError, Warning) as error:
        raise DeclarationError(f"text.encoding {name!r:.60} is no text encoding") from error
    return name


def _pattern(container: Mapping[str, Any]) -> str | None:
    """A regular expression with one group, as Polars has them: linear in the text, whatever it says."""
    pattern = _text(container, "file_name", "container.file_name")
    if pattern is None:
        return None
    try:
        groups = pl.Series([""]).str.extract_groups(pattern).struct.fields
    except pl.exceptions.PolarsError as error:
        why = " ".join(str(error).split())
        raise DeclarationError(
            f"container.file_name is not a regular expression, or one that looks around or back: {why}"
        ) from error
    if len(groups) != 1:
        raise DeclarationError("container.file_name must have one group (...) around the number")
    return pattern


def _one_of(value: Any, allowed: tuple[Any, ...], what: str) -> Any:
    if type(value) is not type(allowed[0]) or value not in allowed:
        raise DeclarationError(f"{what} must be one of {', '.join(map(str, allowed))}, not {value!r:.60}")
    return value


def _unit_of(channel: str, unit: str | None, what: str) -> None:
    if channel not in CHANNELS:
        raise DeclarationError(f"{what}: no channel is called {channel!r:.60}; `coldsift schema` lists them")
    if unit is None:
        return
    parsed = parse_unit(unit)
    if parsed is None:
        raise DeclarationError(f"{what}: unit {unit!r:.60} is not known")
    if CHANNELS[channel].quantity not in parsed.scales:
        raise DeclarationError(f"{what}: {channel} cannot be measured in {unit!r}")


def _column(entry: Mapping[str, Any]) -> ColumnRule:
    headings = _strings(entry.get("heading"), "column.heading")
    if not headings:
        raise DeclarationError("column.heading must name at least one heading")
    channel = str(entry.get("channel", ""))
    what = f"column {headings[0]!r:.60}"
    unit = _text(entry, "unit", f"{what}.unit")
    _unit_of(channel, unit, what)
    words = entry.get("words", {})
    if not isinstance(words, dict) or not all(map(_is_number, words.values())):
        raise DeclarationError(f"{what}: words must be a table of words and numbers")
    return ColumnRule(headings, channel, unit, {key.lower(): float(value) for key, value in words.items()})


def _fact(entry: Mapping[str, Any]) -> FactRule:
    key, channel = str(entry.get("key", "")), str(entry.get("channel", ""))
    unit = _text(entry, "unit", "fact.unit")
    _unit_of(channel, unit, f"fact {key!r:.60}")
    if CHANNELS[channel].quantity in (Quantity.STATE, Quantity.TEXT):
        raise DeclarationError(f"fact {key!r}: only a measurement can be a preamble fact")
    return FactRule(key, channel, unit)


@functools.lru_cache(maxsize=256)
def parse_declaration(text: str, folder_name: str) -> Layout:
    """Read a declaration.

    Parameters
    ----------
    text
        Content of ``layout.toml``.
    folder_name
        Name of its folder; the layout must bear the same name.

    Raises
    ------
    DeclarationError
        Says which key or value is at fault.
    """
    try:
        declared = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise DeclarationError(f"not valid TOML: {error}") from error
    _check_keys(declared)
    head, body = declared.get("layout", {}), declared.get("text", {})
    time, container = declared.get("time", {}), declared.get("container", {})
    preamble, tags, values = (
        declared.get("preamble", {}),
        declared.get("tags", {}),
        declared.get("values", {}),
    )
    name = str(head.get("name", ""))
    if name != folder_name or not re.fullmatch(r"[a-z][a-z0-9_]*", name) or name == GENERIC:
        raise DeclarationError(
            f"layout.name must be the folder's name {folder_name!r:.60} in lower case letters, digits and _"
        )
    form = _one_of(head.get("form", "delimited"), FORMS, "layout.form")
    shape = _one_of(head.get("shape", "wide"), SHAPES, "layout.shape")
    zone = _text(time, "zone", "time.zone")
    if zone is not None and zone_of(zone) is None:
        raise DeclarationError(
            f"time.zone {zone!r:.60} is neither UTC, an offset such as +02:00, nor an IANA name"
        )
    order = _text(time, "date_order", "time.date_order")
    if order is not None:
        _one_of(order, ("day_first", "month_first"), "time.date_order")
    delimiter = _text(body, "delimiter", "text.delimiter")
    if delimiter is not None and (len(delimiter) != 1 or not delimiter.isascii() or delimiter in '"\r\n'):
        raise DeclarationError("text.delimiter must be one ASCII character")
    layout = Layout(
        name=name,
        about=str(head.get("about", "")),
        form=cast(Form, form),
        shape=cast(Shape, shape),
        encoding=_encoding(body),
        delimiter=delimiter,
        decimal=_one_of(body["decimal"], (".", ","), "text.decimal") if "decimal" in body else None,
        heading_rows=_one_of(body.get("heading_rows", 1), (1, 2), "text.heading_rows"),
        fields=tuple(
            Field(str(entry.get("heading", "")), _place(entry, "start"), _place(entry, "width"))
            for entry in declared.get("field", [])
        ),
        ignore=_strings(body.get("ignore", []), "text.ignore"),
        time_columns=_strings(time.get("columns", []), "time.columns"),
        time_format=_text(time, "format", "time.format"),
        date_order=order,
        zone=zone_of(zone),
        zone_fact=_text(time, "zone_fact", "time.zone_fact"),
        container_columns=_strings(container.get("columns", []), "container.columns"),
        container_fact=_text(container, "fact", "container.fact"),
        container_pattern=_pattern(container),
        fact_separator=_mark(preamble, "separator", "preamble.separator") or ":",
        facts=tuple(_fact(entry) for entry in declared.get("fact", [])),
        refrigerant_fact=_text(preamble, "refrigerant", "preamble.refrigerant"),
        tag_columns=_strings(tags.get("tag", []), "tags.tag"),
        value_columns=_strings(tags.get("value", []), "tags.value"),
        unit_columns=_strings(tags.get("unit", []), "tags.unit"),
        alarm_separator=_mark(values, "alarm_separator", "values.alarm_separator"),
        on_words=tuple(w.lower() for w in _strings(values.get("on", list(ON_WORDS)), "values.on")),
        off_words=tuple(w.lower() for w in _strings(values.get("off", list(OFF_WORDS)), "values.off")),
        empty_words=(
            "",
            *(w.lower() for w in _strings(values.get("empty", list(EMPTY_WORDS)), "values.empty")),
        ),
        sentinels=_numbers(values.get("sentinels", SENTINELS), "values.sentinels"),
        columns=tuple(_column(entry) for entry in declared.get("column", [])),
    )
    _check_whole(layout)
    return layout


def _check_whole(layout: Layout) -> None:
    if not layout.time_columns:
        raise DeclarationError(
            "time.columns is missing: name the time column, or the date and the clock column"
        )
    if len(layout.time_columns) > 2:
        raise DeclarationError("time.columns: at most two, the date and the clock")
    if not layout.columns:
        raise DeclarationError("no [[column]] is declared")
    if layout.shape == "tag_value" and not (layout.tag_columns and layout.value_columns):
        raise DeclarationError("a tag_value layout needs tags.tag and tags.value")
    if layout.form == "fixed_width":
        if not layout.fields or any(place.start < 1 or place.width < 1 for place in layout.fields):
            raise DeclarationError(
                "a fixed_width layout needs a [[field]] with start and width for each column"
            )
        missing = set(layout.time_columns) - {place.heading for place in layout.fields}
        if missing:
            raise DeclarationError(f"time.columns {', '.join(sorted(missing))} has no [[field]]")
    seen: set[str] = set()
    for column in layout.columns:
        for heading in column.headings:
            if heading.lower() in seen:
                raise DeclarationError(f"column {heading!r:.60} is declared twice")
            seen.add(heading.lower())


def read_declaration(folder: Path) -> Layout:
    """The declaration in a folder.

    Raises
    ------
    DeclarationError
        When it cannot be read or says something not possible.
    """
    path = folder / "layout.toml"
    try:
        told = path.stat()
        # A pipe or a device would never end.
        if not stat.S_ISREG(told.st_mode) or told.st_size > MOST_BYTES:
            raise DeclarationError(f"it is no file of at most {MOST_BYTES} bytes")
        content = path.read_bytes()
        text = content.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise DeclarationError(f"cannot be read: {error}") from error
    return replace(parse_declaration(text, folder.name), sha256=hashlib.sha256(content).hexdigest())
