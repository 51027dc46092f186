"""From judged units to figures with intervals.

Goes in: one row a unit of every ranking of a condition. Comes out: one row a measure, ``section, condition,
method, measure, value, low, high``; low and high bound 95 % of the bootstrap samples of the faulty and of the
healthy units within each ranking, and are null where no interval is made. Measures of the order are means
over the rankings, shares are over all units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
import polars as pl

from benchmarks.accuracy import measures as by
from benchmarks.accuracy.baselines import BASELINES
from benchmarks.accuracy.defrosts import f1
from benchmarks.accuracy.rankings import FLAGGED

OURS = "coldsift"
BY_CHANCE = "coldsift, by chance alone"
SCORES = {OURS: "listed", BY_CHANCE: "chance", **{name: name for name in BASELINES}}
"""Column of each method's score. ``listed`` is the order of the list; ``chance`` that of the chance of a
fault, urgency left out."""

FIRST_SHARE = 0.1


def figures_of(units: pl.DataFrame) -> pl.DataFrame:
    """Figures of one condition.

    Parameters
    ----------
    units
        As ``Judged.units``, with ``ranking``: which units were ranked together.

    Returns
    -------
    polars.DataFrame
        ``method``, ``measure``, ``value``, ``low``, ``high``.
    """
    draw = np.random.default_rng(by.SEED)
    order: dict[tuple[str, str], list[by.Array]] = {}
    counts: dict[str, list[tuple[by.Array, by.Array]]] = {}
    drawn: list[by.Array] = []
    units = units.sort("ranking", maintain_order=True)
    for _, ranking in units.group_by("ranking", maintain_order=True):
        faulty = ranking["faulty"].to_numpy()
        weights = by.weights_of(faulty, draw)
        for method, column in SCORES.items():
            score = ranking[column].to_numpy()
            for measure, values in (
                ("average precision", by.average_precision(faulty, score, weights)),
                ("precision at k", by.precision_at_k(faulty, score, weights)),
                ("recall in first 10 %", by.recall_in_first(faulty, score, weights, FIRST_SHARE)),
            ):
                order.setdefault((method, measure), []).append(values)
        flagged = ranking["group"].is_in(FLAGGED).to_numpy()
        named = {
            "right cause first": ("first", faulty),
            "right cause in first three": ("third", faulty),
            "right cause first, alike as one": ("alike_first", faulty),
            "right cause in first three, alike as one": ("alike_third", faulty),
            "false cause above 50 %": ("false_cause", ~faulty),
        }
        for measure, (column, among) in named.items():
            counts.setdefault(measure, []).append(by.share_of(ranking[column].to_numpy(), among, weights))
        counts.setdefault("false flags", []).append(by.share_of(flagged, ~faulty, weights))
        counts.setdefault("faults flagged", []).append(by.share_of(flagged, faulty, weights))
        drawn.append(weights)
    rows = []
    means = {key: _mean_over_rankings(values) for key, values in order.items()}
    for (method, measure), values in means.items():
        rows.append((method, measure, *by.interval(values)))
    rows += _lead(means)
    for measure, parts in counts.items():
        held, among = (np.sum([part[side] for part in parts], axis=0) for side in (0, 1))
        with np.errstate(invalid="ignore", divide="ignore"):
            rows.append((OURS, measure, *by.interval(held / among)))
    chance, faulty = units["chance"].to_numpy(), units["faulty"].to_numpy()
    error = by.calibration_error(chance, faulty, np.concatenate(drawn, axis=1), by.BINS)
    rows.append((OURS, "calibration error", *by.interval(error)))
    faults = float(units["faulty"].sum())
    numbers = {
        "faulty units ranked": faults,
        "healthy units ranked": units.height - faults,
        "rankings": float(units["ranking"].n_unique()),
    }
    return pl.concat([_frame(rows), without_interval(numbers)])


def _mean_over_rankings(values: list[by.Array]) -> by.Array:
    table = np.array(values)
    known = np.isfinite(table)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(known, table, 0.0).sum(axis=0) / known.sum(axis=0))


def _lead(means: dict[tuple[str, str], by.Array]) -> list[tuple[str, str, float, float, float]]:
    """Average precision less that of the best baseline, over the same resamplings."""
    measure = "average precision"
    ours = means[OURS, measure]
    if np.isnan(ours[0]):
        return []
    best = max(BASELINES, key=lambda name: float(means[name, measure][0]))
    return [
        (OURS, "lead over the best baseline", *by.interval(ours - means[best, measure])),
        (best, "best baseline", *by.interval(means[best, measure])),
    ]


def calibration_figures(units: pl.DataFrame) -> pl.DataFrame:
    """Chance of a fault that was said, and how often it came true, bin by bin.

    Returns
    -------
    polars.DataFrame
        ``measure`` names the bin; ``method`` is ``units``, ``said`` or ``came true``.
    """
    bins = []
    for low, high in pairwise(by.BINS):
        inside = units.filter(
            pl.col("chance").is_between(low, high, closed="both" if high == 1.0 else "left")
        )
        measure = f"{low:.0%} to {high:.0%}"
        bins += [
            without_interval({measure: float(inside.height)}, "units"),
            without_interval({measure: mean_of(inside["chance"])}, "said"),
            without_interval({measure: mean_of(inside["faulty"])}, "came true"),
        ]
    return pl.concat(bins)


def excursion_figures(excursions: pl.DataFrame) -> pl.DataFrame:
    """How many planted excursions were found, how many found ones were not planted, and errors in time."""
    planted = excursions.filter("planted")
    values = {
        "planted excursions": float(planted.height),
        "planted excursions found": mean_of(planted["matched"]),
        "excursions found that were not planted": float(excursions.height - planted.height),
    }
    for end in ("start", "end"):
        error = planted[f"{end}_error"].drop_nulls().abs()
        values[f"excursion {end} error, median"] = quantile_of(error, 0.5)
        values[f"excursion {end} error, 90 %"] = quantile_of(error, 0.9)
    return without_interval(values)


def defrost_figures(defrosts: pl.DataFrame) -> pl.DataFrame:
    """F1 of found defrosts against planted ones that the log can show."""
    return without_interval({"defrost F1": f1(defrosts)})


def mean_of(values: pl.Series) -> float:
    """Mean, or the share that is true; NaN of nothing."""
    return float(values.cast(pl.Float64).mean() or 0.0) if len(values) else float("nan")  # type: ignore[arg-type]


def quantile_of(values: pl.Series, share: float) -> float:
    """Quantile of what is known; NaN of nothing."""
    found = values.quantile(share, "linear")
    return float("nan") if found is None else float(found)


def without_interval(values: Mapping[str, float], method: str = OURS) -> pl.DataFrame:
    """Figures for which no interval was made, by measure."""
    return _frame([(method, measure, value, None, None) for measure, value in values.items()])


def _frame(rows: Sequence[tuple[str, str, float, float | None, float | None]]) -> pl.DataFrame:
    return pl.DataFrame(
        rows,
        schema={
            "method": pl.String,
            "measure": pl.String,
            "value": pl.Float64,
            "low": pl.Float64,
            "high": pl.Float64,
        },
        orient="row",
    )
