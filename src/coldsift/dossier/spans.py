"""What stands in which stretch of time: custody, regimes, set points, notes, alarms, missing readings."""

from __future__ import annotations

import string
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from coldsift.dossier.model import Reconstruction
from coldsift.regimes import regime_intervals
from coldsift.regimes.timeline import GAP_FACTOR
from coldsift.report.words import moment, number, plain

MOST_ALARMS = 10
"""Different alarm texts with a row of their own; numbered by their first appearance."""

MOST_ALARMS_SAID = 40
"""Different alarm texts that the key says in full."""

LONGEST_TEXT = 600
"""A longer text of a log is cut in keys and tables, and says so. [characters]"""

HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time with what stands in it; ``mark`` is used where ``words`` find no room."""

    start: datetime
    end: datetime
    mark: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class KeyLine:
    """One line of the key below a drawing: the letter or number in it, and what it stands for."""

    mark: str
    words: str


@dataclass(frozen=True, slots=True)
class Extent:
    """What of a reconstruction a drawing shows: from when to when."""

    of: Reconstruction
    start: datetime
    end: datetime

    def at(self, time: datetime) -> float:
        """Place of an instant on the time axis. [h since ``start``]"""
        return (time - self.start) / HOUR

    @property
    def hours(self) -> float:
        """Its length. [h]"""
        return self.at(self.end)

    @property
    def words(self) -> str:
        """From when to when."""
        return f"{moment(self.start)} to {moment(self.end)} UTC"

    @property
    def log(self) -> pl.DataFrame:
        """Its readings, with one more on either side so that lines reach the edge."""
        return self._with_neighbours(self.of.timeline)

    @property
    def cargo(self) -> pl.DataFrame:
        """Its reckoned cargo temperatures, with ``gap`` where the log is broken."""
        gaps = self.of.timeline.select("time", "gap")
        return self._with_neighbours(
            self.of.cargo_temperatures.join(gaps, on="time", how="left", maintain_order="left")
        )

    @property
    def others(self) -> pl.DataFrame:
        """Its hours of the comparison with other units; the hours between two that were logged are no gap."""
        return self._with_neighbours(self.of.peers.sort("time").with_columns(gap=pl.lit(False)))

    def within(self, table: pl.DataFrame) -> pl.DataFrame:
        """Rows of a table with ``start`` and ``end`` that reach into it."""
        return table.filter(pl.col("start") <= self.end, pl.col("end").fill_null(self.end) > self.start)

    def spans(self, table: pl.DataFrame) -> list[Span]:
        """Rows of such a table as bare stretches."""
        return [Span(*row) for row in self.within(table).select("start", "end").iter_rows()]

    def _with_neighbours(self, rows: pl.DataFrame) -> pl.DataFrame:
        inside = pl.col("time").is_between(self.start, self.end)
        return rows.filter(inside | inside.shift(-1, fill_value=False) | inside.shift(1, fill_value=False))


def whole(of: Reconstruction) -> Extent:
    """The window from end to end; a single instant with the hour after it."""
    return Extent(of, of.start, of.end if of.end > of.start else of.start + HOUR)


def main_excursion(of: Reconstruction) -> dict[str, Any] | None:
    """The row that the answers are about."""
    if of.main_excursion is None:
        return None
    return next(of.excursions.filter(pl.col("start") == of.main_excursion).iter_rows(named=True), None)


def around_the_main_excursion(of: Reconstruction) -> Extent | None:
    """The main excursion with some time on either side; None when that is nearly the whole window."""
    main = main_excursion(of)
    if main is None:
        return None
    first = main["start_earliest"] or main["start"]
    last = main["end_latest"] or main["end"]
    aside = max((last - first) / 4, 6 * HOUR)
    extent = Extent(of, max(of.start, first - aside), min(of.end, last + aside))
    return extent if extent.hours < 0.8 * whole(of).hours else None


def silences(extent: Extent) -> list[Span]:
    """Stretches without readings, those at either end of the window too."""
    line = extent.of.timeline
    if line.is_empty():
        return [Span(extent.start, extent.end)]
    usual = line["usual_hours"].fill_null(0.0)[0] * HOUR
    edges = pl.DataFrame(
        {
            "start": [extent.of.start, line["time"][-1]],
            "end": [line["time"][0], extent.of.end],
        },
        schema={"start": line.schema["time"], "end": line.schema["time"]},
    ).filter(pl.col("end") - pl.col("start") > GAP_FACTOR * usual)
    inner = line.select("gap", start="time", end=pl.col("time").shift(-1)).filter("gap").drop("gap")
    spans = extent.spans(pl.concat([inner, edges]).sort("start"))
    return [Span(max(span.start, extent.start), min(span.end, extent.end)) for span in spans]


def letter(place: int) -> str:
    """A, B, … Z, A1, B1, …."""
    return string.ascii_uppercase[place % 26] + (str(place // 26) if place >= 26 else "")


def lettered(custody: pl.DataFrame) -> pl.DataFrame:
    """The custody table in order of time, each row with its ``mark``."""
    ordered = custody.sort("start", "line")
    return ordered.with_columns(mark=pl.Series(map(letter, range(ordered.height)), dtype=pl.String))


def custody_spans(extent: Extent) -> list[Span]:
    """Who had the container, with the letters of the custody table."""
    return [
        Span(row["start"], row["end"] or extent.end, row["mark"], f"{row['mark']} {row['holder']}")
        for row in extent.within(lettered(extent.of.custody)).iter_rows(named=True)
    ]


def custody_key(extent: Extent) -> tuple[KeyLine, ...]:
    """What the letters stand for."""
    rows = extent.within(lettered(extent.of.custody))
    return tuple(KeyLine(row["mark"], shortened(row["holder"])) for row in rows.iter_rows(named=True))


def excursion_spans(extent: Extent, real: bool) -> list[Span]:
    """Excursions proper, or the other kinds of stretch outside the band by name."""
    proper = pl.col("kind") == "excursion"
    rows = extent.within(extent.of.excursions.filter(proper if real else ~proper))
    return [
        Span(row["start"], row["end"], words="" if real else plain(row["kind"]))
        for row in rows.iter_rows(named=True)
    ]


def regime_spans(extent: Extent, regime: str) -> list[Span]:
    """When the unit was in a regime."""
    return extent.spans(regime_intervals(extent.of.timeline).filter(pl.col("regime") == regime))


def set_point_spans(extent: Extent) -> list[Span]:
    """Each set point, as long as it stood."""
    steps = (
        extent.of.timeline.lazy()
        .select("time", "set_point")
        .drop_nulls()
        .with_columns(run=pl.col("set_point").rle_id())
        .group_by("run", maintain_order=True)
        .agg(pl.col("set_point").first(), start=pl.col("time").first(), last=pl.col("time").last())
        .with_columns(end=pl.col("start").shift(-1).fill_null(pl.col("last")))
        .collect()
    )
    return [
        Span(row["start"], row["end"], words=number(row["set_point"], 1))
        for row in extent.within(steps).iter_rows(named=True)
    ]


def numbered_notes(extent: Extent) -> list[tuple[str, dict[str, Any]]]:
    """Notes in order of time with their numbers."""
    rows = extent.of.notes.sort("time", "line").iter_rows(named=True)
    return [
        (f"n{place}", row)
        for place, row in enumerate(rows, start=1)
        if extent.start <= row["time"] <= extent.end
    ]


def note_key(extent: Extent) -> tuple[KeyLine, ...]:
    """What the notes say."""
    return tuple(
        KeyLine(mark, f"{moment(row['time'])} UTC, {note_in_words(row)}")
        for mark, row in numbered_notes(extent)
    )


def note_in_words(row: Mapping[str, Any]) -> str:
    """A note in one line: what was seen, what was done, with which part."""
    parts = (("seen", row["observation"]), ("done", row["action"]), ("part", row["part"]))
    return "; ".join(f"{name}: {shortened(said)}" for name, said in parts if said)


def shortened(text: str) -> str:
    """A text of bearable length that says when it was cut."""
    if len(text) <= LONGEST_TEXT:
        return text
    return f"{text[:LONGEST_TEXT]}… (cut here, {len(text)} characters in all)"


def alarm_spans(extent: Extent) -> tuple[list[tuple[str, list[Span]]], tuple[KeyLine, ...]]:
    """When each alarm text stood in the log, row by row, and what the rows stand for.

    Numbers go by first appearance in the window; texts beyond :data:`MOST_ALARMS` share a row.
    """
    following = pl.when(~pl.col("gap").fill_null(False)).then(pl.col("time").shift(-1))
    usual = pl.duration(microseconds=(pl.col("usual_hours").fill_null(0.0) * 3.6e9).cast(pl.Int64))
    until = pl.coalesce(following, pl.col("time") + usual)
    broken = (pl.col("time") != pl.col("until").shift(1)).fill_null(True)
    stood = (
        extent.of.timeline.lazy()
        .select("time", "alarms", until=until)
        .explode("alarms")
        .drop_nulls("alarms")
        .unique(["time", "alarms"], keep="first", maintain_order=True)
        .with_columns(run=broken.cum_sum().over("alarms"))
        .group_by("alarms", "run", maintain_order=True)
        .agg(start=pl.col("time").first(), end=pl.col("until").last(), readings=pl.len())
        .collect()
    )
    order = {text: place for place, text in enumerate(stood["alarms"].unique(maintain_order=True), start=1)}
    rows: dict[str, list[Span]] = {}
    key: list[KeyLine] = []
    seen = extent.within(stood).partition_by("alarms", as_dict=True, maintain_order=True)
    for (text,), spans in seen.items():
        place = order[text]
        row = f"Alarm {place}" if place <= MOST_ALARMS else "Other alarms"
        rows.setdefault(row, []).extend(extent.spans(spans))
        readings = spans["readings"].sum()
        key.append(
            KeyLine(
                f"Alarm {place}",
                f"“{shortened(text)}”, first {moment(spans['start'][0])} UTC, in {readings} readings",
            )
        )
    return list(rows.items()), _bearable(key)


def _bearable(key: Iterable[KeyLine]) -> tuple[KeyLine, ...]:
    lines = tuple(key)
    rest = len(lines) - MOST_ALARMS_SAID
    if rest <= 0:
        return lines
    return (*lines[:MOST_ALARMS_SAID], KeyLine("…", f"and {rest} more texts; they stand in the log"))
