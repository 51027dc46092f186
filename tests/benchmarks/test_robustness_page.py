"""The page of what coldsift withstands."""

from __future__ import annotations

from pathlib import Path

import pytest
from benchmarks.robustness.figures import FIGURES, MUST_BE_NOTHING, SECTIONS, faults_of, stored
from benchmarks.robustness.page import PAGE, write_page


def test_the_page_is_the_one_that_the_stored_figures_give(tmp_path: Path) -> None:
    write_page(stored(FIGURES), tmp_path / "robustness.md")
    assert PAGE.read_text(encoding="utf-8") == (tmp_path / "robustness.md").read_text(encoding="utf-8")


def test_nothing_was_measured_that_must_never_be() -> None:
    figures = stored(FIGURES)
    assert figures.keys() <= set(SECTIONS)
    assert [fault for name, found in figures.items() for fault in faults_of(name, found)] == []


@pytest.mark.parametrize(
    ("section", "count"), [(name, count) for name, counts in MUST_BE_NOTHING.items() for count in counts]
)
def test_a_count_that_must_be_nothing_is_told_when_it_is_not(section: str, count: str) -> None:
    sound = dict.fromkeys(MUST_BE_NOTHING[section], 0)
    assert faults_of(section, sound) == []
    assert faults_of(section, sound | {count: 1}) == [f"{section}, {count}: 1"]


def test_a_section_that_was_not_measured_says_so(tmp_path: Path) -> None:
    write_page({}, tmp_path / "robustness.md")
    assert (tmp_path / "robustness.md").read_text(encoding="utf-8").count("ot measured yet") >= len(
        SECTIONS
    ) - 2
