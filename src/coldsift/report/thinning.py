"""Which readings of a line to draw: both extremes of every unbroken stretch, and no more than can be seen.

Goes in: times and readings of one line. Comes out: where it breaks, and the indices of the readings to draw.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tsdownsample import MinMaxLTTBDownsampler

from coldsift.regimes.timeline import GAP_FACTOR

LINE_POINTS = 600
"""Most points drawn of one line on paper; more would not be seen."""

Seconds = NDArray[np.int64]
Values = NDArray[np.floating[Any]]

_THINNER = MinMaxLTTBDownsampler()  # type: ignore[no-untyped-call]


def middle(values: NDArray[Any]) -> float:
    """Median of at least one number, all of them finite: quicker than numpy's, which looks for NaN."""
    half = len(values) // 2
    low = half - 1 + len(values) % 2
    parted = np.partition(values, half) if low == half else np.partition(values, [low, half])
    return float((parted[low] + parted[half]) / 2)


def thinned(seconds: Seconds, values: Values, points: int) -> NDArray[np.int64]:
    """Indices of the readings to draw of one unbroken stretch; both extremes are always among them.

    Parameters
    ----------
    seconds, values
        Times and readings, same length, no nulls.
    points
        Most points wanted, apart from the two extremes.
    """
    if len(values) <= points:
        return np.arange(len(values))
    even = max(points // 2 * 2, 4)
    chosen = _THINNER.downsample(seconds, values, n_out=even).astype(np.int64)
    return np.unique(np.append(chosen, [values.argmin(), values.argmax()]))


def broken_after(known: NDArray[np.int64], gap: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether the log is broken between each of a line's readings and its next one.

    Parameters
    ----------
    known
        Rows of the log in which the line has readings.
    gap
        For every row of the log: the next reading is missing.

    Notes
    -----
    A gap anywhere between two readings of the line breaks it, not only one right after the first.
    """
    gaps_before = np.concatenate([[0], np.cumsum(gap)])
    return np.append(gaps_before[known[1:]] > gaps_before[known[:-1]], True)


def stretches(seconds: Seconds, gap_after: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Unbroken stretches (first, one past last) of a line's readings.

    Parameters
    ----------
    seconds
        Times of the line's own readings.
    gap_after
        True where the log is broken between this reading and the next.

    Notes
    -----
    A line also breaks where its next reading is later than ``GAP_FACTOR`` of its own usual steps.
    """
    if len(seconds) == 0:
        return []
    steps = np.diff(seconds)
    usual = middle(steps) if len(steps) else 0
    breaks = np.flatnonzero(gap_after[:-1] | (steps > GAP_FACTOR * usual)) + 1
    edges = [0, *breaks.tolist(), len(seconds)]
    return list(pairwise(edges))


def pieces(
    seconds: Seconds, values: Values, gap_after: NDArray[np.bool_], points: int, stepped: bool
) -> list[NDArray[np.int64]]:
    """Indices of the readings to draw of a whole line, one array for every unbroken stretch.

    Parameters
    ----------
    seconds, values, gap_after
        As for :func:`stretches` and :func:`thinned`.
    points, stepped
        As for :func:`thinned_pieces`.
    """
    return thinned_pieces(seconds, values, stretches(seconds, gap_after), points, stepped)


def thinned_pieces(
    seconds: Seconds, values: Values, edges: Sequence[tuple[int, int]], points: int, stepped: bool
) -> list[NDArray[np.int64]]:
    """As :func:`pieces`, of a line whose unbroken stretches are known.

    Parameters
    ----------
    seconds, values
        As for :func:`thinned`.
    edges
        From :func:`stretches`.
    points
        Most points wanted of the whole line, apart from extremes; a stretch gets its share, at least eight.
    stepped
        Keep only the corners of the line and its ends: between them it stays as it is.
    """
    chosen = []
    for first, end in edges:
        part = np.arange(first, end)
        if stepped:
            turned = np.append(True, values[first + 1 : end] != values[first : end - 1])
            turned[-1] = True
            part = part[turned]
        share = max(points * (end - first) // len(seconds), 8)
        chosen.append(part[thinned(seconds[part], values[part], share)])
    return chosen
