"""What a unit's card says of the probable cause and of the next check, before any script runs."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.report.fleet import (
    CATALOGUE,
    HOSTILE,
    LIKELIEST,
    PAIR,
    causes,
    container,
    evidence,
    findings,
    one_page,
    pages,
    report_arguments,
)
from tests.report.outline import Outline

from coldsift.causes import (
    HEALTHY,
    SEVERAL,
    Catalogue,
    Risk,
    alike_and_likely,
    check_table,
    leaf_chances,
    next_checks,
    yes_table,
)
from coldsift.causes.checks import RISK_FACTOR
from coldsift.causes.signs import MOST_STEPS, STEP
from coldsift.report import words
from coldsift.report.cause_views import RISKS, lead

NAMES = [container(place + 1) for place in range(5)]


def _report(**changes: Any) -> str:
    """The report in one file."""
    return one_page(5, 1, 3, **changes)


def _cards(html: str) -> dict[str, str]:
    """The cards that tell of causes, by container."""
    card = r'<section class="card [^>]*data-container="([^"]*)"(.*?)<p class="back">'
    found = re.findall(card, html, re.DOTALL)
    return {name: card for name, card in found if "unit-chances" in card}


def _text(html: str) -> str:
    return Outline(html).text.replace("\u00a0", " ")


def _embedded(html: str, marker: str) -> list[Any]:
    found = re.findall(rf'<script type="application/json" {marker}>(.*?)</script>', html, re.DOTALL)
    assert not any("<" in each for each in found)
    return [json.loads(each) for each in found]


def _chances(**hypotheses: float) -> np.ndarray[Any, Any]:
    """Chances by leaf: each cause's in equal parts over its kinds, the rest to nothing wrong."""
    leaves = [cause for cause, _ in check_table(CATALOGUE).leaves]
    given = {HEALTHY: 1 - sum(hypotheses.values()), **hypotheses}
    return np.array([given.get(leaf, 0.0) / leaves.count(leaf) for leaf in leaves])


def _one(group: str = "this_round", pair: Any = PAIR, **hypotheses: float) -> str:
    """A report of one unit with these chances."""
    return _report(
        findings=findings(NAMES[:1], group=[group]),
        causes=causes(NAMES[:1], _chances(**hypotheses)[None, :], pair=pair),
    )


def _table(html: str) -> Any:
    """The table of checks that the pages' script does its sums with."""
    (told,) = re.findall(r"window\.coldsiftCheckTable=(.*?);\nwindow\.", html)
    assert "<" not in told
    return json.loads(told)


@pytest.fixture(scope="module")
def html() -> str:
    return one_page()


def test_the_likeliest_cause_stands_on_the_card_with_its_chance_before_the_first_check() -> None:
    card = _cards(_one("go_now", **{LIKELIEST: 0.72}))[NAMES[0]]
    first = card[card.index('class="do-first"') : card.index('class="because"')]
    assert "Probable cause by the log: Expansion valve does not open , likely (72 %)" in _text(first)
    assert first.index("Probable cause by the log") < first.index('class="paper-first"')


def test_what_to_bring_stands_with_the_first_check() -> None:
    card = _cards(_one("go_now", **{LIKELIEST: 0.72}))[NAMES[0]]
    first = _text(card[card.index('class="do-first"') : card.index('class="because"')])
    cause = CATALOGUE.causes[LIKELIEST]
    assert f"Parts to bring {', '.join(cause.parts)} Tools to bring {', '.join(cause.tools)}" in first


def test_where_nothing_was_found_the_checks_are_for_who_is_there_anyway() -> None:
    card = _cards(_one("nothing_found", low_refrigerant=0.2))[NAMES[0]]
    first = card[card.index('class="do-first"') : card.index('class="because"')]
    assert "paper-check" not in first
    assert "bring" not in first
    assert "Checks, if you are there" in _text(card)
    assert card.count('class="paper-check"') == 5


def test_nothing_is_said_of_causes_where_the_log_cannot_tell(html: str) -> None:
    groups = dict(re.findall(r'<details class="unit" data-group="(\w+)" data-unit="unit-(\w+)"', html))
    assert "cannot_tell" in groups
    assert groups["cannot_tell"] not in _cards(html)


@pytest.mark.parametrize(("chance", "shown"), [(0.049, False), (0.051, True)])
def test_where_nothing_was_found_only_a_cause_worth_telling_is_told(chance: float, shown: bool) -> None:
    html = _one("nothing_found", low_refrigerant=chance)
    assert (NAMES[0] in _cards(html)) is shown
    assert ("window.coldsiftCheckTable=" in html) is shown
    assert "Probable cause by the log" not in html


def test_at_most_three_hypotheses_and_nothing_wrong_are_shown_the_rest_in_one_figure() -> None:
    html = _one(low_refrigerant=0.4, compressor_worn=0.3, evaporator_iced=0.1, phase_imbalance=0.06)
    card = _cards(html)[NAMES[0]]
    shown = re.findall(r'<li class="hypothesis" data-cause="(\w+)">', card)
    assert shown == ["low_refrigerant", "compressor_worn", "evaporator_iced", HEALTHY]
    assert card.count("<details open>") == 1
    assert "All other causes together: very unlikely (6 %)" in _text(card)
    few = _cards(_one(low_refrigerant=0.4, compressor_worn=0.019))[NAMES[0]]
    assert re.findall(r'<li class="hypothesis" data-cause="(\w+)">', few) == ["low_refrigerant", HEALTHY]


def test_a_bar_is_as_long_as_its_chance_and_its_number_stands_beside_it() -> None:
    card = _cards(_one(low_refrigerant=0.4, compressor_worn=0.35))[NAMES[0]]
    assert re.findall(r"width: ([\d.]+)%", card)[:2] == ["40.0", "35.0"]
    assert card.count('class="bar" aria-hidden="true"') == card.count('class="hypothesis"')
    assert "Lack of refrigerant about as likely as not (40 %)" in _text(card)
    assert "Refrigerant leak 20 %" in _text(card)


def test_evidence_is_told_for_and_against_with_its_numbers_and_what_it_does_to_the_odds() -> None:
    card = _text(_cards(_one(**{LIKELIEST: 0.8}))[NAMES[0]])
    told = card[card.index("Speaks for it") : card.index("Which part")]
    assert "Split 0.3 K; 11 peers hold 1.9 to 2.9 K: 5 times likelier" in told
    assert told.index("for it") < told.index("5 times likelier") < told.index("against it")
    # Evidence without words of its own goes by the feature's name.
    assert "Time off: 5 times less likely" in told


@pytest.mark.parametrize("what", ["about", "if_left", "told_apart", "cautions", "hidden_by", "tools"])
def test_the_card_tells_what_the_catalogue_knows_of_the_cause(what: str) -> None:
    card = _text(_cards(_one(**{LIKELIEST: 0.8}))[NAMES[0]])
    said = getattr(CATALOGUE.causes[LIKELIEST], what)
    for sentence in [said] if isinstance(said, str) else said:
        assert sentence in card


def test_more_than_one_cause_names_its_pair() -> None:
    html = _one(**{SEVERAL: 0.6})
    assert "More than one cause: evaporator iced up, and door or seal leaks" in _text(_cards(html)[NAMES[0]])
    assert "Two causes at once" in _text(html)
    assert "More than one cause" in _text(_one(pair=(), **{SEVERAL: 0.6}))


def test_a_cause_outside_the_catalogue_is_explained() -> None:
    card = _text(_cards(_one(other_cause=0.5))[NAMES[0]])
    assert "A cause that is not in the catalogue about as likely as not (50 %)" in card
    assert "none of the causes that are weighed here" in card


def _alike(*names: str) -> Catalogue:
    own = dict(CATALOGUE.causes)
    own |= {name: replace(own[name], alike=names) for name in names}
    return replace(CATALOGUE, causes=own)


def test_causes_that_the_log_does_not_tell_apart_are_named_together_with_their_chances_added() -> None:
    catalogue = _alike("condenser_fouled", "condenser_fan_failed", "condenser_water_flow")
    chances = {"condenser_fan_failed": 0.3, "condenser_fouled": 0.45, "condenser_water_flow": 0.01}
    together = alike_and_likely("condenser_fouled", chances, catalogue)
    said, chance = lead(together, (), chances, catalogue)
    assert said == (
        "Condenser dirty or its air path covered, or condenser fan does not turn "
        "(the log does not tell which)"
    )
    assert chance == pytest.approx(0.75)
    # One that is ruled out does not join; then the cause stands alone.
    alone = chances | {"condenser_fan_failed": 0.01}
    assert alike_and_likely("condenser_fouled", alone, catalogue) == ["condenser_fouled"]
    assert lead(["condenser_fouled"], (), alone, catalogue) == (
        "Condenser dirty or its air path covered",
        0.45,
    )
    apart = replace(catalogue, causes={name: replace(c, alike=()) for name, c in catalogue.causes.items()})
    assert alike_and_likely("condenser_fouled", chances, apart) == ["condenser_fouled"]


def test_the_card_says_that_the_log_does_not_tell_which() -> None:
    chances = _chances(condenser_fouled=0.45, condenser_fan_failed=0.3)
    html = _report(
        findings=findings(NAMES[:1], group=["go_now"]),
        causes=causes(NAMES[:1], chances[None, :]),
        catalogue=_alike("condenser_fouled", "condenser_fan_failed"),
    )
    card = _text(_cards(html)[NAMES[0]])
    assert card.count("condenser fan does not turn (the log does not tell which)") == 2
    assert "(the log does not tell which): likely (75 %) together, before any check." in card


def test_without_scripts_the_five_best_checks_stand_there_with_boxes_to_tick() -> None:
    arguments = report_arguments(5, 1, 3)
    table = check_table(CATALOGUE)
    containers, chances, pairs = leaf_chances(arguments["causes"], table)
    card = _cards(_report())[NAMES[0]]
    place = containers.index(NAMES[0])
    yes = yes_table(table, pairs[place], chances[place])
    best = [each.observation for each in next_checks(table, chances[place], yes)[:5]]
    listed = re.findall(r'class="paper-check"><b class="question">(.*?)</b>', card)
    assert [Outline(each).text for each in listed] == [CATALOGUE.observations[each].question for each in best]
    text = _text(card)
    assert text.count("☐ yes ☐ no") == 5
    for each in best:
        observation = CATALOGUE.observations[each]
        assert observation.how in text
        assert RISKS[observation.risk][1] in text
    # The best one stands at the top of the card, the others with the causes.
    assert card.index(listed[0]) < card.index("Until a limit is passed") < card.index(listed[1])


def test_every_risk_but_the_usual_one_comes_with_its_caution_and_its_weight(html: str) -> None:
    assert set(RISKS) == set(Risk)
    for risk, (name, caution) in RISKS.items():
        assert bool(caution) == (risk is not Risk.NONE)
        assert f"{name} {words.number(RISK_FACTOR[risk], 1)}" in _text(html)


def test_the_page_holds_the_same_table_and_the_same_chances_as_the_program() -> None:
    arguments = report_arguments(8, 1, 3)
    html = one_page(8, 1, 3)
    embedded = _table(html)
    table = check_table(CATALOGUE)
    assert tuple(map(tuple, embedded["leaves"])) == table.leaves
    assert tuple(embedded["observations"]) == table.observations
    np.testing.assert_array_equal(np.array(embedded["yes"]), table.yes)
    np.testing.assert_array_equal(np.array(embedded["cost"]), table.cost)
    containers, chances, pairs = leaf_chances(arguments["causes"], table)
    shown = _cards(html)
    assert len(shown) >= 3
    for name, card in shown.items():
        (own,) = _embedded(card, 'class="unit-chances"')
        place = containers.index(name)
        np.testing.assert_array_equal(np.array(own["chances"]), chances[place])
        column = yes_table(table, pairs[place], chances[place])[:, table.leaves.index((SEVERAL, ""))]
        np.testing.assert_array_equal(np.array(own["several"]), column)
        assert sum(own["chances"]) == pytest.approx(1)


def test_the_table_is_embedded_once_and_units_without_a_cause_cost_nothing(html: str) -> None:
    assert html.count("window.coldsiftCheckTable=") == 1
    asked = re.findall(r'<details class="unit" data-group="(?:go_now|this_round|watch)"', html)
    assert html.count('class="unit-chances"') == len(_cards(html)) == len(asked) == 5
    assert html.count("window.coldsiftChecks = ") == 1


def test_in_pages_the_table_lies_beside_them_once_for_all() -> None:
    written = pages(5, 1, 3)
    assert [name for name, text in written.items() if "window.coldsiftCheckTable=" in text] == [
        "units/shared.js"
    ]
    assert _table(written["units/shared.js"])["observations"]
    assert 'class="unit-chances"' in written[f"units/{NAMES[0]}.html"]


def test_hostile_text_from_a_users_catalogue_stays_text() -> None:
    own = CATALOGUE.causes[LIKELIEST]
    hostile_cause = replace(
        own,
        name=HOSTILE,
        about=HOSTILE,
        if_left=HOSTILE,
        told_apart=HOSTILE,
        parts=(HOSTILE,),
        tools=(HOSTILE,),
        cautions=(HOSTILE,),
        hidden_by=(HOSTILE,),
        kinds=tuple(replace(kind, name=HOSTILE, repair=HOSTILE, parts=(HOSTILE,)) for kind in own.kinds),
    )
    hostile_checks = {
        f"{name}{HOSTILE}": replace(each, question=HOSTILE, how=HOSTILE, yes=HOSTILE, no=HOSTILE)
        for name, each in CATALOGUE.observations.items()
    }
    catalogue = replace(
        CATALOGUE, causes={**CATALOGUE.causes, LIKELIEST: hostile_cause}, observations=hostile_checks
    )
    html = _report(catalogue=catalogue)
    plain, outline = Outline(_report()), Outline(html)
    for tag in ("script", "template"):
        assert [each for each, _ in outline.elements].count(tag) == [e for e, _ in plain.elements].count(tag)
    assert "\u202e" not in html
    assert outline.text.count('<script>alert("1")</script>‹U+202E›</details>') > 20
    embedded = _table(html)
    assert embedded["checks"][0]["question"] == '<script>alert("1")</script>‹U+202E›</details>'


def test_the_method_says_plainly_that_the_likelihoods_are_simulated(html: str) -> None:
    text = _text(html)
    assert "These likelihoods were fitted on simulated fleets, not on real ones" in text
    assert "Bayes’ rule" in text
    assert f"robust distance / {STEP:.2f}, at most {MOST_STEPS:g} either way" in text


def test_a_fleet_without_judged_causes_still_makes_a_page() -> None:
    arguments = report_arguments(5, 1, 3)
    html = _report(causes=arguments["causes"].clear(), evidence=arguments["evidence"].clear())
    assert _cards(html) == {}
    assert "window.coldsiftCheckTable=" not in html


def test_evidence_of_causes_that_are_not_shown_is_not_told() -> None:
    html = _report(
        findings=findings(NAMES[:1], group=["this_round"]),
        causes=causes(NAMES[:1], _chances(low_refrigerant=0.6)[None, :]),
        evidence=evidence(NAMES[:1], "clock_wrong"),
    )
    assert "times likelier" not in _text(_cards(html)[NAMES[0]])


@pytest.mark.parametrize(
    ("factor", "said"),
    [
        (5.2, "5 times likelier"),
        (0.2, "5 times less likely"),
        (1.35, "1.4 times likelier"),
        (2.02, "2 times likelier"),
        (2.97, "3 times likelier"),
        (19.4, "19 times likelier"),
        (0.0061, "160 times less likely"),
        (4000.0, "over 1\u202f000 times likelier"),
        (0.0, "over 1\u202f000 times less likely"),
    ],
)
def test_a_factor_on_the_odds_in_words(factor: float, said: str) -> None:
    assert words.odds(factor) == said


def test_a_name_goes_on_in_small_letters_unless_it_is_an_abbreviation() -> None:
    assert words.inside_a_sentence("Door or seal leaks") == "door or seal leaks"
    assert words.inside_a_sentence("DC supply weak") == "DC supply weak"
