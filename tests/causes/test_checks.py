"""What to look at next: tables of yes and no, and the order of the checks, on small catalogues."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from tests.causes.small import catalogue, cause, distances, observation

from coldsift.causes import (
    HEALTHY,
    OTHER,
    SEVERAL,
    Catalogue,
    Risk,
    after,
    check_table,
    first_checks,
    judge,
    leaf_chances,
    next_checks,
    yes_table,
)
from coldsift.causes.checks import RISK_FACTOR

STRONG = (-1.0, -1.0, 3.0)
VALVE = cause("valve_shut", 1.0, {"coil_dead": 0.75, "body_stuck": 0.25})
LEAK = cause("leak", 3.0)
CATALOGUE = catalogue(
    [VALVE, LEAK],
    {"valve_shut": {"suction": STRONG}, "leak": {"superheat": STRONG}},
    [
        observation("bubbles", {"leak": 0.92}, otherwise=0.05, minutes=3),
        observation("pulses", {"valve_shut": 0.5, "valve_shut.coil_dead": 0.96}, otherwise=0.9, minutes=6),
        observation("dirt", {HEALTHY: 0.01, OTHER: 0.4}, otherwise=0.2, minutes=1),
    ],
)
TABLE = check_table(CATALOGUE)
LEAVES = [f"{name}.{kind}".rstrip(".") for name, kind in TABLE.leaves]


def yes(observed: str, leaf: str) -> float:
    return float(TABLE.yes[TABLE.observations.index(observed), LEAVES.index(leaf)])


def test_the_table_holds_every_hypothesis_and_every_kind() -> None:
    assert LEAVES == [HEALTHY, OTHER, SEVERAL, "valve_shut.coil_dead", "valve_shut.body_stuck", "leak"]
    assert TABLE.yes.shape == (3, 6)


def test_a_kind_answers_for_itself_else_for_its_cause_else_as_all_do() -> None:
    assert yes("pulses", "valve_shut.coil_dead") == 0.96
    assert yes("pulses", "valve_shut.body_stuck") == 0.5
    assert yes("pulses", "leak") == 0.9
    assert yes("bubbles", "leak") == 0.92
    assert yes("bubbles", "valve_shut.body_stuck") == 0.05


def test_a_good_unit_and_an_unknown_fault_may_have_answers_of_their_own() -> None:
    assert yes("dirt", HEALTHY) == 0.01
    assert yes("dirt", OTHER) == 0.4
    assert yes("bubbles", HEALTHY) == 0.05


def test_an_unknown_fault_answers_as_all_known_ones_together() -> None:
    """Priors 1 and 3: (1 × 0.05 + 3 × 0.92) / 4 = 0.7025. Hand calculation."""
    assert yes("bubbles", OTHER) == pytest.approx(0.7025)


def test_more_than_one_shows_the_answer_that_is_least_ordinary() -> None:
    """Bubbles: ordinary 0.05, valve 0.05, leak 0.92, so 0.92.

    Pulses: ordinary 0.9, leak 0.9, and the valve as its kinds, whose chances are 0.3 and 0.1: 0.75 × 0.96 +
    0.25 × 0.5 = 0.845. Hand calculation.
    """
    chances = np.array([0.1, 0.1, 0.2, 0.3, 0.1, 0.2])
    column = yes_table(TABLE, ("valve_shut", "leak"), chances)[:, LEAVES.index(SEVERAL)]
    assert column == pytest.approx([0.92, 0.845, 0.2])


def test_more_than_one_does_not_depend_on_the_order_of_the_two() -> None:
    chances = np.array([0.1, 0.1, 0.2, 0.3, 0.1, 0.2])
    one, other = (
        yes_table(TABLE, pair, chances) for pair in (("valve_shut", "leak"), ("leak", "valve_shut"))
    )
    assert np.array_equal(one, other)


def test_more_than_one_without_a_pair_answers_as_usual() -> None:
    column = yes_table(TABLE, (), np.full(6, 1 / 6))[:, LEAVES.index(SEVERAL)]
    assert column == pytest.approx([0.05, 0.9, 0.2])


def test_the_pair_of_one_unit_does_not_change_the_table_of_the_others() -> None:
    before = TABLE.yes.copy()
    yes_table(TABLE, ("valve_shut", "leak"), np.full(6, 1 / 6))
    assert np.array_equal(TABLE.yes, before)


def test_a_pair_whose_kinds_have_no_chance_left_still_answers() -> None:
    chances = np.array([0.5, 0.0, 0.5, 0.0, 0.0, 0.0])
    column = yes_table(TABLE, ("valve_shut", "leak"), chances)[:, LEAVES.index(SEVERAL)]
    assert column == pytest.approx([0.92, 0.73, 0.2])


FLEET: dict[str, dict[str, float | None]] = {
    "b good": {"suction": 0.0, "superheat": 0.0},
    "a leaks": {"suction": 0.0, "superheat": 3.0},
    "c both": {"suction": 4.0, "superheat": 4.0},
}


def test_chances_are_laid_out_in_the_order_of_the_table() -> None:
    causes = judge(distances(FLEET), CATALOGUE, {}).causes
    containers, chances, pairs = leaf_chances(causes, TABLE)
    assert containers == ["a leaks", "b good", "c both"]
    assert chances.sum(axis=1) == pytest.approx(1.0)
    assert chances[0].argmax() == LEAVES.index("leak")
    assert chances[1].argmax() == LEAVES.index(HEALTHY)
    assert chances[2].argmax() == LEAVES.index(SEVERAL)
    assert set(pairs[2]) == {"valve_shut", "leak"}
    for row in causes.iter_rows(named=True):
        leaf = LEAVES.index(f"{row['cause']}.{row['kind'] or ''}".rstrip("."))
        assert chances[containers.index(row["container"])][leaf] == pytest.approx(row["chance"])


def test_each_unit_gets_the_check_that_tells_most_for_its_minutes() -> None:
    found = first_checks(judge(distances(FLEET), CATALOGUE, {}).causes, CATALOGUE)
    first = dict(found.select("container", "observation").iter_rows())
    # Whether it leaks is what is open; three minutes at the sight glass tell it.
    assert first["a leaks"] == "bubbles"
    told = found.filter(pl.col("container") == "a leaks").select("question", "minutes")
    assert told.row(0) == ("bubbles?", CATALOGUE.observations["bubbles"].minutes)


def test_a_unit_of_which_all_is_settled_gets_no_check() -> None:
    certain = catalogue(
        [LEAK], {"leak": {"superheat": (-20.0, -20.0, 3.0)}}, list(CATALOGUE.observations.values())[:1], 0.01
    )
    units: dict[str, dict[str, float | None]] = {"good": {"superheat": 0.0}}
    # "None of these" is all that is left to ask for, one unit in 2000.
    assert first_checks(judge(distances(units), certain, {}).causes, certain).is_empty()


def test_a_catalogue_without_observations_has_no_checks() -> None:
    bare = catalogue([LEAK, VALVE], CATALOGUE.likelihoods)
    found = first_checks(judge(distances(FLEET), bare, {}).causes, bare)
    assert found.is_empty()
    assert found.columns == ["container", "observation", "question", "minutes"]


def test_no_units_get_no_checks() -> None:
    found = first_checks(judge(distances({}), CATALOGUE, {}).causes, CATALOGUE)
    assert found.is_empty()


def twins(**kwargs: object) -> Catalogue:
    """Two observations that tell the same; the second as given."""
    return catalogue(
        [LEAK],
        observations=[
            observation("first", {"leak": 0.9}),
            observation("second", {"leak": 0.9}, **kwargs),  # type: ignore[arg-type]
        ],
    )


def order(among: Catalogue, answered: tuple[int, ...] = ()) -> list[str]:
    table = check_table(among)
    chances = np.array([0.4, 0.1, 0.1, 0.4])
    return [check.observation for check in next_checks(table, chances, table.yes, answered)]


def test_of_two_that_tell_the_same_the_shorter_goes_first() -> None:
    assert order(twins(minutes=0.5)) == ["second", "first"]
    assert order(twins(minutes=2)) == ["first", "second"]


@pytest.mark.parametrize("risk", [risk for risk in Risk if risk is not Risk.NONE])
def test_of_two_that_tell_the_same_the_riskier_goes_last(risk: Risk) -> None:
    assert RISK_FACTOR[risk] > 1
    assert order(twins(minutes=0.99, risk=risk)) == ["first", "second"]


def test_every_risk_has_its_weight() -> None:
    assert set(RISK_FACTOR) == set(Risk)


def test_ties_keep_the_order_of_the_catalogue() -> None:
    assert order(twins()) == ["first", "second"]


def test_what_was_seen_is_not_asked_again() -> None:
    assert order(twins(), answered=(0,)) == ["second"]
    assert order(twins(), answered=(0, 1)) == []


def test_an_answer_moves_the_next_check() -> None:
    """Is it the valve or a leak? Once the sight glass is clear, the valve is asked after."""
    chances = np.array([0.02, 0.02, 0.01, 0.25, 0.2, 0.5])
    table = yes_table(TABLE, ("valve_shut", "leak"), chances)
    assert next_checks(TABLE, chances, table)[0].observation == "bubbles"
    glass = TABLE.observations.index("bubbles")
    clear = after(chances, table, {glass: False})
    assert clear[LEAVES.index("leak")] < 0.1
    assert next_checks(TABLE, clear, table, [glass])[0].observation == "pulses"


def test_a_cause_that_is_nearly_certain_is_confirmed_by_its_own_checks_first() -> None:
    """A quick look at something else would tell a little more for its minutes, and settle nothing."""
    leak = replace(LEAK, first_checks=("slow_proof",))
    table = check_table(
        catalogue(
            [leak],
            observations=[
                observation("quick_look", {"leak": 0.4}, minutes=0.1),
                observation("slow_proof", {"leak": 0.95}, minutes=60.0),
            ],
        )
    )
    for chance_of_leak, first in ((0.9, "slow_proof"), (0.5, "quick_look")):
        chances = np.array([1 - chance_of_leak, 0.0, 0.0, chance_of_leak])
        found = [check.observation for check in next_checks(table, chances, table.yes)]
        assert found[0] == first
        assert sorted(found) == ["quick_look", "slow_proof"]
