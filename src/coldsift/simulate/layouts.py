"""A common log written out as log files, in any layout that coldsift reads.

Goes in: a frame like :data:`coldsift.schema.COMMON_LOG` and which container gets which layout. Comes out:
files. The writer follows the same declarations as the reader (``parsers/NAME/layout.toml``), so a layout is
said once. The same frame gives the same bytes.
"""

from __future__ import annotations

import gzip
import io
import json
import zipfile
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import xlsxwriter

from coldsift.intake.declaration import ColumnRule, Layout, read_declaration
from coldsift.intake.layouts import own_folder
from coldsift.intake.units import parse_unit
from coldsift.schema import CHANNELS, Channel, Quantity

PLAIN_WORDS = "plain_words"
"""No layout at all: headings in the trade's words, for the generic reader."""
SEVERAL_UNITS = frozenset({"tag_value", "fleet_parquet"})
"""Layouts whose one file holds all their units."""
VARIANTS = ("split", "zip", "gzip")
OVERLAP = 0.1
"""Share of the rows that both files of a split unit hold."""
FIXED_DATE = (2020, 1, 1, 0, 0, 0)
"""Date written where a file format wants one; it must not depend on the day of writing."""

_DECIMALS = {
    "°C": 2, "°F": 2, "K": 2, "bar": 3, "kPa": 1, "MPa": 4, "psi": 2, "inHg": 2, "%": 1, "Hz": 2, "V": 1,
    "A": 2, "W": 0, "kW": 3, "m³/h": 1, "ft³/min": 1,
}  # fmt: skip
OFFSET = {"semicolon_preamble": timedelta(hours=2), "workbook": timedelta(hours=-3)}
"""Clock of layouts that name their offset in the preamble."""


def write_logs(log: pl.DataFrame, folder: Path, assignment: Mapping[str, str]) -> list[Path]:
    """Write a common log as log files.

    Parameters
    ----------
    log
        As :data:`coldsift.schema.COMMON_LOG`, without need of ``source`` and ``row``. The rows of a unit are
        written in the order they have here.
    folder
        Made when absent.
    assignment
        Layout by container: a name under ``parsers/`` or ``plain_words``, with variants such as
        ``comma_iso+gzip``, ``comma_iso+split`` (two overlapping files) or ``tag_value+zip``.

    Returns
    -------
    list of pathlib.Path
        The files written, in order of name.

    Raises
    ------
    ValueError
        For a layout or variant that does not exist.
    """
    folder.mkdir(parents=True, exist_ok=True)
    shared: dict[str, list[str]] = {}
    files: dict[str, bytes] = {}
    for container, wanted in sorted(assignment.items()):
        name, *variants = wanted.split("+")
        unknown = set(variants) - set(VARIANTS)
        if unknown:
            raise ValueError(
                f"no such variant: {', '.join(sorted(unknown))}; there are {', '.join(VARIANTS)}"
            )
        if name in SEVERAL_UNITS:
            shared.setdefault(wanted, []).append(container)
        else:
            rows = log.filter(pl.col("container") == container)
            files |= _files(rows, name, variants, container)
    for wanted, containers in shared.items():
        name, *variants = wanted.split("+")
        rows = log.filter(pl.col("container").is_in(containers)).sort("time", "container")
        files |= _files(rows, name, variants, "_".join([name, *variants]))
    paths = []
    for file_name, content in sorted(files.items()):
        path = folder / file_name
        path.write_bytes(content)
        paths.append(path)
    return paths


def _files(rows: pl.DataFrame, name: str, variants: list[str], stem: str) -> dict[str, bytes]:
    layout = plain_words_layout() if name == PLAIN_WORDS else _declared(name)
    parts = {stem: rows}
    if "split" in variants:
        middle, extra = rows.height // 2, max(1, int(rows.height * OVERLAP / 2))
        parts = {f"{stem}_a": rows.head(middle + extra), f"{stem}_b": rows.slice(max(0, middle - extra))}
    written = {f"{part}.{_SUFFIX[layout.form]}": _render(frame, layout) for part, frame in parts.items()}
    if "gzip" in variants:
        written = {f"{file}.gz": _gzip(content) for file, content in written.items()}
    if "zip" in variants:
        written = {f"{stem}.zip": _zip(written)}
    return written


def _declared(name: str) -> Layout:
    place = own_folder() / name
    if not (place / "layout.toml").is_file():
        known = ", ".join(sorted(entry.parent.name for entry in own_folder().glob("*/layout.toml")))
        raise ValueError(f"There is no layout {name!r}. There are: {known}, {PLAIN_WORDS}.")
    return read_declaration(place)


def plain_words_layout() -> Layout:
    """Headings as the trade says them, each with its unit in brackets."""
    columns = []
    for channel in CHANNELS.values():
        unit = "bar g" if channel.quantity is Quantity.PRESSURE else channel.unit
        word = (channel.words[0] if channel.words else channel.label).capitalize()
        heading = f"{word} ({unit})" if unit else word
        columns.append(ColumnRule((heading,), channel.name, unit or None))
    return Layout(
        name=PLAIN_WORDS,
        delimiter=",",
        decimal=".",
        time_columns=("Date and time (UTC)",),
        time_format="%Y-%m-%d %H:%M:%S",
        container_columns=("Container number",),
        alarm_separator="|",
        columns=tuple(columns),
    )


_SUFFIX = {
    "delimited": "csv",
    "fixed_width": "txt",
    "workbook": "xlsx",
    "parquet": "parquet",
    "json_lines": "jsonl",
}


def _gzip(content: bytes) -> bytes:
    return gzip.compress(content, mtime=0)


def _zip(files: Mapping[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content in sorted(files.items()):
            member = zipfile.ZipInfo(name, FIXED_DATE)
            member.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(member, content)
    return buffer.getvalue()


def _render(rows: pl.DataFrame, layout: Layout) -> bytes:
    rules = [rule for rule in layout.columns if _is_logged(rows, rule.channel, layout)]
    render: dict[str, Callable[[pl.DataFrame, Layout, list[ColumnRule]], bytes]] = {
        "delimited": _tags if layout.shape == "tag_value" else _delimited,
        "fixed_width": _fixed_width,
        "workbook": _workbook,
        "parquet": _parquet,
        "json_lines": _json_lines,
    }
    return render[layout.form](rows, layout, rules)


def _is_logged(rows: pl.DataFrame, channel: str, layout: Layout) -> bool:
    if layout.form == "fixed_width":
        return True
    return channel in rows.columns and rows[channel].null_count() < rows.height


def _logged(channel: Channel, rule: ColumnRule) -> pl.Expr:
    """The reading in the layout's unit, rounded as a controller would."""
    unit = parse_unit(rule.unit) or parse_unit(channel.unit)
    assert unit is not None
    scale = unit.to_inside(channel.quantity)
    assert scale is not None
    factor, offset = scale
    return ((pl.col(channel.name) - offset) / factor).round(_decimals(unit.symbol))


def _decimals(symbol: str) -> int:
    word = symbol.split(maxsplit=1)[0].split("(", maxsplit=1)[0]
    return _DECIMALS.get(word, 2)


def _as_text(rule: ColumnRule, layout: Layout) -> pl.Expr:
    channel = CHANNELS[rule.channel]
    column = pl.col(channel.name)
    if channel.name == "alarms":
        return column.list.join(layout.alarm_separator or "|")
    if channel.quantity is Quantity.TEXT:
        return column
    if channel.quantity is Quantity.STATE:
        on, off = layout.on_words[0], layout.off_words[0]
        return pl.when(column).then(pl.lit(on)).when(~column).then(pl.lit(off))
    unit = parse_unit(rule.unit) or parse_unit(channel.unit)
    assert unit is not None
    digits = _decimals(unit.symbol)
    number = _logged(channel, rule)
    # Adding 0.0 turns a rounded -0.0 into 0.0.
    text = (number + 0.0).map_elements(lambda value: f"{value:.{digits}f}", return_dtype=pl.String)
    return text.str.replace(".", ",", literal=True) if layout.decimal == "," else text


def _clock(layout: Layout) -> pl.Expr:
    return (pl.col("time") + OFFSET.get(layout.name, timedelta(0))).dt.replace_time_zone(None)


def _time_texts(layout: Layout) -> list[pl.Expr]:
    form = layout.time_format or "%Y-%m-%dT%H:%M:%SZ"
    forms = form.split(" ", 1) if len(layout.time_columns) == 2 else [form]
    return [
        _clock(layout).dt.strftime(part).alias(name)
        for part, name in zip(forms, layout.time_columns, strict=True)
    ]


def _text_frame(rows: pl.DataFrame, layout: Layout, rules: list[ColumnRule]) -> pl.DataFrame:
    missing = [rule.channel for rule in rules if rule.channel not in rows.columns]
    rows = rows.with_columns(pl.lit(None, dtype=CHANNELS[name].dtype).alias(name) for name in missing)
    container = [pl.col("container").alias(layout.container_columns[0])] if layout.container_columns else []
    return rows.select(
        *_time_texts(layout), *container, *(_as_text(rule, layout).alias(rule.headings[0]) for rule in rules)
    )


def _preamble(rows: pl.DataFrame, layout: Layout) -> list[tuple[str, str]]:
    lines = []
    if layout.container_fact:
        lines.append((layout.container_fact, str(rows["container"][0])))
    if layout.zone_fact:
        minutes = int(OFFSET.get(layout.name, timedelta(0)).total_seconds() // 60)
        sign = "-" if minutes < 0 else "+"
        lines.append((layout.zone_fact, f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"))
    if layout.refrigerant_fact:
        lines.append((layout.refrigerant_fact, "R134a"))
    return lines


def _delimited(rows: pl.DataFrame, layout: Layout, rules: list[ColumnRule]) -> bytes:
    frame = _text_frame(rows, layout, rules)
    delimiter = layout.delimiter or ","
    preamble = "".join(f"{key}{layout.fact_separator} {value}\n" for key, value in _preamble(rows, layout))
    units = ""
    if layout.heading_rows == 2:
        by_heading = {rule.headings[0]: rule.unit or "" for rule in rules}
        units = delimiter.join(
            "UTC" if name in layout.time_columns else by_heading.get(name, "") for name in frame.columns
        )
        units += "\n"
    heading = delimiter.join(frame.columns) + "\n"
    body = frame.write_csv(separator=delimiter, include_header=False)
    return (preamble + ("\n" if preamble else "") + heading + units + body).encode(layout.encoding or "utf-8")


def _tags(rows: pl.DataFrame, layout: Layout, rules: list[ColumnRule]) -> bytes:
    time, container = _time_texts(layout), pl.col("container").alias(layout.container_columns[0])
    order = pl.int_range(pl.len()).alias("at")
    parts = [
        rows.with_columns(order)
        .filter(pl.col(rule.channel).is_not_null())
        .select(
            "at",
            pl.lit(number).alias("number"),
            *time,
            container,
            pl.lit(rule.headings[0]).alias(layout.tag_columns[0]),
            _as_text(rule, layout).alias(layout.value_columns[0]),
            pl.lit(rule.unit or "").alias(layout.unit_columns[0]),
        )
        for number, rule in enumerate(rules)
    ]
    frame = pl.concat(parts).sort("at", "number").drop("at", "number")
    return frame.write_csv(separator=layout.delimiter or ",").encode(layout.encoding or "utf-8")


def _fixed_width(rows: pl.DataFrame, layout: Layout, rules: list[ColumnRule]) -> bytes:
    frame = _text_frame(rows, layout, rules)
    cells = [
        pl.col(place.heading).fill_null("").str.slice(0, place.width - 1).str.pad_end(place.width, " ")
        for place in layout.fields
    ]
    lines = frame.select(pl.concat_str(cells)).to_series().to_list()
    heading = "".join(place.heading.ljust(place.width) for place in layout.fields)
    return ("\n".join([heading, *lines]) + "\n").encode(layout.encoding or "utf-8")


def _workbook(rows: pl.DataFrame, layout: Layout, rules: list[ColumnRule]) -> bytes:
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(
        buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    )
    book.set_properties({"created": datetime(*FIXED_DATE, tzinfo=UTC).replace(tzinfo=None)})
    sheet = book.add_worksheet("Log")
    stamp = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
    preamble = _preamble(rows, layout)
    for at, (key, value) in enumerate(preamble):
        sheet.write_string(at, 0, key)
        sheet.write_string(at, 1, value)
    first = len(preamble) + 1
    headings = [layout.time_columns[0], *(rule.headings[0] for rule in rules)]
    for column, heading in enumerate(headings):
        sheet.write_string(first, column, heading)
    for at, value in enumerate(rows.select(_clock(layout)).to_series(), first + 1):
        sheet.write_datetime(at, 0, value, stamp)
    for column, rule in enumerate(rules, 1):
        channel = CHANNELS[rule.channel]
        cells = rows.select(
            _as_text(rule, layout) if channel.is_state else _logged(channel, rule)
        ).to_series()
        for at, cell in enumerate(cells, first + 1):
            if cell is None:
                continue
            if channel.is_state:
                sheet.write_string(at, column, cell)
            else:
                sheet.write_number(at, column, cell)
    book.close()
    return buffer.getvalue()


def _parquet(rows: pl.DataFrame, layout: Layout, rules: list[ColumnRule]) -> bytes:
    frame = rows.select(
        pl.col("time").alias(layout.time_columns[0]),
        pl.col("container").alias(layout.container_columns[0]),
        *(
            (
                pl.col(rule.channel)
                if CHANNELS[rule.channel].is_state
                else _logged(CHANNELS[rule.channel], rule).cast(pl.Float32)
            ).alias(rule.headings[0])
            for rule in rules
        ),
    )
    buffer = io.BytesIO()
    frame.write_parquet(buffer, compression="zstd", statistics=False)
    return buffer.getvalue()


def _json_lines(rows: pl.DataFrame, layout: Layout, rules: list[ColumnRule]) -> bytes:
    facts = dict(_preamble(rows, layout))
    frame = rows.select(
        *_time_texts(layout),
        *(
            (
                pl.col(rule.channel)
                if CHANNELS[rule.channel].is_state
                else _logged(CHANNELS[rule.channel], rule)
            ).alias(rule.headings[0])
            for rule in rules
        ),
    )
    lines = [json.dumps(facts, ensure_ascii=False)] if facts else []
    lines += [
        json.dumps({key: value for key, value in row.items() if value is not None}, ensure_ascii=False)
        for row in frame.iter_rows(named=True)
    ]
    return ("\n".join(lines) + "\n").encode()
