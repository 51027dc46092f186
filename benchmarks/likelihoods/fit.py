"""Regularised fit of a multinomial log-linear model: a figure for usual, one a step below, one a step above.

The good unit is the reference with all figures zero, and no hypothesis has an intercept beyond its share of
the fitting data: what is not known leaves the chances at the prior. Features that say the same share the
weight between them, because all figures are fitted together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]

ROUNDS = 300
"""Steps of accelerated proximal gradient descent; the figures no longer change in their second place."""


def fit(
    parts: Array,
    label: NDArray[np.int64],
    weight: Array,
    hypotheses: int,
    *,
    prune: float,
    shrink: float,
    start: Array | None = None,
    kept: NDArray[np.bool_] | None = None,
) -> Array:
    """Fit the figures.

    Parameters
    ----------
    parts
        ``(units, features, 3)``, from :func:`coldsift.causes.signs.parts`.
    label
        0 for a good unit, else 1 + the hypothesis.
    weight
        Of each unit.
    hypotheses
        Their number.
    prune
        Weight of the group lasso over the three figures of a feature and hypothesis.
    shrink
        Weight of the squared figures.
    start, kept
        Figures to begin with, and mask ``(features, hypotheses)`` of those that may differ from zero.

    Returns
    -------
    numpy.ndarray
        ``(features, 3, hypotheses)``.
    """
    units, features, _ = parts.shape
    table = parts.reshape(units, features * 3)
    truth = np.zeros((units, hypotheses + 1), np.float32)
    truth[np.arange(units), label] = 1
    mass = weight[:, None].astype(np.float32)
    share = (truth * mass).sum(axis=0)
    offset = np.log(share[1:] / share[0]).astype(np.float32)
    pace = np.float32(1.3 / (0.5 * _curvature(table, mass) + shrink))
    mask = None if kept is None else np.repeat(kept[:, None, :], 3, axis=1).reshape(-1, hypotheses)
    shape = (features * 3, hypotheses)
    figures = np.zeros(shape, np.float32) if start is None else start.reshape(shape).astype(np.float32)
    ahead, momentum = figures.copy(), 1.0
    for _ in range(ROUNDS):
        score = table @ ahead + offset
        top = np.maximum(score.max(axis=1, keepdims=True), 0)
        raised = np.exp(score - top)
        chance = raised / (raised.sum(axis=1, keepdims=True) + np.exp(-top))
        moved = ahead - pace * (table.T @ (mass * (chance - truth[:, 1:])) + shrink * ahead)
        if mask is not None:
            moved *= mask
        if prune:
            group = moved.reshape(features, 3, hypotheses)
            size = np.sqrt((group**2).sum(axis=1, keepdims=True))
            moved = (group * np.maximum(1 - pace * prune / np.maximum(size, 1e-9), 0)).reshape(shape)
        following = (1 + np.sqrt(1 + 4 * momentum**2)) / 2
        ahead = (moved + (momentum - 1) / following * (moved - figures)).astype(np.float32)
        figures, momentum = moved.astype(np.float32), following
    return figures.reshape(features, 3, hypotheses)


def _curvature(table: Array, mass: Array) -> float:
    """Largest eigenvalue of the weighted Gram matrix, by power iteration."""
    vector = np.ones(table.shape[1], np.float32)
    size = 1.0
    for _ in range(20):
        vector = table.T @ (mass[:, 0] * (table @ vector))
        size = float(np.linalg.norm(vector))
        vector /= size
    return size
