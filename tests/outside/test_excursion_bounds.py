"""Excursions and their bounds against courses of air that are known at every instant.

Ramps, triangles, first-order courses and sine waves; crossings by ``scipy.optimize.brentq``, areas by
``scipy.integrate.quad``. The air is planted and the logs are made of it: sampled, rounded, noisy, rows
dropped. How often the bounds must hold, 95 in 100, is our own demand.
"""

from __future__ import annotations

import functools

import numpy as np
import polars as pl
import pytest
from benchmarks.excursions.measure import outcomes
from benchmarks.excursions.planted import CHILLED, SHAPES, START, Recording, cases, recorded
from scipy.integrate import quad
from tests.builders import clock, log, timeline

from coldsift.excursions import find_excursions, find_gaps
from coldsift.excursions.gaps import (
    COLDER_THAN_SEEN,
    FASTEST_AIR,
    FASTEST_WARM_UP,
    SETTLING,
    SUN,
)

CASES, SEED = 160, 1903

HELD = 0.95


@functools.cache
def judged(minutes: int, dropped: float) -> tuple[pl.DataFrame, float]:
    return outcomes(cases(CASES, SEED), Recording(minutes, dropped), SEED)


every_log = pytest.mark.parametrize(
    ("minutes", "dropped"), [(5, 0.2), (15, 0.0), (15, 0.2), (60, 0.0), (60, 0.2)]
)


def test_the_planted_courses_are_of_every_kind() -> None:
    planted = cases(CASES, SEED)
    truth, _ = judged(15, 0.2)
    assert {case.shape for case in planted} == set(SHAPES)
    assert 0.2 < np.mean([case.set_point == CHILLED for case in planted]) < 0.8
    assert truth.height > CASES
    assert (truth["pieces"] > 0).sum() == truth["found"].sum()


@every_log
def test_what_should_be_seen_is_found_and_nothing_else(minutes: int, dropped: float) -> None:
    truth, false = judged(minutes, dropped)
    assert truth["found"].mean() >= 0.99  # type: ignore[operator]
    assert false <= 1.0


@every_log
@pytest.mark.parametrize("edge", ["start_inside", "end_inside"])
def test_begin_and_end_lie_within_their_bounds(minutes: int, dropped: float, edge: str) -> None:
    truth, _ = judged(minutes, dropped)
    assert truth.filter("found")[edge].fill_null(False).mean() >= HELD  # type: ignore[operator]


@every_log
def test_hours_lie_between_at_least_and_at_most(minutes: int, dropped: float) -> None:
    truth, _ = judged(minutes, dropped)
    assert truth.filter("found")["hours_inside"].mean() >= HELD  # type: ignore[operator]


@every_log
def test_degree_hours_lie_between_at_least_and_at_most(minutes: int, dropped: float) -> None:
    truth, _ = judged(minutes, dropped)
    assert truth.filter("found")["degree_hours_inside"].mean() >= HELD  # type: ignore[operator]


@every_log
def test_bounds_are_of_some_use(minutes: int, dropped: float) -> None:
    truth, _ = judged(minutes, dropped)
    found = truth.filter("found", pl.col("true_hours") > 5)
    assert (found["hours_at_most"] / found["true_hours"]).median() < 1.3  # type: ignore[operator]
    assert (found["degree_hours_at_most"] / found["true_degree_hours"]).median() < 1.5  # type: ignore[operator]


@pytest.mark.parametrize("shape", SHAPES)
def test_minute_logs_without_noise_measure_what_scipy_integrates(shape: str) -> None:
    planted = [case for case in cases(80, SEED) if case.shape == shape]
    timeline = recorded(planted, Recording(1, noise=0.0, resolution=0.0), SEED)
    found = find_excursions(timeline)
    compared = 0
    for case in planted:
        own = found.filter(pl.col("container") == case.container)
        for true in case.truth():
            start = (pl.col("start") - START).dt.total_microseconds() / 3.6e9
            (row,) = own.filter((start - true.start).abs() < 0.02).iter_rows(named=True) or [{}]
            if not row:
                assert true.hours < 1.05
                continue
            assert row["hours"] == pytest.approx(true.hours, abs=1e-3)
            assert row["degree_hours"] == pytest.approx(true.degree_hours, rel=1e-3, abs=1e-3)
            assert abs(row["peak"] - row["band_edge"]) == pytest.approx(true.furthest, abs=0.05)
            compared += 1
    assert compared >= 15


@pytest.mark.parametrize("seed", range(20))
def test_what_happened_without_readings_lies_between_at_least_and_at_most(seed: int) -> None:
    """The box warms first order while the log has a gap, and is cooled before it ends; no door is opened."""
    draw = np.random.default_rng(seed)
    hours = clock(96)
    slow, lost = draw.uniform(20, 120), draw.uniform(5, 20)
    ambient = draw.uniform(25, 40)
    off, on = 40.1, 40.1 + lost * draw.uniform(0.4, 0.95)
    top = ambient - (ambient - 3) * np.exp(-(on - off) / slow)

    def air(at: np.ndarray) -> np.ndarray:
        warming = ambient - (ambient - 3) * np.exp(-np.clip(at - off, 0, None) / slow)
        return np.where(at < on, warming, 3 + (top - 3) * np.exp(-np.clip(at - on, 0, None) / 1.5))

    kept = (hours <= 41) | (hours >= 41 + lost)
    unit = log(
        hours[kept],
        set_point=2.0,
        supply_air=air(hours[kept]),
        return_air=air(hours[kept]),
        ambient_air=ambient,
    )
    built = timeline(unit)
    true_area = quad(
        lambda at: max(float(air(np.array(at))) - 4.0, 0.0), 38, 80, limit=500, points=[off, on]
    )[0]
    (gap,) = find_gaps(built).iter_rows(named=True)
    assert gap["coldest_possible"] <= 3.0
    assert gap["warmest_possible"] >= top
    found = find_excursions(built)
    if found.is_empty():
        # Nothing outside was read: then the gap alone tells what may have been.
        assert gap["hours_outside_at_most"] > 0
        return
    assert found["degree_hours"].sum() <= true_area + 0.05
    assert found["degree_hours_at_most"].max() >= true_area  # type: ignore[operator]
    assert found["peak_at_most"].max() >= top  # type: ignore[operator]


@pytest.mark.parametrize("hours", [1.0, 4.0, 15.0, 60.0])
@pytest.mark.parametrize(("before", "after"), [(3.0, 3.0), (2.5, 7.0), (8.0, 3.5), (6.0, 9.5)])
def test_the_range_in_a_gap_equals_its_envelope_on_a_fine_grid(
    hours: float, before: float, after: float
) -> None:
    """The closed forms against the lower of both curves, step by step with numpy."""
    times = clock(96)
    air = np.where(times <= 30, before, after)
    kept = (times <= 30) | (times >= 30 + hours + 0.25)
    built = timeline(log(times[kept], set_point=3.0, supply_air=air[kept], ambient_air=28.0))
    (gap,) = find_gaps(built).iter_rows(named=True)
    at = np.linspace(0, gap["hours"], 400_001)
    hot, cold = 28.0 + SUN, min(before, after) - COLDER_THAN_SEEN
    settled = before + SETTLING
    rising = hot - (hot - settled) * np.exp(-at / FASTEST_WARM_UP)
    falling = cold + (after - cold) * np.exp(np.minimum((gap["hours"] - at) / FASTEST_AIR, 60))
    # No pair of readings asks for a faster change than the defaults.
    assert rising[-1] >= after
    assert falling[0] >= before
    highest = np.maximum(np.minimum(rising, falling), np.maximum(before, after))
    lowest = np.maximum(
        cold + (before - cold) * np.exp(-at / FASTEST_AIR),
        hot - (hot - after) * np.exp(np.minimum((gap["hours"] - at) / FASTEST_AIR, 60)),
    )
    assert gap["warmest_possible"] == pytest.approx(highest.max(), abs=1e-3)
    assert gap["coldest_possible"] == pytest.approx(lowest.min(), abs=1e-3)
    outside = np.mean((np.minimum(rising, falling) > 5.0) | (lowest < 1.0)) * gap["hours"]
    assert gap["hours_outside_at_most"] == pytest.approx(outside, abs=1e-3 * gap["hours"])
