"""What is done to a simulated voyage before it is ranked.

Goes in: log and truth of a voyage, its seed. Comes out: one or several fleets with their truth, all drawn by
the seed alone.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import polars as pl

from benchmarks.kept import TABLES
from benchmarks.likelihoods.fleets import without_channels
from coldsift.intake import read_logs
from coldsift.schema import CHANNELS
from coldsift.simulate import Fleet
from coldsift.simulate.faults import HEALTHY
from coldsift.simulate.folder import SAMPLE_LAYOUTS
from coldsift.simulate.layouts import write_logs

AIR = ("set_point", "supply_air", "return_air", "ambient_air")
AIR_AND_ELECTRIC = (
    *AIR,
    "mode",
    "alarms",
    "compressor_state",
    "evaporator_fan_speed",
    "heater_state",
    "defrost_state",
    *(f"{what}_{phase}" for what in ("voltage", "current") for phase in (1, 2, 3)),
    "power",
    "frequency",
    "power_state",
)

_LEAST_HOURS = 24.0
"""A fault that had less time than this before its log ended is not counted for or against. [h]"""


def aboard(fleet: Fleet, containers: Sequence[str]) -> Fleet:
    """The fleet with some of its units."""
    chosen = pl.col("container").is_in(containers)
    return replace(fleet, **{name: getattr(fleet, name).filter(chosen) for name in TABLES})


def as_is(fleet: Fleet, seed: int) -> Iterator[Fleet]:
    """Nothing done."""
    yield fleet


def all_hard(fleet: Fleet, seed: int, *, kind: str) -> Iterator[Fleet]:
    """Nothing done; every unit counts as a hard case of a kind."""
    yield replace(fleet, truth=fleet.truth.with_columns(hard_case=pl.lit(kind)))


def thinned(fleet: Fleet, seed: int, *, minutes: int) -> Iterator[Fleet]:
    """One reading kept in so many minutes."""
    logged = fleet.truth.select("container", every=minutes // pl.col("interval_minutes"))
    log = fleet.log.join(logged, on="container", maintain_order="left")
    place = pl.int_range(pl.len()).over("container")
    yield replace(fleet, log=log.filter(place % pl.col("every") == 0).drop("every"))


def only(fleet: Fleet, seed: int, *, channels: tuple[str, ...]) -> Iterator[Fleet]:
    """Nothing logged but these, every 15 minutes."""
    for base in thinned(fleet, seed, minutes=15):
        yield replace(base, log=_without(base.log, [name for name in CHANNELS if name not in channels]))


def a_third_absent(fleet: Fleet, seed: int) -> Iterator[Fleet]:
    """A third of each unit's channels not logged, drawn unit by unit."""
    for base in thinned(fleet, seed, minutes=15):
        yield replace(base, log=without_channels(base.log, seed))


def without_defrost_state(fleet: Fleet, seed: int) -> Iterator[Fleet]:
    """No unit says when it defrosts."""
    for base in thinned(fleet, seed, minutes=15):
        yield replace(base, log=_without(base.log, ["defrost_state", "mode"]))


def _without(log: pl.DataFrame, channels: list[str]) -> pl.DataFrame:
    return log.with_columns(pl.lit(None, log.schema[name]).alias(name) for name in channels)


def split(fleet: Fleet, seed: int, *, units: int) -> Iterator[Fleet]:
    """Smaller fleets, each with its share of the faulty units."""
    draw = np.random.default_rng([seed, 1])
    parts = round(fleet.truth.height / units)
    of_part: list[list[str]] = [[] for _ in range(parts)]
    place = 0
    for faulty in (True, False):
        for container in draw.permutation(_containers(fleet, faulty=faulty)):
            of_part[place % parts].append(str(container))
            place += 1
    for base in thinned(fleet, seed, minutes=15):
        yield from (aboard(base, sorted(part)) for part in of_part)


def share(fleet: Fleet, seed: int, *, faulty: float) -> Iterator[Fleet]:
    """Faults taken out until so many are left, severity 0.3 and above; several times where few are left."""
    draw = np.random.default_rng([seed, 2])
    healthy = _containers(fleet, faulty=False)
    struck = draw.permutation(_containers(fleet, faulty=True, severity=(0.3, 1.01)))
    count = round(faulty * len(healthy) / (1.0 - faulty))
    times = min(5, len(struck) // count) if count else 1
    for time in range(times):
        chosen = [str(name) for name in struck[time * count : (time + 1) * count]]
        yield aboard(fleet, sorted([*healthy, *chosen]))


def severity(fleet: Fleet, seed: int, *, low: float, high: float) -> Iterator[Fleet]:
    """Only the faults of such severity left."""
    struck = _containers(fleet, faulty=True, severity=(low, high))
    yield aboard(fleet, sorted([*_containers(fleet, faulty=False), *struck]))


def _containers(fleet: Fleet, *, faulty: bool, severity: tuple[float, float] = (0.0, 1.01)) -> list[str]:
    is_faulty = pl.col("cause") != HEALTHY
    inside = pl.col("severity").is_between(*severity, closed="left")
    return fleet.truth.filter(is_faulty & inside if faulty else ~is_faulty)["container"].sort().to_list()


def through_layouts(fleet: Fleet, seed: int) -> Iterator[Fleet]:
    """Written to files in every layout in turn and read in again, units and rounding included."""
    for base in thinned(fleet, seed, minutes=15):
        containers = base.truth["container"].sort().to_list()
        layouts = {
            container: SAMPLE_LAYOUTS[place % len(SAMPLE_LAYOUTS)]
            for place, container in enumerate(containers)
        }
        yield replace(base, log=_written_and_read(base.log, layouts))


def spoiled(
    fleet: Fleet, seed: int, *, fault: Callable[[pl.DataFrame, int], pl.DataFrame]
) -> Iterator[Fleet]:
    """A data fault put into the files, which are then read in; truth cut to what the log still covers."""
    for base in thinned(fleet, seed, minutes=15):
        containers = base.truth["container"].to_list()
        log = _written_and_read(fault(base.log, seed), dict.fromkeys(containers, "comma_iso"))
        ends = log.group_by("container").agg(log_end=pl.col("time").max())
        late = pl.col("onset") > pl.col("log_end") - pl.duration(hours=_LEAST_HOURS)
        kept = base.truth.join(ends, on="container").filter(~late.fill_null(False))["container"]
        seen = (
            base.excursions.join(ends, on="container", maintain_order="left")
            .filter(pl.col("start") < pl.col("log_end"))
            .with_columns(end=pl.min_horizontal("end", "log_end"))
            .drop("log_end")
        )
        yield aboard(replace(base, log=log, excursions=seen), kept.to_list())


def _written_and_read(log: pl.DataFrame, layouts: dict[str, str]) -> pl.DataFrame:
    with tempfile.TemporaryDirectory() as folder:
        write_logs(log, Path(folder), layouts)
        return read_logs([Path(folder)]).log


def with_gaps(log: pl.DataFrame, seed: int) -> pl.DataFrame:
    """About one gap in three days, a few hours to a day long."""
    draw = np.random.default_rng([seed, 3])
    gaps = []
    for container, start, end in _spans(log):
        days = (end - start).total_seconds() / 86400
        for _ in range(1 + draw.poisson(days / 3)):
            begins = start + (end - start) * draw.random()
            gaps.append((container, begins, float(2.0 + draw.exponential(6.0))))
    table = pl.DataFrame(
        gaps, schema={"container": pl.String, "begins": log.schema["time"], "hours": pl.Float64}, orient="row"
    ).with_columns(ends=pl.col("begins") + pl.duration(seconds=pl.col("hours") * 3600))
    lost = (
        log.select("container", "time")
        .join(table, on="container")
        .filter(pl.col("time").is_between("begins", "ends"))
        .select("container", "time")
        .unique()
    )
    return log.join(lost, on=["container", "time"], how="anti", maintain_order="left")


def with_impossible_values(log: pl.DataFrame, seed: int) -> pl.DataFrame:
    """One reading in seventy is a stand-in for no value, and one row in thirty comes twice."""
    draw = np.random.default_rng([seed, 4])
    temperatures = [name for name, dtype in log.schema.items() if dtype == pl.Float64 and name in CHANNELS]
    spoilt = log.with_columns(
        pl.when(pl.Series(draw.random(log.height) < 0.014) & pl.col(name).is_not_null())
        .then(pl.Series(draw.choice([-999.0, 3276.7], log.height)))
        .otherwise(pl.col(name))
        .alias(name)
        for name in temperatures
        if name != "set_point"
    )
    again = spoilt.filter(pl.Series(draw.random(log.height) < 0.033))
    return pl.concat([spoilt, again]).sort("container", "time", maintain_order=True)


def with_clock_steps(log: pl.DataFrame, seed: int) -> pl.DataFrame:
    """One unit in six has its clock set by 1 to 9 hours, forwards or back, somewhere in the voyage."""
    draw = np.random.default_rng([seed, 5])
    steps = [
        (container, start + (end - start) * draw.uniform(0.2, 0.8), int(draw.choice([-6, -3, -1, 1, 3, 9])))
        for container, start, end in _spans(log)
        if draw.random() < 1 / 6
    ]
    table = pl.DataFrame(
        steps, schema={"container": pl.String, "at": log.schema["time"], "hours": pl.Int64}, orient="row"
    )
    moved = pl.when(pl.col("time") >= pl.col("at")).then(pl.col("hours")).otherwise(0).fill_null(0)
    return (
        log.join(table, on="container", how="left", maintain_order="left")
        .with_columns(pl.col("time") + pl.duration(hours=moved))
        .drop("at", "hours")
    )


def with_early_ends(log: pl.DataFrame, seed: int) -> pl.DataFrame:
    """One unit in four was downloaded early: its log ends at 30 to 90 % of the voyage."""
    draw = np.random.default_rng([seed, 6])
    ends = [
        (container, start + (end - start) * draw.uniform(0.3, 0.9))
        for container, start, end in _spans(log)
        if draw.random() < 1 / 4
    ]
    table = pl.DataFrame(ends, schema={"container": pl.String, "end": log.schema["time"]}, orient="row")
    return (
        log.join(table, on="container", how="left", maintain_order="left")
        .filter((pl.col("time") <= pl.col("end")).fill_null(True))
        .drop("end")
    )


def with_all_data_faults(log: pl.DataFrame, seed: int) -> pl.DataFrame:
    """All four."""
    for fault in (with_gaps, with_early_ends, with_clock_steps, with_impossible_values):
        log = fault(log, seed)
    return log


def _spans(log: pl.DataFrame) -> Iterator[tuple[str, datetime, datetime]]:
    """Container, first and last time, in order."""
    spans = log.group_by("container").agg(start=pl.col("time").min(), end=pl.col("time").max())
    yield from spans.sort("container").iter_rows()


def single_of_its_kind(fleet: Fleet, seed: int) -> Iterator[Fleet]:
    """One healthy chilled unit at a time among the healthy frozen ones: nobody to compare it with."""
    draw = np.random.default_rng([seed, 7])
    plain = fleet.truth.filter(pl.col("cause") == HEALTHY, pl.col("hard_case").is_null())
    frozen = plain.filter(pl.col("set_point") <= -10)["container"].to_list()
    chilled = plain.filter(pl.col("set_point") > -10)["container"].to_list()
    for base in thinned(fleet, seed, minutes=15):
        for container in draw.choice(chilled, min(12, len(chilled)), replace=False):
            ship = aboard(base, [*frozen[:30], str(container)])
            lone = pl.when(pl.col("container") == str(container)).then(pl.lit("single_of_its_kind"))
            yield replace(ship, truth=ship.truth.with_columns(hard_case=lone))


def new_controllers(fleet: Fleet, seed: int) -> Iterator[Fleet]:
    """One healthy unit in ten got a new controller: its log begins then, its probes read a little off."""
    draw = np.random.default_rng([seed, 8])
    for base in thinned(fleet, seed, minutes=15):
        plain = base.truth.filter(pl.col("cause") == HEALTHY, pl.col("hard_case").is_null())
        chosen = draw.choice(plain["container"].to_list(), plain.height // 10, replace=False)
        _, start, end = next(_spans(base.log))
        table = pl.DataFrame(
            {
                "container": [str(container) for container in chosen],
                "since": [start + (end - start) * draw.uniform(0.4, 0.8) for _ in chosen],
                "off": draw.normal(0.0, 0.15, len(chosen)).round(1),
            }
        )
        log = (
            base.log.join(table, on="container", how="left", maintain_order="left")
            .filter((pl.col("time") >= pl.col("since")).fill_null(True))
            .with_columns(
                pl.col("supply_air") + pl.col("off").fill_null(0.0),
                pl.col("return_air") - pl.col("off").fill_null(0.0),
            )
            .drop("since", "off")
        )
        replaced = pl.when(pl.col("container").is_in(table["container"].to_list()))
        truth = base.truth.with_columns(hard_case=replaced.then(pl.lit("new_controller")))
        yield replace(base, log=log, truth=truth)
