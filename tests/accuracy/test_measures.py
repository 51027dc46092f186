"""The yardsticks themselves: against scikit-learn, and against sums done by hand."""

import numpy as np
import pytest
from benchmarks.accuracy.measures import (
    average_precision,
    calibration_error,
    interval,
    precision_at_k,
    recall_in_first,
    weights_of,
)
from hypothesis import given
from hypothesis import strategies as st
from sklearn.metrics import average_precision_score

ONCE = np.ones((1, 6))
FAULTY = np.array([True, False, True, False, False, False])
SCORE = np.array([6.0, 5.0, 4.0, 3.0, 2.0, 1.0])


@given(
    st.lists(st.tuples(st.booleans(), st.integers(0, 4), st.integers(0, 3)), min_size=2, max_size=40).filter(
        lambda units: any(faulty and weight for faulty, _, weight in units)
    )
)
def test_average_precision_is_scikit_learns_ties_and_weights_included(
    units: list[tuple[bool, int, int]],
) -> None:
    faulty, score, weight = (np.array(column) for column in zip(*units, strict=True))
    expected = average_precision_score(faulty, score, sample_weight=weight)
    found = average_precision(faulty, score.astype(float), weight[None].astype(float))
    assert found[0] == pytest.approx(expected, abs=1e-12)


def test_a_list_with_the_two_faulty_units_first_and_third() -> None:
    # By hand: precision 1/1 at the first, 2/3 at the second, mean 5/6; one of the first two; both in the
    # first half of six.
    assert average_precision(FAULTY, SCORE, ONCE)[0] == pytest.approx(5 / 6)
    assert precision_at_k(FAULTY, SCORE, ONCE)[0] == pytest.approx(0.5)
    assert recall_in_first(FAULTY, SCORE, ONCE, 0.5)[0] == pytest.approx(1.0)
    assert recall_in_first(FAULTY, SCORE, ONCE, 1 / 3)[0] == pytest.approx(0.5)


def test_a_unit_drawn_twice_counts_as_two_alike() -> None:
    twice = np.array([[2.0, 1.0, 0.0, 1.0, 1.0, 1.0]])
    written_out = np.array([True, True, False, False, False, False])
    for measure in (average_precision, precision_at_k):
        assert measure(FAULTY, SCORE, twice)[0] == measure(written_out, SCORE, ONCE)[0]


def test_a_fleet_without_a_fault_has_no_precision() -> None:
    healthy = np.zeros(6, dtype=bool)
    for values in (
        average_precision(healthy, SCORE, ONCE),
        precision_at_k(healthy, SCORE, ONCE),
        recall_in_first(healthy, SCORE, ONCE, 0.1),
    ):
        assert np.isnan(values[0])
        assert all(np.isnan(interval(values)))


def test_chances_that_come_true_as_often_as_said_have_no_calibration_error() -> None:
    bins = np.array([0.0, 0.5, 1.0])
    chance = np.array([0.25] * 4 + [0.75] * 4)
    as_said = np.array([True, False, False, False, True, True, True, False])
    weights = np.ones((1, 8))
    assert calibration_error(chance, as_said, weights, bins)[0] == pytest.approx(0.0)
    # By hand: four at 0.25 that never, four at 0.75 that always come true are off by 0.25.
    assert calibration_error(chance, chance > 0.5, weights, bins)[0] == pytest.approx(0.25)


def test_the_interval_of_a_share_is_the_textbook_one() -> None:
    """Normal approximation of a share of 0.3 among 400: 0.3 ± 1.96 √(0.3·0.7/400)."""
    held = np.arange(400) < 120
    weights = weights_of(np.zeros(400, dtype=bool), np.random.default_rng(1), 4000)
    value, low, high = interval((weights * held).sum(axis=1) / weights.sum(axis=1))
    margin = 1.96 * np.sqrt(0.3 * 0.7 / 400)
    assert value == pytest.approx(0.3)
    assert (low, high) == pytest.approx((0.3 - margin, 0.3 + margin), abs=0.004)


def test_every_sample_has_as_many_faults_as_the_fleet() -> None:
    weights = weights_of(FAULTY, np.random.default_rng(1), 50)
    assert ((weights * FAULTY).sum(axis=1) == 2).all()
    assert (weights.sum(axis=1) == 6).all()
    assert (weights[0] == 1).all()
    assert not (weights == 1).all()
