"""What documents and work notes answer, weighed like what a technician sees."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from tests.causes.small import catalogue, cause, chance, distances, observation

from coldsift.causes import (
    HEALTHY,
    SEVERAL,
    Catalogue,
    CatalogueError,
    after,
    before,
    check_table,
    first_checks,
    judge,
    leaf_chances,
    load_catalogue,
    noted_observations,
    yes_table,
)
from coldsift.engine.checking import conclude
from coldsift.schema import NOTES, SEEN

STRONG = (-1.0, -1.0, 3.0)
CATALOGUE = catalogue(
    [cause("valve_shut", 1.0, {"coil_dead": 0.75, "body_stuck": 0.25}), cause("leak", 3.0), cause("worn")],
    {"valve_shut": {"suction": STRONG}, "leak": {"superheat": STRONG}},
    [
        observation("bubbles", {"leak": 0.92}, otherwise=0.05, minutes=3),
        observation("pulses", {"valve_shut": 0.5, "valve_shut.coil_dead": 0.1}, otherwise=0.9, minutes=6),
        observation("stains", {"leak": 0.7}, otherwise=0.08, minutes=5),
    ],
)
UNITS: dict[str, dict[str, float | None]] = {
    "a leaks": {"superheat": 2.0, "suction": 0.0},
    "b good": {"superheat": 0.0, "suction": 0.0},
    "c both": {"superheat": 4.0, "suction": 4.0},
}


def seen(*answers: tuple[str, str, bool] | tuple[str, str, bool, str]) -> pl.DataFrame:
    """Answers: container, observation, yes or no, and where it stands if that matters."""
    rows = [(*answer, "work note 2031-01-15 18:00 UTC")[:4] for answer in answers]
    return pl.DataFrame(rows, schema=SEEN.empty().schema, orient="row")


def judged(*answers: Any) -> Any:
    return judge(distances(UNITS), CATALOGUE, {}, seen(*answers))


def leaf(causes: pl.DataFrame, container: str) -> dict[tuple[str, str | None], float]:
    own = causes.filter(pl.col("container") == container)
    return {(name, kind): value for name, kind, value in own.select("cause", "kind", "chance").iter_rows()}


# Weighing.
def test_without_an_answer_everything_is_as_it_was() -> None:
    plain = judge(distances(UNITS), CATALOGUE, {})
    for nothing in (seen(), seen(("d unknown", "bubbles", True)), seen(("a leaks", "no such look", True))):
        found = judge(distances(UNITS), CATALOGUE, {}, nothing)
        assert found.causes.equals(plain.causes)
        assert found.evidence.equals(plain.evidence)
        assert found.seen.equals(SEEN.empty())


def test_an_answer_of_one_unit_leaves_the_others_exactly_as_they_were() -> None:
    plain, found = judge(distances(UNITS), CATALOGUE, {}), judged(("a leaks", "bubbles", True))
    others = pl.col("container") != "a leaks"
    assert found.causes.filter(others).equals(plain.causes.filter(others))
    assert found.evidence.filter(others).equals(plain.evidence.filter(others))


@pytest.mark.parametrize("container", UNITS)
@pytest.mark.parametrize(
    "answers", [{"bubbles": True}, {"bubbles": False}, {"bubbles": True, "pulses": False, "stains": True}]
)
def test_a_note_moves_the_chances_exactly_as_the_same_answer_given_by_hand(
    container: str, answers: dict[str, bool]
) -> None:
    plain = judge(distances(UNITS), CATALOGUE, {})
    own = pl.col("container") == container
    by_hand = conclude(plain.causes.filter(own), plain.evidence.filter(own), answers, CATALOGUE)
    found = judged(*((container, name, answer) for name, answer in answers.items())).causes
    for hypothesis in by_hand.hypotheses:
        assert chance(found, hypothesis.id, container) == pytest.approx(hypothesis.chance, rel=1e-14)
        for kind, share in hypothesis.kinds:
            assert leaf(found, container)[hypothesis.id, kind] == pytest.approx(share, rel=1e-14)


def test_bubbles_in_the_glass_worked_out_by_hand() -> None:
    """Nothing known of the log: of 20 faults in 100 one is none of ours, the 19 others split 1 : 3 : 1.

    Under an unknown fault (0.05 + 3 × 0.92 + 0.05) / 5 = 0.572 say yes, a pair with the leak 0.92.
    """
    found = judge(distances({"unit": {"superheat": None}}), CATALOGUE, {}, seen(("unit", "bubbles", True)))
    valve, leak, worn = (0.19 * prior / 5 for prior in (1, 3, 1))
    whole = (
        0.8 * 0.05
        + 0.01 * 0.572
        + valve * 0.05
        + leak * 0.92
        + worn * 0.05
        + (valve * leak + valve * worn + leak * worn) * 0.92
    )
    assert chance(found.causes, "leak") == pytest.approx(leak * 0.92 / whole, rel=1e-12)
    assert chance(found.causes, HEALTHY) == pytest.approx(0.8 * 0.05 / whole, rel=1e-12)


def test_chances_and_places_are_kept_in_order() -> None:
    found = judged(("b good", "bubbles", True), ("b good", "stains", True)).causes
    own = found.filter(pl.col("container") == "b good")
    assert own["chance"].sum() == pytest.approx(1.0, abs=1e-12)
    assert own["cause_chance"].is_sorted(descending=True)
    assert own["place"][0] == 1
    assert own["cause"][0] == "leak"
    totals = own.group_by("cause").agg(pl.col("chance").sum(), pl.col("cause_chance").first())
    assert totals["chance"].to_numpy() == pytest.approx(totals["cause_chance"].to_numpy(), rel=1e-14)


def test_two_papers_that_say_the_same_count_once() -> None:
    once = judged(("a leaks", "bubbles", True, "booking"))
    twice = judged(("a leaks", "bubbles", True, "work note"), ("a leaks", "bubbles", True, "booking"))
    assert twice.causes.equals(once.causes)
    assert twice.seen.equals(once.seen)


def test_papers_that_contradict_each_other_do_not_count() -> None:
    found = judged(("a leaks", "bubbles", True, "booking"), ("a leaks", "bubbles", False, "work note"))
    assert found.causes.equals(judge(distances(UNITS), CATALOGUE, {}).causes)
    assert found.seen.is_empty()


# Evidence.
def test_what_was_seen_is_evidence_with_its_words_and_where_it_stands() -> None:
    found = judged(("a leaks", "bubbles", True, "booking")).evidence
    row = found.row(by_predicate=(pl.col("cause") == "leak") & (pl.col("feature") == "bubbles"), named=True)
    assert (row["side"], row["words"]) == ("for", "Booking: yes")
    against = found.filter(pl.col("feature") == "bubbles", pl.col("cause") == "valve_shut")
    assert against["side"].to_list() == ["against"]


@pytest.mark.parametrize("container", UNITS)
def test_evidence_tells_by_what_factor_the_answer_moved_the_odds(container: str) -> None:
    """Odds with the answer over the odds without it; both causes at once left aside."""

    def odds(causes: pl.DataFrame, name: str) -> float:
        own = chance(causes, name, container)
        return own / (1 - own - chance(causes, SEVERAL, container))

    answers = [(container, "bubbles", True), (container, "pulses", False)]
    both = judged(*answers)
    for left_out, kept in ((answers[0], answers[1]), (answers[1], answers[0])):
        without = judged(kept).causes
        for name in CATALOGUE.causes:
            factor = odds(both.causes, name) / odds(without, name)
            told = both.evidence.filter(
                pl.col("container") == container,
                pl.col("cause") == name,
                pl.col("feature") == left_out[1],
            )
            if abs(math.log(factor)) >= 0.3:
                assert told["odds"].item() == pytest.approx(factor, rel=1e-9)
            else:
                assert told.is_empty()


def test_the_features_are_weighed_beside_what_was_seen() -> None:
    """With the glass full a leak loses its odds, but what superheat does to them stays told."""
    found = judged(("a leaks", "bubbles", False)).evidence
    own = found.filter(pl.col("container") == "a leaks", pl.col("cause") == "leak")
    sides = dict(own.select("feature", "side").iter_rows())
    assert sides == {"superheat": "for", "bubbles": "against"}


# Checks afterwards.
def test_what_is_answered_is_not_asked_again() -> None:
    def asked(*answers: tuple[str, str, bool]) -> dict[str, str]:
        found = judged(*answers)
        checks = first_checks(found.causes, CATALOGUE, found.seen)
        return dict(checks.select("container", "observation").iter_rows())

    assert asked() == {"a leaks": "bubbles", "b good": "bubbles", "c both": "pulses"}
    answered = asked(("c both", "pulses", False), ("b good", "bubbles", False))
    assert answered["a leaks"] == "bubbles"
    assert answered["b good"] != "bubbles"
    assert answered["c both"] != "pulses"


def test_an_order_to_be_confirmed_is_the_first_thing_to_check() -> None:
    confirm = pl.DataFrame({"container": ["b good"], "observation": ["stains"]})
    found = judged(("b good", "stains", True))
    checks = first_checks(found.causes, CATALOGUE, found.seen, confirm)
    row = checks.row(by_predicate=pl.col("container") == "b good", named=True)
    assert (row["observation"], row["question"], row["minutes"]) == ("stains", "stains?", 5.0)
    unknown = confirm.with_columns(observation=pl.lit("no such look"))
    assert first_checks(found.causes, CATALOGUE, found.seen, unknown).height > 0


def test_an_answer_taken_back_leaves_the_chances_as_they_were() -> None:
    table = check_table(CATALOGUE)
    containers, chances, pairs = leaf_chances(judge(distances(UNITS), CATALOGUE, {}).causes, table)
    for own, pair in zip(chances, pairs, strict=True):
        yes = yes_table(table, pair, own)
        answers = {0: True, 2: False}
        assert before(after(own, yes, answers), yes, answers) == pytest.approx(own, rel=1e-12)
    assert containers == list(UNITS)


def test_an_answer_that_the_run_holds_does_not_count_twice() -> None:
    held = judged(("a leaks", "bubbles", True))
    own = pl.col("container") == "a leaks"
    causes, evidence = held.causes.filter(own), held.evidence.filter(own)
    again = conclude(causes, evidence, {"bubbles": True}, CATALOGUE, {"bubbles": True})
    untouched = conclude(causes, evidence, {}, CATALOGUE, {"bubbles": True})
    for one, other in zip(again.hypotheses, untouched.hypotheses, strict=True):
        assert (one.id, one.chance) == (other.id, pytest.approx(other.chance, rel=1e-12))
    assert "bubbles" not in {check.observation for check in untouched.checks}


def test_what_is_seen_at_the_unit_takes_the_place_of_what_the_papers_said() -> None:
    plain, held = judge(distances(UNITS), CATALOGUE, {}), judged(("a leaks", "bubbles", True))
    own = pl.col("container") == "a leaks"
    late = conclude(
        held.causes.filter(own), held.evidence.filter(own), {"bubbles": False}, CATALOGUE, {"bubbles": True}
    )
    alone = conclude(plain.causes.filter(own), plain.evidence.filter(own), {"bubbles": False}, CATALOGUE)
    for one, other in zip(late.hypotheses, alone.hypotheses, strict=True):
        assert one.id == other.id
        # The answer of more than one is taken at slightly other chances of the kinds.
        assert one.chance == pytest.approx(other.chance, rel=1e-3)


# Work notes.
NOON = datetime(2031, 1, 15, 12, tzinfo=UTC)


def notes(*lines: tuple[float, str | None, str | None], container: str = "QXAU0000001") -> pl.DataFrame:
    """Notes by hour: observation and action."""
    return NOTES.conform(
        pl.DataFrame(
            [
                {
                    "container": container,
                    "time": NOON + timedelta(hours=hour),
                    "observation": observed,
                    "action": done,
                    "line": line,
                }
                for line, (hour, observed, done) in enumerate(lines, start=2)
            ],
            schema_overrides=dict(NOTES.empty().select("time", "observation", "action").schema),
        )
    )


NOTED = load_catalogue()


def found_in(*lines: tuple[float, str | None, str | None], among: Catalogue = NOTED) -> dict[str, bool]:
    answers = noted_observations(notes(*lines), among)
    return dict(answers.select("observation", "answer").iter_rows())


@pytest.mark.parametrize(
    "text",
    [
        "evaporator_coil_iced",
        "evaporator_coil_iced=yes",
        " Evaporator_Coil_Iced = YES ",
        "Evaporator coil closed by ice?",
        "evaporator coil  closed by ice",
        "Coil iced over its whole face",
        "coil iced.",
    ],
)
def test_a_note_that_says_an_observation_word_for_word_is_one(text: str) -> None:
    assert found_in((0, text, None)) == {"evaporator_coil_iced": True}


@pytest.mark.parametrize(
    "text",
    [
        "no coil iced",
        "coil iced?? perhaps",
        "evaporator_coil_iced=maybe",
        "not evaporator_coil_iced",
        "coil iced, but only in a corner",
        "ice seen near the coil",
        "",
        ";,;",
    ],
)
def test_free_text_is_not_interpreted(text: str) -> None:
    assert found_in((0, text or None, "looked" if not text else None)) == {}


def test_several_observations_may_stand_in_one_note() -> None:
    text = "evaporator_coil_iced; drain_blocked=no, door_seal_gap"
    answers = {"evaporator_coil_iced": True, "drain_blocked": False, "door_seal_gap": True}
    assert found_in((0, text, None)) == answers


def test_a_question_with_a_comma_is_one_observation() -> None:
    question = NOTED.observations["frost_only_at_valve_outlet"].question
    assert "," in question
    assert found_in((0, question, None)) == {"frost_only_at_valve_outlet": True}


def test_what_was_seen_before_a_repair_does_not_count_any_more() -> None:
    iced = (0.0, "coil iced", None)
    assert found_in(iced, (5.0, None, "manual defrost")) == {}
    assert found_in(iced, (5.0, "drain_blocked", "manual defrost")) == {"drain_blocked": True}
    assert found_in(iced, (-5.0, None, "fan replaced")) == {"evaporator_coil_iced": True}


def test_a_part_that_was_fitted_is_a_repair_even_if_no_action_is_noted() -> None:
    fitted = notes((0, "coil iced", None), (5, None, None)).with_columns(
        part=pl.when(pl.col("line") == 3).then(pl.lit("heater element"))
    )
    assert noted_observations(fitted, NOTED).is_empty()


def test_a_repair_of_another_unit_leaves_a_note_as_it_is() -> None:
    both = pl.concat([notes((0, "coil iced", None)), notes((5, None, "defrost"), container="QXAU0000002")])
    assert noted_observations(both, NOTED)["container"].to_list() == ["QXAU0000001"]


def test_a_later_look_overrides_an_earlier_one() -> None:
    assert found_in((0, "coil iced", None), (9, "evaporator_coil_iced=no", None)) == {
        "evaporator_coil_iced": False
    }


def test_two_looks_of_one_time_that_contradict_each_other_do_not_count() -> None:
    assert found_in((0, "coil iced", None), (0, "evaporator_coil_iced=no", None)) == {}
    assert found_in((-5, "coil iced", None), (0, "coil iced; evaporator_coil_iced=no", None)) == {}


def test_a_noted_observation_says_when_it_was_noted() -> None:
    found = noted_observations(notes((6, "coil iced", None)), NOTED)
    assert found.row(0) == (
        "QXAU0000001",
        "evaporator_coil_iced",
        True,
        "work note 2031-01-15 18:00 UTC",
    )


def test_no_notes_answer_nothing() -> None:
    assert noted_observations(NOTES.empty(), NOTED).equals(SEEN.empty())


# The catalogue's wordings.
def test_at_least_twenty_five_common_observations_have_wordings_for_notes() -> None:
    assert sum(bool(each.noted_as) for each in NOTED.observations.values()) >= 25
    assert all(1 < len(text) < 60 for each in NOTED.observations.values() for text in each.noted_as)


OWN = """
[observations.own_look]
question = "{question}"
yes = "own"
no = "not own"
how = "Look."
minutes = 2
risk = "none"
otherwise = 0.1
noted_as = {noted_as}
[observations.own_look.chance]
low_refrigerant = 0.9
"""


def own_catalogue(folder: Path, noted_as: str, question: str = "Own look?") -> Catalogue:
    path = folder / "own.toml"
    path.write_text(OWN.format(question=question, noted_as=noted_as), encoding="utf-8")
    return load_catalogue(path)


def test_a_catalogue_of_ones_own_may_bring_its_own_wordings(tmp_path: Path) -> None:
    among = own_catalogue(tmp_path, '["seen by us"]')
    assert found_in((0, "Seen by us", None), among=among) == {"own_look": True}


@pytest.mark.parametrize(
    "noted_as", ['["Coil  ICED"]', '["same", "Same."]', '["drain_blocked"]', '["Own look"]', '["door ajar"]']
)
def test_no_wording_may_mean_two_things(tmp_path: Path, noted_as: str) -> None:
    with pytest.raises(CatalogueError, match=r"own\.toml.* means .* already\. Take it out of one"):
        own_catalogue(tmp_path, noted_as)


@pytest.mark.parametrize(("noted_as", "complaint"), [('[" ?"]', "empty"), ('"text"', "wrong type")])
def test_a_wording_must_be_a_text(tmp_path: Path, noted_as: str, complaint: str) -> None:
    with pytest.raises(CatalogueError, match=complaint):
        own_catalogue(tmp_path, noted_as)


# The shipped figures.
def test_a_set_point_that_differs_makes_the_wrong_order_the_first_cause_of_an_ordinary_unit() -> None:
    """Nothing else known of the unit: 31 times the odds of a cause as rare as most others."""
    units: dict[str, dict[str, float | None]] = {"unit": {"split_now": None}}
    found = judge(distances(units), NOTED, {}, seen(("unit", "set_point_differs", True, "booking")))
    faults = found.causes.filter(pl.col("cause") != HEALTHY)
    assert faults["cause"][0] == "set_point_wrong"
    words = found.evidence.filter(pl.col("cause") == "set_point_wrong")["words"].to_list()
    assert words == ["Booking: set point differs from the order"]


SETTLING = catalogue(
    [cause("leak", 3.0), cause("order_wrong", 0.5)],
    {"leak": {"superheat": STRONG}},
    [observation("order_differs", {"order_wrong": 0.95}, otherwise=0.03, settles="order_wrong")],
)


def settled(*answers: Any) -> pl.DataFrame:
    return judge(distances(UNITS), SETTLING, {}, seen(*answers)).causes


def test_a_good_unit_set_otherwise_than_ordered_is_not_called_good() -> None:
    told = settled(("b good", "order_differs", True))
    assert chance(told, "order_wrong", "b good") > 0.8
    assert chance(told, HEALTHY, "b good") < 0.06
    assert chance(settled(), HEALTHY, "b good") > 0.8


def test_a_wrong_order_does_not_hide_a_fault_of_the_machine() -> None:
    told = settled(("a leaks", "order_differs", True))
    alone = settled()
    assert chance(told, "leak", "a leaks") > 0.4 * chance(alone, "leak", "a leaks")
    assert chance(told, "order_wrong", "a leaks") > chance(alone, "order_wrong", "a leaks")


def test_what_was_settled_on_paper_is_taken_back_at_the_unit() -> None:
    table = check_table(SETTLING)
    _, chances, _ = leaf_chances(settled(), table)
    for own in chances:
        yes = yes_table(table, (), own)
        there = after(own, yes, {0: True}, table.settling)
        assert there.sum() == pytest.approx(1.0)
        assert before(there, yes, {0: True}, table.settling) == pytest.approx(own, abs=1e-12)


def test_only_a_cause_without_kinds_can_be_settled(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(
        """
[observations.valve_is_shut]
question = "Valve shut?"
yes = "shut"
no = "open"
how = "Look."
minutes = 1
risk = "none"
otherwise = 0.1
settles = "expansion_valve_not_opening"
""",
        encoding="utf-8",
    )
    with pytest.raises(CatalogueError, match="settles must name a cause without kinds"):
        load_catalogue(own)
