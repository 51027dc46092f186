"""Tag-value tables: one reading a line, put together to one row per container and time.

Goes in: lines of time, container, tag, value and perhaps unit. Comes out: the same as from a wide table, and
which line went into which row. Each line counts for itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import polars as pl

from coldsift.intake import times
from coldsift.intake.declaration import SHARE_WORDS, ColumnRule
from coldsift.intake.fitting import ColumnPlan
from coldsift.intake.headings import spelled, split_heading
from coldsift.intake.readings import Reader, scaled
from coldsift.intake.units import UnitOfMeasure, parse_unit
from coldsift.schema import CHANNELS, Channel, Quantity

LOOSE_PRESSURE = (-2.0, 60.0)
"""Range for a pressure of which it is not known yet whether it is gauge or absolute. [bar]"""


@dataclass(frozen=True, slots=True)
class _Tag:
    """What a tag is read as."""

    channel: Channel
    unit: UnitOfMeasure | None
    words: dict[str, float]


class TagValueReader(Reader):
    """Reads the lines of a tag-value table."""

    def _channels(self, frame: pl.DataFrame) -> pl.DataFrame:
        frame, tags = self._known_tags(frame)
        frame = self._drop_repeats(frame, tags)
        keys = (
            frame.group_by("container", "time")
            .agg(pl.col("row").min(), pl.len().cast(pl.Int64).alias("lines"))
            .sort("container", "time")
        )
        self.out.line_map = frame.select("container", "time", line="row").join(
            keys.select("container", "time", "row"), on=["container", "time"], maintain_order="left"
        )
        open_pressures: list[str] = []
        wide = keys
        spelled_apart = [f"c{index}" for index in (self.plan.tag, self.plan.unit) if index is not None]
        for _, part in frame.group_by("channel", maintain_order=True):
            # A file may log one channel in several units; each line is converted by its own.
            column = pl.concat(
                self._channel(one, tags[one[spelled_apart[0]][0]], open_pressures)
                for one in part.partition_by(spelled_apart, maintain_order=True)
            )
            wide = wide.join(column, on=["container", "time"], how="left", maintain_order="left")
        if open_pressures:
            wide = self._settle_pressure(wide, open_pressures)
            wide = self._believe_settled(wide, open_pressures)
        return wide.sort("row")

    def _known_tags(self, frame: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, _Tag]]:
        """The lines whose tag is known, with their channel; and what each tag is read as."""
        column = f"c{self.plan.tag}"
        channel_of: dict[str, str] = {}
        tags: dict[str, _Tag] = {}
        for name in frame[column].drop_nulls().unique(maintain_order=True):
            rule = _rule_of(self.plan.tags, name)
            if rule is None:
                continue
            channel = CHANNELS[rule.channel]
            words = SHARE_WORDS if channel.quantity is Quantity.SHARE else {}
            unit = parse_unit(rule.unit) or parse_unit(split_heading(name)[1])
            channel_of[name] = rule.channel
            tags[name] = _Tag(channel, unit, dict(rule.words or words))
        known = frame[column].is_in(list(channel_of)).fill_null(False)
        if not known.all():
            lost = frame.filter(~known)
            names = lost[column].fill_null("").unique(maintain_order=True).to_list()
            self.put_aside(lost["row"], "this tag is not known", lost["container"])
            self.say(
                "warning",
                f"{lost.height} lines have tags that are not known: {', '.join(map(repr, names[:8]))}.",
                "Declare the tags in a layout (see parsers/README.md).",
                int(lost["row"][0]),
            )
        return (
            frame.filter(known).with_columns(
                channel=pl.col(column).replace_strict(channel_of, return_dtype=pl.String),
                text=pl.col(f"c{self.plan.value}").cast(pl.String).str.strip_chars(),
            ),
            tags,
        )

    def _drop_repeats(self, frame: pl.DataFrame, tags: dict[str, _Tag]) -> pl.DataFrame:
        """Of each container, time and channel the first line with a reading; equal ones are merged."""
        keys = ["container", "time", "channel"]
        if not frame.select(pl.struct(keys).is_duplicated().any()).item():
            return frame
        units = {name: tag.unit.symbol if tag.unit else "" for name, tag in tags.items()}
        said = [pl.col("text"), pl.col(f"c{self.plan.tag}").replace_strict(units, return_dtype=pl.String)]
        if self.plan.unit is not None:
            said.append(pl.col(f"c{self.plan.unit}").cast(pl.String))
        empty = pl.col("text").str.to_lowercase().is_in(list(self.layout.empty_words)).fill_null(True)
        marked = frame.with_columns(
            said=pl.concat_str(said, separator="\n", ignore_nulls=True), empty=empty
        ).with_columns(
            pl.coalesce(pl.col(name).filter(~pl.col("empty")).first(), pl.col(name).first())
            .over(keys)
            .alias(f"first_{name}")
            for name in ("row", "said")
        )
        repeats = marked.filter(pl.col("row") != pl.col("first_row"))
        equal = repeats["empty"] | (repeats["said"] == repeats["first_said"])
        merged, conflict = repeats.filter(equal), repeats.filter(~equal)
        self.out.merged_lines = merged.height
        if merged.height:
            self.say("note", f"{merged.height} lines repeat a line above; merged.", "", int(merged["row"][0]))
        if conflict.height:
            reasons = conflict.select(pl.format("conflicts with {} line {}", pl.lit(self.shown), "first_row"))
            self.put_aside(conflict["row"], reasons.to_series(), conflict["container"])
            self.say(
                "warning",
                f"{conflict.height} lines give another value for the same container, time and tag as a line "
                "above; the first was kept.",
                "See set_aside.parquet.",
                int(conflict["row"][0]),
            )
        return frame.filter(marked["row"] == marked["first_row"])

    def _channel(self, part: pl.DataFrame, tag: _Tag, open_pressures: list[str]) -> pl.DataFrame:
        """One channel: container, time and its readings."""
        name = tag.channel.name
        lines = part.select("container", "time", "row", pl.col("text").alias("c0"))
        plan = ColumnPlan(0, name, tag.channel, None, tag.words)
        if tag.channel.is_state:
            read = lines.with_columns(self._state(plan, lines))
            self._state_losses(read, lines, [plan])
            return read.select("container", "time", name)
        plan = replace(plan, unit=self._unit_of(part, tag))
        with_unit = self._with_unit(plan, lines)
        numbers = self._numbers(lines, [with_unit or plan])
        if with_unit is None or with_unit.unit is None:
            logged = numbers[name].is_not_null()
            keys, text = numbers.filter(logged), lines["c0"].filter(logged)
            self._list_readings(keys, tag.channel, text, times.repeated(None, keys.height, pl.Float64))
            return numbers.select("container", "time", pl.lit(None, dtype=pl.Float64).alias(name))
        if with_unit.unit.reads_unknown_pressure:
            open_pressures += [name] if name not in open_pressures else []
            numbers = numbers.with_columns(scaled(pl.col(name), with_unit.unit.scales[Quantity.PRESSURE]))
            low, high = LOOSE_PRESSURE
            with_unit = replace(with_unit, channel=replace(tag.channel, low=low, high=high))
        else:
            numbers = self._pressures(numbers, [with_unit])
        return self._disbelieve(numbers, lines, [with_unit]).select("container", "time", name)

    def _unit_of(self, part: pl.DataFrame, tag: _Tag) -> UnitOfMeasure | None:
        """The unit of lines that all name the same one: from the unit column, else as declared."""
        if self.plan.unit is None:
            return tag.unit
        unit = parse_unit(part[f"c{self.plan.unit}"][0])
        return unit if unit and tag.channel.quantity in unit.scales else tag.unit

    def _believe_settled(self, wide: pl.DataFrame, names: list[str]) -> pl.DataFrame:
        """Hold settled pressures to their own range."""
        for name in names:
            channel, value = CHANNELS[name], wide[name]
            assert channel.low is not None and channel.high is not None
            bad = ~value.is_between(channel.low, channel.high).fill_null(True)
            if bad.any():
                found = value.filter(bad)
                self._list_readings(wide.filter(bad), channel, found.cast(pl.String), found)
                wide = wide.with_columns(pl.when(~bad).then(pl.col(name)).alias(name))
        return wide


def _rule_of(rules: dict[str, ColumnRule], tag: str) -> ColumnRule | None:
    return rules.get(spelled(tag)) or rules.get(spelled(split_heading(tag)[0]))
