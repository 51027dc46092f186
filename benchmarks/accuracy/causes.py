"""How right the causes are, on simulated fleets that nothing was fitted on.

``python -m benchmarks.accuracy.causes``. Goes in: judging seeds. Comes out: right cause first and among the
first three, by severity and by what the logs can tell; false causes on healthy units; the reliability of the
chances; the same with a third of the channels absent. Every figure is of simulated fleets.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from benchmarks.accuracy.measures import BINS, calibration_error
from benchmarks.accuracy.naming import first_of_alike, named_causes
from benchmarks.kept import kept
from benchmarks.likelihoods.fleets import (
    DAYS,
    UNITS,
    planned,
    sign_features,
    without_channels,
)
from coldsift.causes import HEALTHY, OTHER, Catalogue, judge, load_catalogue
from coldsift.engine import Settings
from coldsift.engine.analysis import Analysis, analyse
from coldsift.features import BASES, FEATURES
from coldsift.ranking.thresholds import load_thresholds

JUDGING_SEEDS = range(1101, 1200)
"""No method has seen them."""

FAULT_SHARE_ABOARD = 0.1
"""Simulated fleets hold more faults than a ship, to have enough; healthy units are weighted up to this."""

LISTED = load_thresholds().watch
"""Chance of a fault from which the report lists a unit."""

TRACE = 2.0
"""A fault has left a trace when a feature differs from that of the healthy twin by so many of its scales."""

MILD = 0.5
"""Severity below which a fault is called mild."""


def main() -> None:
    """Judge and print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--fleets", type=int, default=6)
    options.add_argument("--cache", type=Path, help="folder that keeps the simulated logs")
    options.add_argument("--by-cause", action="store_true")
    chosen = options.parse_args()
    catalogue = load_catalogue()
    whole, poor, strange = [], [], []
    for seed in JUDGING_SEEDS[: chosen.fleets]:
        plan = planned(seed)
        voyage = kept(plan, chosen.cache / str(seed) if chosen.cache else None)
        log, truth = voyage.log, voyage.truth
        twin = replace(plan, units=tuple(replace(unit, cause=HEALTHY, severity=0.0) for unit in plan.units))
        healthy_log = kept(twin, chosen.cache / "twin" / str(seed) if chosen.cache else None).log
        analysis = analyse(log, Settings())
        traced = with_trace(analysis.features, analyse(healthy_log, Settings()).features)
        truth = truth.with_columns(traced=pl.col("container").is_in(traced))
        whole.append(verdicts(analysis, truth, catalogue))
        strange.append(left_out(analysis, truth, catalogue))
        poor.append(verdicts(analyse(without_channels(log, seed), Settings()), truth, catalogue))
        print(f"fleet {seed}", flush=True)
    full = pl.concat(whole)
    print(
        f"\nSimulated fleets: {chosen.fleets} of {UNITS} units, {DAYS:g} days, seeds {JUDGING_SEEDS.start} on"
    )
    report(full, "all channels")
    if chosen.by_cause:
        _by_cause(full)
    _report_left_out(pl.concat(strange))
    lacking = pl.concat(poor)
    report(lacking, "a third of each unit's channels absent")
    _report_loss(full, lacking)


def with_trace(features: pl.DataFrame, twins: pl.DataFrame) -> list[str]:
    """Units of which at least one feature differs from that of their healthy twin by ``TRACE`` scales.

    Parameters
    ----------
    features, twins
        :data:`coldsift.schema.FEATURES` of a fleet, and of the same units with no fault planted.
    """
    scale = {name: FEATURES[name].scale for name in sign_features() if FEATURES[name].by_peers}
    return (
        features.filter(pl.col("feature").is_in(list(scale)))
        .join(twins.select("container", "feature", twin="value"), on=["container", "feature"])
        .filter(
            (pl.col("value") - pl.col("twin")).abs()
            >= TRACE * pl.col("feature").replace_strict(scale, return_dtype=pl.Float64)
        )["container"]
        .unique()
        .sort()
        .to_list()
    )


def verdicts(analysis: Analysis, truth: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """What was said of each unit beside what was planted.

    Parameters
    ----------
    analysis
        Of a fleet.
    truth
        Planted causes, with ``traced``.
    catalogue
        For the causes that the log does not tell apart.

    Returns
    -------
    polars.DataFrame
        ``container``, ``cause``, ``severity``, ``traced``, ``named`` (likeliest cause), ``chance`` (its own),
        ``fault`` (chance of any), ``first`` and ``third`` (right cause first, among the first three),
        ``group_first`` and ``group_third`` (the same where alike causes count as one).
    """
    alike = first_of_alike(catalogue)
    faults = named_causes(analysis.causes, alike)
    group = pl.col("cause").replace(alike)
    return (
        truth.select("container", "cause", "severity", "traced")
        .join(faults, on="container")
        .with_columns(
            first=pl.col("named") == pl.col("cause"),
            third=pl.col("three").list.contains(pl.col("cause")),
            group_first=pl.col("named").replace(alike) == group,
            group_third=pl.col("groups").list.contains(group),
        )
        .drop("three", "groups")
    )


def left_out(analysis: Analysis, truth: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """What is said of units whose cause the catalogue does not hold: each cause left out in turn.

    Parameters
    ----------
    analysis, truth, catalogue
        As for :func:`verdicts`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``cause`` (the one left out), ``named`` (likeliest hypothesis) and its ``chance``.
    """
    said = []
    for cause in catalogue.causes:
        units = truth.filter(pl.col("cause") == cause)["container"]
        if units.is_empty():
            continue
        without = replace(
            catalogue,
            causes={name: entry for name, entry in catalogue.causes.items() if name != cause},
            likelihoods={
                name: entry
                for name, entry in catalogue.likelihoods.items()
                if name.partition(".")[0] != cause
            },
        )
        own = analysis.distances.filter(pl.col("container").is_in(units.to_list()))
        first = judge(own, without, BASES).causes.filter(pl.col("place") == 1)
        said.append(
            first.unique("container", keep="first", maintain_order=True).select(
                "container", pl.lit(cause).alias("cause"), named="cause", chance="cause_chance"
            )
        )
    return pl.concat(said)


def _report_left_out(said: pl.DataFrame) -> None:
    wrong = said.filter(~pl.col("named").is_in([HEALTHY, OTHER]), pl.col("chance") > 0.5).height
    other, healthy = (said.filter(pl.col("named") == name).height for name in (OTHER, HEALTHY))
    print("\na fault that the catalogue does not hold (each cause left out in turn)")
    print(
        f"  {said.height} units: none of these first {other}, nothing wrong first {healthy}, "
        f"a wrong cause above 50 % {wrong}"
    )


def report(said: pl.DataFrame, title: str) -> None:
    """Print one condition."""
    faulty = said.filter(pl.col("cause") != HEALTHY)
    healthy = said.filter(pl.col("cause") == HEALTHY)
    print(f"\n{title}")
    print(f"{'':44}  {'units':>5}  right first  in first three   alike causes as one")
    for words, rows in (
        ("all faults", faulty),
        (f"mild, severity below {MILD:g}", faulty.filter(pl.col("severity") < MILD)),
        (f"plain, severity {MILD:g} and above", faulty.filter(pl.col("severity") >= MILD)),
        ("that left a trace in the log", faulty.filter("traced")),
        ("plain and left a trace", faulty.filter(pl.col("traced"), pl.col("severity") >= MILD)),
        (f"listed, chance of a fault {LISTED:.0%} and above", faulty.filter(pl.col("fault") >= LISTED)),
    ):
        shares = [_mean(rows[name]) for name in ("first", "third", "group_first", "group_third")]
        together = f"{shares[2]:.1%}, {shares[3]:.1%}"
        print(f"  {words:42}  {rows.height:5}  {shares[0]:11.1%}  {shares[1]:14.1%}   {together}")
    false = healthy.filter(pl.col("chance") > 0.5).height
    print(f"  false cause above 50 %: {false} of {healthy.height} healthy units")
    weight = np.where(
        said["cause"] == HEALTHY,
        (1 - FAULT_SHARE_ABOARD) / healthy.height,
        FAULT_SHARE_ABOARD / max(faulty.height, 1),
    )
    right = (said["first"] & (said["cause"] != HEALTHY)).to_numpy()
    _reliability("likeliest cause", said["chance"].to_numpy(), right, weight)
    _reliability("any fault", said["fault"].to_numpy(), (said["cause"] != HEALTHY).to_numpy(), weight)


def _report_loss(full: pl.DataFrame, lacking: pl.DataFrame) -> None:
    """Print what the absent channels cost, in points of all faults."""
    faulty = [said.filter(pl.col("cause") != HEALTHY) for said in (full, lacking)]
    words = {"first": "right first", "third": "in first three", "group_first": "first, alike as one"}
    losses = {text: _mean(faulty[0][name]) - _mean(faulty[1][name]) for name, text in words.items()}
    told = ", ".join(f"{text} {100 * loss:.1f}" for text, loss in losses.items())
    print(f"  lost against all channels, in points: {told}")


def _mean(values: pl.Series) -> float:
    return float(values.cast(pl.Float64).mean() or 0.0)  # type: ignore[arg-type]


def _reliability(
    words: str, chance: NDArray[np.float64], true: NDArray[np.bool_], weight: NDArray[np.float64]
) -> None:
    """Print what was said against what came true, and the expected calibration error."""
    print(f"  reliability, {words}: said → came true (units)")
    for low, high in pairwise(BINS):
        inside = (chance >= low) & ((chance < high) | (high == 1.0))
        if not inside.any():
            continue
        said, came = (float(np.average(values[inside], weights=weight[inside])) for values in (chance, true))
        print(f"    {low:4.0%} to {high:4.0%}: {said:6.1%} → {came:6.1%} ({int(inside.sum())})")
    (error,) = calibration_error(chance, true, weight[None], BINS)
    print(
        f"    expected calibration error {error:.3f}, healthy units weighted to {1 - FAULT_SHARE_ABOARD:.0%}"
    )


def _by_cause(said: pl.DataFrame) -> None:
    table = (
        said.filter(pl.col("cause") != HEALTHY)
        .group_by("cause")
        .agg(
            units=pl.len(),
            traced=pl.col("traced").mean(),
            first=pl.col("first").mean(),
            third=pl.col("third").mean(),
            alike_first=pl.col("group_first").mean(),
            taken_for=pl.col("named")
            .filter(~pl.col("first"))
            .value_counts(sort=True)
            .struct.field("named")
            .head(3)
            .str.join(", "),
        )
        .sort("alike_first", "cause")
    )
    with pl.Config(tbl_rows=-1, fmt_str_lengths=90, tbl_width_chars=170, float_precision=2):
        print(table)


if __name__ == "__main__":
    main()
