"""Courses of air known at every instant, and the log of them: sampled, rounded, noisy, with rows dropped."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.optimize import brentq

from coldsift.regimes import Bands, build_timeline, mark_shared
from coldsift.schema import COMMON_LOG, VOYAGE_EVENTS

Floats = NDArray[np.float64]

START = datetime(2031, 3, 3, tzinfo=UTC)

CHILLED, FROZEN = 3.0, -20.0
"""Set points. [°C]"""

BANDS = Bands()

SHAPES = ("ramp", "triangle", "exponential", "sine")

SETTLED_HOURS = 24.0
"""Air at the set point before the course begins, and at least as long after it. [h]"""


@dataclass(frozen=True, slots=True)
class Recording:
    """How the air is logged.

    Attributes
    ----------
    minutes
        Log interval. [min]
    dropped
        Share of rows lost at random.
    noise
        Standard deviation of the probe. [K]
    resolution
        Readings are rounded to it; 0 for none. [K]
    """

    minutes: int
    dropped: float = 0.0
    noise: float = 0.1
    resolution: float = 0.1


@dataclass(frozen=True, slots=True)
class Excursion:
    """What really happened: hours since the start of the log, K beyond the edge, K h."""

    start: float
    end: float
    furthest: float
    degree_hours: float

    @property
    def hours(self) -> float:
        """Duration. [h]"""
        return self.end - self.start


@dataclass(frozen=True, slots=True)
class Case:
    """One unit.

    Attributes
    ----------
    container, shape, set_point, hours
        Its name, the course, set point [°C] and length of the log [h].
    rise
        Air above the set point at an instant. [K]
    kinks
        Instants at which the course bends or turns. [h]
    """

    container: str
    shape: str
    set_point: float
    hours: float
    rise: Callable[[Floats], Floats]
    kinks: tuple[float, ...]

    def truth(self) -> list[Excursion]:
        """Excursions on both sides of the band, by scipy: roots, and integrals between them."""
        frozen = self.set_point == FROZEN
        edges = [(1.0, BANDS.frozen if frozen else BANDS.chilled)]
        if not frozen:
            edges.append((-1.0, BANDS.chilled))
        return sorted(
            (one for side, edge in edges for one in self._beyond(side, edge)), key=lambda one: one.start
        )

    def _beyond(self, side: float, edge: float) -> Iterator[Excursion]:
        def beyond(at: float) -> float:
            return float(side * self.rise(np.array([at]))[0] - edge)

        crossings = [
            brentq(beyond, first, last)
            for first, last in pairwise(self.kinks)
            if beyond(first) * beyond(last) < 0
        ]
        for start, end in zip(crossings[::2], crossings[1::2], strict=True):
            inner = [kink for kink in self.kinks if start < kink < end]
            cuts = [start, *inner, end]
            yield Excursion(
                start,
                end,
                max(beyond(at) for at in inner),
                sum(quad(beyond, first, last)[0] for first, last in pairwise(cuts)),
            )


def cases(count: int, seed: int) -> list[Case]:
    """Draw cases, all shapes in turn, both cargo classes, warm and cold.

    The furthest is 0.5 to 8 K beyond the edge; a way up, a hold and a way down last 1 to 15 h each.
    """
    draw = np.random.default_rng(seed)
    return [_case(f"CASE{number:07d}", SHAPES[number % len(SHAPES)], draw) for number in range(count)]


def _case(container: str, shape: str, draw: np.random.Generator) -> Case:
    frozen = bool(draw.random() < 0.4)
    side = 1.0 if frozen or draw.random() < 0.6 else -1.0
    height = side * ((BANDS.frozen if frozen else BANDS.chilled) + draw.uniform(0.5, 8.0))
    up, hold, down = draw.uniform(1.0, 15.0, 3)
    begin = SETTLED_HOURS + draw.uniform(0.0, 3.0)
    rise, kinks = _course(shape, height, begin, (up, hold, down))
    return Case(container, shape, FROZEN if frozen else CHILLED, kinks[-1] + SETTLED_HOURS, rise, kinks)


def _course(
    shape: str, height: float, begin: float, lengths: tuple[float, float, float]
) -> tuple[Callable[[Floats], Floats], tuple[float, ...]]:
    up, hold, down = lengths
    if shape == "ramp":
        corners = np.cumsum([begin, up, hold, down])
        return (lambda at: np.interp(at, corners, [0, height, height, 0])), tuple(corners)
    if shape == "triangle":
        corners = np.cumsum([begin, up, down])
        return (lambda at: np.interp(at, corners, [0, height, 0])), tuple(corners)
    if shape == "sine":
        # One wave: to one side of the set point, then to the other.
        period = up + hold + down
        return (
            lambda at: np.where(
                (at > begin) & (at < begin + period), height * np.sin(2 * np.pi * (at - begin) / period), 0.0
            ),
            tuple(begin + period * np.array([0.0, 0.25, 0.5, 0.75, 1.0])),
        )
    # First order towards the height, and back; the way back is followed until nothing is left of it.
    turn = begin + up + hold
    slow, fast = up / 2, down / 4
    top = height * (1 - np.exp(-(turn - begin) / slow))
    return (
        lambda at: np.where(
            at < turn,
            height * (1 - np.exp(-np.clip(at - begin, 0.0, None) / slow)),
            top * np.exp(-np.clip(at - turn, 0.0, None) / fast),
        ),
        (begin, turn, turn + 8 * fast),
    )


def recorded(planted: list[Case], how: Recording, seed: int) -> pl.DataFrame:
    """Timeline of the cases as they would be logged; the first and the last reading are never lost."""
    draw = np.random.default_rng([seed, how.minutes])
    logs = []
    for case in planted:
        hours = np.arange(draw.uniform(0.0, how.minutes / 60), case.hours, how.minutes / 60)
        kept = draw.random(len(hours)) >= how.dropped
        kept[[0, -1]] = True
        hours = hours[kept]
        air = case.set_point + case.rise(hours) + how.noise * draw.standard_normal(len(hours))
        if how.resolution:
            air = np.round(np.round(air / how.resolution) * how.resolution, 6)
        logs.append(
            pl.DataFrame(
                {
                    "container": case.container,
                    "time": (hours * 3.6e9).astype(np.int64),
                    "set_point": case.set_point,
                    "supply_air": air,
                    "return_air": air,
                }
            )
        )
    log = pl.concat(logs).with_columns(
        time=pl.lit(START) + pl.duration(microseconds="time"),
        source=pl.lit("planted"),
        row=pl.int_range(1, pl.len() + 1, dtype=pl.Int64),
    )
    return mark_shared(build_timeline(COMMON_LOG.conform(log), BANDS), VOYAGE_EVENTS.empty())
