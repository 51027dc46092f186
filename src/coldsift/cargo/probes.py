"""Members fitted to logged cargo probes.

Goes in: the members' way through the log, the probes. Comes out: draws that explain the probes. A probe sits
anywhere between the outer cargo and the core: every member may choose the place that suits it best, and is
weighed by what is left over. Then the draws are renewed around the weightiest, some rounds long.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import logsumexp, ndtr, ndtri

from coldsift.cargo.air import PROBES, AirCourse
from coldsift.cargo.ensemble import DRAWN, MEMBERS, draw, generator
from coldsift.cargo.properties import Array
from coldsift.regimes.numbered import IN_MEMORY

FIT_MEMBERS = 192
"""Size of an ensemble while it is fitted."""

FIT_ROUNDS = 3
"""Times the draws are renewed."""

FITTED = (
    "half_thickness",
    "bulk_density",
    "heat_transfer",
    "conductivity",
    "specific_heat",
    "respiration",
    "air_weight",
    "air_error",
    "still_share",
    "start_core",
    "start_surface",
)
"""What a probe can tell of; the rest stays as drawn."""

PROBE_ERROR = 0.5
"""What a probe may be off: by itself, and because its carton is not the average one. [K] Common practice, no
source; 0.3 K is asked of a probe in ice."""

SHAPE_ERROR = 0.5
"""What may be left of a probe's course when its offset is taken out: resolution, and two stores in place of a
whole stow. [K]"""

INDEPENDENT_HOURS = 36.0
"""Readings closer than this tell much the same. [h]"""

LEAST_PROBE_HOURS = 24.0
"""A probe that reads for less is not fitted to. [h]"""

STUCK_HOURS = 24.0
STUCK_AIR_RANGE = 1.0
"""A reading that stays the same for so long [h] while the air moves by more than this [K] is stuck."""

STRANGE = 3.0
"""A probe that no member comes closer to than this is not in the cargo, or wrong. [K]"""

_PLACE_VARIANCE = 1.0 / 12.0
"""Of a probe's place between outer cargo and core, which may be anywhere."""

_MOST_ROWS = 300
_LEAST_EFFECTIVE = 0.3
"""Weights are softened until this share of the ensemble carries them."""


@dataclass(frozen=True, slots=True)
class Fit:
    """Draws that explain the probes of some units.

    Attributes
    ----------
    places
        As from :func:`~coldsift.cargo.ensemble.draw`.
    error
        Root mean square between the members and the probes, one value a unit [K]; nan where every probe is
        too strange to be fitted to.
    """

    places: Array
    error: Array


Way = Callable[[Array, pl.DataFrame], tuple[Array, Array]]
"""From places in the ranges and some readings: outer cargo and core at them, shape (readings, members)."""


def probe_readings(course: AirCourse) -> pl.DataFrame:
    """Readings of the probes that can be fitted to.

    Parameters
    ----------
    course
        Air and probes.

    Returns
    -------
    polars.DataFrame
        The rows of the course in which one of them reads, thinned, with all others set to null. Empty when no
        unit has any.
    """
    probe = ["unit", "probe"]
    run = [*probe, "run"]
    air = pl.col("supply_then") + pl.col("split_then") / 2
    elapsed = (pl.col("time").max() - pl.col("time").min()).dt.total_microseconds() / 3.6e9
    readings = (
        course.rows.lazy()
        .with_columns(air=air)
        .unpivot(PROBES, index=["unit", "step", "time", "air"], variable_name="probe", value_name="reading")
        .drop_nulls("reading")
        .sort(*probe, "time")
        .with_columns(
            run=(pl.col("reading") != pl.col("reading").shift(1)).fill_null(True).cum_sum().over(probe)
        )
        .with_columns(
            stuck=(
                (elapsed >= STUCK_HOURS)
                & (pl.col("air").quantile(0.95) - pl.col("air").quantile(0.05) > STUCK_AIR_RANGE)
            ).over(run)
        )
        .filter(~pl.col("stuck"))
        .filter((elapsed >= LEAST_PROBE_HOURS).over(probe))
        .collect(engine=IN_MEMORY)
    )
    if readings.is_empty():
        return course.rows.clear()
    told = readings.pivot("probe", index=["unit", "step"], values="reading").sort("unit", "step")
    told = told.with_columns(
        pl.lit(None, pl.Float64).alias(name) for name in PROBES if name not in told.columns
    )
    count = pl.len().over("unit")
    every = (count / _MOST_ROWS).ceil().cast(pl.Int64)
    return (
        course.rows.drop(*PROBES)
        .join(told, on=["unit", "step"], how="inner", maintain_order="left")
        .filter(pl.int_range(pl.len()).over("unit") % every == 0)
    )


def fit(containers: Sequence[str], readings: pl.DataFrame, way: Way) -> Fit:
    """Fit the draws of some units to their probes.

    Parameters
    ----------
    containers
        Of the units, each of which has readings.
    readings
        From :func:`probe_readings`.
    way
        Follows members through the log.
    """
    places = draw(containers, FIT_MEMBERS)
    fitted = [DRAWN.index(name) for name in FITTED]
    of_unit = readings["unit"].to_numpy()
    probes = readings.select(PROBES).to_numpy().T
    seconds = readings["time"].dt.epoch("s").to_numpy()
    # Of the draws under the even ranges, and under the distribution that they were renewed from.
    odds = np.zeros(places.shape[:2])
    final = np.empty((len(containers), MEMBERS, len(DRAWN)))
    error = np.empty(len(containers))
    for turn in range(FIT_ROUNDS + 1):
        outer, core = way(places, readings)
        for unit, container in enumerate(containers):
            own = of_unit == unit
            fitness, left_over = _fitness(outer[own], core[own], probes[:, own], seconds[own])
            weights = _softened(fitness + odds[unit])
            chance = generator(container, f"fit {turn}")
            if turn == FIT_ROUNDS:
                chosen = _resampled(weights, MEMBERS, chance)
                final[unit] = places[unit, chosen]
                error[unit] = np.median(left_over[chosen])
            else:
                renewed, odds[unit] = _renewed(places[unit][:, fitted], weights, chance)
                places[unit][:, fitted] = renewed
    return Fit(final, error)


def _fitness(outer: Array, core: Array, probes: Array, seconds: NDArray[np.int64]) -> tuple[Array, Array]:
    """Log-likelihood of each member, and its root mean square over the probes [K]; nan when none fits."""
    fitness: Array = np.zeros(outer.shape[1])
    squares: Array = np.zeros(outer.shape[1])
    count = 0
    for readings in probes:
        told = ~np.isnan(readings)
        if not told.any():
            continue
        span = core[told] - outer[told]
        off = readings[told][:, None] - outer[told]
        place = np.clip((span * off).sum(axis=0) / np.maximum((span**2).sum(axis=0), 1e-9), 0.0, 1.0)
        left = off - place * span
        offset, shape = left.mean(axis=0), left.var(axis=0)
        if np.sqrt(offset**2 + shape).min() > STRANGE:
            continue
        independent = np.clip(np.ptp(seconds[told]) / 3600.0 / INDEPENDENT_HOURS, 2.0, told.sum())
        fitness = fitness - 0.5 * ((offset / PROBE_ERROR) ** 2 + independent * shape / SHAPE_ERROR**2)
        # Every place is as likely: the further outer cargo and core are apart, the fewer places fit as well.
        sharpness = independent * (span**2).mean(axis=0) / SHAPE_ERROR**2
        fitness = fitness - 0.5 * np.log1p(sharpness * _PLACE_VARIANCE)
        squares = squares + (left**2).sum(axis=0)
        count += int(told.sum())
    return fitness, np.asarray(np.sqrt(squares / count)) if count else np.full(len(fitness), np.nan)


def _softened(logarithms: Array) -> Array:
    """Weights that sum to 1, flattened until enough members carry some."""
    power = 1.0
    while True:
        weights = np.exp(power * logarithms - logsumexp(power * logarithms))
        if 1.0 / (weights**2).sum() >= _LEAST_EFFECTIVE * len(weights):
            return np.asarray(weights)
        power *= 0.8


def _renewed(places: Array, weights: Array, chance: np.random.Generator) -> tuple[Array, Array]:
    """New places around the weightiest, and the logarithm of their odds: even ranges against this density."""
    normal = ndtri(np.clip(places, 1e-4, 1.0 - 1e-4))
    middle = weights @ normal
    spread = np.cov(normal.T, aweights=weights)
    # Few members carry weight: their correlations are taken by half, their spread with something added.
    spread = 0.5 * spread + 0.5 * np.diag(np.diag(spread)) + 0.05 * np.eye(len(spread))
    drawn = chance.multivariate_normal(middle, spread, size=len(places), method="cholesky")
    # Logarithms of both normal densities, without the factor that they share.
    off = drawn - middle
    even = -0.5 * (drawn**2).sum(axis=1)
    density = -0.5 * ((off @ np.linalg.inv(spread)) * off).sum(axis=1) - 0.5 * np.linalg.slogdet(spread)[1]
    return ndtr(drawn), np.asarray(even - density)


def _resampled(weights: Array, count: int, chance: np.random.Generator) -> NDArray[np.intp]:
    """Members drawn by weight, evenly along the sum of the weights."""
    marks = (np.arange(count) + chance.random()) / count
    return np.minimum(np.searchsorted(np.cumsum(weights), marks), len(weights) - 1)
