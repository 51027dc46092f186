"""Which readings of a line are drawn."""

from __future__ import annotations

import numpy as np
import pytest

from coldsift.regimes.timeline import GAP_FACTOR
from coldsift.report.thinning import broken_after, pieces, stretches, thinned


@pytest.mark.parametrize("points", [8, 9, 100, 601])
def test_thinning_keeps_both_extremes_ends_and_order(points: int) -> None:
    random = np.random.default_rng(points)
    values = random.normal(size=5000)
    chosen = thinned(np.arange(5000) * 900, values, points)
    assert {values.argmin(), values.argmax(), 0, 4999} <= set(chosen.tolist())
    assert (np.diff(chosen) > 0).all()
    assert len(chosen) <= points + 2


def test_few_readings_are_all_drawn() -> None:
    assert thinned(np.arange(50) * 900, np.zeros(50), 60).tolist() == list(range(50))


def test_stretches_cover_every_reading_once() -> None:
    seconds = np.array([0, 900, 1800, 9000, 9900, 50_000])
    gap_after = np.array([False, True, False, False, False, True])
    assert stretches(seconds, gap_after) == [(0, 2), (2, 3), (3, 5), (5, 6)]
    assert stretches(seconds[:0], gap_after[:0]) == []


def test_a_line_breaks_where_a_reading_is_later_than_the_gap_factor_of_its_own_steps() -> None:
    just, over = int(900 * GAP_FACTOR), int(900 * GAP_FACTOR) + 1
    for step, parts in ((just, 1), (over, 2)):
        seconds = np.cumsum([0, 900, 900, step, 900, 900])
        assert len(stretches(seconds, np.zeros(6, dtype=bool))) == parts


def test_a_gap_anywhere_between_two_readings_of_a_line_breaks_it() -> None:
    gap = np.array([False, False, True, False, False, False])
    assert broken_after(np.array([0, 4, 5]), gap).tolist() == [True, False, True]
    assert broken_after(np.array([3, 4, 5]), gap).tolist() == [False, False, True]


def test_every_stretch_of_a_thinned_line_keeps_its_own_extremes() -> None:
    random = np.random.default_rng(3)
    seconds = np.concatenate([np.arange(4000), np.arange(4000) + 1_000_000]) * 900
    values = random.normal(size=8000)
    first, second = pieces(seconds, values, np.zeros(8000, dtype=bool), 200, stepped=False)
    assert len(first) <= 102
    assert len(second) <= 102
    assert {values[:4000].argmin(), values[:4000].argmax()} <= set(first.tolist())
    assert {4000 + values[4000:].argmin(), 4000 + values[4000:].argmax()} <= set(second.tolist())


def test_a_stepped_line_keeps_its_corners_and_ends() -> None:
    values = np.repeat([2.0, 5.0, 2.0], [300, 1, 500])
    (chosen,) = pieces(np.arange(801) * 900, values, np.zeros(801, dtype=bool), 600, stepped=True)
    assert chosen.tolist() == [0, 300, 301, 800]


def test_a_reading_far_off_in_time_does_not_starve_the_rest_of_the_line() -> None:
    seconds = np.append(np.arange(2000) * 900, 1_200_000_000)
    values = np.random.default_rng(1).normal(size=2001)
    parts = pieces(seconds, values, np.zeros(2001, dtype=bool), 600, stepped=False)
    assert len(parts[0]) > 540
    assert parts[1].tolist() == [2000]
