"""What people would use instead: one number a unit, from the same readings."""

from __future__ import annotations

import numpy as np
import polars as pl
from sklearn.ensemble import IsolationForest


def baseline_scores(timeline: pl.DataFrame) -> pl.DataFrame:
    """Scores of simple screenings.

    Parameters
    ----------
    timeline
        Readings with the controlling air.

    Returns
    -------
    polars.DataFrame
        ``container`` and, higher for odder: ``hours_out`` (outside set point ± 2 °C), ``max_deviation``,
        ``alarm_readings``, ``isolation_forest`` (scikit-learn on the mean, spread and extremes of each raw
        channel).
    """
    error = (pl.col("controlling_air") - pl.col("set_point")).abs()
    channels = [
        "supply_air",
        "return_air",
        "suction_pressure",
        "discharge_pressure",
        "current_1",
        "power",
        "evaporator_temperature",
    ]
    table = (
        timeline.group_by("container")
        .agg(
            hours_out=pl.col("hours").filter(error > 2).sum(),
            max_deviation=error.max(),
            alarm_readings=(pl.col("alarms").list.len().fill_null(0) > 0).sum().cast(pl.Float64),
            **{
                f"{name}_{word}": expression
                for name in channels
                for word, expression in (
                    ("mean", pl.col(name).mean()),
                    ("std", pl.col(name).std()),
                    ("min", pl.col(name).min()),
                    ("max", pl.col(name).max()),
                )
            },
        )
        .sort("container")
    )
    raw = table.select(pl.selectors.ends_with("_mean", "_std", "_min", "_max")).to_numpy().astype(float)
    raw = np.where(np.isfinite(raw), raw, np.nan)
    usable = np.isfinite(raw).any(axis=0)
    raw = raw[:, usable]
    raw = np.where(np.isfinite(raw), raw, np.nanmedian(raw, axis=0))
    forest = -IsolationForest(n_estimators=200, random_state=0).fit(raw).score_samples(raw)
    return table.select(
        "container",
        pl.col("hours_out", "max_deviation", "alarm_readings").fill_null(0.0).cast(pl.Float64),
        isolation_forest=pl.Series(forest),
    )
