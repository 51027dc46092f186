"""Clocks planted wrong in simulated fleets: how near the reported offset comes, and whether its bounds hold.

Everything here is simulated. The air of day and night is that of :mod:`coldsift.simulate.weather`, put on by
an hour every three days as on a ship that crosses time zones; each unit has its own sun, shade and sensor
noise, outages of its own, and some readings lost.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.clocks import compare_clocks, outages
from coldsift.features import clock_marks
from coldsift.peers import peer_span
from coldsift.regimes import build_timeline, find_voyage_events, regime_intervals
from coldsift.schema import COMMON_LOG
from coldsift.simulate.weather import weather_along

Array = NDArray[np.float64]

START = datetime(2031, 3, 2, tzinfo=UTC)
DAYS = 16
UNITS = 30
DAY = 86_400
CUTS = ((4_217, 66), (9_038, 95), (15_631, 144), (20_480, 51))
"""Power cuts of the whole ship: first minute and length. [min]"""

OFFSETS = (5, -15, 30, -60, 120, -180)
"""Planted, one a unit. [min]"""
DRIFTS = (10, -30, 60, -120)
"""Planted, one a unit. [s/d]"""
FIRST_SEED = 100
"""What the estimate leaves to choose was chosen on fleets of lower seeds."""
FED_OTHERWISE = 3
"""Units, with right clocks, that no power cut reaches."""


@dataclass(frozen=True, slots=True)
class Condition:
    """One kind of fleet."""

    minutes: int
    cuts: int

    def __str__(self) -> str:
        cuts = f"{self.cuts} power cuts" if self.cuts != 1 else "1 power cut"
        return f"log every {self.minutes} min, {cuts if self.cuts else 'no power cut'}"


CONDITIONS = tuple(Condition(minutes, cuts) for cuts in (4, 1, 0) for minutes in (1, 15, 60))


def measure(scratch: Path, seeds: Mapping[int, int] | None = None) -> dict[str, Any]:
    """Plant clocks that are off, and clocks that drift, and count.

    Parameters
    ----------
    scratch
        Not used: nothing is written.
    seeds
        Fleets of each kind by their log interval [min].

    Returns
    -------
    dict
        By condition and by what was planted (``offset`` [min], ``drift`` [s/d], ``none``): ``units``,
        ``stated`` (an offset was), ``within`` (of these, the truth lay within the stated bounds), ``apart``
        (told to be off: found where something was planted, false where nothing was), ``error`` and
        ``half_width`` (median and 90th percentile, in minutes). Under ``drift`` also ``drift_stated`` and
        ``drift_within``. ``all`` sums up: ``stated``, ``within``, ``right_clocks``, ``false``.
    """
    seeds = seeds or {1: 2, 15: 8, 60: 8}
    rows = pl.concat(
        _told(condition, seed).with_columns(condition=pl.lit(str(condition)))
        for condition in CONDITIONS
        for seed in range(FIRST_SEED, FIRST_SEED + seeds[condition.minutes])
    )
    found: dict[str, Any] = {}
    for condition in map(str, CONDITIONS):
        own = rows.filter(pl.col("condition") == condition)
        found[condition] = {
            kind: {
                str(size): _counted(part)
                for (size,), part in own.filter(pl.col("kind") == kind).group_by("size", maintain_order=True)
            }
            for kind in ("none", "offset", "drift")
        }
    right = rows.filter(pl.col("kind") == "none")
    found["all"] = {
        "stated": int(rows["offset"].is_not_null().sum()),
        "within": int(rows["within"].sum()),
        "right_clocks": right.height,
        "false": int(right["apart"].sum()),
    }
    return found


def _counted(part: pl.DataFrame) -> dict[str, Any]:
    counts: dict[str, Any] = {
        "units": part.height,
        "stated": int(part["offset"].is_not_null().sum()),
        "within": int(part["within"].sum()),
        "apart": int(part["apart"].sum()),
    }
    for name in ("error", "half_width"):
        values = part[name].drop_nulls() / 60
        counts[name] = [
            round(float(np.quantile(values, at)), 1) if len(values) else None for at in (0.5, 0.9)
        ]
    if part["kind"][0] == "drift":
        counts["drift_stated"] = int(part["drift"].is_not_null().sum())
        counts["drift_within"] = int(part["drift_within"].sum())
    return counts


def _told(condition: Condition, seed: int) -> pl.DataFrame:
    """What is reported of a fleet, beside what was planted in it."""
    draw = np.random.default_rng(np.random.SeedSequence([seed, condition.minutes, condition.cuts, 77]))
    names = [f"QXAU{1_000_000 + number}" for number in range(UNITS)]
    planted = pl.DataFrame(
        {
            "container": names,
            "ahead": [float(size * 60) for size in OFFSETS] + [0.0] * (UNITS - len(OFFSETS)),
            "gains": [0.0] * len(OFFSETS)
            + [float(size) for size in DRIFTS]
            + [0.0] * (UNITS - len(OFFSETS) - len(DRIFTS)),
        }
    )
    log = fleet(condition, planted, draw)
    line = build_timeline(log)
    spans = peer_span(line)
    clocks = compare_clocks(
        outages(line), find_voyage_events(regime_intervals(line)), clock_marks(line), spans
    )
    # A day wave is compared over the last four days: it stands for the middle of them.
    when = pl.coalesce("at", pl.lit(START + timedelta(days=DAYS - 2)))
    true = pl.col("ahead") + pl.col("gains") * (when - START).dt.total_seconds() / DAY
    return (
        planted.join(clocks, on="container", maintain_order="left")
        .with_columns(true=true)
        .select(
            "apart",
            "offset",
            "drift",
            kind=pl.when(pl.col("ahead") != 0)
            .then(pl.lit("offset"))
            .when(pl.col("gains") != 0)
            .then(pl.lit("drift"))
            .otherwise(pl.lit("none")),
            size=pl.when(pl.col("ahead") != 0).then(pl.col("ahead") / 60).otherwise("gains").cast(pl.Int64),
            within=pl.col("true").is_between("lower", "upper").fill_null(False),
            error=(pl.col("offset") - pl.col("true")).abs(),
            half_width=(pl.col("upper") - pl.col("lower")) / 2,
            drift_within=(
                pl.col("drift").is_not_null() & pl.col("gains").is_between("drift_lower", "drift_upper")
            ).fill_null(False),
        )
    )


def fleet(condition: Condition, planted: pl.DataFrame, draw: np.random.Generator) -> pl.DataFrame:
    """The common log of a simulated fleet whose clocks are as planted.

    Parameters
    ----------
    condition
        How often is logged, and how many of ``CUTS`` there are.
    planted
        ``container``, ``ahead`` [s] at the start, and ``gains`` [s/d].
    draw
        Random numbers.
    """
    minutes = np.arange(DAYS * 1440)
    sky = weather_along("tropics", START, DAYS, int(draw.integers(1, 900)))
    # East by a time zone every three days: the sun comes earlier by the clock.
    seen = np.clip(minutes + minutes // 72, 0, len(sky.air) - 1)
    dark = np.zeros(len(minutes), dtype=bool)
    for begin, length in CUTS[: condition.cuts]:
        dark[begin : begin + length] = True
    logs = []
    for number, (container, ahead, gains) in enumerate(planted.iter_rows()):
        own = np.zeros(len(minutes), dtype=bool)
        if draw.random() < 0.2:
            begin = int(draw.integers(0, len(minutes) - 400))
            own[begin : begin + int(draw.integers(20, 300))] = True
        shared = dark if number < len(planted) - FED_OTHERWISE else np.zeros_like(dark)
        side, warmth = round(draw.uniform(-150, 150)), draw.choice([0.0, 2.0, 4.0, 6.0])
        air = sky.air[seen] + warmth * np.roll(sky.sun[seen], side) / 1000
        logs.append(_logged(container, condition, ahead, gains, air, own | shared, draw))
    return COMMON_LOG.conform(pl.concat(logs, how="diagonal").pipe(_all_columns))


def _logged(
    container: str,
    condition: Condition,
    ahead: float,
    gains: float,
    air: Array,
    off: NDArray[np.bool_],
    draw: np.random.Generator,
) -> pl.DataFrame:
    """Readings whenever the unit's own clock comes to a whole log interval."""
    true = np.arange(len(air)) * 60.0
    shown = true + ahead + gains * true / DAY
    interval = condition.minutes * 60
    phase = int(draw.integers(condition.minutes)) * 60
    due = np.floor((shown - phase) / interval)
    now = np.flatnonzero(np.diff(due, prepend=due[0]) > 0)
    now = now[draw.random(len(now)) > 0.01]
    stamps = (due[now] * interval + phase).astype(np.int64)
    noisy = np.round((air[now] + draw.normal(0.0, 0.3, len(now))) * 10) / 10
    return pl.DataFrame(
        {
            "time": START + pl.Series(stamps * 1_000_000).cast(pl.Duration("us")),
            "container": pl.repeat(container, len(now), eager=True),
            "set_point": pl.repeat(2.0, len(now), eager=True),
            "supply_air": 2.0 + np.round(draw.normal(0.0, 0.1, len(now)), 1),
            "ambient_air": noisy,
            "power_state": ~off[now],
        }
    )


def _all_columns(log: pl.DataFrame) -> pl.DataFrame:
    missing = [column for column in COMMON_LOG.columns if column.name not in log.columns]
    return (
        log.with_columns(pl.lit(None, dtype=column.dtype).alias(column.name) for column in missing)
        .with_columns(source=pl.lit("simulated"), row=pl.int_range(1, pl.len() + 1, dtype=pl.Int64))
        .sort("container", "time")
        .select(COMMON_LOG.names)
    )
