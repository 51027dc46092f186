"""Isolation forest over the robust distances: a second opinion on the whole pattern."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FARTHEST = 8.0
"""Distances beyond this are as odd as can be: one wild value must not decide every split."""

TREES = 200
SEED = 20


def isolation_scores(distances: NDArray[np.float64]) -> NDArray[np.float64]:
    """Anomaly score of each unit.

    Parameters
    ----------
    distances
        Robust distances, shape (units, features); NaN counts as ordinary.

    Returns
    -------
    numpy.ndarray
        Shape (units,), between 0 and 1, higher is odder: scikit-learn's ``IsolationForest`` with a fixed
        seed, sign turned.
    """
    # Loaded here: it takes a second, and a handful of logs has no forest.
    from sklearn.ensemble import IsolationForest

    matrix = np.clip(np.nan_to_num(distances, nan=0.0), -FARTHEST, FARTHEST)
    forest = IsolationForest(n_estimators=TREES, random_state=SEED, n_jobs=1)
    scores: NDArray[np.float64] = -forest.fit(matrix).score_samples(matrix)
    return scores
