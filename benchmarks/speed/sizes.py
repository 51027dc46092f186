"""Folders of log files to measure on: invented voyages of three sizes, kept from run to run.

A few units are simulated; the others are these again under other valid container numbers, each measured
channel shifted by a small constant of its own, seeded, so that no two files are the same. States, set points
and clocks are as simulated. A voyage logged every minute is simulated every five minutes; the readings
between are on the straight line, states last until the next one.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl

from benchmarks.kept import kept
from coldsift.simulate import plan_fleet
from coldsift.simulate.layouts import plain_words_layout
from coldsift.simulate.plan import container_number

SEED = 8801
SIMULATED_UNITS = 50
SIMULATED_MINUTES = 5
"""Coarsest interval from which every minute is filled in. [min]"""

DECIMALS = {
    "set_point": 1,
    "supply_air": 1,
    "return_air": 1,
    "ambient_air": 1,
    "suction_pressure": 2,
    "discharge_pressure": 2,
    "suction_temperature": 1,
    "discharge_temperature": 1,
    "expansion_valve_opening": 0,
    "compressor_frequency": 1,
    "voltage_1": 0,
    "current_1": 2,
    "power": 0,
}
"""Numbers that the files hold, and their decimals; pressures over atmospheric."""

STATES = ("compressor_state", "defrost_state", "power_state")

SHIFTS = {
    "supply_air": 0.1,
    "return_air": 0.1,
    "ambient_air": 0.5,
    "suction_pressure": 0.01,
    "discharge_pressure": 0.1,
    "suction_temperature": 0.2,
    "discharge_temperature": 0.5,
}
"""Standard deviation of the constant that shifts a channel of a copy, in the channel's unit."""

ATMOSPHERE = 1.013
"""Gauge to absolute. [bar]"""


@dataclass(frozen=True, slots=True)
class Size:
    """An invented voyage.

    Attributes
    ----------
    name
        For the command line and the page.
    units, days, minutes
        Containers, length [d] and log interval [min].
    parts
        Units in the first folder, in the first two, and so on up to all.
    """

    name: str
    units: int
    days: int
    minutes: int
    parts: tuple[int, ...]


SMALL = Size("small", 373, 30, 15, (373,))
MINUTES = Size("minutes", 100, 30, 1, (100,))
FLEET = Size("fleet", 5000, 90, 15, (625, 1250, 2500, 5000))


@dataclass(frozen=True, slots=True)
class Voyage:
    """Files on disk.

    Attributes
    ----------
    units, rows, bytes
        What the files hold.
    folders
        Where they stand; nothing but CSV files and a note that they are invented.
    """

    units: int
    rows: int
    bytes: int
    folders: tuple[Path, ...]


def voyages(size: Size, cache: Path) -> list[Voyage]:
    """Voyages of one length and growing number of units, each with the files of the one before.

    Parameters
    ----------
    size
        What is wanted.
    cache
        Folder that keeps simulated units and files; what stands there with the same parameters is used.

    Returns
    -------
    list of Voyage
        One for each entry of ``size.parts``.
    """
    folder = cache / size.name
    note = folder / "made.json"
    wanted = json.loads(json.dumps({**asdict(size), "seed": SEED, "decimals": DECIMALS, "shifts": SHIFTS}))
    made = json.loads(note.read_text(encoding="utf-8")) if note.is_file() else {}
    if made.get("of") != wanted:
        shutil.rmtree(folder, ignore_errors=True)
        base = _base(size, cache)
        parts = list(enumerate(pairwise((0, *size.parts)), start=1))
        rows = [_write(base, range(*units), folder / f"part_{place}") for place, units in parts]
        made = {"of": wanted, "rows": rows}
        note.write_text(json.dumps(made), encoding="utf-8")
    folders = [folder / f"part_{place}" for place in range(1, len(size.parts) + 1)]
    weights = [sum(path.stat().st_size for path in csv_files([part])) for part in folders]
    return [
        Voyage(units, sum(made["rows"][:place]), sum(weights[:place]), tuple(folders[:place]))
        for place, units in enumerate(size.parts, start=1)
    ]


def _base(size: Size, cache: Path) -> list[pl.DataFrame]:
    """Simulated units, one frame each, as their files say it but for the shifts of the copies."""
    interval = max(size.minutes, SIMULATED_MINUTES)
    plan = plan_fleet(
        units=min(size.units, SIMULATED_UNITS),
        days=size.days,
        seed=SEED,
        interval_minutes=interval,
    )
    log = kept(
        plan, cache / f"simulated_{SEED}_{len(plan.units)}_units_{size.days}_days_{interval}_minutes"
    ).log
    units = log.select("container", "time", *DECIMALS, *STATES, "alarms").partition_by("container")
    return [_every(unit, size.minutes) if size.minutes < interval else unit for unit in units]


def _every(unit: pl.DataFrame, minutes: int) -> pl.DataFrame:
    """Readings in between, on the straight line."""
    return (
        unit.unique("time", keep="first", maintain_order=True)
        .sort("time")
        .upsample("time", every=f"{minutes}m")
        .with_columns(pl.col(*DECIMALS).interpolate(), pl.col("container", *STATES, "alarms").forward_fill())
    )


def _write(base: list[pl.DataFrame], numbers: range, folder: Path) -> int:
    """Write one file a unit; returns the number of rows."""
    folder.mkdir(parents=True)
    (folder / "voyage.json").write_text('{"invented": true}\n', encoding="utf-8")
    rows = 0
    for number in numbers:
        copy, place = divmod(number, len(base))
        name = container_number(number)
        frame = as_file(base[place], name, copy)
        frame.write_csv(folder / f"{name}.csv")
        rows += len(frame)
    return rows


def as_file(unit: pl.DataFrame, name: str, copy: int) -> pl.DataFrame:
    """A unit's log as the file says it, with headings in the trade's words.

    Parameters
    ----------
    unit
        Part of a common log; pressures absolute.
    name
        Container number that the file gives it.
    copy
        0 leaves the readings as they are; others are shifted.

    Returns
    -------
    polars.DataFrame
        Numbers as decimals, states as words, pressures over atmospheric.
    """
    layout = plain_words_layout()
    headings = {rule.channel: rule.headings[0] for rule in layout.columns}
    draw = np.random.default_rng([SEED, copy, *name.encode()])
    shifts = {channel: float(draw.normal(0.0, deviation)) for channel, deviation in SHIFTS.items()}
    return unit.select(
        pl.col("time").dt.strftime(layout.time_format or "%Y-%m-%d %H:%M:%S").alias(layout.time_columns[0]),
        pl.lit(name).alias(layout.container_columns[0]),
        *(
            (
                pl.col(channel)
                + (shifts.get(channel, 0.0) if copy else 0.0)
                - (ATMOSPHERE if channel.endswith("pressure") else 0.0)
            )
            .round(decimals)
            .cast(pl.Decimal(12, decimals))
            .alias(headings[channel])
            for channel, decimals in DECIMALS.items()
        ),
        *(
            pl.when(channel)
            .then(pl.lit("on"))
            .when(~pl.col(channel))
            .then(pl.lit("off"))
            .alias(headings[channel])
            for channel in STATES
        ),
        pl.col("alarms").list.join(layout.alarm_separator or "|").replace("", None).alias(headings["alarms"]),
    )


def csv_files(folders: Iterable[Path]) -> Iterator[Path]:
    """The log files, in order of folder and name."""
    for folder in folders:
        yield from sorted(folder.glob("*.csv"))
