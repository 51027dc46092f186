"""The chance of each cause and its evidence, on small catalogues worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import polars as pl
import pytest
from tests.causes.small import catalogue, cause, chance, distances

from coldsift.causes import HEALTHY, OTHER, SEVERAL, Catalogue, judge
from coldsift.schema import CAUSES, EVIDENCE

STARVED, FOULED = "coil_starved", "condenser_fouled"
HIGHER = (-0.5, -0.5, 1.0)

# Of 100 units 20 have a fault: one of them, 5 %, none of ours; of the other 19 a quarter are starved.
PRIOR = {HEALTHY: 0.8, STARVED: 0.2 * 0.95 / 4, FOULED: 0.2 * 0.95 * 3 / 4, OTHER: 0.2 * 0.05}
TOGETHER = PRIOR[STARVED] * PRIOR[FOULED]

TWO = catalogue(
    [cause(STARVED, 1.0), cause(FOULED, 3.0)],
    {STARVED: {"superheat": HIGHER}, FOULED: {"condensing": HIGHER}},
)


def judged(steps: dict[str, float | None], among: Catalogue = TWO) -> pl.DataFrame:
    return judge(distances({"unit": steps}), among, {}).causes


def test_a_log_that_says_nothing_leaves_the_chances_as_they_were() -> None:
    found = judged({"superheat": None, "condensing": None})
    whole = 1 + TOGETHER
    for hypothesis, prior in {**PRIOR, SEVERAL: TOGETHER}.items():
        assert chance(found, hypothesis) == pytest.approx(prior / whole, rel=1e-14)


def test_a_feature_that_is_not_known_says_exactly_nothing() -> None:
    unknown = judged({"superheat": 2.0, "condensing": None})
    unlogged = judged({"superheat": 2.0})
    assert unknown.equals(unlogged)


def test_a_feature_that_no_cause_speaks_of_says_exactly_nothing() -> None:
    assert judged({"superheat": 2.0, "humidity": 4.0}).equals(judged({"superheat": 2.0}))


def test_two_features_worked_out_by_hand() -> None:
    """Superheat two steps above the peers, condensing usual.

    Starved: −0.5 + 2 × 1.0 = 1.5, so 0.0475 × e^1.5 = 0.21288. Fouled: −0.5, so 0.1425 × e^−0.5 = 0.08643.
    Both: 0.0475 × 0.1425 × e^(1.5 − 0.5/2) = 0.02363, the second counting half. Nothing wrong: 0.8; none of
    these: 0.01. Sum 1.13294.
    """
    found = judged({"superheat": 2.0, "condensing": 0.0})
    assert chance(found, STARVED) == pytest.approx(0.21288 / 1.13294, rel=1e-4)
    assert chance(found, FOULED) == pytest.approx(0.08643 / 1.13294, rel=1e-4)
    assert chance(found, SEVERAL) == pytest.approx(0.02363 / 1.13294, rel=2e-4)
    assert chance(found, HEALTHY) == pytest.approx(0.8 / 1.13294, rel=1e-5)
    assert chance(found, OTHER) == pytest.approx(0.01 / 1.13294, rel=1e-5)


def test_steps_below_and_above_count_by_their_own_figures() -> None:
    """One step below: −0.5 − 0.5 = −1."""
    found = judged({"superheat": -1.0})
    assert chance(found, STARVED) / chance(found, HEALTHY) == pytest.approx(
        PRIOR[STARVED] * math.exp(-1.0) / 0.8
    )


def test_distance_counts_on_a_scale_that_flattens_far_out() -> None:
    """A unit 40 spreads away is no more starved than one 100 away: both are five steps."""
    far = pl.DataFrame(
        {"container": ["a", "b"], "feature": "superheat", "distance": [60.0, 600.0], "words": "far"}
    )
    found = judge(far, TWO, {}).causes
    assert chance(found, STARVED, "a") == chance(found, STARVED, "b")


def test_chances_of_a_unit_add_up_to_one() -> None:
    generator = np.random.default_rng(3)
    units: dict[str, dict[str, float | None]] = {
        f"unit {number}": {
            feature: None if generator.random() < 0.3 else float(generator.uniform(-5, 5))
            for feature in ("superheat", "condensing")
        }
        for number in range(50)
    }
    found = judge(distances(units), TWO, {}).causes
    sums = found.group_by("container").agg(pl.col("chance").sum())
    assert sums.height == 50
    assert sums["chance"].to_numpy() == pytest.approx(1.0, abs=1e-12)
    assert found["chance"].is_between(0, 1).all()


def test_the_likeliest_hypothesis_has_the_first_place() -> None:
    found = judged({"superheat": 4.0, "condensing": 0.0})
    assert found["cause"][0] == STARVED
    assert found["place"].to_list() == list(range(1, 6))
    assert found["cause_chance"].is_sorted(descending=True)


def test_the_order_of_units_and_features_does_not_matter() -> None:
    units: dict[str, dict[str, float | None]] = {
        "a": {"superheat": 2.0, "condensing": 0.0},
        "b": {"superheat": 0.0, "condensing": 3.0},
        "c": {"superheat": None, "condensing": -1.0},
    }
    table = distances(units)
    one, other = judge(table, TWO, {}), judge(table.reverse(), TWO, {})
    assert one.causes.equals(other.causes)
    assert one.evidence.equals(other.evidence)


# More than one, and none of these.
STRONG = (-1.0, -1.0, 3.0)
UNRELATED = catalogue(
    [cause("heater_failed"), cause("coil_starved"), cause("condenser_fouled")],
    {
        "heater_failed": {"power_in_defrost": STRONG},
        "coil_starved": {"superheat": STRONG},
        "condenser_fouled": {"condensing": STRONG},
        OTHER: {"humidity": (-0.2, 1.5, 1.5)},
    },
)


def test_two_strong_signs_that_have_nothing_in_common_mean_more_than_one_cause() -> None:
    """Each sign says 11, the second counts half. The pair is 0.2 × 0.95 / 3 × e^5.5 = 15.5 times as likely as
    either cause alone, so 15.5 / 17.5. Hand calculation."""
    found = judged({"superheat": 4.0, "condensing": 4.0, "power_in_defrost": 0.0}, UNRELATED)
    first = found.row(0, named=True)
    assert first["cause"] == SEVERAL
    assert first["chance"] == pytest.approx(15.5 / 17.5, abs=0.003)
    assert set(first["together"].split(", ")) == {STARVED, FOULED}


def test_one_strong_sign_means_one_cause() -> None:
    """With either of the two others beside it 0.2 × 0.95 / 3 × e^−0.5 = 0.0384 times as likely, by hand."""
    found = judged({"superheat": 4.0, "condensing": 0.0, "power_in_defrost": 0.0}, UNRELATED)
    assert found["cause"][0] == STARVED
    assert chance(found, SEVERAL) / chance(found, STARVED) == pytest.approx(2 * 0.0384, abs=2e-4)


def test_what_speaks_for_two_causes_speaks_once_for_both_together() -> None:
    """The pair gains nothing by a sign that the first explains: it stays as rare as the second cause is."""
    both = catalogue(
        [cause(STARVED, 1.0), cause(FOULED, 3.0)],
        {STARVED: {"power": (0.0, 0.0, 1.0)}, FOULED: {"power": (0.0, 0.0, 1.0)}},
    )
    found = judged({"power": 3.0}, both)
    assert chance(found, SEVERAL) / chance(found, FOULED) == pytest.approx(PRIOR[STARVED])


def test_a_strong_sign_that_fits_no_cause_means_none_of_these() -> None:
    signs: dict[str, float | None] = {"superheat": 0.0, "condensing": 0.0, "power_in_defrost": 0.0}
    usual = judged(signs | {"humidity": 0.0}, UNRELATED)
    odd = judged(signs | {"humidity": 4.0}, UNRELATED)
    assert odd["cause"].to_list()[0] == OTHER
    assert chance(usual, OTHER) < 0.02


def test_a_catalogue_of_one_cause_has_no_pair() -> None:
    alone = catalogue([cause(STARVED)], {STARVED: {"superheat": HIGHER}})
    found = judged({"superheat": 3.0}, alone)
    assert chance(found, SEVERAL) == 0.0
    assert not found.filter(pl.col("cause") == SEVERAL)["together"].item()


# Kinds.
def test_kinds_that_leave_no_trace_of_their_own_share_by_their_shares() -> None:
    plain = catalogue(
        [cause(STARVED, kinds={"leak": 0.8, "undercharged": 0.2})], {STARVED: {"superheat": HIGHER}}
    )
    found = judged({"superheat": 2.0}, plain).filter(pl.col("cause") == STARVED)
    assert found["kind"].to_list() == ["leak", "undercharged"]
    assert (found["chance"] / found["cause_chance"]).to_list() == pytest.approx([0.8, 0.2])
    assert found["place"].n_unique() == 1


STUCK = cause("valve_stuck", kinds={"open": 0.5, "shut": 0.5})


def test_kinds_with_a_trace_of_their_own_are_told_apart() -> None:
    """Superheat one step below: open e^0, shut e^−1, so open : shut = e : 1. Hand calculation."""
    own = catalogue(
        [STUCK],
        {
            "valve_stuck.open": {"superheat": (0.0, 0.0, -1.0)},
            "valve_stuck.shut": {"superheat": (0.0, -1.0, 0.0)},
        },
    )
    found = judged({"superheat": -1.0}, own).filter(pl.col("cause") == "valve_stuck")
    by_kind = dict(found.select("kind", "chance").iter_rows())
    assert by_kind["open"] / by_kind["shut"] == pytest.approx(math.e)
    # Together they are as likely as a cause whose evidence is the mean of its kinds'.
    prior = 0.2 * 0.95
    healthy = chance(judged({"superheat": -1.0}, own), HEALTHY)
    assert sum(by_kind.values()) / healthy == pytest.approx(prior * (0.5 + 0.5 / math.e) / 0.8)


def test_a_kind_without_figures_of_its_own_goes_by_those_of_its_cause() -> None:
    """Only one kind leaves a trace of its own; the other must not vanish."""
    partly = catalogue(
        [STUCK],
        {"valve_stuck": {"superheat": (0.0, 1.0, 0.0)}, "valve_stuck.open": {"superheat": (0.0, 2.0, 0.0)}},
    )
    found = judged({"superheat": -1.0}, partly).filter(pl.col("cause") == "valve_stuck")
    by_kind = dict(found.select("kind", "chance").iter_rows())
    assert by_kind["open"] / by_kind["shut"] == pytest.approx(math.e)


# Evidence.
def told(steps: dict[str, float | None], name: str, among: Catalogue = TWO) -> dict[str, dict[str, object]]:
    """Evidence of one cause by feature."""
    evidence = judge(distances({"unit": steps}), among, {}).evidence
    rows = evidence.filter(pl.col("cause") == name)
    return {str(row["feature"]): row for row in rows.iter_rows(named=True)}


def test_a_high_superheat_speaks_for_a_starved_coil_in_the_words_of_the_peers() -> None:
    found = told({"superheat": 3.0, "condensing": 0.0}, STARVED)["superheat"]
    assert found["side"] == "for"
    assert found["words"] == "superheat of unit in words"
    assert float(str(found["odds"])) > 1


def test_a_usual_reading_speaks_against_the_cause_that_would_have_moved_it() -> None:
    found = told({"superheat": 3.0, "condensing": 0.0}, FOULED)["condensing"]
    assert found["side"] == "against"
    assert float(str(found["odds"])) < 1


def test_what_was_not_logged_is_no_evidence() -> None:
    assert "condensing" not in told({"superheat": 3.0, "condensing": None}, STARVED)


THREE = catalogue(
    [cause("worn"), cause("starved"), cause("fouled")],
    {
        "worn": {"suction": (-0.4, -1.0, 1.2), "capacity": (-0.8, 1.5, -1.0)},
        "starved": {"suction": (-0.5, 1.6, -1.0), "capacity": (-0.2, 0.7, -0.5)},
        "fouled": {"suction": (0.1, -0.3, 0.2), "capacity": (0.0, 0.3, -0.3)},
    },
)


@pytest.mark.parametrize("suction", [-2.5, 0.0, 2.0])
@pytest.mark.parametrize("capacity", [-3.0, -1.0, 0.5])
def test_evidence_tells_by_what_factor_the_reading_moved_the_odds(suction: float, capacity: float) -> None:
    """Odds of a cause with the reading over its odds had it not been logged; both at once left aside."""

    def odds(steps: dict[str, float | None], name: str) -> float:
        found = judged(steps, THREE)
        own = chance(found, name)
        return own / (1 - own - chance(found, SEVERAL))

    seen: dict[str, float | None] = {"suction": suction, "capacity": capacity}
    for name in THREE.causes:
        evidence = told(seen, name, THREE)
        for feature in seen:
            factor = odds(seen, name) / odds(seen | {feature: None}, name)
            if abs(math.log(factor)) < 0.3:
                assert feature not in evidence
            else:
                assert evidence[feature]["odds"] == pytest.approx(factor, rel=1e-9)
                assert evidence[feature]["side"] == ("for" if factor > 1 else "against")


def test_the_views_of_one_feature_are_one_piece_of_evidence() -> None:
    views = catalogue(
        [cause(STARVED), cause(FOULED)],
        {STARVED: {"superheat_now": (0.0, 0.0, 0.5), "superheat_shift": (0.0, 0.0, 1.0)}},
    )
    table = distances({"unit": {"superheat_now": 2.0, "superheat_shift": 2.0}})
    bases = {"superheat_now": "superheat", "superheat_shift": "superheat"}
    evidence = judge(table, views, bases).evidence.filter(pl.col("cause") == STARVED)
    # The strongest view tells it.
    assert evidence["feature"].to_list() == ["superheat_shift"]
    assert evidence["odds"].item() > math.exp(2.0)


# Little or nothing to judge.
def test_no_units_give_no_chances() -> None:
    judgement = judge(distances({}), TWO, {})
    assert judgement.causes.equals(CAUSES.empty())
    assert judgement.evidence.equals(EVIDENCE.empty())


def test_a_unit_of_which_nothing_is_known_has_its_chances_and_no_evidence() -> None:
    judgement = judge(distances({"unit": {"superheat": None, "condensing": None}}), TWO, {})
    assert judgement.causes["container"].to_list() == ["unit"] * 5
    assert judgement.evidence.equals(EVIDENCE.empty())


def test_a_unit_of_which_only_other_features_are_known_is_not_lost() -> None:
    found = judge(distances({"a": {"humidity": 3.0}, "b": {"superheat": 3.0}}), TWO, {}).causes
    assert found["container"].unique().sort().to_list() == ["a", "b"]
    assert chance(found, HEALTHY, "a") == pytest.approx(0.8 / (1 + TOGETHER))


def test_causes_without_any_likelihood_keep_their_chances() -> None:
    """A catalogue whose causes are found by hand alone."""
    by_hand = catalogue([cause(STARVED, 1.0), cause(FOULED, 3.0)])
    found = judged({"superheat": 3.0}, by_hand)
    assert chance(found, STARVED) == pytest.approx(PRIOR[STARVED] / (1 + TOGETHER))


@pytest.mark.parametrize("wild", [math.inf, -math.inf, 1e300, math.nan])
def test_wild_distances_leave_chances_that_are_chances(wild: float) -> None:
    rows = {"container": ["unit"], "feature": ["superheat"], "distance": [wild], "words": ["wild"]}
    found = judge(pl.DataFrame(rows), TWO, {}).causes
    assert found["chance"].is_finite().all()
    assert found["chance"].sum() == pytest.approx(1.0)


def test_hostile_names_pass_through_unchanged() -> None:
    name = "<script>alert(1)</script>=, |"
    found = judge(distances({name: {"superheat": 3.0}}), TWO, {})
    assert set(found.causes["container"]) == {name}
    assert set(found.evidence["container"]) == {name}


def test_certainty_does_not_break_the_evidence() -> None:
    sure = catalogue(
        [cause(STARVED), cause(FOULED)],
        {STARVED: {"superheat": (-50.0, -50.0, 90.0)}, FOULED: {"superheat": (-50.0, -50.0, -50.0)}},
    )
    evidence = judge(distances({"unit": {"superheat": 5.0}}), sure, {}).evidence
    assert evidence["odds"].is_not_nan().all()
    assert evidence.filter(pl.col("cause") == STARVED)["side"].to_list() == ["for"]
