"""Planted excursions against those found: one row each, and shares of them."""

from __future__ import annotations

from typing import Any

import polars as pl

from benchmarks.excursions.planted import START, Case, Recording, recorded
from coldsift.excursions import GRACE_HOURS, find_excursions

LEAST_FURTHEST = 0.5
"""An excursion that goes less far beyond the edge can drown in noise and rounding. [K]"""

ROUNDED = 1e-6
"""Instants are kept to the microsecond. [h] [K h]"""

BOUNDS = tuple(
    f"{name}{bound}" for name in ("hours", "degree_hours") for bound in ("", "_at_least", "_at_most")
)

PLANTED = {
    "container": pl.String,
    "shape": pl.String,
    "true_start": pl.Float64,
    "true_end": pl.Float64,
    "true_hours": pl.Float64,
    "true_degree_hours": pl.Float64,
    "furthest": pl.Float64,
}


def outcomes(planted: list[Case], how: Recording, seed: int) -> tuple[pl.DataFrame, float]:
    """Log the cases, find excursions, and put them beside the planted ones.

    Returns
    -------
    polars.DataFrame
        One row for each planted excursion that the method should see: longer than the grace time by four log
        intervals, and ``LEAST_FURTHEST`` beyond the edge. ``found``, ``pieces`` (how many were found of it),
        and of all pieces together whether the truth lies within the bounds: ``start_inside``, ``end_inside``,
        ``hours_inside`` and ``degree_hours_inside`` (at least to at most).
    float
        Found ones that touch no planted one, for 100 unit-days.
    """
    timeline = recorded(planted, how, seed)
    hour = {
        name: (pl.col(name) - START).dt.total_microseconds() / 3.6e9
        for name in ("start", "end", "start_earliest", "start_latest", "end_earliest", "end_latest")
    }
    found = find_excursions(timeline).with_columns(**hour).with_row_index("piece")
    rows: list[tuple[Any, ...]] = [
        (case.container, case.shape, one.start, one.end, one.hours, one.degree_hours, one.furthest)
        for case in planted
        for one in case.truth()
    ]
    truth = pl.DataFrame(rows, schema=PLANTED, orient="row").with_row_index("planted")
    pairs = truth.join(found, on="container").filter(
        pl.col("end") > pl.col("true_start"), pl.col("start") < pl.col("true_end")
    )
    false = found.filter(~pl.col("piece").is_in(pairs["piece"].implode())).height
    unit_days = sum(case.hours for case in planted) / 24
    together = (
        pairs.sort("planted", "start")
        .group_by("planted", maintain_order=True)
        .agg(
            pieces=pl.len(),
            start_earliest=pl.col("start_earliest").min(),
            start_latest=pl.col("start_latest").first(),
            end_earliest=pl.col("end_earliest").last(),
            end_latest=pl.col("end_latest").max(),
            **{name: pl.col(name).sum() for name in BOUNDS},
        )
    )
    should_see = truth.filter(
        pl.col("true_hours") > GRACE_HOURS + 4 * how.minutes / 60, pl.col("furthest") >= LEAST_FURTHEST
    )
    compared = should_see.join(together, on="planted", how="left", maintain_order="left").with_columns(
        found=pl.col("pieces").is_not_null(),
        start_inside=pl.col("true_start").is_between("start_earliest", "start_latest"),
        end_inside=pl.col("true_end").is_between("end_earliest", "end_latest"),
        **{
            f"{name}_inside": pl.col(f"true_{name}").is_between(
                pl.col(f"{name}_at_least") - ROUNDED, pl.col(f"{name}_at_most") + ROUNDED
            )
            for name in ("hours", "degree_hours")
        },
    )
    return compared, 100 * false / unit_days
