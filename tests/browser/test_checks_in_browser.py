""" "Check next" as a technician uses it: in a real browser, and to the same numbers as the program."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.browser.opened import PHONE, WIDE, Opened
from tests.browser.printed import printed_text
from tests.report.fleet import CATALOGUE, HOSTILE, container, one_page, report_arguments, report_of

from coldsift.causes import SEVERAL, after, check_table, leaf_chances, next_checks, yes_table
from coldsift.engine.checking import read_answers
from coldsift.report import INDEX, words

pytestmark = pytest.mark.browser

ARGUMENTS = report_arguments(20, 1, 3)
TABLE = check_table(CATALOGUE)
CONTAINERS, CHANCES, PAIRS = leaf_chances(ARGUMENTS["causes"], TABLE)
FIRST, SECOND = container(1), container(2)
PLACES = {observation: place for place, observation in enumerate(TABLE.observations)}
TOLERANCE = 1e-12

COMPUTE = """([container, answers]) => {
    const { after, information, nextChecks, yesTable } = window.coldsiftChecks;
    const table = window.coldsiftCheckTable;
    const parts = [...document.querySelectorAll(".card")];
    const part = parts.find((each) => each.dataset.container === container);
    const own = JSON.parse(part.querySelector(".unit-chances").textContent);
    const yes = yesTable(table, own.several);
    const chances = after(table, own.chances, yes, new Map(answers));
    return {
        yes, chances,
        information: information(chances, yes),
        next: nextChecks(table, chances, yes, answers.map(([place]) => place)),
    };
}"""


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A report of 20 units in one file: the first one's valve stays shut, the second has two faults."""
    path = tmp_path_factory.mktemp("report") / INDEX
    path.write_text(_one_file(ARGUMENTS), encoding="utf-8")
    return path


def _one_file(arguments: dict[str, Any]) -> str:
    return report_of(arguments, one_file=True)[INDEX]


class Card:
    """One unit's card."""

    def __init__(self, opened: Opened, name: str) -> None:
        self.name = name
        self.part = opened.page.locator(f'.card[data-container="{name}"]')
        self.best = self.part.locator(".best")
        self.status = self.part.locator(".so-far[role=status]")
        self.note = opened.page.locator(f'details.unit[data-unit="unit-{name}"] .answered')

    def answer(self, seen: str) -> str:
        """Answer the best check with yes, no or skip; gives its question."""
        question = self.question
        self.best.locator(f'[data-seen="{seen}"]').click()
        return question

    @property
    def question(self) -> str:
        return str(self.best.locator(".question").inner_text())

    def chances(self) -> list[tuple[str, str]]:
        """Visible hypotheses with their chances in words."""
        rows = self.part.locator(".hypothesis:visible")
        names = rows.locator("> details > summary > .name, > div > .name").all_inner_texts()
        said = rows.locator("> details > summary > .chance, > div > .chance").all_inner_texts()
        return list(zip(names, said, strict=True))

    def given(self) -> list[tuple[str, str]]:
        """Questions answered and their answers."""
        rows = self.part.locator(".given li")
        questions, answers = (rows.locator(each).all_inner_texts() for each in (".question", ".seen"))
        return list(zip(questions, answers, strict=True))

    def others(self) -> list[str]:
        return [str(text) for text in self.part.locator(".others .question").all_inner_texts()]


def _card(opened: Opened, name: str = FIRST) -> Card:
    card = Card(opened, name)
    card.best.wait_for()
    return card


def _expected(name: str, answers: dict[int, bool]) -> tuple[Any, Any, list[Any]]:
    """Table, chances and next checks by the program."""
    place = CONTAINERS.index(name)
    yes = yes_table(TABLE, PAIRS[place], CHANCES[place])
    now = after(CHANCES[place], yes, answers, TABLE.settling)
    return yes, now, next_checks(TABLE, now, yes, list(answers))


def _question(name: str, answers: dict[str, bool], place: int = 0) -> str:
    """Question of the best next check, or of a later one, by the program."""
    checks = _expected(name, {PLACES[each]: seen for each, seen in answers.items()})[2]
    return CATALOGUE.observations[checks[place].observation].question


def _best(name: str, answers: dict[str, bool]) -> str:
    return str(_expected(name, {PLACES[each]: seen for each, seen in answers.items()})[2][0].observation)


def _sequences() -> list[dict[int, bool]]:
    """No answer, one, several in any order, answers that contradict each other, and all of them."""
    random = np.random.default_rng(5)
    count = len(TABLE.observations)
    drawn = [
        {int(place): bool(random.integers(2)) for place in random.permutation(count)[:length]}
        for length in (1, 2, 3, 5, 8, 13, 40)
    ]
    return [{}, *drawn, dict.fromkeys(range(count - 1, -1, -1), True), dict.fromkeys(range(count), False)]


def test_the_browser_and_the_program_give_the_same_numbers(open_report: Any) -> None:
    opened = open_report()
    shown = opened.page.locator(".card:has(.unit-chances)").evaluate_all(
        "parts => parts.map((part) => part.dataset.container)"
    )
    assert len(shown) == 7
    for name in shown:
        for answers in _sequences():
            yes, chances, checks = _expected(name, answers)
            got = opened.page.evaluate(COMPUTE, [name, [[place, seen] for place, seen in answers.items()]])
            np.testing.assert_allclose(got["yes"], yes, rtol=0, atol=TOLERANCE)
            np.testing.assert_allclose(got["chances"], chances, rtol=0, atol=TOLERANCE)
            assert [each["observation"] for each in got["next"]] == [each.observation for each in checks]
            for theirs, own in zip(got["next"], checks, strict=True):
                assert theirs["bits"] == pytest.approx(own.bits, abs=1e-9)
                assert theirs["bitsPerMinute"] == pytest.approx(own.bits_per_minute, abs=1e-9)
    opened.assert_quiet()


def test_two_causes_at_once_lead_on_the_second_card_and_their_numbers_agree_too(open_report: Any) -> None:
    leaf = TABLE.leaves.index((SEVERAL, ""))
    chances = CHANCES[CONTAINERS.index(SECOND)]
    assert chances[leaf] == max(chances)
    opened = open_report(f"#unit-{SECOND}")
    card = _card(opened, SECOND)
    name, said = card.chances()[0]
    assert name == "More than one cause: evaporator iced up, and door or seal leaks"
    assert said == words.chance(float(chances[leaf]))
    seen = {_best(SECOND, {}): True}
    card.answer("yes")
    assert card.question == _question(SECOND, seen)
    now = _expected(SECOND, {PLACES[each]: True for each in seen})[1]
    assert dict(card.chances())[name] == words.chance(float(now[leaf]))


def test_a_yes_moves_the_chances_and_the_next_check_at_once(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    assert card.question == _question(FIRST, {})
    assert card.others() == [_question(FIRST, {}, place) for place in range(1, 7)]
    before = card.chances()
    assert card.note.is_hidden()
    answers = {_best(FIRST, {}): True}
    card.answer("yes")
    now = _expected(FIRST, {PLACES[each]: True for each in answers})[1]
    assert card.question == _question(FIRST, answers)
    assert card.chances() != before
    names = [cause for cause, _ in TABLE.leaves]
    for name, said in card.chances():
        cause = next((id for id, each in CATALOGUE.causes.items() if each.name == name), None)
        if cause:
            chance = sum(float(now[leaf]) for leaf, each in enumerate(names) if each == cause)
            assert said == words.chance(chance)
            bar = card.part.locator(f'[data-cause="{cause}"] .bar > span').get_attribute("style")
            assert float(bar.removeprefix("width: ").removesuffix("%;")) == pytest.approx(
                100 * chance, abs=1e-3
            )
    assert card.status.inner_text().startswith("After 1 answer: expansion valve does not open, ")
    assert card.note.inner_text().startswith("Answers given: 1, now: Expansion valve does not open ")
    opened.assert_quiet()


def test_the_kinds_of_a_cause_move_too(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    kind = card.part.locator('[data-cause="expansion_valve_not_opening"] [data-kind="coil_dead"] .chance')
    answers = {}
    for _ in range(4):
        seen = _best(FIRST, answers) != "magnet_on_valve"
        answers[_best(FIRST, answers)] = seen
        card.answer("yes" if seen else "no")
    now = _expected(FIRST, {PLACES[each]: seen for each, seen in answers.items()})[1]
    leaf = TABLE.leaves.index(("expansion_valve_not_opening", "coil_dead"))
    assert kind.inner_text() == words.percent(float(now[leaf]))


def test_undo_takes_one_answer_back_and_start_again_all(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    before, question = card.chances(), card.question
    asked = [card.answer("yes"), card.answer("no"), card.answer("yes")]
    assert card.given() == list(zip(asked, ["yes", "no", "yes"], strict=True))
    ids = {each.question: name for name, each in CATALOGUE.observations.items()}
    card.part.get_by_role("button", name=f"Undo: {asked[1]}").click()
    assert card.given() == [(asked[0], "yes"), (asked[2], "yes")]
    left = {ids[asked[0]]: True, ids[asked[2]]: True}
    assert card.question == _question(FIRST, left)
    card.part.get_by_role("button", name="Start again").click()
    assert card.given() == []
    assert (card.chances(), card.question) == (before, question)
    assert card.note.is_hidden()
    opened.assert_quiet()


def test_cannot_tell_sets_a_check_aside_and_leaves_the_chances(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    before, second = card.chances(), card.others()[0]
    question = card.answer("skip")
    assert card.chances() == before
    assert card.question == second
    assert card.given() == [(question, "cannot tell")]
    assert card.note.is_hidden()


def test_any_of_the_other_checks_can_be_answered(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    third = card.others()[2]
    row = card.part.locator(".others li").nth(2)
    assert not row.get_by_role("button").first.is_visible()
    row.locator("summary").click()
    how = next(each.how for each in CATALOGUE.observations.values() if each.question == third)
    assert row.locator(".how").inner_text() == how
    row.locator('[data-seen="no"]').click()
    assert card.given() == [(third, "no")]


def test_a_cause_that_answers_bring_up_gets_its_row_and_loses_it_again(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    shown = [name for name, _ in card.chances()]
    for _ in range(12):
        card.answer("no")
    risen = [name for name, _ in card.chances() if name not in shown]
    assert risen
    cause = next(each for each in CATALOGUE.causes.values() if each.name == risen[0])
    row = card.part.locator(f'.hypothesis[data-cause="{cause.id}"]')
    row.locator("summary").first.click()
    assert cause.about in row.inner_text()
    names = [name for name, _ in card.chances()]
    assert names[-1] == "Nothing wrong"
    card.part.get_by_role("button", name="Start again").click()
    assert [name for name, _ in card.chances()] == shown
    opened.assert_quiet()


def test_it_is_told_between_which_hypotheses_a_check_tells_most(open_report: Any) -> None:
    opened = open_report()
    # Hypotheses A, B and C, B with two kinds; the answer splits A from C, and the kinds of B much less.
    told = opened.page.evaluate(
        """() => {
            const leaves = [["a", ""], ["b", "one"], ["b", "two"], ["c", ""]];
            const between = (chances, row) => window.coldsiftChecks.tellsBetween({ leaves }, chances, row);
            return [
                between([0.4, 0.1, 0.1, 0.4], [0.2, 0.5, 0.6, 0.9]),
                between([0.02, 0.48, 0.48, 0.02], [0.5, 0.9, 0.1, 0.5]),
                between([0.5, 0.25, 0.25, 0], [0.3, 0.3, 0.3, 0.9]),
            ];
        }"""
    )
    assert told == [[[3], [0]], [[1], [2]], None]


def test_answers_are_saved_as_a_file_that_the_program_reads(open_report: Any, tmp_path: Path) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    answers = {_best(FIRST, {}): True}
    card.answer("yes")
    card.answer("skip")
    ids = {each.question: name for name, each in CATALOGUE.observations.items()}
    answers[ids[card.answer("no")]] = False
    with opened.page.expect_download() as download:
        card.part.get_by_role("button", name="Save answers").click()
    assert download.value.suggested_filename == f"answers-{FIRST}.json"
    path = tmp_path / "answers.json"
    download.value.save_as(path)
    assert json.loads(path.read_text(encoding="utf-8")) == {
        "coldsift_answers": 1,
        "container": FIRST,
        "answers": answers,
    }
    assert read_answers(path, FIRST, CATALOGUE) == answers
    assert opened.said == []
    assert [each for each in opened.asked if not each.startswith("blob:")] == [opened.address]


def test_answers_outlast_a_reload_and_show_in_the_units_heading(open_report: Any, address: str) -> None:
    opened = open_report(f"#unit-{FIRST}", address=address)
    card = _card(opened)
    question = card.answer("yes")
    chances, note = card.chances(), card.note.inner_text()
    opened.page.goto("about:blank")
    opened.page.goto(address)
    # The card is closed, its heading tells of the answers all the same.
    assert card.note.inner_text() == note
    opened.page.goto(f"{address}#unit-{FIRST}")
    card.best.wait_for()
    assert card.given() == [(question, "yes")]
    assert card.chances() == chances
    card.part.get_by_role("button", name="Start again").click()
    opened.page.reload()
    assert card.note.is_hidden()
    assert opened.said == []


def test_answers_kept_for_other_logs_are_left_alone(open_report: Any, address: str, report: Path) -> None:
    opened = open_report(f"#unit-{FIRST}", address=address)
    _card(opened).answer("yes")
    (kept,) = opened.page.evaluate("Object.keys(localStorage)")
    other = [replace(source, sha256="cd34" * 16) for source in ARGUMENTS["sources"]]
    (report.parent / "other.html").write_text(_one_file(ARGUMENTS | {"sources": other}), encoding="utf-8")
    opened.page.goto(address.replace("index", "other") + f"#unit-{FIRST}")
    card = _card(opened)
    assert card.given() == []
    card.answer("no")
    assert len(opened.page.evaluate("Object.keys(localStorage)")) == 2
    assert opened.page.evaluate("(key) => JSON.parse(localStorage[key])[0][1]", kept) is True


@pytest.mark.parametrize(
    "beforehand",
    [
        """Object.defineProperty(window, "localStorage", {
            get() { throw new DOMException("denied", "SecurityError"); },
        });""",
        """Storage.prototype.getItem = () => '{"not": "a list"';""",
        """Storage.prototype.getItem = () => '[["no_such_check", true], 7, ["plug_hot_or_loose", "yes"]]';""",
        """Storage.prototype.setItem = () => { throw new DOMException("full", "QuotaExceededError"); };""",
    ],
    ids=["refused", "spoilt", "foreign", "full"],
)
def test_a_browser_that_keeps_nothing_or_rubbish_still_takes_answers(
    open_report: Any, beforehand: str
) -> None:
    opened = open_report(f"#unit-{FIRST}", beforehand=beforehand)
    card = _card(opened)
    assert card.given() == []
    question = card.answer("yes")
    assert card.given() == [(question, "yes")]
    opened.assert_quiet()


def test_everything_can_be_done_with_the_keyboard(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    press = opened.page.keyboard.press
    asked = card.question
    card.best.locator('[data-seen="yes"]').focus()
    press("Enter")
    assert card.given() == [(asked, "yes")]
    # The next question has the focus; its buttons follow.
    focused = "document.activeElement.className || document.activeElement.dataset.seen"
    assert opened.page.evaluate(focused) == "best"
    press("Tab")
    assert opened.page.evaluate(focused) == "yes"
    press("Tab")
    second = card.question
    press("Space")
    assert card.given() == [(asked, "yes"), (second, "no")]
    card.part.get_by_role("button", name=f"Undo: {second}").focus()
    press("Enter")
    assert card.given() == [(asked, "yes")]
    summary = card.part.locator(".others summary").first
    summary.focus()
    press("Enter")
    assert card.part.locator(".others li").first.get_by_role("button").first.is_visible()
    opened.assert_quiet()


def test_the_second_click_of_a_double_click_does_not_answer_the_next_question(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    card.best.locator('[data-seen="no"]').dblclick()
    assert len(card.given()) == 1


def test_when_nothing_tells_more_the_card_says_so(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    count = 0
    while card.best.is_visible():
        card.answer("skip")
        count += 1
    assert count == len(_expected(FIRST, {})[2])
    assert card.part.get_by_text("No other check of the catalogue tells enough more.").is_visible()
    assert card.others() == []
    assert card.part.get_by_text("No other check tells enough more.").is_visible()
    opened.assert_quiet()


def test_the_first_screen_and_the_list_stay_as_the_log_left_them_but_for_a_mark(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    text = """[".opening", ".ranking td:not(.container)"].map(
        (part) => [...document.querySelectorAll(part)].map((each) => each.textContent))"""
    before = opened.page.evaluate(text)
    marks = opened.page.locator(".ranking .ticked:not([hidden])")
    assert marks.count() == 0
    _card(opened).answer("no")
    assert opened.page.evaluate(text) == before
    assert marks.all_text_contents() == ["✓ 1 answer here"]


def test_the_list_can_be_searched_for_a_cause(open_report: Any) -> None:
    opened = open_report()
    opened.page.locator("#search").fill("expansion valve does not open")
    assert opened.shown() == [FIRST]


def test_a_link_at_the_first_check_leads_to_the_causes(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    first = opened.page.locator(f"#check-unit-{FIRST}")
    first.get_by_role("link", name="Expansion valve does not open").click()
    assert opened.page.evaluate("location.hash") == f"#at=causes-unit-{FIRST}"
    assert _card(opened).part.locator(".hypothesis:visible").first.is_visible()


def test_print_has_the_answers_the_chances_and_boxes_for_what_is_open(open_report: Any) -> None:
    opened = open_report(f"#unit-{FIRST}")
    card = _card(opened)
    asked = [card.answer("yes"), card.answer("no")]
    chances, best, others = card.chances(), card.question, card.others()
    printed = printed_text(opened.page.pdf(format="A4"))
    part = printed[printed.index("Answersgiven") :]

    def told(text: str) -> str:
        return "".join(text.split())

    assert told(f"Answers given {asked[0]} yes {asked[1]} no") in part.replace("Undo", "")
    for name, said in chances:
        assert told(name + said) in printed
    assert told(f"{best} ☐ yes ☐ no") in printed
    for question in others:
        assert told(question) in part
    assert printed.count(told("☐ yes ☐ no")) == 1 + len(others)
    for button in ("Saveanswers", "Startagain", "Cannottell", "Undo"):
        assert button not in part
    opened.assert_quiet()


@pytest.mark.parametrize("viewport", [PHONE, WIDE], ids=["phone", "wide"])
def test_nothing_sticks_out_sideways_with_every_check_open(
    open_report: Any, viewport: dict[str, int]
) -> None:
    phone = {"has_touch": True, "is_mobile": True} if viewport is PHONE else {}
    opened = open_report(f"#unit-{FIRST}", viewport, **phone)
    card = _card(opened)
    card.answer("yes")
    opened.page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    assert opened.page.evaluate("document.documentElement.scrollWidth") == viewport["width"]
    outside = opened.page.evaluate(
        """(name) => {
            const part = document.querySelector(`.card[data-container="${name}"]`);
            const edge = part.getBoundingClientRect().right + 1;
            const outside = (each) => each.getBoundingClientRect().right > edge;
            const inside = part.querySelectorAll(":is(.do-first, .causes, .next-check) *");
            return [...inside].filter(outside).length;
        }""",
        FIRST,
    )
    assert outside == 0
    table = opened.page.locator("#units .scroll")
    assert table.evaluate("(each) => each.scrollWidth - each.clientWidth") == 0
    heights = "all => all.map((each) => each.offsetHeight)"
    to_press_with_gloves = card.part.locator(":is(.panel, .others) button:visible")
    assert min(to_press_with_gloves.evaluate_all(heights)) >= 40
    assert min(card.part.locator("button:visible").evaluate_all(heights)) >= 24


def test_without_scripts_five_checks_with_boxes_stand_there(open_report: Any) -> None:
    opened = open_report(java_script_enabled=False)
    opened.page.locator("details.unit summary").first.click()
    listed = opened.page.locator(f'.card[data-container="{FIRST}"] .paper-check')
    assert listed.count() == 5
    assert listed.first.locator("b").inner_text() == _question(FIRST, {})
    assert listed.first.locator(".boxes").inner_text() == "☐ yes ☐ no"


def test_hostile_text_of_a_catalogue_is_shown_and_never_run(browser: Any, tmp_path: Path) -> None:
    hostile = {
        name: replace(each, question=HOSTILE, yes=HOSTILE, no=HOSTILE, how=HOSTILE)
        for name, each in CATALOGUE.observations.items()
    }
    causes = {name: replace(each, name=HOSTILE, about=HOSTILE) for name, each in CATALOGUE.causes.items()}
    path = tmp_path / "hostile.html"
    own = replace(CATALOGUE, observations=hostile, causes=causes)
    path.write_text(one_page(3, 1, 3, catalogue=own), encoding="utf-8")
    page = browser.new_context(viewport=WIDE).new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
    page.goto(f"{path.as_uri()}#unit-{FIRST}")
    best = page.locator(f'.card[data-container="{FIRST}"] .best')
    best.locator('[data-seen="yes"]').click()
    assert best.locator(".question").inner_text() == '<script>alert("1")</script>‹U+202E›</details>'
    assert said == []
    page.context.close()
