"""The page says what was measured, and the guard sees what got worse."""

from pathlib import Path

import polars as pl
from benchmarks.accuracy.page import (
    FIGURES,
    PAGE,
    REAL,
    complaints,
    complaints_real,
    store,
    stored,
    write_page,
)


def test_the_page_in_docs_is_the_one_of_the_stored_figures(tmp_path: Path) -> None:
    write_page(stored(FIGURES), stored(REAL), tmp_path / "accuracy.md")
    assert (tmp_path / "accuracy.md").read_text(encoding="utf-8") == PAGE.read_text(encoding="utf-8")


def test_figures_come_back_as_they_were_stored(tmp_path: Path) -> None:
    store(stored(FIGURES), tmp_path / "figures.json")
    assert (tmp_path / "figures.json").read_bytes() == FIGURES.read_bytes()


def figures(ours: float, baseline: float, flagged: float) -> pl.DataFrame:
    rows = [
        ("coldsift", "average precision", ours),
        ("alarms", "best baseline", baseline),
        ("coldsift", "false flags", flagged),
    ]
    return pl.DataFrame(
        [("fleet size", "20 units", method, measure, value, value, value) for method, measure, value in rows],
        schema=["section", "condition", "method", "measure", "value", "low", "high"],
        orient="row",
    )


def test_the_guard_objects_to_a_worse_ranking_and_to_more_false_flags() -> None:
    before = figures(0.9, 0.3, 0.01)
    assert complaints(before, before) == []
    assert complaints(figures(0.9, 0.3, 0.015), before) == []
    worse = complaints(figures(0.6, 0.3, 0.05), before)
    assert worse == [
        "fleet size: 20 units: average precision 2.00 times the best baseline's, was 3.00",
        "fleet size: 20 units: 5.0% of healthy units flagged, was 1.0%",
    ]


def test_the_guard_looks_at_conditions_that_both_runs_hold() -> None:
    other = figures(0.1, 0.3, 0.5).with_columns(condition=pl.lit("66 units"))
    assert complaints(other, figures(0.9, 0.3, 0.01)) == []


def test_the_guard_objects_to_planted_faults_no_longer_found_in_real_measurements() -> None:
    row = {"data": "sea", "part": "clock", "planted": "put back", "measure": "steps back", "of": 3}
    before, now = (pl.DataFrame([{**row, "found": found}]) for found in (3, 2))
    assert complaints_real(before, before) == []
    assert complaints_real(now, before) == ["sea: clock: put back: steps back: 2 of 3, was 3"]
