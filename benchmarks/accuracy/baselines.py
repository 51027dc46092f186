"""What people would use instead: one number a unit, from the same readings.

Goes in: the readings with the controlling air. Comes out: scores, higher for odder. Each gets the care that
somebody who scripts it by hand would take: the first day (loading, pull-down) and defrosts are left out of
the simple ones, air is taken against the set point, and absent values are filled with the fleet's median.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray
from pyod.models.copod import COPOD
from pyod.models.ecod import ECOD
from pyod.models.hbos import HBOS
from pyod.models.knn import KNN
from scipy.stats import rankdata
from sklearn.ensemble import IsolationForest
from sklearn.neighbors import LocalOutlierFactor
from sklearn.preprocessing import RobustScaler

BASELINES = {
    "hours_out": "hours outside set point ± 2 °C",
    "max_deviation": "largest deviation from the set point",
    "alarms": "number of readings with an alarm",
    "isolation_forest": "IsolationForest (scikit-learn) on raw statistics",
    "local_outlier_factor": "LocalOutlierFactor (scikit-learn) on raw statistics",
    "ecod": "ECOD (PyOD) on raw statistics",
    "ensemble": "mean rank of ECOD, COPOD, HBOS, k-nearest neighbours (PyOD) and IsolationForest",
    "seasonal": "each unit against its own daily pattern",
}
"""Name of each score, and what it is."""

_RAW = (
    "supply_air",
    "return_air",
    "suction_pressure",
    "discharge_pressure",
    "suction_temperature",
    "discharge_temperature",
    "evaporator_temperature",
    "expansion_valve_opening",
    "current_1",
    "current_2",
    "current_3",
    "voltage_1",
    "power",
)
_AGAINST_SET_POINT = ("supply_air", "return_air")
_FIRST_HOURS = 24.0
_HARMONICS = 2


def baseline_scores(timeline: pl.DataFrame) -> pl.DataFrame:
    """Scores of what people would use instead.

    Parameters
    ----------
    timeline
        Readings with the controlling air.

    Returns
    -------
    polars.DataFrame
        ``container`` and a column for each of :data:`BASELINES`.
    """
    statistics = _raw_statistics(timeline)
    containers = statistics["container"]
    raw = _filled(statistics.drop("container").to_numpy().astype(np.float64))
    scaled = RobustScaler().fit_transform(raw)
    neighbours = max(2, min(20, len(raw) // 3))
    forest = -IsolationForest(n_estimators=200, random_state=0).fit(raw).score_samples(raw)
    local = -LocalOutlierFactor(n_neighbors=neighbours).fit(scaled).negative_outlier_factor_
    several = [
        _decided(detector, scaled) for detector in (COPOD(), HBOS(), KNN(n_neighbors=min(5, neighbours)))
    ]
    ecod = _decided(ECOD(), scaled)
    ensemble = np.mean([rankdata(score) for score in (*several, ecod, forest)], axis=0)
    return (
        pl.DataFrame(
            {
                "container": containers,
                "isolation_forest": forest,
                "local_outlier_factor": local,
                "ecod": ecod,
                "ensemble": ensemble,
            }
        )
        .join(simple_scores(timeline), on="container", how="left")
        .join(_against_own_days(timeline), on="container", how="left")
        .select("container", pl.col(list(BASELINES)).fill_null(0.0).fill_nan(0.0).cast(pl.Float64))
        .sort("container")
    )


def simple_scores(timeline: pl.DataFrame) -> pl.DataFrame:
    """``container``, ``hours_out`` [h], ``max_deviation`` [K] and ``alarms``, which need no library."""
    since = (pl.col("time") - pl.col("time").min().over("container")).dt.total_seconds() / 3600
    error = (pl.col("controlling_air") - pl.col("set_point")).abs()
    settled = (since >= _FIRST_HOURS) & ~pl.col("defrost")
    return (
        timeline.with_columns(error=error, settled=settled)
        .group_by("container")
        .agg(
            hours_out=pl.col("hours").filter((pl.col("error") > 2) & pl.col("settled")).sum(),
            max_deviation=pl.col("error").filter("settled").max(),
            alarms=(pl.col("alarms").list.len().fill_null(0) > 0).sum().cast(pl.Float64),
        )
        .sort("container")
    )


def _decided(detector: object, values: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(detector.fit(values).decision_scores_)  # type: ignore[attr-defined]


def _raw_statistics(timeline: pl.DataFrame) -> pl.DataFrame:
    """Mean, spread and extremes of every raw channel of each unit."""
    of = {
        name: pl.col(name) - pl.col("set_point") if name in _AGAINST_SET_POINT else pl.col(name)
        for name in _RAW
    }
    return (
        timeline.group_by("container")
        .agg(
            expression.alias(f"{name}_{word}")
            for name, column in of.items()
            for word, expression in (
                ("mean", column.mean()),
                ("std", column.std()),
                ("min", column.min()),
                ("max", column.max()),
            )
        )
        .sort("container")
    )


def _filled(raw: NDArray[np.float64]) -> NDArray[np.float64]:
    """Columns that nobody logs left out, holes filled with the fleet's median."""
    raw = np.where(np.isfinite(raw), raw, np.nan)
    raw = raw[:, np.isfinite(raw).any(axis=0)]
    return np.where(np.isfinite(raw), raw, np.nanmedian(raw, axis=0))


def _against_own_days(timeline: pl.DataFrame) -> pl.DataFrame:
    """The largest shift of a half day's mean against a daily pattern fitted to the unit's first half.

    Least squares of level and two daily harmonics to hourly means of the first half of the log, channel by
    channel; in the second half, the largest mean residual of twelve hours over the spread of such means in
    the first half; the largest of the channels counts.
    """
    split = pl.col("return_air") - pl.col("supply_air")
    deviation = pl.col("controlling_air") - pl.col("set_point")
    channels = {
        "deviation": deviation,
        "split": split,
        **{name: pl.col(name) for name in ("power", "suction_pressure", "discharge_pressure")},
    }
    hourly = (
        timeline.filter(~pl.col("defrost"))
        .group_by("container", hour=pl.col("time").dt.truncate("1h"))
        .agg(expression.mean().alias(name) for name, expression in channels.items())
        .sort("container", "hour")
        .with_columns(age=(pl.col("hour") - pl.col("hour").min().over("container")).dt.total_seconds() / 3600)
        .filter(pl.col("age") >= _FIRST_HOURS)
    )
    scores = []
    for (container,), unit in hourly.group_by("container", maintain_order=True):
        age = unit["age"].to_numpy()
        angle = 2 * np.pi * age / 24.0
        waves = [wave(k * angle) for k in range(1, _HARMONICS + 1) for wave in (np.cos, np.sin)]
        pattern = np.stack([np.ones_like(age), *waves], axis=1)
        values = unit.select(*channels).to_numpy().astype(np.float64)
        scores.append((container, max(_worst_half_day(pattern, column, age) for column in values.T)))
    return pl.DataFrame(scores, schema={"container": pl.String, "seasonal": pl.Float64}, orient="row")


def _worst_half_day(
    pattern: NDArray[np.float64], values: NDArray[np.float64], age: NDArray[np.float64]
) -> float:
    known = np.isfinite(values)
    first = known & (age < age[-1] / 2)
    second = known & ~first
    if first.sum() < 24 or second.sum() < 12:
        return 0.0
    fitted, *_ = np.linalg.lstsq(pattern[first], values[first], rcond=None)
    residual = values - pattern @ fitted
    halves = (age // 12).astype(int)
    means = [
        np.array([residual[part & (halves == half)].mean() for half in np.unique(halves[part])])
        for part in (first, second)
    ]
    spread = 1.4826 * np.median(np.abs(means[0] - np.median(means[0])))
    return float(np.abs(means[1]).max() / max(spread, 1e-3))
