"""One fleet screened, beside its truth and the baselines.

Goes in: a fleet with its truth. Comes out: one row a unit (what was planted, what was said, every score), one
row a planted excursion, and counts of defrosts.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from benchmarks.accuracy.baselines import baseline_scores
from benchmarks.accuracy.defrosts import matched, seen_in
from benchmarks.accuracy.naming import first_of_alike, named_causes
from coldsift.causes import HEALTHY, OTHER, load_catalogue
from coldsift.engine import Settings
from coldsift.engine.analysis import Analysis, analyse
from coldsift.refrigerant import DEFAULT_REFRIGERANT
from coldsift.simulate import Fleet

FLAGGED = ("go_now", "this_round")
"""Groups that send somebody."""

MISLED = ("supply_sensor_drift", "return_sensor_drift", "sensor_stuck", "sensors_swapped", "clock_wrong")
"""Causes whose log shows another air, or another time, than there was: not used to judge excursions."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What one fleet gave.

    Attributes
    ----------
    units
        ``container``, ``cause``, ``also``, ``severity``, ``hard_case``, ``faulty``, ``group``, ``chance``
        (of a fault), ``named`` and ``named_chance`` (likeliest cause), ``first`` and ``third`` (right cause
        first, among the first three), ``alike_first`` and ``alike_third`` (causes that no log tells apart
        count as one), ``listed`` (higher for nearer the top of the list), ``false_cause`` (a cause above
        50 % that is not there), and the baselines.
    excursions
        Planted ones: ``start_error``, ``end_error`` [min], null when not found; and rows for found ones that
        were not planted, ``planted`` False.
    defrosts
        One row; see :func:`benchmarks.accuracy.defrosts.matched`.
    """

    units: pl.DataFrame
    excursions: pl.DataFrame
    defrosts: pl.DataFrame


def settings_of(truth: pl.DataFrame) -> Settings:
    """Settings that know each unit's refrigerant, as its nameplate and most logs say."""
    others = truth.filter(pl.col("refrigerant") != DEFAULT_REFRIGERANT).select("container", "refrigerant")
    return Settings(refrigerants=dict(others.iter_rows()))


def judged(fleet: Fleet) -> Judged:
    """Screen a fleet and set what was said beside what was planted."""
    analysis = analyse(fleet.log, settings_of(fleet.truth))
    return Judged(
        units=_units(fleet, analysis),
        excursions=_excursions(fleet, analysis),
        defrosts=matched(analysis.defrosts, seen_in(fleet.defrosts, fleet.log)),
    )


def _units(fleet: Fleet, analysis: Analysis) -> pl.DataFrame:
    alike = first_of_alike(load_catalogue())
    named = named_causes(analysis.causes, alike).select(
        "container", "named", "three", named_chance="chance", three_alike="groups"
    )
    planted = pl.concat_list("cause", "also").list.drop_nulls()
    groups = planted.list.eval(pl.element().replace(alike))
    right = pl.col("planted").list.contains(pl.col("named"))
    return (
        fleet.truth.select(
            "container", "cause", "also", "severity", "hard_case", planted=planted, groups=groups
        )
        .join(
            analysis.findings.select(
                "container",
                pl.col("group").cast(pl.String),
                chance=pl.col("chance_of_fault").fill_null(0.0),
                listed=-pl.col("rank").cast(pl.Float64),
            ),
            on="container",
        )
        .join(named, on="container")
        .join(baseline_scores(analysis.timeline), on="container")
        .with_columns(
            faulty=pl.col("cause") != HEALTHY,
            first=right,
            third=_meet("three", "planted"),
            alike_first=pl.col("groups").list.contains(pl.col("named").replace(alike)),
            alike_third=_meet("three_alike", "groups"),
            false_cause=(pl.col("named_chance") > 0.5) & ~right & (pl.col("named") != OTHER),
        )
        .drop("planted", "groups", "three", "three_alike")
        .sort("container")
    )


def _meet(one: str, other: str) -> pl.Expr:
    return pl.col(one).list.set_intersection(pl.col(other)).list.len() > 0


def _excursions(fleet: Fleet, analysis: Analysis) -> pl.DataFrame:
    misled = fleet.truth.filter(pl.col("cause").is_in(MISLED))["container"].to_list()
    honest = ~pl.col("container").is_in(misled)
    planted = (
        fleet.excursions.filter(honest, ~pl.col("from_start"))
        .select("container", "start", "end")
        .with_row_index("excursion")
    )
    found = (
        analysis.excursions.filter(honest, pl.col("kind") != "initial_warm_load")
        .select("container", found_start="start", found_end="end")
        .with_row_index("found")
    )
    together = pl.min_horizontal("end", "found_end") - pl.max_horizontal("start", "found_start")
    pairs = (
        planted.join(found, on="container")
        .with_columns(together=together)
        .filter(pl.col("together") > pl.duration(minutes=0))
    )
    best = pairs.sort("excursion", "together", "found", descending=[False, True, False]).unique(
        "excursion", keep="first", maintain_order=True
    )
    measured = planted.join(best.select("excursion", "found_start", "found_end"), on="excursion", how="left")
    of_planted = measured.select(
        planted=pl.lit(True),
        matched=pl.col("found_start").is_not_null(),
        start_error=(pl.col("found_start") - pl.col("start")).dt.total_seconds() / 60,
        end_error=(pl.col("found_end") - pl.col("end")).dt.total_seconds() / 60,
    )
    invented = found.filter(~pl.col("found").is_in(pairs["found"].to_list()))
    of_invented = invented.select(
        planted=pl.lit(False),
        matched=pl.lit(False),
        start_error=pl.lit(None, pl.Float64),
        end_error=pl.lit(None, pl.Float64),
    )
    return pl.concat([of_planted, of_invented])
