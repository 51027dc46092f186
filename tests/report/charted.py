"""A log with everything in it, and a packed figure opened again, for the tests of the unit's chart."""

from __future__ import annotations

import base64
import json
import zlib
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from tests.report.fleet import START, timeline

from coldsift import schema
from coldsift.report.peer_ranges import NO_RANGES, peer_ranges
from coldsift.report.unit_chart import unit_chart
from coldsift.report.unit_log import unit_logs

Numbers = NDArray[np.int64]


@dataclass(frozen=True)
class Opened:
    """A packed figure: its header, and how to read the arrays that it refers to."""

    header: dict[str, Any]
    numbers: bytes

    def array(self, place: list[int]) -> Numbers:
        """Written from the description in packing.py, apart from the code that packs."""
        first, count, width = place
        planes = [self.numbers[first + plane * count :][:count] for plane in range(width)]
        values, last = [], 0
        for parts in zip(*planes, strict=True):
            step = sum(part << 8 * plane for plane, part in enumerate(parts))
            last += -(step + 1) // 2 if step & 1 else step // 2
            values.append(last)
        return np.array(values, dtype=np.int64)

    def line(self, name: str) -> dict[str, Any]:
        return next(each for each in self.header["lines"] if each["name"] == name)

    def readings(self, name: str) -> tuple[Numbers, NDArray[np.float64]]:
        """Seconds since the start, and values."""
        line = self.line(name)
        seconds = self.array(self.header["rows"])
        if "rows" in line:
            seconds = seconds[self.array(line["rows"])]
        return seconds, self.array(line["values"]) / line["scale"]

    def breaks(self, name: str) -> list[int]:
        return self.array(self.line(name)["breaks"]).tolist()

    def spans(self, packed: dict[str, Any]) -> list[tuple[int, int, int]]:
        """Start and end in seconds, and the code."""
        starts, lengths, codes = (
            self.array(packed[name]).tolist() for name in ("starts", "lengths", "codes")
        )
        return [
            (start, start + length, code) for start, length, code in zip(starts, lengths, codes, strict=True)
        ]

    def panels(self) -> dict[str, list[str]]:
        """Names of the lines of each panel."""
        lines = self.header["lines"]
        return {
            panel["key"]: [lines[place]["name"] for place in panel["lines"]]
            for panel in self.header["panels"]
        }


def opened(chart: str) -> Opened:
    """Open a packed figure with nothing but zlib and json."""
    words, _, numbers = zlib.decompress(base64.b64decode(json.loads(chart))).partition(b"\n")
    return Opened(json.loads(words), numbers)


def chart_of(
    log: pl.DataFrame,
    peers: pl.DataFrame,
    excursions: pl.DataFrame,
    defrosts: pl.DataFrame,
    notes: pl.DataFrame,
) -> str:
    """The packed figure of one unit, from its tables."""
    (own,) = unit_logs(log)
    (ranges,) = peer_ranges(peers).values() or (NO_RANGES,)
    coil = pl.col("termination_temperature").round(1).alias("coil")
    return unit_chart(
        own,
        ranges,
        excursions.rows(named=True),
        defrosts.with_columns(coil).rows(named=True),
        notes.rows(named=True),
    )


def full_log(name: str, days: int = 14, minutes: int = 15, gap_hours: float = 9) -> pl.DataFrame:
    """An invented unit that logs everything there is; the first of the fleet, chilled."""
    log = timeline([name], days, minutes, gap_hours=gap_hours)
    count = log.height
    random = np.random.default_rng(7)

    def wave(middle: float, size: float, digits: int, noise: float = 0.1) -> pl.Series:
        day = np.arange(count) * minutes / 1440
        values = middle + size * np.sin(2 * np.pi * day) + size * noise * random.normal(size=count)
        return pl.Series(np.round(values, digits))

    runs = pl.int_range(pl.len()) % 12 < 9
    return log.with_columns(
        **{f"cargo_probe_{number}": wave(2 + number / 4, 0.3, 1) for number in range(1, 5)},
        suction_pressure=wave(2.4, 0.3, 2),
        discharge_pressure=wave(11, 1.5, 1),
        evaporating=wave(-6, 2, 6),
        condensing=wave(42, 4, 6),
        suction_temperature=wave(4, 2, 1),
        discharge_temperature=wave(71, 8, 1),
        evaporator_temperature=wave(-2, 2, 1),
        superheat=pl.lit(5.0),
        expansion_valve_opening=wave(40, 12, 0),
        economizer_valve=pl.when(runs).then(100.0).otherwise(0.0),
        hot_gas_valve=wave(12, 4, 0),
        evaporator_fan_speed=pl.lit(100.0),
        condenser_fan_speed=wave(60, 20, 0),
        compressor_frequency=wave(62, 12, 0),
        compressor_state=runs,
        heater_state=pl.lit(False),
        power_state=pl.col("regime") != "off",
        **{f"current_{number}": wave(7 + number / 10, 1.5, 1) for number in range(1, 4)},
        **{f"voltage_{number}": wave(440 + number, 4, 0) for number in range(1, 4)},
        power=wave(4200, 700, 0, noise=0.02),
        frequency=wave(60, 0.1, 1),
        humidity=wave(88, 5, 0),
        humidity_set_point=pl.lit(90.0),
        oxygen=wave(5, 0.6, 1),
        carbon_dioxide=wave(7, 0.6, 1),
        fresh_air_vent=pl.lit(15.0),
        mode=pl.when(runs).then(pl.lit("cooling")).otherwise(pl.lit("fan only")),
    ).cast({"power_state": pl.Boolean, "mode": pl.String})


def with_alarms(log: pl.DataFrame, alarms: dict[str, tuple[float, float]]) -> pl.DataFrame:
    """Alarm texts with the hours, from and to, in which they stood."""
    hour = (pl.col("time") - START).dt.total_minutes() / 60
    standing = [
        pl.when((hour >= first) & (hour < end)).then(pl.lit(text)) for text, (first, end) in alarms.items()
    ]
    return log.with_columns(alarms=pl.concat_list(standing).list.drop_nulls())


def notes(name: str, told: dict[float, str]) -> pl.DataFrame:
    """Notes by the hour at which they were made."""
    rows = [
        {"container": name, "time": START + timedelta(hours=hour), "observation": words, "line": place}
        for place, (hour, words) in enumerate(told.items(), start=2)
    ]
    return schema.NOTES.conform(pl.DataFrame(rows)) if rows else schema.NOTES.empty()


def peer_band(channel: str, low: float, high: float, days: int = 14, units: int = 11) -> pl.DataFrame:
    """A group whose range never changes, four times a day."""
    return schema.PEER_BANDS.conform(
        pl.DataFrame(
            [
                {
                    "peer_group": "chilled",
                    "time": START + timedelta(hours=6 * quarter),
                    "channel": channel,
                    "low": low,
                    "middle": (low + high) / 2,
                    "high": high,
                    "units": units,
                }
                for quarter in range(4 * days)
            ]
        )
    )
