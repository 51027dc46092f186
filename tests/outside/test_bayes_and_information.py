"""Bayes' rule and expected information against hand calculation, printed examples and scipy.

Sources. Printed examples were read in excerpts of public texts. Two exercises on diagnostic tests: prior
0.001, sensitivity 0.99, false positives 0.05, result 0.019; and prior 0.10, sensitivity 0.95, false positives
0.03, result 0.7787. Example 8.11 of an open textbook of artificial intelligence, section "Expected Values": a
wheel of eight equally likely numbers, a sensor that tells whether the number is above 6, information gain
3 − 2.19 = 0.81 bit. The definition of mutual information is from memory; its sums are scipy's entropy.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import entropy
from tests.causes.small import catalogue, cause, observation

from coldsift.causes import Risk, after, check_table, information, next_checks
from coldsift.causes.checks import OVERHEAD_MINUTES

Array = NDArray[np.float64]


def two(prior: float, sensitivity: float, false_positive: float) -> tuple[Array, Array]:
    """Fault or none, and one observation."""
    return np.array([prior, 1 - prior]), np.array([[sensitivity, false_positive]])


def test_bubbles_in_the_sight_glass_worked_out_by_hand() -> None:
    """One unit in ten lacks refrigerant; 92 of 100 such show bubbles, 5 of 100 others do.

    Yes: 0.1 × 0.92 = 0.092 against 0.9 × 0.05 = 0.045, so 0.092 / 0.137 = 0.6715.
    No: 0.1 × 0.08 = 0.008 against 0.9 × 0.95 = 0.855, so 0.008 / 0.863 = 0.00927.
    """
    chances, yes = two(0.1, 0.92, 0.05)
    assert after(chances, yes, {0: True}) == pytest.approx([0.092 / 0.137, 0.045 / 0.137])
    assert after(chances, yes, {0: True})[0] == pytest.approx(0.6715, abs=5e-5)
    assert after(chances, yes, {0: False})[0] == pytest.approx(0.00927, abs=5e-6)


@pytest.mark.parametrize(
    ("prior", "sensitivity", "false_positive", "printed", "digit"),
    [(0.001, 0.99, 0.05, 0.019, 5e-4), (0.10, 0.95, 0.03, 0.7787, 5e-5)],
)
def test_printed_examples_of_a_test_for_a_rare_fault(
    prior: float, sensitivity: float, false_positive: float, printed: float, digit: float
) -> None:
    chances, yes = two(prior, sensitivity, false_positive)
    assert after(chances, yes, {0: True})[0] == pytest.approx(printed, abs=digit)


def test_several_answers_multiply() -> None:
    """Odds 1 : 9, times 0.92 / 0.05 = 18.4, times 0.3 / 0.6 = 0.5: 9.2 : 9, so 0.50549. Hand calculation."""
    yes = np.array([[0.92, 0.05], [0.7, 0.4]])
    found = after(np.array([0.1, 0.9]), yes, {0: True, 1: False})
    assert found[0] == pytest.approx(9.2 / 18.2)


@st.composite
def situations(draw: st.DrawFn) -> tuple[Array, Array]:
    """Chances of two to eight hypotheses, and one to five observations."""
    leaves, asked = draw(st.integers(2, 8)), draw(st.integers(1, 5))
    weight = st.floats(0.001, 1.0)
    chances = np.array(draw(st.lists(weight, min_size=leaves, max_size=leaves)))
    rows = st.lists(st.floats(0.01, 0.99), min_size=leaves, max_size=leaves)
    yes = np.array(draw(st.lists(rows, min_size=asked, max_size=asked)))
    return chances / chances.sum(), yes


@settings(deadline=None, max_examples=60, derandomize=True)
@given(situations(), st.lists(st.booleans(), min_size=5, max_size=5))
def test_the_order_of_answers_does_not_matter(situation: tuple[Array, Array], seen: list[bool]) -> None:
    chances, yes = situation
    answers = dict(zip(range(len(yes)), seen, strict=False))
    at_once = after(chances, yes, answers)
    assert at_once.sum() == pytest.approx(1.0)
    for order in list(permutations(answers))[:6]:
        assert np.array_equal(after(chances, yes, {place: answers[place] for place in order}), at_once)
        one_by_one = chances
        for place in order:
            one_by_one = after(one_by_one, yes, {place: answers[place]})
        assert one_by_one == pytest.approx(at_once, rel=1e-9)


@settings(deadline=None, max_examples=60, derandomize=True)
@given(situations(), st.booleans())
def test_an_answer_taken_back_leaves_no_trace(situation: tuple[Array, Array], seen: bool) -> None:
    chances, yes = situation
    assert after(chances, yes, {}) == pytest.approx(chances)
    then = after(chances, yes, {0: seen})
    # Dividing the answer out again by hand gives back what was.
    undone = then / (yes[0] if seen else 1 - yes[0])
    assert undone / undone.sum() == pytest.approx(chances, rel=1e-9)


def mutual_information(chances: Array, yes: Array) -> float:
    """Of hypothesis and answer: H(hypothesis) + H(answer) − H(both), from the whole table. [bit]"""
    both = np.stack([chances * yes, chances * (1 - yes)])
    parts = entropy(both.sum(axis=0), base=2) + entropy(both.sum(axis=1), base=2)
    return float(parts - entropy(both.ravel(), base=2))


@settings(deadline=None, max_examples=100, derandomize=True)
@given(situations())
def test_expected_information_is_scipys_mutual_information(situation: tuple[Array, Array]) -> None:
    chances, yes = situation
    bits = information(chances, yes)
    assert bits == pytest.approx([mutual_information(chances, row) for row in yes], abs=1e-12)
    assert (bits >= 0).all()
    # A yes or a no tells one bit at most.
    assert (bits <= 1 + 1e-12).all()


@settings(deadline=None, max_examples=60, derandomize=True)
@given(situations())
def test_expected_information_is_the_entropy_that_the_answer_takes_away(
    situation: tuple[Array, Array],
) -> None:
    """Entropy of the hypotheses now, less that after a yes and after a no, each as likely as it is."""
    chances, yes = situation
    for place, bits in enumerate(information(chances, yes)):
        likely = float(yes[place] @ chances)
        left = likely * entropy(after(chances, yes, {place: True}), base=2)
        left += (1 - likely) * entropy(after(chances, yes, {place: False}), base=2)
        assert bits == pytest.approx(entropy(chances, base=2) - left, abs=1e-12)


def test_a_question_with_the_same_answer_under_all_hypotheses_tells_nothing() -> None:
    assert information(np.array([0.2, 0.3, 0.5]), np.full((1, 3), 0.37)) == pytest.approx([0.0], abs=1e-15)


def test_a_question_about_what_is_settled_tells_nothing() -> None:
    assert information(np.array([1.0, 0.0]), np.array([[0.99, 0.01]])) == pytest.approx([0.0], abs=1e-15)


def test_the_printed_example_of_a_wheel_and_a_sensor() -> None:
    """The sensor never errs; eyes and meters do, so we come as near to it as a number can."""
    sensor = np.where(np.arange(1, 9) > 6, 1 - 1e-9, 1e-9)
    bits = information(np.full(8, 1 / 8), sensor[None])
    assert bits[0] == pytest.approx(0.81, abs=0.005)


def test_checks_are_ordered_by_information_for_a_weighted_minute() -> None:
    """Information by scipy, minutes by hand: at a pressure a minute counts twice."""
    asked = [
        ("glass", {"leak": 0.92}, 3.0, Risk.NONE, 3.0),
        ("gauge", {"leak": 0.99, "worn": 0.02}, 10.0, Risk.PRESSURE, 20.0),
        ("touch", {"leak": 0.3}, 0.5, Risk.NONE, 0.5),
        ("ladder", {"worn": 0.9}, 4.0, Risk.HEIGHT, 6.4),
    ]
    small = catalogue(
        [cause("leak", 2.0), cause("worn", 1.0)],
        observations=[
            observation(name, chance, 0.1, minutes, risk) for name, chance, minutes, risk, _ in asked
        ],
    )
    table = check_table(small)
    chances = np.array([0.3, 0.1, 0.1, 0.35, 0.15])
    worth = {
        name: mutual_information(chances, row) / (OVERHEAD_MINUTES + weighted)
        for (name, *_, weighted), row in zip(asked, table.yes, strict=True)
    }
    found = next_checks(table, chances, table.yes)
    assert [check.observation for check in found] == sorted(worth, key=lambda name: -worth[name])
    assert [check.bits_per_minute for check in found] == pytest.approx(sorted(worth.values(), reverse=True))
