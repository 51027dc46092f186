"""Measures of a ranking, each for many weightings of the same units at once.

Goes in: which units are faulty, a score, and weights, one row of weights a resampling. Comes out: one value
a row. A first row of ones gives the estimate, rows of bootstrap counts its interval.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

RESAMPLINGS = 400
SEED = 20310106


BINS = np.array([0.0, 0.02, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0])
"""Chances between which what was said is held against what came true."""


def weights_of(faulty: Flags, draw: np.random.Generator, resamplings: int = RESAMPLINGS) -> Array:
    """A row of ones, then how often each unit comes in samples drawn with replacement.

    Faulty and healthy units are drawn apart, so that every sample has as many faults as the fleet: in a small
    fleet their number would move the measures more than their places in the list.

    Returns
    -------
    numpy.ndarray
        ``(1 + resamplings, units)``.
    """
    weights = np.ones((1 + resamplings, len(faulty)))
    for kind in (faulty, ~faulty):
        units = int(kind.sum())
        if units:
            weights[1:, kind] = draw.multinomial(units, np.full(units, 1.0 / units), size=resamplings)
    return weights


def average_precision(faulty: Flags, score: Array, weights: Array) -> Array:
    """Mean precision over the faulty units, as scikit-learn's ``average_precision_score``; NaN without any.

    Units with the same score are taken together.
    """
    order = np.argsort(-score, kind="stable")
    weight = weights[:, order]
    true = weight * faulty[order]
    last_of_tie = np.append(np.flatnonzero(np.diff(score[order])), len(score) - 1)
    hits = np.cumsum(true, axis=1)[:, last_of_tie]
    taken = np.cumsum(weight, axis=1)[:, last_of_tie]
    gained = np.diff(hits, axis=1, prepend=0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        precision = np.where(taken > 0, hits / taken, 0.0)
        return np.asarray((gained * precision).sum(axis=1) / hits[:, -1])


def precision_at_k(faulty: Flags, score: Array, weights: Array) -> Array:
    """Share of truly faulty units among the first k, k the number of faulty units; NaN without any."""
    count = (weights * faulty).sum(axis=1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(_hits_in_first(faulty, score, weights, count) / count[:, 0])


def recall_in_first(faulty: Flags, score: Array, weights: Array, share: float) -> Array:
    """Share of the faulty units that stand in the first part of the list; NaN without any."""
    total = weights.sum(axis=1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(
            _hits_in_first(faulty, score, weights, share * total) / (weights * faulty).sum(axis=1)
        )


def _hits_in_first(faulty: Flags, score: Array, weights: Array, count: Array) -> Array:
    """Faulty units among the first ``count``; ties in the order given, a unit at the edge in part."""
    order = np.argsort(-score, kind="stable")
    weight = weights[:, order]
    before = np.cumsum(weight, axis=1) - weight
    return np.asarray((np.clip(count - before, 0.0, weight) * faulty[order]).sum(axis=1))


def share_of(said: Flags, among: Flags, weights: Array) -> tuple[Array, Array]:
    """How many of some units it holds for, and how many they are."""
    return (weights * (said & among)).sum(axis=1), (weights * among).sum(axis=1)


def calibration_error(chance: Array, faulty: Flags, weights: Array, bins: Array) -> Array:
    """Mean distance of what was said from what came true, over bins of chance, weighted by their units."""
    place = np.clip(np.digitize(chance, bins) - 1, 0, len(bins) - 2)
    inside = np.eye(len(bins) - 1)[place]
    total = weights @ inside
    said, came = (weights * chance) @ inside, (weights * faulty) @ inside
    return np.asarray(np.abs(said - came).sum(axis=1) / total.sum(axis=1))


def interval(values: Array) -> tuple[float, float, float]:
    """Estimate, and the middle 95 % of the resamplings; NaN where there is nothing to measure."""
    if np.isnan(values[0]):
        return float("nan"), float("nan"), float("nan")
    low, high = np.nanpercentile(values[1:], [2.5, 97.5])
    return float(values[0]), float(low), float(high)
