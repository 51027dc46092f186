"""Robust statistics of peer groups."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

NORMAL_MAD = 1.4826
"""Median absolute deviation times this is the standard deviation of a normal distribution."""

NORMAL_RANGE = 2.563
"""10th to 90th percentile of a normal distribution in standard deviations."""

SHRINKAGE = 8.0
"""A group's own spread weighs as its number of units, the fleet's as this many."""

FEWEST_FOR_SLOPE = 12
MOST_FOR_SLOPE = 400
"""A slope is fitted to at least and at most about as many units; of more, to every n-th in order."""

LEAST_RANGE = 2.0
"""Units whose lift or set point differs by less show no slope. [K]"""

FEWEST_PEERS = 3
LONE_SCALES = 2.0
"""A unit with fewer peers is held against what is expected of a good one, this many scales for one."""


def adjusted(values: pl.DataFrame) -> pl.DataFrame:
    """Take out of some features what the unit's task explains: its lift, or its set point.

    Parameters
    ----------
    values
        ``container``, ``feature``, ``value``, ``side`` (units are fitted within one side) and ``task``,
        the lift or set point that the feature goes by, null where it goes by neither. [K or °C]

    Returns
    -------
    polars.DataFrame
        ``values`` with ``adjusted``: the value less slope × (task − the side's median task), the slope of
        Theil and Sen; the value itself for other features and for too few units.
    """
    corrections: list[pl.DataFrame] = []
    chosen = values.drop_nulls(["value", "task"]).sort("task", "container")
    for _, group in chosen.group_by("feature", "side", maintain_order=True):
        distance = group["task"].to_numpy() - np.median(group["task"].to_numpy())
        if len(group) < FEWEST_FOR_SLOPE or np.ptp(distance) < LEAST_RANGE:
            continue
        fitted = slice(None, None, -(-len(group) // MOST_FOR_SLOPE))
        slope = theil_sen(distance[fitted], group["value"].to_numpy()[fitted])
        corrections.append(group.select("container", "feature").with_columns(correction=slope * distance))
    if not corrections:
        return values.with_columns(adjusted="value")
    return (
        values.join(pl.concat(corrections), on=["container", "feature"], how="left", maintain_order="left")
        .with_columns(adjusted=pl.col("value") - pl.col("correction").fill_null(0.0))
        .drop("correction")
    )


def theil_sen(x: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """Median slope over all pairs with different x.

    Parameters
    ----------
    x, y
        Same length, at least two different x.

    Returns
    -------
    float
        Slope, in units of y per unit of x. Checked against scipy's ``theilslopes`` in tests/outside.
    """
    first, second = np.triu_indices(len(x), 1)
    step = x[second] - x[first]
    apart = step != 0
    return float(np.median((y[second] - y[first])[apart] / step[apart]))


def group_statistics(values: pl.DataFrame, members: pl.DataFrame) -> pl.DataFrame:
    """Robust distance of each unit from its peers.

    Parameters
    ----------
    values
        ``container``, ``feature``, ``peer_group``, ``value``, ``adjusted``, ``scale`` (the smallest spread
        that counts), ``usual_low`` and ``usual_high`` (the range of good units whatever their peers do, or
        null) and ``by_peers`` (false for what is always held against that range).
    members
        ``container``, ``peer_group``: all units of every group.

    Returns
    -------
    polars.DataFrame
        The same rows with ``peer_low``, ``peer_median``, ``peer_high`` (10th, 50th, 90th percentile of
        ``value``), ``peers`` (other units with a value) and ``z`` = (adjusted − median) / spread. The
        spread is 1.4826 × the median absolute deviation of the group, drawn towards that of the fleet in
        small groups, and never below ``scale``. With fewer than ``FEWEST_PEERS`` peers, z is the distance
        from the usual range in ``LONE_SCALES`` scales, or null. ``z_range`` is the same with a spread that
        also covers the peers' 10th to 90th percentile: units of two ordinary kinds in one group have a
        small median deviation, and neither kind is odd.
    """
    group = ["feature", "peer_group"]
    centre = pl.col("adjusted").median()
    statistics = (
        members.join(
            values.select("container", "feature", "value", "adjusted").drop_nulls("value"), on="container"
        )
        .group_by(group)
        .agg(
            members=pl.len().cast(pl.Int64),
            centre=centre,
            own=NORMAL_MAD * (pl.col("adjusted") - centre).abs().median(),
            range=pl.col("adjusted").quantile(0.9, "linear") - pl.col("adjusted").quantile(0.1, "linear"),
            peer_low=pl.col("value").quantile(0.1, "linear"),
            peer_median=pl.col("value").median(),
            peer_high=pl.col("value").quantile(0.9, "linear"),
        )
    )
    weight = pl.col("members").cast(pl.Float64)
    return (
        values.join(statistics, on=group, how="left", maintain_order="left")
        .with_columns(deviation=pl.col("adjusted") - pl.col("centre"))
        .with_columns(fleet=NORMAL_MAD * pl.col("deviation").abs().median().over("feature"))
        .with_columns(
            spread=pl.max_horizontal(
                (
                    (weight * pl.col("own") ** 2 + SHRINKAGE * pl.col("fleet") ** 2) / (weight + SHRINKAGE)
                ).sqrt(),
                "scale",
            ),
            peers=pl.col("members").fill_null(0) - pl.col("value").is_not_null().cast(pl.Int64),
        )
        .with_columns(
            z=_distance(pl.col("spread")),
            z_range=_distance(pl.max_horizontal("spread", pl.col("range") / NORMAL_RANGE)),
        )
        .drop("deviation", "members", "centre", "own", "fleet", "spread", "range")
    )


def _distance(spread: pl.Expr) -> pl.Expr:
    lone = beyond_usual(pl.col("value"), pl.col("usual_low"), pl.col("usual_high"), pl.col("scale"))
    return (
        pl.when((pl.col("peers") >= FEWEST_PEERS) & pl.col("by_peers"))
        .then(pl.col("deviation") / spread)
        .otherwise(lone)
    )


def beyond_usual(value: pl.Expr, low: pl.Expr, high: pl.Expr, scale: pl.Expr) -> pl.Expr:
    """Distance from a usual range, ``LONE_SCALES`` scales for one; 0 inside, null without a range."""
    outside = pl.when(value > high).then(value - high).when(value < low).then(value - low).otherwise(0.0)
    return pl.when(low.is_not_null() & value.is_not_null()).then(outside / (LONE_SCALES * scale))
