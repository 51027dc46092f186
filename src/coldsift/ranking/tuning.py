"""Choosing thresholds by stated costs."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.ranking.thresholds import Costs, Thresholds

Array = NDArray[np.float64]

MOST_DIGITS = 15


def decided_by_chance() -> pl.Expr:
    """Of :data:`coldsift.schema.FINDINGS`, the units that thresholds sort.

    A unit outside its band is looked at whatever its chance; one with too poor a log has none.
    """
    return pl.col("chance_of_fault").is_not_null() & (pl.col("hours_to_limit").fill_null(1.0) > 0)


def choose(chances: Array, weight: Array, faulty: Array, costs: Costs) -> Thresholds:
    """Thresholds of the least cost, over every pair that sorts these units differently.

    Parameters
    ----------
    chances
        Chance of a fault of each unit, 0 to 1, ``(units,)``.
    weight
        How often each unit counts.
    faulty
        1 with a fault, 0 without; for a fault of known severity, that.
    costs
        Of the groups.

    Returns
    -------
    Thresholds
        Where the cost is flat, about the middle of the flat stretch, with as few decimals as stay within it.
        Of several stretches of the same cost the lowest: it leaves fewer units alone.

    Raises
    ------
    ValueError
        When there is no unit.
    """
    if not len(chances):
        raise ValueError("no unit to choose thresholds on")
    distinct, place = np.unique(chances, return_inverse=True)
    units = np.bincount(place, weight)
    faults = np.bincount(place, weight * faulty)
    # A threshold in (edges[k], edges[k + 1]] puts the first k distinct chances below it.
    edges = np.concatenate([[0.0], distinct, [1.0]])
    alone, watched, looked = (
        effort * units + loss * faults
        for effort, loss in (
            (0.0, costs.loss_nothing_found),
            (costs.effort_watch, costs.loss_watch),
            (costs.effort_this_round, costs.loss_this_round),
        )
    )
    # Cost = what the watch threshold saves and what the other one saves, against a look at every unit.
    by_watch = np.concatenate([[0.0], np.cumsum(alone - watched)])
    by_look = np.concatenate([[0.0], np.cumsum(watched - looked)])
    if distinct[-1] == 1.0:
        # No chance lies above 1, so no threshold leaves such a unit out.
        edges, by_watch, by_look = edges[:-1], by_watch[:-1], by_look[:-1]
    slack = 1e-9 * float(np.abs(looked).sum() + 1.0)
    total = np.minimum.accumulate(by_watch) + by_look
    this_round, last = _middle(total <= total.min() + slack, edges, 1.0)
    below = by_watch[: last + 1]
    watch, _ = _middle(below <= below.min() + slack, edges, this_round)
    return Thresholds(this_round, watch, costs)


def _middle(least: NDArray[np.bool_], edges: Array, ceiling: float) -> tuple[float, int]:
    """A round number about the middle of the first stretch of least cost, and the interval that holds it."""
    first = int(np.argmax(least))
    stretch = int(np.argmin(np.append(least[first:], False)))
    low, high = float(edges[first]), min(float(edges[first + stretch]), ceiling)
    middle = (low + high) / 2 if low < (low + high) / 2 else high
    for digits in range(2, MOST_DIGITS):
        tidy = round(middle, digits)
        if low < tidy <= high:
            middle = tidy
            break
    return middle, max(int(np.searchsorted(edges, middle, side="left")) - 1, 0)


def cost_of_groups(
    looked: NDArray[np.bool_], watched: NDArray[np.bool_], faulty: Array, costs: Costs
) -> Array:
    """Cost of each unit in its group. [min]

    Parameters
    ----------
    looked, watched
        Which units are looked at, and which of the others are watched.
    faulty, costs
        As for :func:`choose`.
    """
    effort = np.where(looked, costs.effort_this_round, np.where(watched, costs.effort_watch, 0.0))
    loss = np.where(
        looked, costs.loss_this_round, np.where(watched, costs.loss_watch, costs.loss_nothing_found)
    )
    return np.asarray(effort + faulty * loss)


def cost_per_hundred(
    this_round: float, watch: float, chances: Array, weight: Array, faulty: Array, costs: Costs
) -> float:
    """Cost of a hundred units sorted by two thresholds. [min]

    Parameters
    ----------
    this_round, watch
        Chances from which a unit is looked at or watched; above 1 for never.
    chances, weight, faulty, costs
        As for :func:`choose`.
    """
    each = cost_of_groups(chances >= this_round, chances >= watch, faulty, costs)
    return 100 * float(np.average(each, weights=weight))


def crossings(costs: Costs, severity: float = 1.0) -> tuple[float, float]:
    """Thresholds of least expected cost if chances came true exactly as said.

    Parameters
    ----------
    costs
        Of the groups.
    severity
        Mean of the faults, by which their loss counts.

    Returns
    -------
    tuple of float
        ``this_round`` and ``watch``: where the expected costs of two groups cross, effort saved over loss
        saved. Where watching is nowhere the cheapest, both are where a look and leaving alone cross.
    """

    def crossing(effort: float, loss: float) -> float:
        return min(effort / (loss * severity), 1.0) if loss > 0 else 1.0

    this_round = crossing(
        costs.effort_this_round - costs.effort_watch, costs.loss_watch - costs.loss_this_round
    )
    watch = crossing(costs.effort_watch, costs.loss_nothing_found - costs.loss_watch)
    if watch > this_round:
        both = crossing(costs.effort_this_round, costs.loss_nothing_found - costs.loss_this_round)
        return both, both
    return this_round, watch
