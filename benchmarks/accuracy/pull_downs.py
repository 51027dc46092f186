"""How well the time constant of a pull-down is recovered: planted curves, logged like a controller logs.

Goes in: log intervals. Comes out: errors of the fitted time constant. The curve is the analytic first-order
one, T(t) = T∞ + (T0 − T∞) exp(−t/τ), cut off at the set point, with the noise and resolution of a probe.
"""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import polars as pl

from benchmarks.accuracy.figures import quantile_of, without_interval
from coldsift.engine import Settings
from coldsift.engine.analysis import analyse
from coldsift.schema import COMMON_LOG
from coldsift.simulate.plan import container_number

UNITS = 60
SEED = 2061
NOISE, RESOLUTION = 0.08, 0.1
"""Of the probe. [K]"""


def planted_pull_downs(minutes: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Common log of units in pull-down, and the time constant of each.

    Parameters
    ----------
    minutes
        Between readings.

    Returns
    -------
    tuple of polars.DataFrame
        Log; ``container`` and ``tau`` [h].
    """
    draw = np.random.default_rng(SEED)
    tau = np.exp(draw.uniform(np.log(3.0), np.log(20.0), UNITS))
    hours = np.arange(0, 4 * 24 * 60, minutes) / 60.0
    start = datetime(2031, 1, 6, tzinfo=UTC)
    frames = []
    for index, constant in enumerate(tau):
        set_point = float(draw.choice([-20.0, -18.0, 2.0, 5.0]))
        warm, end = set_point + draw.uniform(12.0, 30.0), set_point - draw.uniform(3.0, 8.0)
        air = np.maximum(end + (warm - end) * np.exp(-hours / constant), set_point)
        read = np.round((air + draw.normal(0.0, NOISE, len(air))) / RESOLUTION) * RESOLUTION
        frames.append(
            pl.DataFrame(
                {
                    "container": [container_number(index)] * len(hours),
                    "time": pl.Series(
                        np.datetime64(start.replace(tzinfo=None)) + (hours * 3.6e9).astype("m8[us]")
                    )
                    .cast(pl.Datetime("us"))
                    .dt.replace_time_zone("UTC"),
                    "set_point": [set_point] * len(hours),
                    "supply_air": read,
                    "return_air": read,
                    "power_state": [True] * len(hours),
                }
            )
        )
    log = pl.concat(frames).sort("container", "time")
    rows = pl.int_range(1, pl.len() + 1, dtype=pl.Int64)
    truth = pl.DataFrame({"container": [container_number(index) for index in range(UNITS)], "tau": tau})
    return COMMON_LOG.conform(log.with_columns(source=pl.lit("planted"), row=rows)), truth


def pull_down_figures(minutes: int) -> pl.DataFrame:
    """Share of the planted pull-downs that were fitted, and the error of their time constant.

    Parameters
    ----------
    minutes
        Between readings.

    Returns
    -------
    polars.DataFrame
        ``method``, ``measure``, ``value``, ``low``, ``high``; errors as shares of the planted value.
    """
    log, truth = planted_pull_downs(minutes)
    features = analyse(log, Settings()).features
    fitted = truth.join(
        features.filter(pl.col("feature") == "pull_down_tau").select("container", "value"),
        on="container",
        how="left",
    )
    error = (fitted["value"] / fitted["tau"] - 1.0).abs()
    values = {
        "pull-downs fitted": 1.0 - error.null_count() / len(error),
        "error of τ, median": quantile_of(error, 0.5),
        "error of τ, 90 %": quantile_of(error, 0.9),
    }
    return without_interval(values)
