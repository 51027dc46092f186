"""The page of speed says what was measured, and the guard sees what got slower."""

from __future__ import annotations

from pathlib import Path

import pytest
from benchmarks.speed import __main__ as command
from benchmarks.speed import page
from benchmarks.speed.cost import Failed
from benchmarks.speed.figures import FIGURES, Figure, Figures, Section, complaints, machine, store, stored
from benchmarks.speed.page import GOALS, PAGE, write_page
from benchmarks.speed.runs import BARE, BY_HAND, INTAKE, SCREEN, needs

FACTS = Section("small", 373, 30, 15, 1_000_000, 110_000_000, {"cores": "2"})


def measured(screen: float, bare: float = 1.0, peak: float = 5e8) -> Figures:
    figures = [
        Figure.of("small", BARE, "wall", [bare]),
        Figure.of("small", SCREEN, "wall", [screen]),
        Figure.of("small", SCREEN, "peak", [peak]),
        Figure.of("small", BY_HAND, "wall", [20.0]),
    ]
    return Figures([FACTS], figures)


def test_the_page_in_docs_is_the_one_of_the_stored_figures(tmp_path: Path) -> None:
    write_page(stored(FIGURES), tmp_path / "speed.md")
    assert (tmp_path / "speed.md").read_text(encoding="utf-8") == PAGE.read_text(encoding="utf-8")


def test_figures_come_back_as_they_were_stored(tmp_path: Path) -> None:
    store(measured(4.0), tmp_path / "figures.json")
    again = stored(tmp_path / "figures.json")
    store(again, tmp_path / "again.json")
    assert (tmp_path / "again.json").read_bytes() == (tmp_path / "figures.json").read_bytes()
    assert again.value("small", SCREEN) == 4.0
    assert again.sections == {"small": FACTS}


def test_the_guard_objects_to_a_slower_screening() -> None:
    before = measured(4.0)
    assert complaints(measured(4.0), before) == []
    assert complaints(measured(4.9), before) == []
    assert complaints(measured(6.0), before) == [
        "small: coldsift screen: wall 6.00 times the baseline's, was 4.00"
    ]


def test_the_guard_looks_at_ratios_so_that_a_slower_machine_is_not_a_slower_coldsift() -> None:
    assert complaints(measured(12.0, bare=3.0), measured(4.0)) == []
    assert len(complaints(measured(4.0, bare=0.5), measured(4.0))) == 1


def test_the_guard_objects_to_more_memory() -> None:
    assert complaints(measured(4.0, peak=9e8), measured(4.0)) == [
        "small: coldsift screen: 0.90 GB at its peak, was 0.50 GB"
    ]


def test_the_guard_ignores_what_one_run_has_not_measured_and_what_is_not_ours() -> None:
    before = measured(4.0)
    assert complaints(Figures(), before) == []
    slower_script = Figures([FACTS], [*before.all.values(), Figure.of("small", BY_HAND, "wall", [90.0])])
    assert complaints(slower_script, before) == []


@pytest.mark.parametrize(("screen", "status"), [(4.0, 0), (9.0, 1)])
def test_the_check_ends_with_1_when_something_got_worse(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], screen: float, status: int
) -> None:
    monkeypatch.setattr(command, "needs", lambda names: None)
    monkeypatch.setattr(command, "run", lambda names, cache, repeat: measured(screen))
    monkeypatch.setattr(command, "stored", lambda path: measured(4.0))
    monkeypatch.setattr("sys.argv", ["speed", "--check", "--only", "small"])
    assert command.main() == status
    assert ("worse: small: coldsift screen" in capsys.readouterr().err) == bool(status)


def test_what_is_not_installed_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None if name == "tsfresh" else object())
    with pytest.raises(Failed, match=r"tsfresh not installed\. .*\[speed\]"):
        needs(["features"])
    needs(["small"])


def test_sections_measured_anew_take_the_place_of_the_stored_ones() -> None:
    both = Figures(
        [FACTS, Section("start", 0, 0, 0, 0, 0, {})],
        [*measured(4.0).all.values(), Figure.of("start", "bare interpreter", "wall", [0.02])],
    )
    together = both.with_sections_of(Figures([FACTS], [Figure.of("small", BARE, "wall", [2.0])]))
    assert together.value("small", BARE) == 2.0
    assert together.value("small", SCREEN) is None
    assert together.value("start", "bare interpreter") == 0.02


def test_a_goal_that_is_missed_says_so_and_one_not_measured_too(monkeypatch: pytest.MonkeyPatch) -> None:
    goal = next(each for each in GOALS if "5 × the bare read" in each.words)
    monkeypatch.delitem(page.REASONS, goal.words, raising=False)
    assert goal.row(measured(4.0)) == (goal.words, "4.0 ×", "yes")
    assert goal.row(measured(8.0)) == (goal.words, "8.0 ×", "**no**: not looked into yet")
    assert goal.row(Figures()) == (goal.words, "–", "not measured")
    monkeypatch.setitem(page.REASONS, goal.words, "the pages")
    assert goal.row(measured(8.0))[2] == "**no**: the pages"


def test_reasons_are_of_goals() -> None:
    assert set(page.REASONS) <= {goal.words for goal in GOALS}


def test_intake_has_a_goal_of_its_own() -> None:
    goal = next(each for each in GOALS if each.words.startswith("intake to common log, small"))
    figures = Figures(
        [FACTS], [Figure.of("small", BARE, "wall", [1.0]), Figure.of("small", INTAKE, "wall", [1.5])]
    )
    assert goal.row(figures)[1:] == ("1.5 ×", "yes")


def test_the_machine_is_told_without_its_name_and_without_paths() -> None:
    import platform

    told = machine()
    assert int(told["cores"]) >= 1
    assert platform.node() not in told.values()
    assert not any(value.startswith("/") for value in told.values())


def test_a_stage_is_held_against_the_bare_read_with_more_room_for_noise() -> None:
    def with_stage(seconds: float) -> Figures:
        stage = Figure.of("small", "coldsift stage: peers", "stage", [seconds])
        return Figures([FACTS], [*measured(4.0).all.values(), stage])

    assert complaints(with_stage(1.4), with_stage(1.0)) == []
    assert complaints(with_stage(1.6), with_stage(1.0)) == [
        "small: coldsift stage: peers: stage 1.60 times the baseline's, was 1.00"
    ]


def test_a_shore_office_is_reckoned_in_proportion_from_the_fleet(tmp_path: Path) -> None:
    facts = Section("fleet of 5,000", 5000, 90, 15, 43_200_000, 4_500_000_000, {"cores": "2"})
    figures = Figures([facts], [Figure.of("fleet of 5,000", SCREEN, "cpu", [1800.0])])
    write_page(figures, tmp_path / "speed.md")
    text = (tmp_path / "speed.md").read_text(encoding="utf-8")
    assert "| one unit's voyage, s of one core | 0.36 |" in text
    assert "| 100,000 of them, hours of one core | 10 |" in text
    assert "| their log files, GB | 90 |" in text
