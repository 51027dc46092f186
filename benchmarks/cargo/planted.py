"""Voyages whose cargo temperatures are known, because they were simulated.

Goes in: a fleet plan. Comes out: its log, and the true outer and inner cargo of every unit over time. All of
it is invented; the plants' cargo is two lumps with conductances of their own, not the slab of the model.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from benchmarks.second_plant.fleet import build_machines
from benchmarks.second_plant.passage import ROW, SLOT_MINUTES
from benchmarks.second_plant.passage import sail as sail_second
from benchmarks.second_plant.records import log_of as log_of_second
from coldsift.cargo import Goods, cargo_temperatures, cargoes_of
from coldsift.cargo.air import PROBES
from coldsift.regimes import build_timeline
from coldsift.schema import TIME
from coldsift.simulate import FleetPlan, UnitPlan
from coldsift.simulate.machines import draw_machines
from coldsift.simulate.papers import COMMODITIES
from coldsift.simulate.plan import container_number
from coldsift.simulate.record import log_of
from coldsift.simulate.voyage import ROW_CHANNELS, sail
from coldsift.voyage.facts import UnitFacts

__all__ = ["COMMODITIES", "Planted", "first_plant", "judge", "probed_plan", "second", "without"]


@dataclass(frozen=True, slots=True)
class Planted:
    """A voyage with its truth.

    Attributes
    ----------
    plan, log
        The fleet and what it logged.
    truth
        ``container``, ``time`` (true UTC), ``zone``, ``true_surface``, ``true_core`` [°C], sorted by time.
    """

    plan: FleetPlan
    log: pl.DataFrame
    truth: pl.DataFrame


def probed_plan(units: int, days: float, seed: int, interval_minutes: int = 15) -> FleetPlan:
    """Citrus, which is what the first plant puts probes in: every third loaded warm, every third re-set."""
    return FleetPlan(
        seed=seed,
        start=datetime(2031, 1, 6, tzinfo=UTC),
        days=days,
        route="mixed",
        units=tuple(
            UnitPlan(
                container=container_number(index),
                set_point=(3.0, 5.0)[index % 2],
                cargo="citrus",
                hard_case=("warm_load", "set_point_change", None)[index % 3],
                interval_minutes=interval_minutes,
            )
            for index in range(units)
        ),
    )


def first_plant(plan: FleetPlan) -> Planted:
    """Simulate on the first plant."""
    machines = draw_machines(plan)
    trace = sail(plan, machines)
    surface, core = (trace.rows[:, ROW_CHANNELS.index(name)] for name in ("surface", "core"))
    minutes = np.repeat(trace.minutes[:, None], len(plan.units), axis=1)
    return Planted(plan, log_of(plan, trace), _truth(plan, [("all", minutes, surface, core)]))


def second(plan: FleetPlan) -> Planted:
    """Simulate on the second plant, whose loads have a front and a rear zone."""
    machines = build_machines(plan)
    trace = sail_second(plan, machines)
    slots = np.arange(len(trace.rows))[:, None] * SLOT_MINUTES
    minutes = slots + trace.row_minute[None, :]
    core_front, surface_front, core_rear, surface_rear = (trace.rows[:, ROW.index(name)] for name in PROBES)
    zones = [
        ("front", minutes, surface_front, core_front),
        ("rear", minutes, surface_rear, core_rear),
    ]
    return Planted(plan, log_of_second(plan, machines, trace), _truth(plan, zones))


def _truth(
    plan: FleetPlan,
    zones: list[tuple[str, NDArray[np.int64], NDArray[np.float32], NDArray[np.float32]]],
) -> pl.DataFrame:
    frames = [
        pl.DataFrame(
            {
                "container": unit.container,
                "time": pl.Series([plan.start]).cast(TIME).item()
                + pl.Series(minutes[:, index] * 60_000_000).cast(pl.Duration("us")),
                "zone": zone,
                "true_surface": surface[:, index].astype(np.float64),
                "true_core": core[:, index].astype(np.float64),
            }
        )
        for zone, minutes, surface, core in zones
        for index, unit in enumerate(plan.units)
    ]
    return pl.concat(frames).sort("time")


def without(log: pl.DataFrame, *channels: str) -> pl.DataFrame:
    """The log without some channels."""
    return log.with_columns(pl.lit(None, pl.Float64).alias(name) for name in channels)


def judge(
    planted: Planted, log: pl.DataFrame, goods: Goods, facts: dict[str, UnitFacts] | None = None
) -> pl.DataFrame:
    """Hold the reckoned temperatures against the true ones.

    Parameters
    ----------
    planted
        The truth.
    log
        Its log, or part of it.
    goods
        For the cargoes.
    facts
        What is told of units.

    Returns
    -------
    polars.DataFrame
        A row for each unit, zone and node (``surface``, ``core``): ``inside``, share of the readings with the
        truth in the band; ``width`` of the band and ``error`` of the best estimate, their means [K]. Units
        whose clock is wrong are left out: their truth has other times.
    """
    timeline = build_timeline(log)
    reckoned = cargo_temperatures(timeline, cargoes_of(timeline, facts or {}, goods)).sort("time")
    astray = [unit.container for unit in planted.plan.units if "clock_wrong" in (unit.cause, unit.also)]
    frames = []
    for (_,), zone in planted.truth.group_by("zone", maintain_order=True):
        both = reckoned.join_asof(
            zone,
            on="time",
            by="container",
            strategy="nearest",
            tolerance=timedelta(minutes=8),
            check_sortedness=False,
        ).filter(~pl.col("container").is_in(astray), pl.col("zone").is_not_null())
        for node in ("surface", "core"):
            true = pl.col(f"true_{node}")
            frames.append(
                both.group_by("container", "zone", maintain_order=True).agg(
                    pl.lit(node).alias("node"),
                    inside=true.is_between(f"{node}_low", f"{node}_high").mean(),
                    width=(pl.col(f"{node}_high") - pl.col(f"{node}_low")).mean(),
                    error=(pl.col(node) - true).abs().mean(),
                )
            )
    return pl.concat(frames).sort("container", "zone", "node")
