"""A short way through stops that come in classes: nearest neighbour, then 2-opt and Or-opt."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Order = NDArray[np.intp]

LONGEST_MOVED = 3
"""Or-opt moves so many stops in a row at most."""

LEAST_GAIN = 1e-9
"""A shorter gain is rounding. [min]"""


def shortest_order(minutes: Array, classes: Sequence[int]) -> Order:
    """Order the stops: class by class, and a short walk within that.

    Parameters
    ----------
    minutes
        ``(stops, stops)``, symmetrical; the walk begins at stop 0 and may end anywhere. [min]
    classes
        Class of each stop, rising; stop 0 is alone in the lowest.

    Returns
    -------
    numpy.ndarray
        Places of the stops in their order, 0 first. No turning round of a stretch within a class (2-opt) and
        no moving of up to three stops within it (Or-opt) makes it shorter.

    Notes
    -----
    Croes, G. A. (1958), A method for solving traveling-salesman problems, Operations Research 6; Or, I.
    (1976), dissertation, Northwestern University; both cited from memory. Ties are settled by the order
    given.
    """
    stops = len(classes)
    bounds = np.searchsorted(classes, np.unique(classes), side="left").tolist()
    blocks = list(zip(bounds, [*bounds[1:], stops], strict=True))
    # The end is free: a last place that is at no distance from any stop, in no block.
    walk = np.zeros((stops + 1, stops + 1))
    walk[:stops, :stops] = minutes
    order = np.arange(stops + 1)
    for start, end in blocks[1:]:
        _nearest_first(walk, order, start, end)
    improved = True
    while improved:
        improved = False
        for start, end in blocks[1:]:
            while _turn(walk, order, start, end) or _move(walk, order, start, end):
                improved = True
    return order[:stops]


def _nearest_first(walk: Array, order: Order, start: int, end: int) -> None:
    for place in range(start, end - 1):
        nearest = place + int(np.argmin(walk[order[place - 1], order[place:end]]))
        order[place], order[nearest] = order[nearest], order[place]


def _turn(walk: Array, order: Order, start: int, end: int) -> bool:
    """Turn round the stretch that gains most; false when none gains."""
    before, own, behind = order[start - 1 : end - 1], order[start:end], order[start + 1 : end + 1]
    step = walk[before, own]
    leave = walk[own, behind]
    # Stretch from row to column: its two ends are exchanged.
    change = walk[np.ix_(before, own)] + walk[np.ix_(own, behind)] - step[:, None] - leave[None, :]
    change[np.tril_indices(end - start)] = 0.0
    first, last = divmod(int(np.argmin(change)), change.shape[1])
    if change[first, last] > -LEAST_GAIN:
        return False
    order[start + first : start + last + 1] = order[start + first : start + last + 1][::-1].copy()
    return True


def _move(walk: Array, order: Order, start: int, end: int) -> bool:
    """Move the few stops in a row that gain most by it, turned round or not; false when none gain."""
    best = (-LEAST_GAIN, 0, 0, 0, False)
    # Gaps between the stops of the block, the one before it and the one behind it.
    left, right = order[start - 1 : end], order[start : end + 1]
    gap = walk[left, right]
    for length in range(1, min(LONGEST_MOVED, end - start - 1) + 1):
        heads = order[start : end - length + 1]
        tails = order[start + length - 1 : end]
        before, behind = order[start - 1 : end - length], order[start + length : end + 1]
        freed = walk[before, behind] - walk[before, heads] - walk[tails, behind]
        first = np.arange(len(heads))[:, None]
        inside = (np.arange(len(gap)) >= first) & (np.arange(len(gap)) <= first + length)
        for turned, (near, far) in ((False, (heads, tails)), (True, (tails, heads))):
            change = freed[:, None] + walk[np.ix_(near, left)] + walk[np.ix_(far, right)] - gap[None, :]
            change[inside] = 0.0
            taken, into = divmod(int(np.argmin(change)), change.shape[1])
            if change[taken, into] < best[0]:
                best = (float(change[taken, into]), length, taken, into, turned)
    _, length, taken, into, turned = best
    if length == 0:
        return False
    block = order[start:end]
    moved = block[taken : taken + length][:: -1 if turned else 1]
    rest = np.delete(block, np.s_[taken : taken + length])
    order[start:end] = np.insert(rest, into - (length if into > taken else 0), moved)
    return True
