"""Thresholds chosen by stated costs, against hand calculation, every pair of candidates, and theory."""

from __future__ import annotations

from itertools import combinations_with_replacement, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from coldsift.ranking.thresholds import Costs, Thresholds
from coldsift.ranking.tuning import choose, cost_of_groups, cost_per_hundred, crossings

# A look 10, watching 2; a fault found on this round 0, watched 20, left alone 100.
COSTS = Costs(10, 2, 0, 20, 100)

Array = NDArray[np.float64]


def cost(chosen: Thresholds, chances: Array, weight: Array, faulty: Array, costs: Costs = COSTS) -> float:
    return cost_per_hundred(chosen.this_round, chosen.watch, chances, weight, faulty, costs)


def test_five_units_by_hand() -> None:
    """A good unit costs 10, 2 or 0 as it is looked at, watched or left alone; a faulty one 10, 22 or 100.

    Good at 0.1, 0.2 and 0.4, faulty at 0.3 and 0.8. Looks from 0.3 on: 10 + 10 + 10 = 30. Looks at 0.8 only
    and the middle ones watched: 22 + 2 + 10 = 34. Looks from 0.4 on, 0.3 watched: 22 + 10 + 10 = 42. Hand
    calculation: 30 minutes for 5 units.
    """
    chances, faulty = np.array([0.1, 0.2, 0.3, 0.4, 0.8]), np.array([0.0, 0, 1, 0, 1])
    chosen = choose(chances, np.ones(5), faulty, COSTS)
    assert chosen.this_round == 0.25
    assert 0.2 < chosen.watch <= 0.25
    assert cost(chosen, chances, np.ones(5), faulty) == pytest.approx(600)


def test_a_fault_costs_in_proportion_to_its_severity() -> None:
    """Watched, a fault of severity 0.3 costs 2 + 0.3 · 20 = 8, a look 10: it is watched. Hand calculation."""
    looked, watched = np.array([True, False, False]), np.array([True, True, False])
    severity = np.array([0.3, 0.3, 0.3])
    assert cost_of_groups(looked, watched, severity, COSTS) == pytest.approx([10, 8, 30])
    chosen = choose(np.array([0.1, 0.5]), np.ones(2), np.array([0, 0.3]), COSTS)
    assert chosen.watch <= 0.5 < chosen.this_round


units = st.lists(
    st.tuples(
        st.sampled_from([0.0, 0.05, 0.1, 0.2, 0.21, 0.5, 0.8, 0.999, 1.0]),
        st.sampled_from([1.0, 2.5]),
        st.sampled_from([0.0, 0.0, 0.3, 1.0]),
    ),
    min_size=1,
    max_size=12,
)
minutes = st.integers(0, 60)


@settings(deadline=None, max_examples=200, derandomize=True)
@given(units, st.lists(minutes, min_size=2, max_size=2), st.lists(minutes, min_size=3, max_size=3))
def test_no_pair_of_thresholds_costs_less(
    fleet: list[tuple[float, float, float]], efforts: list[int], losses: list[int]
) -> None:
    chances, weight, faulty = (np.array(column) for column in zip(*fleet, strict=True))
    costs = Costs(*sorted(efforts, reverse=True), *sorted(losses))
    candidates = [*np.unique(chances), 1.0]
    least = min(
        cost_per_hundred(this_round, watch, chances, weight, faulty, costs)
        for watch, this_round in combinations_with_replacement(candidates, 2)
    )
    chosen = choose(chances, weight, faulty, costs)
    assert cost(chosen, chances, weight, faulty, costs) == pytest.approx(least, abs=1e-6)


def test_calibrated_chances_give_the_thresholds_of_theory() -> None:
    """Effort saved over loss saved: (10 − 2) / (20 − 0) = 0.4 and 2 / (100 − 20) = 0.025."""
    draw = np.random.default_rng(5)
    chances = draw.beta(0.5, 2.0, 400_000)
    faulty = (draw.random(len(chances)) < chances).astype(float)
    weight = np.ones(len(chances))
    chosen = choose(chances, weight, faulty, COSTS)
    assert crossings(COSTS) == pytest.approx((0.4, 0.025))
    assert chosen.this_round == pytest.approx(0.4, abs=0.02)
    assert chosen.watch == pytest.approx(0.025, abs=0.003)
    at_theory = cost_per_hundred(0.4, 0.025, chances, weight, faulty, COSTS)
    assert cost(chosen, chances, weight, faulty) == pytest.approx(at_theory, rel=1e-3)


def test_theory_counts_mild_faults_by_their_severity() -> None:
    assert crossings(COSTS, severity=0.5) == pytest.approx((0.8, 0.05))


def test_where_watching_is_never_the_cheapest_a_look_and_leaving_alone_cross() -> None:
    """Watching costs nearly as much as a look and saves little: (20 − 0) / (100 − 0) = 0.2."""
    dear = Costs(20, 18, 0, 90, 100)
    assert crossings(dear) == pytest.approx((0.2, 0.2))


def test_between_good_and_faulty_units_the_threshold_is_in_the_middle() -> None:
    chances, faulty = np.array([0.08, 0.1, 0.9, 0.95]), np.array([0.0, 0, 1, 1])
    chosen = choose(chances, np.ones(4), faulty, COSTS)
    assert chosen.this_round == pytest.approx(0.5)
    # Whatever lies between 0.1 and the threshold of a look may be watched or not: nothing lies there.
    assert chosen.watch == pytest.approx(0.3)


def test_a_threshold_is_written_with_few_decimals_and_stays_between_its_units() -> None:
    chances, faulty = np.array([0.31141, 0.31142]), np.array([0.0, 1.0])
    chosen = choose(chances, np.ones(2), faulty, COSTS)
    assert 0.31141 < chosen.this_round <= 0.31142


@pytest.mark.parametrize("faulty", [0.0, 1.0])
def test_a_history_of_one_kind_looks_at_none_or_at_all(faulty: float) -> None:
    chances = np.array([0.2, 0.4])
    chosen = choose(chances, np.ones(2), np.full(2, faulty), COSTS)
    assert (chances >= chosen.this_round).tolist() == [bool(faulty)] * 2
    assert (chances >= chosen.watch).tolist() == [bool(faulty)] * 2


def test_the_order_of_the_units_and_how_they_are_counted_do_not_matter() -> None:
    draw = np.random.default_rng(2)
    chances, faulty = draw.random(300).round(2), (draw.random(300) < 0.3).astype(float)
    chosen = choose(chances, np.full(300, 2.0), faulty, COSTS)
    mixed = draw.permutation(300)
    assert choose(chances[mixed], np.full(300, 2.0), faulty[mixed], COSTS) == chosen
    assert choose(np.tile(chances, 2), np.ones(600), np.tile(faulty, 2), COSTS) == chosen


def test_the_dearer_a_look_the_fewer_units_are_looked_at() -> None:
    draw = np.random.default_rng(3)
    chances = draw.beta(0.5, 2.0, 3000)
    faulty = (draw.random(3000) < chances).astype(float)
    asked = [
        choose(chances, np.ones(3000), faulty, Costs(look, 2, 0, 20, 100)).this_round
        for look in (4, 8, 12, 16, 20)
    ]
    assert all(dear > cheap for cheap, dear in pairwise(asked))


def test_no_units_no_choice() -> None:
    with pytest.raises(ValueError, match="no unit"):
        choose(np.empty(0), np.empty(0), np.empty(0), COSTS)
