"""Texts to readings: instants, containers and channels in their inside units, and what was not believed.

Goes in: the body of one file. Comes out: rows of the common log with their line, every row and reading set
aside with its reason, and the messages. A row is never dropped: it comes out, or its line is set aside.
"""

from __future__ import annotations

import functools
import math
import operator
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar, cast

import numpy as np
import polars as pl

from coldsift import container_numbers
from coldsift.intake import pressure, times
from coldsift.intake.body import Table
from coldsift.intake.declaration import Layout
from coldsift.intake.fitting import ColumnPlan, Fit, Plan, fact
from coldsift.intake.grids import split_line
from coldsift.intake.records import Message
from coldsift.intake.units import ATMOSPHERE, Reference, parse_unit
from coldsift.refrigerant import DEFAULT_REFRIGERANT, UnknownRefrigerant, saturation
from coldsift.schema import CHANNELS, Channel, Quantity

_ZONE_KEY = re.compile(r"\b(utc|gmt|zone|time ?zone|offset)\b", re.IGNORECASE)
CONTAINER_FACTS = ("container", "container number", "container no", "container id", "unit", "unit number")
REFRIGERANT_FACT = "refrigerant"
"""Preamble keys that any file may use."""

LEAP = 2 * 86_400
"""A step forward of at least this is reported. [s]"""
PLAUSIBLE_SHARE = 0.99
"""Share of readings inside the channel's range that lets the inside unit stand for a missing one."""
MOST_TOLD = 50
"""Units of a file of which each is told where the lines of a clock without its time belong."""
FEW = 4
"""Texts that are looked for one by one in a column."""
NO_ALARM = ("", "-", "0", "none")
"""Cells, or parts of them, that name no alarm."""
_SEPARATORS = re.compile(r"\s*[|;/]\s*|\s*,\s+")


Column = TypeVar("Column", pl.Expr, pl.Series)


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user said that the files do not."""

    date_order: str | None = None
    time_zone: str | None = None


@dataclass(slots=True)
class Reading:
    """The outcome of one file.

    Attributes
    ----------
    frame
        ``container, time, row, lines`` and the channels found; ``lines`` counts the input lines behind a row.
    aside
        Frames like :data:`coldsift.schema.SET_ASIDE` without source and file.
    line_map
        Tag-value tables: ``line`` and the ``row`` it went into.
    merged_lines
        Tag-value tables: lines that repeat another one of the file.
    """

    frame: pl.DataFrame
    aside: list[pl.DataFrame] = field(default_factory=list)
    messages: list[Message] = field(default_factory=list)
    time_zone: str = ""
    pressure_reading: str = ""
    refrigerant: str = ""
    line_map: pl.DataFrame | None = None
    merged_lines: int = 0


class NothingReadable(Exception):
    """The file as a whole cannot be read: what happened and what to do."""

    def __init__(self, what: str, do: str) -> None:
        super().__init__(what)
        self.what, self.do = what, do


class Reader:
    """Reads the body of one file; holds what all steps need."""

    def __init__(self, shown: str, name: str, table: Table, fit: Fit, settings: Settings) -> None:
        assert fit.plan is not None
        self.shown, self.name, self.table, self.fit = shown, name, table, fit
        self.plan: Plan = fit.plan
        self.layout: Layout = fit.layout
        self.settings = settings
        self.out = Reading(pl.DataFrame())

    # ---------------------------------------------------------------------------------------- messages

    def say(self, severity: str, what: str, do: str, line: int | None = None) -> None:
        """Note a message about this file."""
        self.out.messages.append(Message(severity, self.shown, line, what, do))  # type: ignore[arg-type]

    def put_aside(self, rows: pl.Series, reason: str | pl.Series, container: pl.Series | None = None) -> None:
        """Set whole lines aside."""
        if rows.is_empty():
            return
        lines = rows.to_list()
        self.out.aside.append(
            pl.DataFrame(
                {
                    "row": rows,
                    "container": container if container is not None else pl.Series([None] * len(lines)),
                    "channel": pl.Series([None] * len(lines), dtype=pl.String),
                    "reason": reason
                    if isinstance(reason, pl.Series)
                    else pl.repeat(reason, len(lines), eager=True),
                    "text": self.table.text_of(lines),
                },
                schema_overrides={"container": pl.String},
            )
        )

    # ---------------------------------------------------------------------------------------- the steps

    def read(self) -> Reading:
        """All steps in their order."""
        frame = self.table.frame
        frame = frame.hstack([self._container(frame).alias("container")])
        if frame["container"].null_count():
            missing = frame["container"].is_null()
            self._no_container(frame, missing)
            frame = frame.filter(~missing)
        self._check_numbers(frame["container"])
        frame = self._times(frame)
        if frame.height:
            self._clock(frame)
        self.out.frame = self._facts(self._channels(frame))
        self._headings()
        return self.out

    def _container(self, frame: pl.DataFrame) -> pl.Series:
        if self.plan.container is not None:
            column = frame[f"c{self.plan.container}"].cast(pl.String)
            tidy = {text: container_numbers.tidy(text) or None for text in _distinct(column)}
            untidy = {text: number for text, number in tidy.items() if number != text}
            return column.replace(untidy) if untidy else column
        number = self._container_of_file()
        return times.repeated(number, frame.height, pl.String)

    def _container_of_file(self) -> str | None:
        facts = self.fit.facts
        stated = fact(facts, self.layout.container_fact) or next(
            (value for key in CONTAINER_FACTS if (value := fact(facts, key))), None
        )
        if stated:
            return container_numbers.tidy(stated) or None
        if self.layout.container_pattern:
            named = pl.Series([self.name]).str.extract(self.layout.container_pattern).item()
            if named:
                return container_numbers.tidy(named)
        found = container_numbers.find_in(self.shown)
        if found:
            self.say("note", f"The container number {found} is taken from the file's name.", "")
            return found
        for key, value in facts.items():
            if container_numbers.is_valid(value):
                self.say("note", f"The container number is taken from the preamble line {key!r}.", "")
                return container_numbers.tidy(value)
        return None

    def _no_container(self, frame: pl.DataFrame, missing: pl.Series) -> None:
        rows = frame.filter(missing)["row"]
        self.put_aside(rows, "no container number")
        if missing.all():
            self.say(
                "error",
                "No container number: no column or preamble line has it, nor has the file's name.",
                "Put the container number into the file's name, or declare where it stands in a layout.",
                int(rows[0]),
            )
        else:
            self.say(
                "warning",
                f"{len(rows)} lines have no container number and were set aside.",
                "See set_aside.parquet; complete the column.",
                int(rows[0]),
            )

    def _check_numbers(self, column: pl.Series) -> None:
        for number in _distinct(column):
            fault = container_numbers.fault(number)
            if fault:
                self.say(
                    "warning",
                    f"Container number {number!r}: {fault} (ISO 6346).",
                    "It is kept as logged; compare it with the number on the container.",
                )

    # ---------------------------------------------------------------------------------------- time

    def _times(self, frame: pl.DataFrame) -> pl.DataFrame:
        columns = [f"c{index}" for index in self.plan.time]
        dtype = frame[columns[0]].dtype
        if isinstance(dtype, pl.Datetime) and len(columns) == 1:
            stamps = frame[columns[0]].dt.cast_time_unit("us")
            nothing = times.repeated(None, len(stamps), pl.Datetime("us"))
            if dtype.time_zone:
                utc = stamps.dt.convert_time_zone("UTC").dt.replace_time_zone(None)
                parsed = times.Parsed(nothing, utc, "")
            else:
                parsed = times.Parsed(stamps, nothing, "")
        else:
            text = frame[columns[0]].cast(pl.String)
            if len(columns) > 1:
                parts = [pl.col(name).cast(pl.String).str.strip_chars() for name in columns]
                text = frame.select(
                    pl.concat_str((pl.when(part != "").then(part) for part in parts), separator=" ")
                ).to_series()
            order = self.layout.date_order or self.settings.date_order
            try:
                parsed = times.parse(text, self.layout.time_format, order)
            except times.AmbiguousDateOrder:
                raise NothingReadable(
                    "The dates can be read day first or month first, and the data do not settle which.",
                    "Say it with --date-order day_first or --date-order month_first.",
                ) from None
            if parsed.order:
                self.say("note", f"Dates are read {parsed.order}.", "")
        zone = self._zone(bool(parsed.naive.count()))
        owner = frame["container"]
        if self.plan.tag is not None:
            owner = owner + "\n" + frame[f"c{self.plan.tag}"].cast(pl.String).fill_null("")
        placed = times.to_utc(parsed.naive, zone, owner)
        stamps = placed.instant
        if parsed.instant.count():
            stamps = times.first_known(parsed.instant.dt.replace_time_zone("UTC"), stamps)
        self._unplaced(frame, placed, parsed)
        frame = frame.hstack([stamps.alias("time")])
        lost = self._lost(frame)
        if not lost.any() and not stamps.null_count():
            return frame
        return frame.filter(stamps.is_not_null() & ~lost)

    def _lost(self, frame: pl.DataFrame) -> pl.Series:
        """Mask of the rows whose clock had lost its time; they are set aside."""
        stamps = frame["time"]
        unset = times.never_set(stamps).fill_null(False)
        reset = times.is_reset(frame["container"], pl.select(pl.when(~unset).then(stamps)).to_series())
        if unset.any():
            rows = frame.filter(unset)["row"]
            self.put_aside(rows, "the clock was not set", frame.filter(unset)["container"])
            self.say(
                "warning",
                f"{len(rows)} lines have a year before {times.EARLIEST_YEAR} or after {times.LATEST_YEAR}: "
                "the clock was not set.",
                "See set_aside.parquet.",
                int(rows[0]),
            )
        if reset.any():
            rows = frame.filter(reset)["row"]
            self.put_aside(rows, "the clock was reset", frame.filter(reset)["container"])
            self.say(
                "warning",
                f"{len(rows)} lines are more than a year from all others of their unit: the clock was reset.",
                "See set_aside.parquet.",
                int(rows[0]),
            )
        lost = unset | reset
        if lost.any():
            self._where_lost(frame, lost)
        return lost

    def _where_lost(self, frame: pl.DataFrame, lost: pl.Series) -> None:
        """Tell of each unit how many lines a clock without its time gave, and where they belong."""
        known = pl.when(~pl.col("lost")).then("time")
        units = (
            frame.select("container", "row", "time", lost=lost)
            .with_columns(
                before=known.forward_fill().over("container"), after=known.backward_fill().over("container")
            )
            .filter("lost")
            .group_by("container")
            .agg(
                pl.len().alias("lines"),
                pl.col("row").min(),
                first=pl.col("time").min(),
                last=pl.col("time").max(),
                # Of a file that runs backwards the later reading stands before.
                begin=pl.min_horizontal("before", "after").min(),
                end=pl.max_horizontal("before", "after").max(),
                whole=pl.col("before").is_not_null().all() & pl.col("after").is_not_null().all(),
            )
            .sort("container")
            # A clock without its time can show years that Python does not know.
            .with_columns(pl.col("first", "last", "begin", "end").dt.to_string("%Y-%m-%d %H:%M"))
        )
        for unit in units.head(MOST_TOLD).iter_rows(named=True):
            told = f"{unit['container']}: {unit['lines']} lines on a clock without its time, which showed "
            told += f"{unit['first']} to {unit['last']} UTC; "
            told += (
                f"by their place in the file between {unit['begin']} and {unit['end']} UTC."
                if unit["whole"]
                else "their place in the file does not say when that was."
            )
            self.say("note", told, "", int(unit["row"]))
        if units.height > MOST_TOLD:
            self.say("note", f"So have {units.height - MOST_TOLD} more units of this file.", "")

    def _zone(self, needed: bool) -> str:
        facts = self.fit.facts
        if not needed:
            self.out.time_zone = "each reading says its own"
            return "UTC"
        stated = fact(facts, self.layout.zone_fact) or next(
            (
                value
                for key, value in facts.items()
                if _ZONE_KEY.search(key) and times.zone_of(value, bare=True)
            ),
            None,
        )
        for zone, origin in (
            (self.plan.heading_zone, "by the heading"),
            (times.zone_of(stated, bare=True), "by the preamble"),
            (self.layout.zone, "by the layout"),
            (times.zone_of(self.settings.time_zone), "by --time-zone"),
        ):
            if zone:
                self.out.time_zone = f"{zone} {origin}"
                return zone
        self.out.time_zone = "UTC assumed"
        self.say(
            "warning",
            "Nothing says in which time zone the clock ran; UTC is assumed.",
            "If it ran on another, say so with --time-zone (such as +02:00).",
        )
        return "UTC"

    def _unplaced(self, frame: pl.DataFrame, placed: times.Placed, parsed: times.Parsed) -> None:
        known = times.first_known(parsed.naive, parsed.instant)
        if known.null_count():
            unread = known.is_null()
            lost = frame.filter(unread)
            self.put_aside(lost["row"], "the time cannot be read", lost["container"])
            self.say(
                "warning" if not unread.all() else "error",
                f"{lost.height} lines have a time that cannot be read.",
                "See set_aside.parquet; a layout can declare the format.",
                int(lost["row"][0]),
            )
        for mask, reason in (
            (placed.never, "this clock time does not exist: the zone's clocks are put forward over it"),
            (placed.twice, "this clock time comes twice that night, and the order does not say which it is"),
        ):
            if mask.any():
                lost = frame.filter(mask)
                self.put_aside(lost["row"], reason, lost["container"])
                self.say(
                    "warning",
                    f"{lost.height} lines set aside: {reason}.",
                    "Export the log in UTC, or give the fixed offset with --time-zone.",
                    int(lost["row"][0]),
                )
        for count, how in (
            (placed.by_order, "by their order"),
            (placed.by_neighbours, "so that they follow on from the readings beside them"),
        ):
            if count:
                self.say("note", f"{count} readings in the hour that comes twice were placed {how}.", "")

    def _clock(self, frame: pl.DataFrame) -> None:
        """Report steps of the clock; the rows stay."""
        time = frame["time"]
        one_unit = len(_distinct(frame["container"])) == 1
        steps = np.diff(time.cast(pl.Int64).to_numpy()) if one_unit else None
        if steps is not None and not ((steps < 0) | (steps >= LEAP * 1_000_000)).any():
            return
        found = (
            frame.select(
                "row",
                "container",
                "time",
                step=pl.col("time").diff().over("container").dt.total_seconds(),
            )
            .drop_nulls()
            .with_columns(usual=pl.col("step").median().over("container"))
        )
        newest_first = found.filter(pl.col("usual") < 0)["container"].unique().sort()
        if newest_first.len():
            self.say("note", "The rows run from the newest to the oldest; they were sorted.", "")
        found = found.filter(~pl.col("container").is_in(newest_first.implode()))
        back = found.filter(pl.col("step") < 0)
        if back.height:
            first = back.row(0, named=True)
            self.say(
                "warning",
                f"The time steps back {_times(back.height)}, first by {_span(-first['step'])} "
                f"({first['container']}).",
                "Rows are out of order, or the clock was set back; they were sorted by time.",
                first["row"],
            )
        leap = found.filter((pl.col("step") >= LEAP) & (pl.col("step") > 20 * pl.col("usual")))
        if leap.height:
            first = leap.row(0, named=True)
            self.say(
                "warning",
                f"The time leaps forward {_times(leap.height)}, first by {_span(first['step'])} "
                f"({first['container']}).",
                "There is a gap in the log, or the clock was set; compare with the voyage.",
                first["row"],
            )

    # ---------------------------------------------------------------------------------------- wide tables

    def _channels(self, frame: pl.DataFrame) -> pl.DataFrame:
        """The channels of a wide table, one column each."""
        plans = [plan for entry in self.plan.columns if (plan := self._with_unit(entry, frame)) is not None]
        measured = [plan for plan in plans if not plan.channel.is_state]
        states = [plan for plan in plans if plan.channel.is_state]
        raw = self._numbers(frame, measured, [self._state(plan, frame) for plan in states])
        raw = self._pressures(raw, measured)
        raw = self._disbelieve(raw, frame, measured)
        self._state_losses(raw, frame, states)
        return raw.hstack([times.repeated(1, raw.height, pl.Int64).alias("lines")])

    def _numbers(
        self, frame: pl.DataFrame, plans: Sequence[ColumnPlan], others: Sequence[pl.Series] = ()
    ) -> pl.DataFrame:
        """Keys, the measured channels in their inside unit, and other columns.

        A pressure that may be gauge or absolute, and what has no unit, stays as logged.
        """
        numbers = {_name(plan): frame[_name(plan)] for plan in plans}
        made = {
            name: _number(pl.col(name), numbers[name].dtype, plan.words, self.layout)
            for plan in plans
            if numbers[name := _name(plan)].dtype != pl.Float64
        }
        if made:
            numbers |= frame.select(**made).to_dict()
        inside = []
        for plan in plans:
            known = plan.unit is not None and not plan.unit.reads_unknown_pressure
            scale = plan.unit.to_inside(plan.channel.quantity) if plan.unit and known else None
            inside.append(scaled(numbers[_name(plan)], scale).alias(plan.channel.name))
        return pl.DataFrame([frame["container"], frame["time"], frame["row"], *inside, *others])

    def _with_unit(self, plan: ColumnPlan, frame: pl.DataFrame) -> ColumnPlan | None:
        """The plan with a unit; None when there is none and the readings do not look like the inside unit."""
        if plan.unit is not None or plan.channel.is_state:
            return plan
        channel = plan.channel
        inside = parse_unit(channel.unit)
        column = f"c{plan.index}"
        values = frame.select(
            _number(pl.col(column), frame.schema[column], plan.words, self.layout)
        ).to_series()
        values = values.filter(~values.is_in(list(self.layout.sentinels))).drop_nulls()
        assert channel.low is not None and channel.high is not None
        share = values.is_between(channel.low, channel.high).mean() if len(values) else 1.0
        if isinstance(share, float) and share >= PLAUSIBLE_SHARE:
            if len(values):
                self.say(
                    "warning",
                    f"Column {plan.heading!r} says no unit; {channel.unit} is taken, as its readings allow.",
                    "Name the unit in the heading, or declare it in a layout.",
                )
            return replace(plan, unit=inside)
        self.say(
            "warning",
            f"Column {plan.heading!r} says no unit and is not plausible in {channel.unit}; it was not read.",
            "Name the unit in the heading, or declare it in a layout.",
        )
        return None

    def _pressures(self, raw: pl.DataFrame, plans: Sequence[ColumnPlan]) -> pl.DataFrame:
        """State the refrigerant and what pressures are measured against; settle it where nothing says so."""
        self.out.refrigerant = self._stated_refrigerant()
        measured = [plan for plan in plans if plan.unit is not None]
        open_plans = [plan for plan in measured if plan.unit and plan.unit.reads_unknown_pressure]
        stated = {
            f"{plan.unit.reference}"
            for plan in measured
            if plan.unit and plan.unit.reference and plan not in open_plans
        }
        if stated:
            self.out.pressure_reading = f"{' and '.join(sorted(stated))}: as the file or its layout says"
        if not open_plans:
            return raw
        names = [plan.channel.name for plan in open_plans]
        raw = raw.with_columns(
            scaled(pl.col(plan.channel.name), plan.unit.scales[Quantity.PRESSURE])
            for plan in open_plans
            if plan.unit
        )
        return self._settle_pressure(raw, names)

    def _stated_refrigerant(self) -> str:
        """Refrigerant as the file names it, spelled our way; empty when it names none that is known."""
        stated = fact(self.fit.facts, self.layout.refrigerant_fact) or fact(self.fit.facts, REFRIGERANT_FACT)
        if not stated:
            return ""
        try:
            return saturation(stated).name
        except UnknownRefrigerant as error:
            self.say(
                "warning",
                f"The refrigerant {stated!r} is not known; {DEFAULT_REFRIGERANT} is taken instead.",
                f"Name it with --refrigerant. {error}",
            )
            return ""

    def _settle_pressure(self, raw: pl.DataFrame, names: list[str]) -> pl.DataFrame:
        """Pressures in bar to absolute, where nothing said whether they are gauge."""
        believable = raw.with_columns(
            pl.when(pl.col(name).is_between(-2, 60)).then(pl.col(name)).alias(name) for name in names
        )
        reference, ground = pressure.settle(believable, names, self.out.refrigerant)
        self.out.pressure_reading = ground
        assumed = "assumed" in ground
        self.say(
            "warning" if assumed else "note",
            f"Nothing says whether {' and '.join(names)} are gauge or absolute. Taken as {ground}.",
            "Name it in the heading (bar g, bar a), or declare it in a layout." if assumed else "",
        )
        if reference is Reference.GAUGE:
            raw = raw.with_columns(pl.col(name) + ATMOSPHERE for name in names)
        return raw

    def _disbelieve(
        self,
        raw: pl.DataFrame,
        frame: pl.DataFrame,
        plans: Sequence[ColumnPlan],
    ) -> pl.DataFrame:
        """Make null of readings that are sentinels, no numbers or outside the plausible range; list them."""
        if not plans or raw.is_empty():
            return raw
        suspects = _suspects(raw, frame, plans, self.layout)
        for plan, sentinels in suspects:
            channel, value = plan.channel, raw[plan.channel.name]
            plausible = value.is_between(channel.low, channel.high).fill_null(False)
            doubtful = ~plausible
            for sentinel in sentinels:
                doubtful |= _is_about(value, sentinel).fill_null(False)
            at = doubtful.arg_true()
            text = frame[_name(plan)].gather(at).cast(pl.String).str.strip_chars()
            told = text.is_not_null() & ~text.str.to_lowercase().is_in(list(self.layout.empty_words))
            if told.any():
                keys = raw.select("row", "container")[at.filter(told)]
                text = self._as_it_stood(keys["row"], text.filter(told), plan)
                self._list_readings(keys, channel, text, value.gather(at.filter(told)))
            lost = at.filter(told | ~plausible.gather(at))
            raw = raw.with_columns(value.clone().scatter(lost, None))
        return raw

    def _as_it_stood(self, rows: pl.Series, text: pl.Series, plan: ColumnPlan) -> pl.Series:
        """Readings as the file has them: where numbers were read as numbers, from the lines themselves."""
        if self.plan.tag is not None or not self.fit.delimiter:
            return text
        lines = self.table.text_of(rows.to_list())
        return pl.Series([split_line(line, self.fit.delimiter)[plan.index].strip() for line in lines])

    def _list_readings(self, keys: pl.DataFrame, channel: Channel, text: pl.Series, value: pl.Series) -> None:
        """Set readings aside: row and container, as logged, and as a number where it is one."""
        rows = keys["row"]
        reason = pl.select(
            pl.when(value.is_null() | value.is_between(channel.low, channel.high))
            .then(pl.lit("not a reading"))
            .otherwise(
                pl.lit(
                    f"not plausible: {channel.label} is held to {channel.low:g} ... {channel.high:g} "
                    f"{channel.unit}"
                )
            )
        ).to_series()
        self.out.aside.append(
            pl.DataFrame(
                {
                    "row": rows,
                    "container": keys["container"],
                    "channel": times.repeated(channel.name, len(rows), pl.String),
                    "reason": reason,
                    "text": text,
                }
            )
        )
        self.say(
            "note",
            f"{len(rows)} readings of {channel.label.lower()} are not believed, the first is {text[0]!r}.",
            "They are listed in set_aside.parquet.",
            int(rows[0]),
        )

    # ---------------------------------------------------------------------------------------- states and text

    def _state(self, plan: ColumnPlan, frame: pl.DataFrame) -> pl.Series:
        """A state, word or list of alarms; worked out once for each distinct text."""
        column, name = frame[_name(plan)], plan.channel.name
        if isinstance(column.dtype, pl.List):
            return column.cast(pl.List(pl.String)).alias(name)
        if column.dtype == pl.Boolean and plan.channel.quantity is Quantity.STATE:
            return column.alias(name)
        column = column.cast(pl.String)
        texts = _distinct(column)
        if name == "alarms":
            return _alarms(column, texts, self.layout.alarm_separator)
        if plan.channel.quantity is Quantity.STATE:
            return _on_off(column, texts, self.layout).alias(name)
        words = {text: text.strip() for text in texts}
        if name == "condenser_cooling":
            words = {text: word.lower() for text, word in words.items()}
        empty = self.layout.empty_words
        changed = {
            text: None if word.lower() in empty else word
            for text, word in words.items()
            if word != text or word.lower() in empty
        }
        return (column.replace(changed) if changed else column).alias(name)

    def _state_losses(self, raw: pl.DataFrame, frame: pl.DataFrame, plans: Sequence[ColumnPlan]) -> None:
        for plan in plans:
            name, column = plan.channel.name, f"c{plan.index}"
            if plan.channel.quantity is not Quantity.STATE or frame[column].dtype == pl.Boolean:
                continue
            if raw[name].null_count() == frame[column].null_count():
                continue
            text = frame[column].cast(pl.String).str.strip_chars()
            bad = (
                raw[name].is_null()
                & text.is_not_null()
                & ~text.str.to_lowercase().is_in(list(self.layout.empty_words))
            )
            if bad.any():
                self._list_states(raw, bad, plan.channel, text)

    def _list_states(self, raw: pl.DataFrame, bad: pl.Series, channel: Channel, text: pl.Series) -> None:
        rows = raw["row"].filter(bad)
        self.out.aside.append(
            pl.DataFrame(
                {
                    "row": rows,
                    "container": raw["container"].filter(bad),
                    "channel": pl.repeat(channel.name, len(rows), eager=True),
                    "reason": pl.repeat("neither on nor off", len(rows), eager=True),
                    "text": text.filter(bad),
                }
            )
        )
        self.say(
            "note",
            f"{len(rows)} readings of {channel.label.lower()} say neither on nor off, the first is "
            f"{text.filter(bad)[0]!r}.",
            "A layout can declare words for on and off.",
            int(rows[0]),
        )

    # ---------------------------------------------------------------------------------------- the rest

    def _facts(self, frame: pl.DataFrame) -> pl.DataFrame:
        for rule in self.layout.facts:
            text = fact(self.fit.facts, rule.key)
            if not text or rule.channel in frame.columns:
                continue
            match = re.match(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*(.*)", text)
            unit = match and (parse_unit(match.group(2)) or parse_unit(rule.unit))
            if not match or not unit:
                self.say(
                    "warning",
                    f"The preamble line {rule.key!r} is {text!r}, not a reading.",
                    "Correct the file.",
                )
                continue
            scale = unit.to_inside(CHANNELS[rule.channel].quantity)
            if scale is None:
                continue
            value = float(match.group(1).replace(",", ".")) * scale[0] + scale[1]
            channel = CHANNELS[rule.channel]
            if channel.low is not None and channel.high is not None and channel.low <= value <= channel.high:
                frame = frame.with_columns(pl.lit(value).alias(rule.channel))
        if "set_point" not in frame.columns or (
            frame.height and frame["set_point"].null_count() == frame.height
        ):
            self.say(
                "warning",
                "No set point is logged.",
                "Neither control nor excursions can be judged without it; fetch the log with its set point.",
            )
        return frame

    def _headings(self) -> None:
        plan = self.plan
        if plan.unknown:
            self.say(
                "note",
                f"Columns not known and not read: {', '.join(map(repr, plan.unknown[:12]))}"
                f"{' and more' if len(plan.unknown) > 12 else ''}.",
                "If one is wanted, declare it in a layout.",
            )
        if plan.doubled:
            self.say(
                "note",
                f"Columns not read, an earlier one means the same: {', '.join(map(repr, plan.doubled))}.",
                "",
            )
        if plan.differing_units:
            self.say(
                "warning",
                "Units differ from the layout's; the file's own are taken: "
                f"{'; '.join(plan.differing_units)}.",
                "Check that the layout is the right one.",
            )


def _name(plan: ColumnPlan) -> str:
    """Column of the body that a plan reads."""
    return f"c{plan.index}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _span(seconds: float) -> str:
    if seconds < 7200:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h" if seconds < 2 * 86_400 else f"{seconds / 86_400:.1f} days"


def _distinct(column: pl.Series) -> list[str]:
    """Texts of a column, in the order of their first rows."""
    texts: list[str] = []
    rest = column.drop_nulls() if column.null_count() else column
    # A state has few: to take them out one after the other is quicker than to hash every row.
    while len(rest) and len(texts) < FEW:
        texts.append(rest[0])
        rest = rest.filter(rest != rest[0])
    return texts + (rest.unique(maintain_order=True).to_list() if len(rest) else [])


def scaled(column: Column, scale: tuple[float, float] | None) -> Column:
    """A column brought to another unit by factor and offset."""
    factor, offset = scale or (1.0, 0.0)
    column = column * factor if factor != 1 else column
    return column + offset if offset else column


def _number(column: pl.Expr, dtype: pl.DataType, words: dict[str, float], layout: Layout) -> pl.Expr:
    if dtype == pl.Float64:
        return column
    if dtype.is_numeric():
        return column.cast(pl.Float64, strict=False)
    # True is no 1, and a date no number of days.
    text = column.cast(pl.String).str.strip_chars()
    number = text.str.replace(",", ".", literal=True) if layout.decimal == "," else text
    value = number.cast(pl.Float64, strict=False)
    if words:
        value = pl.coalesce(
            value, text.str.to_lowercase().replace_strict(words, default=None, return_dtype=pl.Float64)
        )
    return value


def _on_off(column: pl.Series, texts: Sequence[str], layout: Layout) -> pl.Series:
    state: dict[str, bool] = {}
    for text in texts:
        word = text.strip().lower().removesuffix(".0")
        if word in layout.on_words or word in layout.off_words:
            state[text] = word in layout.on_words
    if state and len(state) == len(texts):
        # Every text is known: what is not on is off, and null stays null.
        wanted = any(state.values())
        mask = functools.reduce(
            operator.or_, (column == text for text, is_on in state.items() if is_on is wanted)
        )
        return mask if wanted else ~mask
    on, off = (
        functools.reduce(
            operator.or_,
            (column == text for text, is_on in state.items() if is_on is wanted),
            pl.repeat(False, len(column), eager=True),
        )
        for wanted in (True, False)
    )
    return pl.select(pl.when(on).then(True).when(off).then(False)).to_series()


def _alarms(column: pl.Series, texts: Sequence[str], separator: str | None) -> pl.Series:
    listed: dict[str, list[str]] = {}
    for text in texts:
        parts = text.split(separator) if separator else _SEPARATORS.split(text)
        alarms = [part.strip() for part in parts if part.strip().lower() not in NO_ALARM]
        if text.strip():
            listed[text] = alarms
    if not listed:
        return times.repeated(None, len(column), pl.List(pl.String)).alias("alarms")
    meanings = pl.DataFrame(
        {"text": list(listed), "alarms": list(listed.values())},
        schema={"text": pl.String, "alarms": pl.List(pl.String)},
    )
    return pl.DataFrame({"text": column}).join(meanings, on="text", how="left", maintain_order="left")[
        "alarms"
    ]


def _suspects(
    raw: pl.DataFrame,
    frame: pl.DataFrame,
    plans: Sequence[ColumnPlan],
    layout: Layout,
) -> list[tuple[ColumnPlan, list[float]]]:
    """Channels that may hold a reading not to be believed, with their sentinels in the inside unit."""
    found = []
    for plan in plans:
        channel, value = plan.channel, raw[plan.channel.name]
        low, high = cast(float | None, value.min()), cast(float | None, value.max())
        if low is None or high is None:
            low, high = math.inf, -math.inf
        assert channel.low is not None and channel.high is not None
        sentinels = [
            each
            for each in _sentinels_inside(plan, layout)
            if low - _miss(each) <= each <= high + _miss(each)
        ]
        outside = low < channel.low or high > channel.high
        lost = value.null_count() > frame[_name(plan)].null_count()
        not_a_number = math.isnan(value.sum())
        if outside or lost or not_a_number or any(_is_about(value, each).any() for each in sentinels):
            found.append((plan, sentinels))
    return found


def _is_about(value: pl.Series, sentinel: float) -> pl.Series:
    return (value - sentinel).abs() <= _miss(sentinel)


def _miss(number: float) -> float:
    """How far a 32-bit float, converted, may be from the number that it stands for."""
    return 1e-6 * (1 + abs(number))


def _sentinels_inside(plan: ColumnPlan, layout: Layout) -> list[float]:
    """The layout's sentinels in the inside unit, those only that would pass for plausible there.

    Of a pressure that may be gauge or absolute, as either.
    """
    scales = [(1.0, 0.0)]
    if plan.unit is not None:
        references = (Reference.GAUGE, Reference.ABSOLUTE) if plan.unit.reads_unknown_pressure else (None,)
        scales = [plan.unit.to_inside(plan.channel.quantity, each) or (1.0, 0.0) for each in references]
    inside = [value * factor + offset for value in layout.sentinels for factor, offset in scales]
    low, high = plan.channel.low, plan.channel.high
    return [value for value in inside if low is not None and high is not None and low <= value <= high]
