"""Measures of a ranking and of found defrosts against planted truth."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray
from sklearn.metrics import average_precision_score


def average_precision(faulty: NDArray[np.bool_], score: NDArray[np.float64]) -> float:
    """Area under the precision-recall curve, by scikit-learn."""
    return float(average_precision_score(faulty, score))


def precision_at(faulty: NDArray[np.bool_], score: NDArray[np.float64], count: int) -> float:
    """Share of truly faulty units among the first ``count``; ties broken by place, as in a list."""
    order = np.argsort(-score, kind="stable")[:count]
    return float(faulty[order].mean())


def overlap_f1(found: pl.DataFrame, planted: pl.DataFrame) -> tuple[float, int]:
    """F1 of found against planted intervals.

    Parameters
    ----------
    found, planted
        ``container``, ``start``, ``end``. A found one counts when it overlaps a planted one.

    Returns
    -------
    tuple
        F1 and the number planted.
    """
    if planted.is_empty():
        return float("nan"), 0
    pairs = (
        found.with_row_index("f")
        .join(planted.with_row_index("p"), on="container", suffix="_planted")
        .filter(pl.col("start") < pl.col("end_planted"), pl.col("end") > pl.col("start_planted"))
    )
    hits = pairs["p"].n_unique()
    precision = pairs["f"].n_unique() / max(found.height, 1)
    recall = hits / planted.height
    return (2 * precision * recall / (precision + recall) if hits else 0.0), planted.height


def seen_in(planted: pl.DataFrame, log: pl.DataFrame) -> pl.DataFrame:
    """Planted intervals in which at least one reading fell: no log can show the others.

    Parameters
    ----------
    planted
        ``container``, ``start``, ``end``.
    log
        Common log.

    Returns
    -------
    polars.DataFrame
        The rows of ``planted`` that were seen.
    """
    readings = log.select("container", "time").with_row_index("reading")
    return (
        planted.with_row_index("defrost")
        .join(readings, on="container")
        .filter(pl.col("time") >= pl.col("start"), pl.col("time") < pl.col("end"))
        .unique("defrost")
        .select("container", "start", "end")
    )
