"""Answers of papers and notes: in the data that a unit's card does its sums with, and in a finished run."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from tests.report.fleet import CATALOGUE, causes, container, evidence, likely

from coldsift.causes import check_table, next_checks, yes_table
from coldsift.engine.checking import noted_in
from coldsift.report.cause_views import probable_causes
from coldsift.report.model import ProbableCause
from coldsift.schema import SEEN

TABLE = check_table(CATALOGUE)
NAMES = [container(number) for number in (1, 2, 3)]
GROUPS = dict.fromkeys(NAMES, "this_round")
CAUSES = causes(NAMES, likely(NAMES, list(GROUPS.values())))
OBSERVATION = "set_point_differs"
SEEN_THERE = SEEN.conform(
    pl.DataFrame(
        {"container": NAMES[:1], "observation": [OBSERVATION], "answer": [True], "source": ["booking"]}
    )
)
CONFIRM = SEEN_THERE.select("container", "observation")


def cards(**papers: pl.DataFrame) -> dict[str, ProbableCause]:
    return probable_causes(CAUSES, evidence(NAMES), CATALOGUE, {}, GROUPS, **papers)


def data(card: ProbableCause) -> Any:
    return json.loads(str(card.data))


def test_a_card_without_papers_is_as_it_was() -> None:
    plain = cards()
    assert cards(seen=SEEN.empty(), confirm=CONFIRM.clear()) == plain
    assert set(data(plain[NAMES[0]])) == {"chances", "several"}


def test_the_page_knows_which_answers_its_chances_hold_already() -> None:
    found = cards(seen=SEEN_THERE)
    assert data(found[NAMES[0]])["held"] == [[TABLE.observations.index(OBSERVATION), True]]
    assert "held" not in data(found[NAMES[1]])


def test_a_card_does_not_ask_for_what_the_papers_answered() -> None:
    own = np.array(data(cards()[NAMES[0]])["chances"])
    best = next_checks(TABLE, own, yes_table(TABLE, (), own))[0].observation
    answered = SEEN_THERE.with_columns(observation=pl.lit(best))
    questions = [check.question for check in cards(seen=answered)[NAMES[0]].checks]
    assert CATALOGUE.observations[best].question not in questions
    assert len(questions) == 5


def test_a_card_asks_first_to_confirm_an_order_that_is_not_obeyed() -> None:
    found = cards(seen=SEEN_THERE, confirm=CONFIRM)
    assert found[NAMES[0]].checks[0].question == CATALOGUE.observations[OBSERVATION].question
    assert data(found[NAMES[0]])["confirm"] == TABLE.observations.index(OBSERVATION)
    assert "confirm" not in data(found[NAMES[1]])


def test_a_finished_run_says_which_answers_its_causes_hold(tmp_path: Path) -> None:
    assert noted_in(tmp_path, NAMES[0]) == {}
    SEEN_THERE.write_parquet(tmp_path / "seen.parquet")
    assert noted_in(tmp_path, NAMES[0]) == {OBSERVATION: True}
    assert noted_in(tmp_path, NAMES[1]) == {}
