"""Pull-down: the first-order fit, its time constant and what it foretells."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.features.catalogue import DEFINITION, OWN, Feature, Worry
from coldsift.regimes.numbered import IN_MEMORY, NUMBER

_NEEDS = ("set_point",)
_FIT = "least squares of T(t) = T∞ + (T0 − T∞) exp(−t/τ) to the controlling air"

PULL_DOWN_FEATURES: tuple[Feature, ...] = (
    Feature(
        "pull_down_rate",
        "K/h",
        "Pull-down rate",
        "pull-down",
        "(first − last controlling air) / hours in the first pull-down",
        "Capacity: coil, refrigerant, fans",
        source=DEFINITION,
        needs=_NEEDS,
        minimum=4,
        scale=0.3,
        worry=Worry.LOW,
    ),
    Feature(
        "pull_down_tau",
        "h",
        "Pull-down time constant τ",
        "pull-down",
        _FIT,
        "Air flow round the cargo, capacity",
        source=DEFINITION,
        needs=_NEEDS,
        minimum=6,
        scale=6.0,
        worry=Worry.NONE,
    ),
    Feature(
        "pull_down_end",
        "K",
        "Where the pull-down heads, against set point",
        "pull-down",
        f"T∞ − set point; {_FIT}",
        "Capacity: coil, refrigerant, fans",
        source=DEFINITION,
        needs=_NEEDS,
        minimum=6,
        scale=3.0,
        worry=Worry.NONE,
    ),
    Feature(
        "pull_down_fit_error",
        "K",
        "Fit error of the pull-down",
        "pull-down",
        "root mean square of the fit's residuals",
        "",
        source=DEFINITION,
        needs=_NEEDS,
        minimum=6,
        worry=Worry.NONE,
    ),
    Feature(
        "hours_to_set_point",
        "h",
        "Hours until the air first came into its band",
        "pull-down",
        "first reading in the band − first reading",
        "Cargo temperature at loading",
        source=DEFINITION,
        needs=_NEEDS,
        minimum=1,
        scale=12.0,
        worry=Worry.NONE,
    ),
    Feature(
        "hours_to_set_point_predicted",
        "h",
        "Hours still needed to come into the band",
        "pull-down",
        "from the fit, while the pull-down lasts at the end of the log",
        "Cargo temperature at loading",
        source=DEFINITION,
        needs=_NEEDS,
        minimum=6,
        scale=12.0,
        worry=Worry.NONE,
    ),
)

SLOWEST_TAU = 400.0
FASTEST_TAU = 0.05
"""Time constants searched. [h] At the slow end the curve shows no bend, and no constant is given."""


def fit_exponential(
    hours: NDArray[np.float64], temperature: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Fit T(t) = T∞ + A exp(−t/τ) to many units at once.

    Parameters
    ----------
    hours
        Time since each unit's first reading, shape (units, readings), NaN where absent. [h]
    temperature
        Air temperature, same shape. [°C]

    Returns
    -------
    tau, end, start, error
        Each of shape (units,): τ [h], T∞ [°C], T(0) [°C] and root mean square residual [K].

    Notes
    -----
    For a fixed τ the model is linear, so the search is over τ alone (variable projection): a logarithmic
    grid, then five times a finer one around the best. scipy's ``curve_fit`` gives the same constants
    (tests/outside).
    """
    present = np.isfinite(hours) & np.isfinite(temperature)
    count = present.sum(axis=1).astype(float)
    clock = np.where(present, hours, 0.0)
    air = np.where(present, temperature, 0.0)
    mean_air = air.sum(axis=1) / np.maximum(count, 1)
    centred = np.where(present, air - mean_air[:, None], 0.0)

    def project(tau: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
        decay = np.where(present, np.exp(-clock / tau[:, None]), 0.0)
        mean_decay = decay.sum(axis=1) / np.maximum(count, 1)
        offset = np.where(present, decay - mean_decay[:, None], 0.0)
        power = (offset**2).sum(axis=1)
        amplitude = (offset * centred).sum(axis=1) / np.where(power > 0, power, 1.0)
        residual = centred - amplitude[:, None] * offset
        return (residual**2).sum(axis=1), amplitude, mean_air - amplitude * mean_decay

    units = hours.shape[0]
    low = np.full(units, np.log(FASTEST_TAU))
    high = np.full(units, np.log(SLOWEST_TAU))
    best = low.copy()
    for points in (60, 15, 15, 15, 15, 15):
        grid = np.linspace(low, high, points)
        misfit = np.stack([project(np.exp(step))[0] for step in grid])
        chosen = misfit.argmin(axis=0)
        best = grid[chosen, np.arange(units)]
        width = (high - low) / (points - 1)
        low = np.maximum(best - width, np.log(FASTEST_TAU))
        high = np.minimum(best + width, np.log(SLOWEST_TAU))
    tau = np.exp(best)
    misfit, amplitude, end = project(tau)
    return tau, end, end + amplitude, np.sqrt(misfit / np.maximum(count, 1))


def pull_down_features(numbered: pl.DataFrame) -> pl.DataFrame:
    """Take the pull-down features.

    Parameters
    ----------
    numbered
        The timeline with ``shared`` and ``unit_number``.

    Returns
    -------
    polars.DataFrame
        ``unit_number``, ``feature``, ``value``, ``samples``.
    """
    pulling = (
        numbered.lazy()
        .filter((pl.col("regime") == "pull_down") & OWN & pl.col("controlling_air").is_not_null())
        .select(NUMBER, "time", "controlling_air", "set_point", "band_high")
        .collect(engine=IN_MEMORY)
    )
    since = (pl.col("time") - pl.col("time").first().over(NUMBER)).dt.total_seconds() / 3600
    units = (
        pulling.with_columns(since=since)
        .group_by(NUMBER, maintain_order=True)
        .agg(
            "since",
            "controlling_air",
            samples=pl.len().cast(pl.Int64),
            set_point=pl.col("set_point").last(),
            edge=pl.col("band_high").last(),
            last_time=pl.col("time").last(),
        )
    )
    # numpy adds a row up in halves: only a power of two gives every unit the same sums in any company.
    width = 1 << int(units["samples"].max() or 0).bit_length()  # type: ignore[arg-type]
    tau, end, start, error = fit_exponential(
        _padded(units["since"], width), _padded(units["controlling_air"], width)
    )
    arrival = (
        numbered.lazy()
        .group_by(NUMBER, maintain_order=True)
        .agg(
            log_start=pl.col("time").first(),
            log_end=pl.col("time").last(),
            arrived=pl.col("time").filter(pl.col("in_band") & pl.col("powered") & ~pl.col("defrost")).first(),
        )
    )
    # No bend, no constant: the curve must have gone a good part of its way and fallen visibly.
    fitted = (
        pl.col("tau").is_between(FASTEST_TAU * 1.05, SLOWEST_TAU * 0.95)
        & (pl.col("hours") > 0.5 * pl.col("tau"))
        & (pl.col("start") - pl.col("end") > 2.0)
        & (pl.col("samples") >= 6)
    )
    to_edge = pl.col("tau") * ((pl.col("start") - pl.col("end")) / (pl.col("edge") - pl.col("end"))).log()
    lasting = pl.col("last_time") == pl.col("log_end")
    return (
        units.lazy()
        .with_columns(
            tau=pl.Series(tau),
            end=pl.Series(end),
            start=pl.Series(start),
            error=pl.Series(error),
            hours=pl.col("since").list.last(),
        )
        .join(arrival, on=NUMBER, maintain_order="left")
        .select(
            NUMBER,
            "samples",
            pull_down_rate=pl.when(pl.col("hours") > 0).then(
                (pl.col("controlling_air").list.first() - pl.col("controlling_air").list.last())
                / pl.col("hours")
            ),
            pull_down_tau=pl.when(fitted).then("tau"),
            pull_down_end=pl.when(fitted).then(pl.col("end") - pl.col("set_point")),
            pull_down_fit_error=pl.when(fitted).then("error"),
            hours_to_set_point=(pl.col("arrived") - pl.col("log_start")).dt.total_seconds() / 3600,
            hours_to_set_point_predicted=pl.when(fitted & lasting & (pl.col("edge") > pl.col("end"))).then(
                pl.max_horizontal(to_edge - pl.col("hours"), 0.0)
            ),
        )
        .unpivot(index=[NUMBER, "samples"], variable_name="feature", value_name="value")
        .select(NUMBER, "feature", "value", "samples")
        .collect(engine=IN_MEMORY)
    )


def _padded(lists: pl.Series, width: int) -> NDArray[np.float64]:
    """Stack lists of unequal length, NaN at the end."""
    lengths = lists.list.len().to_numpy()
    table = np.full((len(lists), width), np.nan)
    table[np.arange(width) < lengths[:, None]] = lists.explode().to_numpy()
    return table
