"""How far each unit's day and night are ahead of the others', from the ambient air."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.features.data import CLEARER_BY, CLOCK_HOURS, FEWEST_CLOCKS, LARGEST_LAG

LEAST_FIT = 0.6
"""A day wave that fits the others' worse than this says nothing of the clock."""

LEAST_HOURS = 48
"""Hours compared at least."""

WITHIN_HOUR = 1800.0
"""Readings of an hour are taken together, early or late in it by the log interval. [s]"""

SPREADS = 4.0
"""Bounds, in robust standard deviations of the fleet's own day waves about the middle one."""


def day_wave_offsets(marks: pl.DataFrame) -> pl.DataFrame:
    """Estimate how far clocks are ahead by when the day wave of the ambient air comes.

    Parameters
    ----------
    marks
        From :func:`coldsift.features.clock_marks`, of all units, sorted by container and time.

    Returns
    -------
    polars.DataFrame
        ``container, offset, lower, upper`` [s], of units whose wave fits the fleet's.

    Notes
    -----
    The shift of best correlation with the fleet's median wave over the unit's last ``CLOCK_HOURS``, between
    whole hours at the vertex of the parabola through it and its neighbours. Sun and shade move the wave of a
    unit whose clock is right, by as much as the fleet's own waves scatter: the bounds say that. A shift that
    fits hardly better than none is none.
    """
    nothing = pl.DataFrame(
        schema={"container": pl.String, "offset": pl.Float64, "lower": pl.Float64, "upper": pl.Float64}
    )
    hour = pl.col("time").dt.epoch("s") // 3600
    fleet = (
        marks.group_by(hour=hour)
        .agg(pl.len(), pl.col("wave").median())
        .filter(pl.col("len") >= FEWEST_CLOCKS)
        .sort("hour")
    )
    recent = marks.filter("recent").select("container", "wave", hour=hour)
    if fleet.is_empty() or recent.is_empty():
        return nothing
    names, counts = recent["container"].rle().struct.unnest().select("value", "len").get_columns()
    unit = np.repeat(np.arange(len(names)), counts.to_numpy())
    last = recent["hour"].to_numpy()[np.cumsum(counts.to_numpy()) - 1]
    waves = np.full((len(names), CLOCK_HOURS), np.nan)
    waves[unit, CLOCK_HOURS - 1 - (last[unit] - recent["hour"].to_numpy())] = recent["wave"].to_numpy()
    hours = last[:, None] - np.arange(CLOCK_HOURS - 1, -1, -1)
    lags = np.arange(-LARGEST_LAG, LARGEST_LAG + 1)
    fits = np.column_stack([_fit(waves, _wave_at(fleet, hours - lag)) for lag in lags])
    best = np.nanargmax(np.where(np.isnan(fits), -2.0, fits), axis=1)
    rows = np.arange(len(names))
    fit, still = fits[rows, best], fits[:, LARGEST_LAG]
    hardly = fit - still < CLEARER_BY
    shift = lags[best] + _vertex(fits, best)
    usable = fit >= LEAST_FIT
    if usable.sum() < FEWEST_CLOCKS:
        return nothing
    middle = np.median(shift[usable])
    spread = 1.4826 * np.median(np.abs(shift[usable] - middle))
    half = SPREADS * spread * 3600 + WITHIN_HOUR
    offset = (shift - middle) * 3600
    # What could as well be no shift at all does not speak against a right clock.
    lower = np.where(hardly, np.minimum(offset - half, 0.0), offset - half)
    upper = np.where(hardly, np.maximum(offset + half, 0.0), offset + half)
    return pl.DataFrame({"container": names, "offset": offset, "lower": lower, "upper": upper}).filter(
        pl.Series(usable)
    )


def _wave_at(fleet: pl.DataFrame, hours: NDArray[np.int64]) -> NDArray[np.float64]:
    """The fleet's wave at some hours; NaN where there is none."""
    known, wave = fleet["hour"].to_numpy(), fleet["wave"].to_numpy()
    place = np.searchsorted(known, hours).clip(max=len(known) - 1)
    return np.where(known[place] == hours, wave[place], np.nan)


def _fit(own: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """Correlation of the hours that both have, row by row; NaN for too few, or where nothing moves."""
    both = np.isfinite(own) & np.isfinite(other)
    count = both.sum(axis=1)
    one, two = (np.where(both, each, 0.0) for each in (own, other))
    safe = np.maximum(count, 1)[:, None]
    one, two = (np.where(both, each - each.sum(axis=1, keepdims=True) / safe, 0.0) for each in (one, two))
    scale = np.sqrt((one**2).sum(axis=1) * (two**2).sum(axis=1))
    enough = (count >= LEAST_HOURS) & (scale > 1e-9)
    return np.where(enough, (one * two).sum(axis=1) / np.where(enough, scale, 1.0), np.nan)


def _vertex(fits: NDArray[np.float64], best: NDArray[np.int64]) -> NDArray[np.float64]:
    """Where between whole hours the best fit lies. [h]"""
    rows, edge = np.arange(len(fits)), fits.shape[1] - 1
    left, top, right = (fits[rows, (best + by).clip(0, edge)] for by in (-1, 0, 1))
    bend = left - 2 * top + right
    inside = (best > 0) & (best < edge) & np.isfinite(bend) & (bend < 0)
    return np.where(inside, 0.5 * (left - right) / np.where(inside, bend, -1.0), 0.0)
