from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log, timeline
from tests.causes.small import catalogue, cause, observation

from coldsift.causes import HEALTHY, OTHER, SEVERAL, first_checks, judge, load_catalogue
from coldsift.excursions import find_excursions
from coldsift.features import FEATURES, unit_features, with_saturation
from coldsift.peers import Comparison, compare
from coldsift.ranking import Ranking, Thresholds, hours_to_limit, rank
from coldsift.ranking.rank import MOST_REASONS
from coldsift.regimes import find_defrosts, unit_traits
from coldsift.schema import BOOKINGS, CAUSES, PLAN, REASONS, SET_POINTS
from coldsift.set_points import compare_set_points, orders_to_confirm, set_point_answers

# Our own two causes: one that warms the air, one that the log does not show.
CATALOGUE = catalogue(
    [cause("capacity_lost"), cause("drain_blocked")],
    {
        "capacity_lost": {"control_error_now": (-1.0, -1.0, 1.6)},
        OTHER: {"control_error_now": (-0.5, 0.2, 0.2)},
    },
    [
        observation("glass_full", {"capacity_lost": 0.1}, otherwise=0.9, minutes=3),
        observation("drain_runs", {"drain_blocked": 0.1}, otherwise=0.9, minutes=5),
    ],
    fault_share=0.05,
)

HOURS = clock(96, 60)

THRESHOLDS = Thresholds(this_round=0.25, watch=0.1)


def healthy(number: int, **channels: Any) -> pl.DataFrame:
    noise = np.random.default_rng(number).normal(0, 0.2, len(HOURS))
    values: dict[str, Any] = {
        "set_point": -18.0,
        "return_air": -17.8 + noise,
        "supply_air": -19.8 + noise,
        "ambient_air": 25.0,
    }
    return log(HOURS, f"QXAU{number:07}", **(values | channels))


def compared(built: pl.DataFrame) -> Comparison:
    features = unit_features(with_saturation(built), find_defrosts(built))
    return compare(features, unit_traits(built), FEATURES)


def ranked(*logs: pl.DataFrame) -> Ranking:
    built = timeline(*logs)
    comparison = compared(built)
    causes = judge(comparison.distances, CATALOGUE, {}).causes
    checks = first_checks(causes, CATALOGUE)
    return rank(
        comparison,
        unit_traits(built),
        hours_to_limit(built),
        find_excursions(built),
        causes,
        checks,
        THRESHOLDS,
    )


def ranked_by(
    chances: dict[int, dict[str, float]],
    *logs: pl.DataFrame,
    thresholds: Thresholds = THRESHOLDS,
    set_points: pl.DataFrame | None = None,
) -> Ranking:
    """Ranked by chances that are given; what a unit is not given is its chance of being healthy."""
    built = timeline(*logs)
    comparison = compared(built)
    rows = []
    for container in sorted(built["container"].unique()):
        faults = chances.get(int(container[4:]), {})
        own = sorted({HEALTHY: 1 - sum(faults.values()), **faults}.items(), key=lambda each: -each[1])
        rows += [
            {"container": container, "place": place, "cause": name, "chance": chance, "cause_chance": chance}
            for place, (name, chance) in enumerate(own, start=1)
        ]
    causes = CAUSES.conform(pl.DataFrame(rows))
    checks = pl.DataFrame({"container": sorted(built["container"].unique())}).with_columns(
        observation=pl.lit("glass_full"), question=pl.lit("Glass full?")
    )
    return rank(
        comparison,
        unit_traits(built),
        hours_to_limit(built),
        find_excursions(built),
        causes,
        checks,
        thresholds,
        set_points,
    )


FLEET = [healthy(number) for number in range(14)]


def row(result: Ranking, number: int) -> dict[str, object]:
    return result.findings.row(by_predicate=pl.col("container") == f"QXAU{number:07}", named=True)


def test_a_unit_warming_out_of_its_band_is_first_and_to_be_seen_now() -> None:
    air = np.where(HOURS > 60, -17.8 + (HOURS - 60) * 0.25, -17.8)
    found = row(ranked(*FLEET, healthy(20, return_air=air, supply_air=air - 0.2)), 20)
    assert found["rank"] == 1
    assert found["group"] == "go_now"
    assert found["hours_to_limit"] == 0
    assert "outside its band" in str(found["why"])


def test_healthy_units_have_nothing_found() -> None:
    groups = set(ranked(*FLEET).findings["group"].cast(str))
    assert groups == {"nothing_found"}


def test_a_log_without_set_point_cannot_be_judged_and_says_so() -> None:
    found = row(ranked(*FLEET, healthy(20, set_point=[None] * len(HOURS))), 20)
    assert found["group"] == "cannot_tell"
    assert found["cannot_tell"] == "no set point logged"
    assert found["chance_of_fault"] is None


def test_a_steady_rise_foretells_when_the_band_is_left() -> None:
    """−17.8 °C rising 0.1 K/h towards −15 °C: 28 h at the start. Hand calculation."""
    air = -17.8 + 0.1 * clock(12, 15)
    built = timeline(log(clock(12, 15), set_point=-18.0, return_air=air, supply_air=air - 2))
    expected = (-15 - air[-2]) / 0.1
    assert hours_to_limit(built)["hours_to_limit"].item() == pytest.approx(expected, abs=0.1)


def test_a_pull_down_on_its_way_is_not_out_of_its_band_now() -> None:
    hours = clock(12)
    air = -18 + 38 * np.exp(-hours / 8)
    limits = hours_to_limit(timeline(log(hours, set_point=-18.0, return_air=air, supply_air=air - 4)))
    assert limits["hours_to_limit"].to_list() == [None]
    assert limits["pulling_down"].to_list() == [True]


def test_ranks_run_from_one_without_gap() -> None:
    findings = ranked(*FLEET).findings
    assert findings["rank"].to_list() == list(range(1, len(FLEET) + 1))


def test_a_finding_says_with_whom_the_unit_was_compared() -> None:
    alike = ranked(*FLEET).findings["compared_with"].unique().to_list()
    assert alike == ["13 other units: deep frozen, air cooled, ambient about 20 °C, over 20 min"]
    lone = row(ranked(*FLEET, healthy(20, set_point=[13.0] * len(HOURS))), 20)
    assert lone["compared_with"] == "14 other units: all units; fewer than 8 are more alike"


def test_the_unit_that_warms_is_given_its_cause_and_the_check_that_tells_it() -> None:
    air = np.where(HOURS > 60, -17.8 + (HOURS - 60) * 0.25, -17.8)
    found = row(ranked(*FLEET, healthy(20, return_air=air, supply_air=air - 0.2)), 20)
    assert found["cause_1"] == "capacity_lost"
    assert float(str(found["chance_1"])) > 0.5
    assert found["first_check"] == "glass_full?"


def test_a_unit_in_which_nothing_was_found_is_sent_nobody() -> None:
    assert ranked(*FLEET).findings["first_check"].null_count() == len(FLEET)


@pytest.mark.parametrize(
    ("chance", "group"),
    [(0.05, "nothing_found"), (0.1, "watch"), (0.24, "watch"), (0.25, "this_round"), (0.99, "this_round")],
)
def test_the_chance_of_a_fault_decides_who_goes_when(chance: float, group: str) -> None:
    """No limit is near: the band is not about to be left."""
    found = row(ranked_by({3: {"leak": chance}}, *FLEET), 3)
    assert found["group"] == group
    assert found["chance_of_fault"] == pytest.approx(chance)


@pytest.mark.parametrize(
    ("chance", "group"), [(0.25, "nothing_found"), (0.3, "watch"), (0.49, "watch"), (0.5, "this_round")]
)
def test_other_thresholds_send_other_units(chance: float, group: str) -> None:
    thresholds = Thresholds(this_round=0.5, watch=0.3)
    assert row(ranked_by({3: {"leak": chance}}, *FLEET, thresholds=thresholds), 3)["group"] == group


def test_faults_of_all_kinds_count_together() -> None:
    found = row(ranked_by({3: {"leak": 0.1, "worn": 0.1, SEVERAL: 0.06, OTHER: 0.04}}, *FLEET), 3)
    assert found["chance_of_fault"] == pytest.approx(0.3)
    assert found["group"] == "this_round"


def test_the_likelier_fault_goes_first() -> None:
    findings = ranked_by({3: {"leak": 0.4}, 7: {"leak": 0.9}, 9: {"leak": 0.6}}, *FLEET).findings
    assert findings["container"].to_list()[:3] == ["QXAU0000007", "QXAU0000009", "QXAU0000003"]


def test_the_three_likeliest_causes_are_named_and_the_unlikely_are_not() -> None:
    chances = {"leak": 0.3, "worn": 0.2, "fouled": 0.015, "iced": 0.01}
    found = row(ranked_by({3: chances}, *FLEET), 3)
    assert (found["cause_1"], found["cause_2"], found["cause_3"]) == ("leak", "worn", None)
    assert found["chance_1"] == pytest.approx(0.3)
    assert found["chance_3"] is None
    found = row(ranked_by({3: chances | {"fouled": 0.05, "iced": 0.04}}, *FLEET), 3)
    assert found["cause_3"] == "fouled"


def test_a_sound_unit_outside_its_band_is_still_looked_at() -> None:
    air = np.where(HOURS > 90, -10.0, -17.8)
    found = row(ranked_by({}, *FLEET, healthy(20, return_air=air)), 20)
    assert found["hours_to_limit"] == 0
    assert found["group"] == "this_round"
    assert found["first_check"] == "Glass full?"


def test_kinds_of_a_cause_count_once() -> None:
    """A cause has one row a kind; its chance is that of all its kinds together."""
    kinds = catalogue(
        [cause("capacity_lost", kinds={"worn": 0.6, "leak": 0.4})], CATALOGUE.likelihoods, fault_share=0.3
    )
    built = timeline(*FLEET)
    comparison = compared(built)
    causes = judge(comparison.distances, kinds, {}).causes
    findings = rank(
        comparison,
        unit_traits(built),
        hours_to_limit(built),
        find_excursions(built),
        causes,
        first_checks(causes, kinds),
        THRESHOLDS,
    ).findings
    healthy_chance = causes.filter(pl.col("cause") == HEALTHY).sort("container")["chance"].to_numpy()
    assert findings.sort("container")["chance_of_fault"].to_numpy() == pytest.approx(1 - healthy_chance)


def test_a_log_that_cannot_be_judged_names_no_cause() -> None:
    blind = healthy(20, set_point=[None] * len(HOURS))
    found = row(ranked_by({20: {"leak": 0.9}}, *FLEET, blind), 20)
    assert (found["group"], found["cause_1"], found["chance_1"]) == ("cannot_tell", None, None)


def told(result: Ranking, number: int) -> pl.DataFrame:
    return result.reasons.filter(pl.col("container") == f"QXAU{number:07}")


def kinds(result: Ranking, number: int) -> list[str]:
    return told(result, number)["kind"].cast(pl.String).to_list()


def with_unit(**channels: Any) -> Ranking:
    return ranked(*FLEET, healthy(20, **channels))


WARMING = np.where(HOURS > 60, -17.8 + (HOURS - 60) * 0.25, -17.8)
WAS_WARM = np.where((HOURS > 60) & (HOURS < 70), -12.0, -17.8)


def test_the_reasons_of_a_unit_are_the_sentences_of_its_finding() -> None:
    result = with_unit(return_air=WARMING, supply_air=WARMING - 0.2)
    for container, why in result.findings.select("container", "why").iter_rows():
        own = result.reasons.filter(pl.col("container") == container)
        assert ". ".join(own["words"]) == why
        assert own["place"].to_list() == list(range(1, own.height + 1))
    assert result.reasons.columns == REASONS.names
    assert result.reasons.equals(result.reasons.sort("container", "place"))
    assert told(result, 20).height > 3


def test_air_that_is_outside_now_is_told_first_and_for_how_long_last() -> None:
    found = kinds(with_unit(return_air=WARMING, supply_air=WARMING - 0.2), 20)
    assert (found[0], found[-1]) == ("state", "excursion")
    assert found[1:-1] == ["feature"] * MOST_REASONS


def test_a_long_excursion_that_is_over_is_told_before_what_is_odd() -> None:
    found = kinds(with_unit(return_air=WAS_WARM), 20)
    assert found[0] == "excursion"
    assert found.count("excursion") == 1
    assert "feature" in found


def test_what_the_log_lacks_is_told_first() -> None:
    result = with_unit(set_point=[None] * len(HOURS))
    assert told(result, 20).row(0, named=True) == {
        "container": "QXAU0000020",
        "place": 1,
        "words": "no set point logged",
        "kind": "missing",
        "feature": None,
    }


def test_air_on_its_way_out_of_the_band_is_a_trend() -> None:
    air = np.where(HOURS > 72, -17.8 + (HOURS - 72) * 0.1, -17.8)
    result = with_unit(return_air=air, supply_air=air - 2)
    assert kinds(result, 20)[0] == "trend"
    assert told(result, 20)["words"][0].startswith("At its present trend the return air leaves its band")


def test_a_first_pull_down_that_lasts_is_told() -> None:
    hours = clock(24, 60)
    air = -18 + 38 * np.exp(-hours / 30)
    warm = log(hours, "QXAU0000020", set_point=-18.0, return_air=air, supply_air=air - 4, ambient_air=25.0)
    result = ranked(*FLEET, warm)
    assert kinds(result, 20)[0] == "pull_down"
    assert told(result, 20)["words"][0].startswith("Still in its first pull-down")


def test_a_reason_told_from_a_feature_names_it_and_no_other_reason_does() -> None:
    reasons = with_unit(return_air=WARMING, supply_air=WARMING - 0.2).reasons
    features = reasons.filter(pl.col("kind") == "feature")
    others = reasons.filter(pl.col("kind") != "feature")
    assert set(features["feature"]) <= set(FEATURES)
    assert others["feature"].null_count() == others.height > 0
    split = features.filter(pl.col("container") == "QXAU0000020", pl.col("feature").str.starts_with("split"))
    assert split["words"].str.starts_with("Split").all()
    assert split.height > 0


def test_a_unit_with_nothing_odd_has_no_reason_and_an_empty_why() -> None:
    result = ranked(*FLEET)
    silent = set(result.findings["container"]) - set(result.reasons["container"])
    whys = result.findings.filter(pl.col("container").is_in(list(silent)))["why"]
    assert silent
    assert whys.to_list() == [""] * len(silent)


# The order against the log.
WRONG = "Set to −18.0 °C, but the booking orders −20.0 °C, since 2026-01-05 00:00 UTC (95.0 h)"
LATE = "Was set to −15.0 °C while the booking ordered −18.0 °C, from A to B UTC (7.0 h)"


def ordered(*rows: tuple[int, str, str]) -> pl.DataFrame:
    """Set points by number of the unit: kind and words."""
    return SET_POINTS.conform(
        pl.DataFrame(
            [
                {
                    "container": f"QXAU{number:07}",
                    "kind": kind,
                    "source": "booking",
                    "booked": -20.0,
                    "words": words,
                    "hours": float(place),
                    "start": START + timedelta(hours=place),
                }
                for place, (number, kind, words) in enumerate(rows)
            ]
        )
    )


def ranked_with(set_points: pl.DataFrame | None, *logs: pl.DataFrame, **faults: float) -> Ranking:
    return ranked_by({3: faults}, *FLEET, *logs, set_points=set_points)


@pytest.mark.parametrize("kind", ["differs", "fahrenheit", "sign"])
def test_a_good_unit_set_to_another_point_than_ordered_is_to_be_seen_now(kind: str) -> None:
    result = ranked_with(ordered((3, kind, WRONG)))
    found = row(result, 3)
    assert (found["group"], found["rank"]) == ("go_now", 1)
    assert (kinds(result, 3)[0], told(result, 3)["words"][0]) == ("order", WRONG)
    assert str(found["why"]).startswith(WRONG)
    assert found["first_check"] == "Glass full?"
    assert found["hours_to_limit"] is None


def test_the_order_is_told_before_the_state_of_the_air() -> None:
    warming = healthy(20, return_air=WARMING, supply_air=WARMING - 0.2)
    result = ranked_with(ordered((20, "differs", WRONG)), warming)
    assert kinds(result, 20)[:2] == ["order", "state"]


def test_a_set_point_corrected_late_is_watched_and_nothing_more() -> None:
    result = ranked_with(ordered((3, "corrected_late", LATE)))
    assert row(result, 3)["group"] == "watch"
    assert kinds(result, 3)[0] == "order"
    assert row(ranked_with(ordered((3, "corrected_late", LATE)), leak=0.9), 3)["group"] == "this_round"


def test_what_differs_now_is_told_and_not_what_was_corrected_before() -> None:
    result = ranked_with(ordered((3, "corrected_late", LATE), (3, "differs", WRONG)))
    assert kinds(result, 3).count("order") == 1
    assert told(result, 3)["words"][0] == WRONG


def test_of_several_late_corrections_the_longest_is_told() -> None:
    result = ranked_with(ordered((3, "corrected_late", "short"), (3, "corrected_late", "long")))
    assert told(result, 3)["words"][0] == "long"


def test_a_log_too_poor_to_judge_still_tells_of_the_wrong_order() -> None:
    short = log(clock(6, 60), "QXAU0000020", set_point=-18.0, return_air=-17.8, supply_air=-19.8)
    result = ranked_with(ordered((20, "differs", WRONG)), short)
    found = row(result, 20)
    assert found["group"] == "cannot_tell"
    assert kinds(result, 20)[:2] == ["missing", "order"]
    assert WRONG in str(found["why"])
    assert found["first_check"] == "Glass full?"


def test_set_points_as_ordered_change_nothing() -> None:
    agreeing = ordered(*((number, "agrees", "Set to") for number in range(13)), (13, "no_set_point", "None"))
    plain = ranked_with(None, leak=0.3)
    for set_points in (agreeing, SET_POINTS.empty()):
        result = ranked_with(set_points, leak=0.3)
        assert result.findings.equals(plain.findings)
        assert result.reasons.equals(plain.reasons)


def test_a_unit_that_does_not_obey_is_sent_somebody_to_confirm_the_order() -> None:
    """From the timeline to the list, on the shipped catalogue."""
    shipped = load_catalogue()
    built = timeline(*FLEET)
    bookings = BOOKINGS.conform(
        pl.DataFrame(
            {
                "container": [f"QXAU{number:07}" for number in range(14)],
                "set_point": [2.0 if number == 3 else -18.0 for number in range(14)],
                "line": range(2, 16),
            }
        )
    )
    set_points = compare_set_points(built, bookings, PLAN.empty())
    comparison = compared(built)
    judgement = judge(comparison.distances, shipped, {}, set_point_answers(set_points))
    checks = first_checks(judgement.causes, shipped, judgement.seen, orders_to_confirm(set_points))
    result = rank(
        comparison,
        unit_traits(built),
        hours_to_limit(built),
        find_excursions(built),
        judgement.causes,
        checks,
        THRESHOLDS,
        set_points,
    )
    found = row(result, 3)
    assert (found["rank"], found["group"]) == (1, "go_now")
    assert found["first_check"] == shipped.observations["set_point_differs"].question
    others = result.findings.filter(pl.col("container") != "QXAU0000003")
    assert "go_now" not in set(others["group"].cast(pl.String))
    questions = dict(checks.select("container", "question").iter_rows())
    del questions["QXAU0000003"]
    assert found["first_check"] not in questions.values()
