"""Small invented logs in every layout, sound and spoiled, each with the writer's own books.

Goes in: a source of chance and the name of a form. Comes out: :class:`Written`, the bytes of a file and what
must become of each of its lines. Nothing of intake is used here: a declaration is read as plain TOML, and
units of measure follow their printed factors, so that a slip of the reader does not cancel out.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
import math
import tomllib
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any, Literal

import polars as pl
import xlsxwriter

from coldsift.schema import CHANNELS, Channel, Quantity

PARSERS = Path(__file__).parents[2] / "parsers"
DECLARED = tuple(sorted(place.parent.name for place in PARSERS.glob("*/layout.toml")))
SPOKEN = ("spoken_delimited", "spoken_tags", "spoken_workbook", "spoken_json", "spoken_parquet")
"""Forms that no layout declares: headings in the trade's words, for the generic reader."""
FORMS = (*DECLARED, *SPOKEN)

START = datetime(2026, 4, 28, 22, 0, tzinfo=UTC)
BOXES = ("CSQU3050006", "CSQU3050011", "CSQU3050027", "CSQU3050032")
"""Invented numbers with their right check digits."""
WRONG_DIGIT = "CSQU3050007"
SENTINELS = (-999.0, -999.9, -9999.0, 3276.7, -3276.8, 32767.0, -32768.0)
EMPTY = ("", "n/a", "NULL", "NaN")
"""Cells that say that there is no reading; they need no account."""
ALARMS = ("E12", "E07", "AL 31", "low air flow")
MODES = ("cooling", "defrost", "fan only", "heat, hold", 'say "hold"', "<b>hold</b>", "=1+1", "Kühlen")

Value = float | bool | str | tuple[str, ...] | None
Fate = Literal["heading", "fact", "blank", "aside", "row"]


@dataclass(frozen=True, slots=True)
class Cell:
    """A reading as written, and what the common log must hold for it.

    Attributes
    ----------
    text, typed
        As a text file has it, and as a form with types has it.
    value
        In the inside unit; None where there is no reading to be believed.
    told
        Whether it must be listed among the readings set aside.
    step
        Half of the last digit written, in the inside unit.
    """

    text: str
    typed: Any
    value: Value
    told: bool = False
    step: float = 0.0


@dataclass(frozen=True, slots=True)
class Row:
    """What a controller logs at one time; ``clock`` or ``box`` may be spoiled."""

    box: str
    clock: datetime | str | None
    cells: Mapping[str, Cell]


@dataclass(frozen=True, slots=True)
class Line:
    """One line, worksheet row or record, and what must become of it."""

    fate: Fate
    text: str = ""
    container: str = ""
    time: datetime = START
    cells: Mapping[str, Cell] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Column:
    """A column or tag: heading, channel and unit of measure as written."""

    heading: str
    channel: Channel
    unit: str


@dataclass(frozen=True, slots=True)
class Form:
    """How a file is written; see ``parsers/README.md`` for the words."""

    layout: str
    kind: str
    columns: tuple[Column, ...]
    tagged: bool = False
    encoding: str = "utf-8"
    delimiter: str = ","
    decimal: str = "."
    heading_rows: int = 1
    times: tuple[str, ...] = ()
    time_format: str | None = None
    offset: timedelta = timedelta(0)
    box_column: str | None = None
    facts: tuple[tuple[str, str], ...] = ()
    on_off: tuple[str, str] = ("on", "off")
    alarm_separator: str = "|"
    fields: tuple[tuple[str, int], ...] = ()
    tag_columns: tuple[str, ...] = ()
    box_in_name: bool = False
    bits: int = 64

    @property
    def many_boxes(self) -> bool:
        """Whether a file can hold several containers."""
        return self.box_column is not None

    @property
    def is_text(self) -> bool:
        """Whether a file is lines of text."""
        return self.kind in ("delimited", "fixed_width", "json_lines")


@dataclass(frozen=True, slots=True)
class Written:
    """A file and its books.

    Attributes
    ----------
    name, content, form
        Name and bytes of the file, and how it is written.
    lines
        What must become of each line, from the first on.
    cut
        Whether its end is cut off.
    member
        Its name within the archive, where it is packed in one.
    """

    name: str
    content: bytes
    form: Form
    lines: tuple[Line, ...]
    cut: bool = False
    member: str = ""

    @property
    def shown(self) -> str:
        """Path that intake shows."""
        return f"{self.name}!{self.member}" if self.member else self.name

    @property
    def layout(self) -> str:
        """Name of the layout that must be found."""
        return self.form.layout

    def wrapped(self, how: str) -> Written:
        """The same file as ``gzip`` or ``zip``; as it is when empty."""
        if how == "gzip":
            return replace(self, name=f"{self.name}.gz", content=gzip.compress(self.content, mtime=0))
        if how == "zip":
            packed = io.BytesIO()
            with zipfile.ZipFile(packed, "w") as archive:
                archive.writestr(zipfile.ZipInfo(self.name, (2020, 1, 1, 0, 0, 0)), self.content)
            return replace(self, name=f"{self.name}.zip", content=packed.getvalue(), member=self.name)
        return self


# ------------------------------------------------------------------------------------------ units of measure

_BAR = {"bar": 1.0, "kPa": 0.01, "MPa": 10.0, "psi": 0.06894757, "inHg": 0.03386389}
"""Factors to bar; psi and inHg as NIST SP 811 prints them (from memory)."""
_DIGITS = {
    "°C": 2, "°F": 2, "K": 2, "bar": 3, "kPa": 1, "MPa": 4, "psi": 2, "inHg": 2, "%": 1, "ppm": 0, "Hz": 2,
    "V": 1, "A": 2, "W": 0, "kW": 3, "m³/h": 1, "ft³/min": 1,
}  # fmt: skip
_SPOKEN_UNITS = {
    Quantity.TEMPERATURE: ("°C", "°F", "K"),
    Quantity.TEMPERATURE_DIFFERENCE: ("K", "°F"),
    Quantity.PRESSURE: ("bar a", "bar g", "kPa a", "kPa g", "MPa a", "psi g", "psi a", "inHg a", "inHg g"),
    Quantity.SHARE: ("%", "%", "ppm"),
    Quantity.FREQUENCY: ("Hz",),
    Quantity.VOLTAGE: ("V",),
    Quantity.CURRENT: ("A",),
    Quantity.POWER: ("W", "kW"),
    Quantity.AIR_FLOW: ("m³/h", "ft³/min"),
}


def inside(value: float, unit: str, quantity: Quantity) -> float:
    """A reading in the inside unit, by the printed factors."""
    if quantity is Quantity.TEMPERATURE:
        return {"°C": value, "°F": (value - 32) / 1.8, "K": value - 273.15}[unit]
    if quantity is Quantity.TEMPERATURE_DIFFERENCE:
        return value / 1.8 if unit == "°F" else value
    if quantity is Quantity.PRESSURE:
        name, against = unit.replace("(ü)", " g").split()
        return value * _BAR[name] + (1.01325 if against == "g" else 0.0)
    # 1 ft3/min is 4.719474e-4 m3/s (NIST SP 811, from memory).
    return value * {"kW": 1000.0, "ppm": 1e-4, "ft³/min": 4.719474e-4 * 3600}.get(unit, 1.0)


def _digits(unit: str) -> int:
    return _DIGITS[unit.replace("(ü)", " g").split()[0]]


# ------------------------------------------------------------------------------------------ forms


def form_of(name: str, random: Random) -> Form:
    """How a file of this form is written; of declared layouts, with some of their columns only."""
    return _spoken(name, random) if name in SPOKEN else _declared(name, random)


def _declared(name: str, random: Random) -> Form:
    declared = tomllib.loads((PARSERS / name / "layout.toml").read_text(encoding="utf-8"))
    layout, text, time = declared["layout"], declared.get("text", {}), declared["time"]
    container, values = declared.get("container", {}), declared.get("values", {})
    columns = tuple(
        Column(_first(entry["heading"]), CHANNELS[entry["channel"]], entry.get("unit", ""))
        for entry in declared["column"]
    )
    facts = []
    if "fact" in container:
        facts.append((container["fact"], BOXES[0]))
    offset = timedelta(0)
    if "zone_fact" in time:
        offset = timedelta(hours=random.choice([2, -3]))
        facts.append((time["zone_fact"], "+02:00" if offset > timedelta(0) else "-03:00"))
    if "refrigerant" in declared.get("preamble", {}):
        facts.append((declared["preamble"]["refrigerant"], "R134a"))
    tags = declared.get("tags", {})
    return Form(
        layout=name,
        kind=layout["form"],
        columns=columns if layout["form"] == "fixed_width" else _some(columns, random),
        tagged=layout.get("shape") == "tag_value",
        encoding=text.get("encoding", "utf-8"),
        delimiter=text.get("delimiter", ","),
        decimal=text.get("decimal", "."),
        heading_rows=text.get("heading_rows", 1),
        times=tuple(time["columns"]),
        time_format=time.get("format"),
        offset=offset,
        box_column=_first(container["columns"]) if "columns" in container else None,
        facts=tuple(facts),
        on_off=(_first(values.get("on", "on")), _first(values.get("off", "off"))),
        alarm_separator=values.get("alarm_separator", "|"),
        fields=tuple((entry["heading"], entry["width"]) for entry in declared.get("field", ())),
        tag_columns=tuple(_first(tags[key]) for key in ("tag", "value", "unit") if key in tags),
        box_in_name="file_name" in container,
        bits=random.choice([32, 64]),
    )


def _first(value: str | list[str]) -> str:
    return value if isinstance(value, str) else value[0]


def _some(columns: Sequence[Column], random: Random) -> tuple[Column, ...]:
    """The set point, supply air and some other columns, in the order of the layout."""
    wanted = set(random.sample(range(len(columns)), random.randint(1, 7)))
    always = ("set_point", "supply_air")
    return tuple(column for at, column in enumerate(columns) if at in wanted or column.channel.name in always)


def _spoken(name: str, random: Random) -> Form:
    kind = {"workbook": "workbook", "json": "json_lines", "parquet": "parquet"}.get(
        name.removeprefix("spoken_"), "delimited"
    )
    tagged = name == "spoken_tags"
    delimiter = random.choice([",", ";", "\t", "|"])
    in_brackets = random.choice(["{} ({})", "{} [{}]"])
    heading_rows = random.choice([1, 2]) if name == "spoken_delimited" else 1
    columns = []
    for channel in CHANNELS.values():
        unit = "" if channel.is_state else random.choice(_SPOKEN_UNITS[channel.quantity])
        word = random.choice(channel.words or (channel.label,))
        # In a tag-value table, and over a row of units, the heading does not say its unit.
        heading = in_brackets.format(word, unit) if unit and heading_rows == 1 and not tagged else word
        columns.append(Column(heading, channel, unit))
    times, form = random.choice(
        [
            (("Date and time (UTC)",), "%Y-%m-%d %H:%M:%S"),
            (("Timestamp (UTC)",), "%Y-%m-%dT%H:%M:%SZ"),
            (("Time",), "%Y-%m-%dT%H:%M:%S+02:00"),
            (("Date (UTC)", "Clock"), "%Y-%m-%d %H:%M"),
            (("Logged at (UTC)",), "%Y%m%d%H%M%S"),
        ]
    )
    with_facts = kind in ("delimited", "workbook", "json_lines") and not tagged and random.random() < 0.4
    return Form(
        layout="generic",
        kind=kind,
        columns=_some(columns, random),
        tagged=tagged,
        delimiter=delimiter,
        decimal="," if delimiter == ";" and kind == "delimited" and not tagged else ".",
        heading_rows=heading_rows,
        times=times,
        time_format=form if kind in ("delimited", "json_lines") else None,
        offset=timedelta(hours=2)
        if form.endswith("+02:00") and kind in ("delimited", "json_lines")
        else timedelta(0),
        box_column=None if with_facts else random.choice(["Container", "Container number", "Unit number"]),
        facts=(("Container", BOXES[0]),) if with_facts else (),
        on_off=random.choice([("on", "off"), ("1", "0"), ("yes", "no"), ("Running", "Stopped")]),
        alarm_separator="/" if delimiter == "|" else "|",
        tag_columns=("Tag", "Value", "Unit of measure") if tagged else (),
        bits=random.choice([32, 64]),
    )


# ------------------------------------------------------------------------------------------ readings


def draw_rows(random: Random, form: Form, spoiled: bool) -> list[Row]:
    """Rows in any order; when spoiled, some repeated, completed or at odds, and some with bad keys.

    Parameters
    ----------
    random, form
        The source of chance, and how the rows will be written.
    spoiled
        When false, each container has each time once and every cell is a reading or empty.
    """
    boxes = random.sample(BOXES, random.randint(1, 3)) if form.many_boxes else [BOXES[0]]
    if spoiled and form.many_boxes and random.random() < 0.3:
        boxes.append(random.choice([WRONG_DIGIT, "BOX 12"]))
    keys = [(box, START + k * timedelta(minutes=15)) for box in boxes for k in range(8)]
    rows = [
        Row(box, time, _cells(random, form, spoiled))
        for box, time in random.sample(keys, random.randint(3, 8))
    ]
    if not spoiled:
        return rows
    for _ in range(random.randint(0, 4)):
        rows.append(_changed(random, form, random.choice(rows[:3])))
    random.shuffle(rows)
    # The first rows of a file are sound, so that what it is can be made out.
    for at in range(3, len(rows)):
        rows[at] = _bad_keys(random, form, rows[at])
    return rows


def _cells(random: Random, form: Form, spoiled: bool) -> dict[str, Cell]:
    return {column.channel.name: _cell(random, form, column, spoiled) for column in form.columns}


def _changed(random: Random, form: Form, row: Row) -> Row:
    """A row for the same container and time: the same once more, with other gaps, or at odds."""
    how = random.choice(["same", "gaps", "odds"])
    cells = dict(row.cells)
    for column in random.sample(form.columns, random.randint(1, len(form.columns))) if how != "same" else ():
        empty = Cell("", None, None)
        cells[column.channel.name] = empty if how == "gaps" else _cell(random, form, column, True)
    return replace(row, cells=cells)


def _bad_keys(random: Random, form: Form, row: Row) -> Row:
    chance = random.random()
    if chance < 0.06:
        return replace(row, clock=random.choice(["", "??", "31-31-2026 25:61"]))
    if chance < 0.1:
        return replace(row, clock=datetime(1970, 1, 1, 0, 5, tzinfo=UTC))
    if form.many_boxes and chance < 0.14:
        return replace(row, box=random.choice(["", " "]))
    if form.many_boxes and chance < 0.2:
        return replace(
            row,
            box=f"{row.box[:4].lower()} {row.box[4:10]}-{row.box[10:]}" if len(row.box) == 11 else row.box,
        )
    return row


def _cell(random: Random, form: Form, column: Column, spoiled: bool) -> Cell:
    channel = column.channel
    if random.random() < 0.1:
        return Cell("", None, None)
    if channel.quantity is Quantity.STATE:
        return _state(random, form, spoiled)
    if channel.is_state:
        return _words(random, form, channel)
    return (_spoiled_number(random, form) if spoiled else None) or _number(random, form, column)


def _state(random: Random, form: Form, spoiled: bool) -> Cell:
    if spoiled and form.kind != "parquet" and random.random() < 0.1:
        return Cell("maybe", "maybe", None, told=True)
    value = random.random() < 0.5
    text = form.on_off[0 if value else 1]
    typed: object = value if form.kind in ("parquet", "json_lines") else text
    if spoiled and form.kind == "json_lines":
        typed = random.choice([value, int(value), text.upper()])
    return Cell(random.choice([text, text.upper()]) if spoiled else text, typed, value)


def _words(random: Random, form: Form, channel: Channel) -> Cell:
    if channel.name == "alarms":
        listed = tuple(random.sample(ALARMS, random.randint(1, 2)))
        return Cell(form.alarm_separator.join(listed), list(listed), listed)
    if channel.name == "condenser_cooling":
        word = random.choice(["air", "Water"])
        return Cell(word, word, word.lower())
    word = random.choice([mode for mode in MODES if _can_be_written(mode, form)])
    return Cell(word, word, word)


def _spoiled_number(random: Random, form: Form) -> Cell | None:
    """A cell without a reading to be believed; None where it is to be a sound one."""
    chance = random.random()
    if chance < 0.1 and form.kind == "json_lines" and random.random() < 0.5:
        return Cell("", random.choice([True, [1.5, 2.5], {"value": 3}]), None, told=True)
    if chance < 0.1 and form.kind != "parquet":
        word = random.choice(["ERR", "--", "12.3.4", *EMPTY])
        return Cell(word, word or None, None, told=word not in EMPTY)
    if chance < 0.15:
        number = random.choice([-999.0, 3276.7, 32767.0, 9e6])
        return Cell(_decimal(f"{number:.1f}", form), number, None, told=True)
    return None


def _can_be_written(word: str, form: Form) -> bool:
    return form.kind != "fixed_width" or len(word) < 14


def _number(random: Random, form: Form, column: Column) -> Cell:
    channel, unit = column.channel, column.unit
    digits = _digits(unit)
    zero, one = inside(0, unit, channel.quantity), inside(1, unit, channel.quantity)
    assert channel.low is not None and channel.high is not None
    low, high = ((bound - zero) / (one - zero) * 10**digits for bound in (channel.low, channel.high))
    steps = random.randint(math.ceil(low) + 1, math.floor(high) - 1)
    text = f"{steps / 10**digits:.{digits}f}"
    number = float(text)
    if number in SENTINELS:
        return Cell(_decimal(text, form), number, None, told=True)
    step = (one - zero) * 0.5 * 10**-digits
    typed = text if form.kind == "json_lines" and random.random() < 0.05 else number
    return Cell(_decimal(text, form), typed, inside(number, unit, channel.quantity), step=step)


def _decimal(text: str, form: Form) -> str:
    return text.replace(".", form.decimal)


# ------------------------------------------------------------------------------------------ files


def write(random: Random, form: Form, rows: Sequence[Row], spoiled: bool, stem: str = "log") -> Written:
    """Write rows as a file.

    Parameters
    ----------
    random, form, rows
        The source of chance; the form; what to write, in this order.
    spoiled
        Whether odd lines stand between the rows, line ends differ and the end may be cut off.
    stem
        Of the file's name.
    """
    name = f"{BOXES[0]}_{stem}" if form.box_in_name else stem
    if form.is_text:
        return _text(random, form, rows, spoiled, name)
    if form.kind == "workbook":
        return _workbook(random, form, rows, spoiled, name)
    return _parquet(form, rows, name)


def tidy(box: str) -> str:
    """A container number as the common log spells it."""
    return box.upper().replace(" ", "").replace("-", "")


def _line(row: Row, text: str, cells: Mapping[str, Cell]) -> Line:
    sound = isinstance(row.clock, datetime) and row.clock.year > 1990
    if not tidy(row.box) or not sound:
        return Line("aside", text)
    assert isinstance(row.clock, datetime)
    return Line("row", text, tidy(row.box), row.clock, cells)


def _clocks(row: Row, form: Form) -> list[str]:
    """The texts of the time columns."""
    spelled = form.time_format or "%Y-%m-%dT%H:%M:%SZ"
    if not isinstance(row.clock, datetime):
        return [row.clock or "", ""][: len(form.times)]
    text = (row.clock + form.offset).strftime(spelled)
    return text.split(" ", 1) if len(form.times) == 2 else [text]


def _text(random: Random, form: Form, rows: Sequence[Row], spoiled: bool, stem: str) -> Written:
    above, bodies = _above(form), [entry for row in rows for entry in _body(random, form, row, spoiled)]
    lines = [*above, *bodies[:3]]
    for entry in bodies[3:]:
        if spoiled and random.random() < 0.2:
            lines.append(_odd(random, form, above, entry.text))
        lines.append(entry)
    cut = spoiled and random.random() < 0.2
    if cut:
        whole = bodies[0].text
        end = random.randint(1, _last_delimiter(whole, form))
        lines.append(Line("aside", whole[:end]))
    ending = random.choice(["\n", "\r\n"]) if spoiled else "\n"
    text = ending.join(line.text for line in lines)
    if not cut and not (spoiled and random.random() < 0.2):
        text += ending
    suffix = {"delimited": "csv", "fixed_width": "txt", "json_lines": "jsonl"}[form.kind]
    return Written(f"{stem}.{suffix}", text.encode(form.encoding), form, tuple(lines), cut)


def _last_delimiter(whole: str, form: Form) -> int:
    """A place in a line before which it is certainly not whole."""
    if form.kind == "fixed_width":
        return 400
    if form.kind == "json_lines":
        return len(whole) - 1
    return (whole.index('"') if '"' in whole else whole.rindex(form.delimiter)) - 1


def _above(form: Form) -> list[Line]:
    """What stands above the rows."""
    if form.kind == "json_lines":
        return [Line("fact", json.dumps(dict(form.facts)))] if form.facts else []
    separator = ":"
    lines = [Line("fact", f"{key}{separator} {value}") for key, value in form.facts]
    lines += [Line("blank")] if lines else []
    if form.kind == "fixed_width":
        return [*lines, Line("heading", "".join(name.ljust(width) for name, width in form.fields))]
    if form.tagged:
        names = [*form.times, form.box_column or "", *form.tag_columns]
    else:
        names = [*form.times, *_box(form), *(column.heading for column in form.columns)]
    lines.append(Line("heading", form.delimiter.join(names)))
    if form.heading_rows == 2:
        units = [
            *(["UTC"] * len(form.times)),
            *([""] * len(_box(form))),
            *(column.unit for column in form.columns),
        ]
        lines.append(Line("heading", form.delimiter.join(units)))
    return lines


def _box(form: Form) -> list[str]:
    return [form.box_column] if form.box_column else []


def _body(random: Random, form: Form, row: Row, spoiled: bool) -> list[Line]:
    """The lines of one row: several in a tag-value table."""
    clocks = _clocks(row, form)
    if form.tagged:
        lines = []
        for column in form.columns:
            cell = row.cells[column.channel.name]
            if cell.text or random.random() < 0.3:
                one = [*clocks, row.box, column.heading, cell.text, column.unit]
                lines.append(_line(row, _joined(one, form), {column.channel.name: cell}))
        if spoiled and random.random() < 0.1:
            text = _joined([*clocks, row.box, "XX.NONE", "7", ""], form)
            lines.append(Line("aside", text))
        return lines
    if form.kind == "json_lines":
        names = dict(zip(form.times, clocks, strict=True)) | dict.fromkeys(_box(form), row.box)
        typed = {column.heading: row.cells[column.channel.name].typed for column in form.columns}
        record = names | {
            key: value for key, value in typed.items() if value is not None or random.random() < 0.5
        }
        text = json.dumps(record, ensure_ascii=random.random() < 0.5)
        if spoiled and random.random() < 0.1:
            text = _named_twice(random, text, alike=True)
        return [_line(row, text, row.cells)]
    texts = [row.cells[column.channel.name].text for column in form.columns]
    if form.kind == "fixed_width":
        by_heading = dict(zip((column.heading for column in form.columns), texts, strict=True))
        by_heading |= dict(zip(form.times, clocks, strict=True)) | dict.fromkeys(_box(form), row.box)
        return [_line(row, "".join(by_heading[name].ljust(width) for name, width in form.fields), row.cells)]
    return [_line(row, _joined([*clocks, *([row.box] if form.box_column else []), *texts], form), row.cells)]


def _joined(cells: Sequence[str], form: Form) -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=form.delimiter, lineterminator="").writerow(cells)
    return text.getvalue()


def _odd(random: Random, form: Form, above: Sequence[Line], whole: str) -> Line:
    """A line that is no row: blank, a remark, a heading come again, damaged, or at odds with itself."""
    kinds = ["blank", "remark", "nul", "long"]
    if form.kind == "json_lines":
        kinds.append("twice")
    else:
        kinds += ["heading", "short"]
    if form.kind == "delimited":
        kinds.append("quote")
    kind = random.choice(kinds)
    if kind == "blank":
        return Line("blank", random.choice(["", "   "]))
    if kind == "heading":
        return next(line for line in above if line.fate == "heading")
    if kind == "twice":
        return Line("aside", _named_twice(random, whole, alike=False))
    begin = whole[: max(1, _last_delimiter(whole, form) // 2)].rstrip(form.delimiter)
    more = {"fixed_width": "7", "json_lines": "}"}.get(form.kind, f"{form.delimiter}7")
    texts = {
        "remark": "# end of page",
        "short": begin or "#",
        "nul": f"{whole[:2]}\0{whole[2:]}",
        "quote": f'"{whole}',
        "long": whole + more,
    }
    return Line("aside", texts[kind])


def _named_twice(random: Random, whole: str, alike: bool) -> str:
    """A record with one of its fields there once more, with the same value or another, however spelled."""
    name, value = random.choice(list(json.loads(whole).items()))
    field = json.dumps(name)
    if random.random() < 0.3:
        field = f'"\\u{ord(name[0]):04x}{json.dumps(name[1:])[1:]}'
    written = json.dumps(value if alike else [value, "or another"])
    return f"{whole[:-1]}, {field}{random.choice(['', ' '])}: {written}}}"


def _workbook(random: Random, form: Form, rows: Sequence[Row], spoiled: bool, stem: str) -> Written:
    content = io.BytesIO()
    book = xlsxwriter.Workbook(
        content, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    )
    book.set_properties({"created": datetime(2020, 1, 1)})
    sheet, stamp = book.add_worksheet("Log"), book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
    lines = [Line("fact") for _ in form.facts]
    for at, (key, value) in enumerate(form.facts):
        sheet.write_row(at, 0, [key, value])
    if form.facts:
        lines.append(Line("blank"))
    headings = [form.times[0], *_box(form), *(column.heading for column in form.columns)]
    sheet.write_row(len(lines), 0, headings)
    lines.append(Line("heading"))
    for number, row in enumerate(rows):
        if spoiled and number > 2 and random.random() < 0.2:
            lines.append(Line("blank"))
        at = len(lines)
        if isinstance(row.clock, datetime):
            sheet.write_datetime(at, 0, (row.clock + form.offset).replace(tzinfo=None), stamp)
        elif row.clock:
            sheet.write_string(at, 0, row.clock)
        if form.box_column:
            sheet.write_string(at, 1, row.box)
        for place, column in enumerate(form.columns, 1 + len(_box(form))):
            cell = row.cells[column.channel.name]
            if isinstance(cell.typed, float):
                sheet.write_number(at, place, cell.typed)
            elif cell.text:
                sheet.write_string(at, place, cell.text)
        stray = spoiled and number > 2 and random.random() < 0.2
        beside = random.choice([" ", "7", "see overleaf"]) if stray else ""
        if beside:
            sheet.write_string(at, len(headings) + random.randint(0, 2), beside)
        lines.append(Line("aside") if beside.strip() else _line(row, "", row.cells))
    book.close()
    return Written(f"{stem}.xlsx", content.getvalue(), form, tuple(lines))


def _parquet(form: Form, rows: Sequence[Row], stem: str) -> Written:
    clocks = [row.clock if isinstance(row.clock, datetime) else None for row in rows]
    names: dict[str, Any] = {
        form.times[0]: pl.Series(clocks, dtype=pl.Datetime("us", "UTC")),
        form.box_column or "": pl.Series([row.box or None for row in rows], dtype=pl.String),
    }
    decimals = pl.Float32() if form.bits == 32 else pl.Float64()
    for column in form.columns:
        typed = [row.cells[column.channel.name].typed for row in rows]
        dtype = column.channel.dtype if column.channel.is_state else decimals
        names[column.heading] = pl.Series(typed, dtype=dtype)
    content = io.BytesIO()
    pl.DataFrame(names).write_parquet(content, statistics=False)
    return Written(
        f"{stem}.parquet", content.getvalue(), form, tuple(_line(row, "", row.cells) for row in rows)
    )


def draw(random: Random, name: str, spoiled: bool = True, stem: str = "log") -> Written:
    """A small log of one form."""
    form = form_of(name, random)
    return write(random, form, draw_rows(random, form, spoiled), spoiled, stem)


def draw_voyage(random: Random) -> list[Written]:
    """Two to four files for the same containers and times, some packed, one perhaps there twice.

    They come in the order of the paths that intake shows.
    """
    files = [
        draw(random, name, stem=f"{random.choice('abcd')}{place}").wrapped(
            random.choice(["", "", "gzip", "zip"])
        )
        for place, name in enumerate(random.sample(FORMS, random.randint(2, 3)))
    ]
    again = random.choice(files)
    if random.random() < 0.6 and not again.form.box_in_name:
        bare = (
            again
            if again.member or again.name.endswith(".gz")
            else again.wrapped(random.choice(["gzip", "zip"]))
        )
        prefix = random.choice("0z")
        files.append(replace(bare, name=f"{prefix}{bare.name}"))
    return sorted(files, key=lambda file: file.shown)
