"""How strongly each feature departs from what is usual, as steps that likelihoods are given for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP = 0.5
"""Robust distance that makes the first step; further ones count on a logarithmic scale."""

MOST_STEPS = 5.0


def steps(distance: Array) -> Array:
    """Robust distances as signed steps: 0 usual, negative below, positive above; NaN stays NaN.

    The inverse hyperbolic sine is straight near zero and logarithmic far out: whether a unit stands 20 or 40
    spreads away says little more about the cause.
    """
    return np.clip(np.arcsinh(distance / STEP), -MOST_STEPS, MOST_STEPS)


def step_table(distances: pl.DataFrame, features: Sequence[str]) -> tuple[list[str], Array]:
    """Steps of every unit and feature.

    Parameters
    ----------
    distances
        ``container``, ``feature``, ``distance``, from :class:`coldsift.peers.Comparison`.
    features
        Columns wanted.

    Returns
    -------
    tuple
        Containers, sorted, and an array ``(units, features)``, NaN where a feature is not known.
    """
    known = distances.filter(pl.col("feature").is_in(list(features))).pivot(
        "feature", on_columns=list(features), index="container", values="distance", aggregate_function=None
    )
    # A unit of which only other features are known stays.
    wide = distances.select(pl.col("container").unique().sort()).join(
        known, on="container", how="left", maintain_order="left"
    )
    table = wide.select(pl.col(list(features)).cast(pl.Float64)).to_numpy().reshape(len(wide), len(features))
    return wide["container"].to_list(), steps(np.asarray(table, dtype=np.float64))


def parts(step: Array) -> Array:
    """Split steps into what the three figures of a likelihood multiply: known, steps below, steps above.

    Parameters
    ----------
    step
        ``(units, features)``.

    Returns
    -------
    numpy.ndarray
        ``(units, features, 3)``; all zero where a feature is not known, so that it is neutral.
    """
    known = np.isfinite(step)
    value = np.where(known, step, 0.0)
    return np.stack([known.astype(np.float64), np.maximum(-value, 0.0), np.maximum(value, 0.0)], axis=2)
