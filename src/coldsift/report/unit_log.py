"""The log of one unit as the report draws and tells it.

Goes in: the timeline of a batch of units. Comes out: a :class:`UnitLog` for each of them. All that is asked
of the table is asked once for the whole batch; a unit's part of it is a slice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import NamedTuple

import numpy as np
import polars as pl
import polars.selectors as cs
from numpy.typing import NDArray

from coldsift.report.thinning import middle, stretches
from coldsift.schema import REGIMES

Seconds = NDArray[np.int64]
Values = NDArray[np.float64]
Codes = NDArray[np.int64]

UNKNOWN = REGIMES.index("unknown")
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Said(NamedTuple):
    """Texts of a log: each once, by the alphabet; and which reading says which of them.

    ``rows`` and ``codes`` are as long as each other: places among the readings and among the texts.
    """

    texts: Sequence[str]
    rows: Codes
    codes: Codes

    def between(self, first: int, end: int) -> Said:
        """What the readings from ``first`` to before ``end`` say."""
        own = slice(*np.searchsorted(self.rows, (first, end)))
        return Said(self.texts, self.rows[own] - first, self.codes[own])


_NO_ROWS = np.array([], dtype=np.int64)
NOTHING_SAID = Said((), _NO_ROWS, _NO_ROWS)


@dataclass(frozen=True)
class UnitLog:
    """The readings of one unit, by time.

    Attributes
    ----------
    container
        Number as logged.
    times
        Time of each reading. [µs since 1970, UTC]
    gap
        True where the next reading is missing.
    readings
        Values of every column of numbers; NaN where there is none.
    regimes
        Place of each reading's regime among :data:`coldsift.schema.REGIMES`.
    states
        Every column that is true or false: 1, 0, and -1 where it is not known.
    modes, alarms
        As logged; empty texts of alarms are left out.
    """

    container: str
    times: NDArray[np.int64]
    gap: NDArray[np.bool_]
    readings: Mapping[str, Values]
    regimes: Codes
    states: Mapping[str, Codes]
    modes: Said
    alarms: Said

    def __len__(self) -> int:
        return len(self.times)

    @cached_property
    def start(self) -> datetime:
        """Time of the first reading."""
        return EPOCH + timedelta(microseconds=int(self.times[0]))

    @cached_property
    def seconds(self) -> Seconds:
        """Time of each reading. [s since the start]"""
        seconds: Seconds = (self.times - self.times[0]) // 1_000_000
        return seconds

    @cached_property
    def until(self) -> Seconds:
        """Until when each reading stands; before a gap and at the end for one usual step. [s since start]"""
        usual = int(middle(np.diff(self.seconds)))
        following = np.append(self.seconds[1:], self.seconds[-1] + usual)
        return np.where(self.gap, self.seconds + usual, following)

    @cached_property
    def stretches(self) -> list[tuple[int, int]]:
        """Unbroken stretches, first and one past last, of what has a reading in every row."""
        return stretches(self.seconds, self.gap)

    def since(self, time: datetime) -> int:
        """Whole seconds from the start to a time."""
        return int((time - self.start).total_seconds())


def unit_logs(timeline: pl.DataFrame) -> Iterator[UnitLog]:
    """Take the timeline of a batch of units apart.

    Parameters
    ----------
    timeline
        The common log of these units, sorted by container and time, with ``regime`` and ``gap``. Columns of
        measurements may be absent.
    """
    log = timeline.with_columns(cs.boolean().cast(pl.Int8).cast(pl.Int64).fill_null(-1))
    readings = {column.name: column.cast(pl.Float64).to_numpy() for column in log.select(cs.float())}
    states = {name: log[name].to_numpy() for name in timeline.select(cs.boolean()).columns}
    times = log["time"].dt.epoch("us").to_numpy()
    gap = states["gap"] > 0
    regimes = log["regime"].to_physical().cast(pl.Int64).fill_null(UNKNOWN).to_numpy()
    modes, alarms = _modes(log), _alarms(log)
    first = 0
    for container, count in log["container"].rle().struct.unnest().select("value", "len").iter_rows():
        own = slice(first, end := first + count)
        yield UnitLog(
            container=str(container),
            times=times[own],
            gap=gap[own],
            readings={name: values[own] for name, values in readings.items()},
            regimes=regimes[own],
            states={name: codes[own] for name, codes in states.items()},
            modes=modes.between(first, end),
            alarms=alarms.between(first, end),
        )
        first = end


def _modes(log: pl.DataFrame) -> Said:
    if "mode" not in log.columns:
        return NOTHING_SAID
    rows = log.lazy().select(pl.int_range(pl.len()).alias("row"), pl.col("mode").alias("text"))
    return _said(rows.drop_nulls())


def _alarms(log: pl.DataFrame) -> Said:
    if "alarms" not in log.columns:
        return NOTHING_SAID
    return _said(
        log.lazy()
        .select(pl.int_range(pl.len()).alias("row"), pl.col("alarms").alias("text"))
        .filter(pl.col("text").list.len() > 0)
        .explode("text")
        .filter(pl.col("text").str.strip_chars() != "")
        .unique()
        .sort("row", "text")
    )


def _said(said: pl.LazyFrame) -> Said:
    """From ``row``, in order, and ``text``."""
    found = said.collect()
    texts = found["text"].unique().sort()
    codes = found["text"].cast(pl.Enum(texts)).to_physical()
    return Said(texts.to_list(), *(column.cast(pl.Int64).to_numpy() for column in (found["row"], codes)))
