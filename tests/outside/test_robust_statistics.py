"""Robust distances against scipy and statsmodels, the forest against scikit-learn, trends against scipy."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from scipy.stats import median_abs_deviation, theilslopes
from sklearn.ensemble import IsolationForest
from statsmodels.robust.scale import mad
from tests.builders import clock, log, timeline

from coldsift.features import unit_features, with_saturation
from coldsift.peers import group_statistics, isolation_scores
from coldsift.peers.robust import theil_sen
from coldsift.regimes import find_defrosts


def one_group(values: np.ndarray, scale: float = 0.0) -> pl.DataFrame:
    frame = pl.DataFrame(
        {
            "container": [f"unit {number}" for number in range(len(values))],
            "feature": "split",
            "peer_group": "all",
            "value": values,
            "adjusted": values,
            "scale": scale,
            "usual_low": None,
            "usual_high": None,
            "by_peers": True,
        },
        schema_overrides={"usual_low": pl.Float64, "usual_high": pl.Float64},
    )
    return group_statistics(frame, frame.select("container", "peer_group"))


def test_robust_distance_equals_scipy_and_statsmodels() -> None:
    values = np.random.default_rng(4).normal(2.0, 0.5, 41)
    z = one_group(values)["z"].to_numpy()
    by_scipy = (values - np.median(values)) / median_abs_deviation(values, scale="normal")
    by_statsmodels = (values - np.median(values)) / mad(values)
    # 1.4826 is the rounded constant of the two libraries' 1/Φ⁻¹(3/4).
    assert z == pytest.approx(by_scipy, rel=1e-4)
    assert z == pytest.approx(by_statsmodels, rel=1e-4)


def test_peers_that_agree_closely_do_not_make_a_small_difference_odd() -> None:
    values = np.array([2.0] * 20 + [2.1])
    assert one_group(values, scale=0.3)["z"].to_list()[-1] == pytest.approx(0.1 / 0.3)


def test_isolation_forest_equals_a_direct_call_of_scikit_learn() -> None:
    matrix = np.random.default_rng(7).normal(0, 1, (60, 5))
    matrix[3] = 6
    direct = IsolationForest(n_estimators=200, random_state=20).fit(matrix)
    scores = isolation_scores(matrix)
    assert scores == pytest.approx(-direct.score_samples(matrix))
    assert scores.argmax() == 3


def test_trends_equal_scipy_theil_sen_slopes() -> None:
    hours = clock(24 * 10)
    drift = np.floor(hours / 24) * 0.3 + np.random.default_rng(1).normal(0, 0.2, len(hours))
    built = timeline(
        log(hours, set_point=-20.0, supply_air=-21.5, return_air=-20 + drift, compressor_state=True)
    )
    features = unit_features(with_saturation(built), find_defrosts(built))
    trend = features.filter(pl.col("feature") == "split_trend")["value"].item()
    # The first two days of a long log are no past to be held against.
    days = np.arange(2, 10)
    daily = [np.mean((-20 + drift - -21.5)[np.floor(hours / 24) == day]) for day in days]
    assert trend == pytest.approx(theilslopes(daily, days).slope, rel=1e-9)
    assert trend == pytest.approx(0.3, abs=0.05)


def test_the_slope_over_ambient_equals_scipy_theil_sen() -> None:
    generator = np.random.default_rng(11)
    x = np.sort(generator.uniform(20, 60, 80))
    y = 3 + 0.2 * x + generator.standard_t(2, 80)
    assert theil_sen(x, y) == pytest.approx(theilslopes(y, x).slope, rel=1e-12)
