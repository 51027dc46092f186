"""What papers answered, on a card in a real browser: it counts once, and the unit has the last word."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from playwright.sync_api import Browser
from tests.browser.test_checks_in_browser import ARGUMENTS, CHANCES, CONTAINERS, FIRST, PAIRS, TABLE, Card
from tests.report.fleet import CATALOGUE, report_of

from coldsift.causes import after, before, yes_table
from coldsift.report import INDEX, words
from coldsift.schema import SEEN, SET_POINTS

pytestmark = pytest.mark.browser

DIFFERS = "set_point_differs"
PLACE = TABLE.observations.index(DIFFERS)
QUESTION = CATALOGUE.observations[DIFFERS].question
HELD = SEEN.conform(
    pl.DataFrame({"container": [FIRST], "observation": [DIFFERS], "answer": [True], "source": ["booking"]})
)
OTHERWISE = SET_POINTS.conform(
    pl.DataFrame(
        {
            "container": [FIRST],
            "kind": ["differs"],
            "source": ["booking"],
            "booked": [2.0],
            "logged": [4.0],
            "start": [None],
            "end": [None],
            "hours": [48.0],
            "words": ["Set to 4.0 °C, but the booking orders 2.0 °C"],
        },
        schema_overrides={column.name: column.dtype for column in SET_POINTS.columns},
    )
)


@pytest.fixture(params=[True, False], ids=["to confirm", "settled"])
def card(request: pytest.FixtureRequest, browser: Browser, tmp_path: Path) -> Iterator[Any]:
    papers = {"seen": HELD, **({"set_points": OTHERWISE} if request.param else {})}
    path = tmp_path / INDEX
    path.write_text(report_of(ARGUMENTS | papers, one_file=True)[INDEX], encoding="utf-8")
    context = browser.new_context(viewport={"width": 1400, "height": 900})
    page = context.new_page()
    page.goto(f"{path.as_uri()}#unit-{FIRST}")
    card = Card.__new__(Card)
    card.name = FIRST
    card.part = page.locator(f'.card[data-container="{FIRST}"]')
    card.best = card.part.locator(".best")
    card.best.wait_for()
    yield card, request.param
    context.close()


def shown(chances: Any) -> str:
    leaves = [at for at, (cause, _) in enumerate(TABLE.leaves) if cause == "expansion_valve_not_opening"]
    return words.chance(float(chances[leaves].sum()))


def test_a_paper_s_answer_counts_once_and_the_unit_has_the_last_word(card: tuple[Card, bool]) -> None:
    unit, to_confirm = card
    own = CHANCES[CONTAINERS.index(FIRST)]
    yes = yes_table(TABLE, PAIRS[CONTAINERS.index(FIRST)], own)
    name = CATALOGUE.causes["expansion_valve_not_opening"].name
    asked = [unit.question, *unit.others()]
    assert dict(unit.chances())[name] == shown(own)
    if not to_confirm:
        assert QUESTION not in asked
        return
    assert unit.question == QUESTION
    assert asked.count(QUESTION) == 1
    as_the_papers_say = unit.chances()
    unit.answer("yes")
    assert unit.chances() == as_the_papers_say
    assert unit.question != QUESTION
    unit.part.get_by_role("button", name="Start again").click()
    unit.answer("no")
    without = before(own, yes, {PLACE: True}, TABLE.settling)
    assert dict(unit.chances())[name] == shown(after(without, yes, {PLACE: False}, TABLE.settling))
    assert not np.allclose(without, own)
    unit.part.get_by_role("button", name="Start again").click()
    unit.answer("skip")
    assert unit.chances() == as_the_papers_say
    assert QUESTION not in [unit.question, *unit.others()]
