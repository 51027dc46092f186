"""Labels put to finished runs: which are used, which are not and why, and what is chosen on them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from coldsift.causes import load_catalogue
from coldsift.engine import labelled
from coldsift.engine.labelled import LabelError, read_history, tune, write_thresholds
from coldsift.ranking import Costs, Thresholds, load_thresholds
from coldsift.schema import FINDINGS

COSTS = Costs(30, 10, 30, 150, 400)
CATALOGUE = load_catalogue()


def number(index: int) -> str:
    return f"QXAU{index:07}"


def finished_run(folder: Path, *units: dict[str, Any]) -> Path:
    """A run's folder with findings of the given units, all of them invented."""
    folder.mkdir(parents=True)
    usual: dict[str, Any] = {"group": "nothing_found", "chance_of_fault": 0.03, "hours_to_limit": None}
    rows = [
        {"rank": place, "number_valid": True, **usual, **unit} for place, unit in enumerate(units, start=1)
    ]
    frame = pl.DataFrame(rows, schema_overrides={"hours_to_limit": pl.Float64, "chance_of_fault": pl.Float64})
    FINDINGS.conform(frame).write_parquet(folder / "findings.parquet")
    return folder


def outcomes(folder: Path, text: str, *runs: Path) -> list[str]:
    return history_of(folder, text, *runs).labels["outcome"].to_list()


def history_of(folder: Path, text: str, *runs: Path) -> labelled.History:
    (folder / "labels.csv").write_text(text, encoding="utf-8")
    return read_history(runs, folder / "labels.csv", CATALOGUE)


@pytest.fixture
def run(tmp_path: Path) -> Path:
    return finished_run(
        tmp_path / "voyage_1",
        {"container": number(1), "group": "go_now", "chance_of_fault": 0.9, "hours_to_limit": 10.0},
        {"container": number(2)},
        {"container": number(3), "group": "cannot_tell", "chance_of_fault": None},
        {"container": number(4), "group": "this_round", "chance_of_fault": 0.05, "hours_to_limit": 0.0},
    )


@pytest.mark.parametrize(
    ("word", "faulty"),
    [
        ("low_refrigerant", True),
        ("Low refrigerant", True),
        ("fault", True),
        ("other_cause", True),
        ("more than one", True),
        ("healthy", False),
        ("Nothing", False),
    ],
)
def test_causes_fault_healthy_and_nothing_are_understood(
    tmp_path: Path, run: Path, word: str, faulty: bool
) -> None:
    used = history_of(tmp_path, f"container,found\n{number(2)},{word}\n", run).used
    assert used["faulty"].to_list() == [faulty]


@pytest.mark.parametrize(
    ("row", "outcome"),
    [
        (f"{number(9)},fault", labelled.UNKNOWN),
        (",fault", labelled.UNKNOWN),
        (f"{number(2)},haunted", labelled.NO_FOUND_WORD),
        (f"{number(2)},", labelled.NO_FOUND_WORD),
        (f"{number(2)}", labelled.NO_FOUND_WORD),
        (f"{number(3)},fault", labelled.TOO_POOR),
        (f"{number(4)},fault", labelled.OUTSIDE),
        ("qxau 000000-2,fault", labelled.USED),
    ],
)
def test_a_label_that_cannot_be_used_is_set_aside_with_its_reason(
    tmp_path: Path, run: Path, row: str, outcome: str
) -> None:
    assert outcomes(tmp_path, f"container,found\n{row}\n", run) == [outcome]


def test_a_unit_said_to_be_both_is_set_aside_and_one_said_twice_counts_once(
    tmp_path: Path, run: Path
) -> None:
    text = f"container,found\n{number(1)},fault\n{number(2)},healthy\n{number(1)},low_refrigerant\n"
    assert outcomes(tmp_path, text, run) == [labelled.USED, labelled.USED, labelled.AGAIN]
    text += f"{number(1)},nothing\n"
    assert outcomes(tmp_path, text, run) == [
        labelled.CONTRADICTION,
        labelled.USED,
        labelled.CONTRADICTION,
        labelled.CONTRADICTION,
    ]


def test_a_container_in_two_runs_needs_its_run_named(tmp_path: Path, run: Path) -> None:
    other = finished_run(tmp_path / "voyage_2", {"container": number(2), "chance_of_fault": 0.6})
    text = (
        f"container,run,found\n{number(2)},,fault\n{number(2)},voyage_2,fault\n{number(2)},voyage_1,healthy\n"
        f"{number(1)},voyage_2,fault\n{number(1)},,fault\n"
    )
    found = history_of(tmp_path, text, run, other)
    assert found.labels["outcome"].to_list() == [
        labelled.SEVERAL_RUNS,
        labelled.USED,
        labelled.USED,
        labelled.NO_SUCH_RUN,
        labelled.USED,
    ]
    assert found.used["chance_of_fault"].to_list() == [0.6, 0.03, 0.9]


def test_labels_come_as_spreadsheets_save_them(tmp_path: Path, run: Path) -> None:
    """A byte-order mark, semicolons, capitals, other columns, empty lines, a quoted line break."""
    text = f'\ufeffNote;Container;FOUND\n\n"two\nlines";{number(1)};fault\n;;\n"a;b";{number(2)};healthy\n'
    found = history_of(tmp_path, text, run)
    assert found.labels["outcome"].to_list() == [labelled.USED, labelled.USED]
    assert found.labels["line"].to_list() == [4, 6]


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "is empty"),
        (b"container,cause\nX,fault\n", "no heading 'found'"),
        (b"container,found,found\nX,fault,fault\n", "heading 'found' twice"),
        (b"container,found\n\x81\x8d\x8f\x90,fault\n", "no UTF-8"),
        (b"container,found\n" + b"x" * 200_000 + b",fault\n", "a line of over 32768 characters"),
    ],
)
def test_a_file_that_holds_no_labels_is_named(tmp_path: Path, run: Path, content: bytes, told: str) -> None:
    (tmp_path / "labels.csv").write_bytes(content)
    with pytest.raises(LabelError, match=told) as caught:
        read_history([run], tmp_path / "labels.csv", CATALOGUE)
    assert str(caught.value).startswith("labels.csv")


def test_runs_that_cannot_be_used_are_named(tmp_path: Path, run: Path) -> None:
    (tmp_path / "labels.csv").write_text("container,found\n", encoding="utf-8")
    junk = tmp_path / "junk"
    junk.mkdir()
    (junk / "findings.parquet").write_bytes(b"no table")
    for runs, told in (
        ([tmp_path / "none"], "holds no finished run"),
        ([junk], "holds no finished run"),
        ([run, run], "two runs are called voyage_1"),
    ):
        with pytest.raises(LabelError, match=told):
            read_history(runs, tmp_path / "labels.csv", CATALOGUE)


def fleet(folder: Path, healthy: int, faulty: int) -> labelled.History:
    """Healthy units below 0.3, faulty ones above 0.4; the run watched the faulty ones, and labels say so."""
    chances = np.concatenate([np.linspace(0.01, 0.3, healthy), np.linspace(0.4, 0.9, faulty)])
    run = finished_run(
        folder / "voyage",
        *(
            {
                "container": number(place),
                "chance_of_fault": chance,
                "group": "watch" if place >= healthy else "nothing_found",
            }
            for place, chance in enumerate(chances)
        ),
    )
    found = [
        f"{number(place)},{'fault' if place >= healthy else 'nothing'}" for place in range(healthy + faulty)
    ]
    return history_of(folder, "\n".join(["container,found", *found]), run)


def test_a_history_moves_the_thresholds_to_where_its_faults_begin(tmp_path: Path) -> None:
    """Watched, ten faults of fifty units cost 10 · (10 + 150) = 1600; looked at, 10 · (30 + 30) = 600."""
    tuned = tune(fleet(tmp_path, 40, 10), COSTS)
    assert tuned.thresholds.this_round == pytest.approx(0.35)
    assert 0.3 < tuned.thresholds.watch <= tuned.thresholds.this_round
    assert (tuned.before, tuned.after) == pytest.approx((3200, 1200))
    said = tuned.thresholds.provenance
    assert (said.runs, said.units, said.faults) == (("voyage",), 50, 10)
    assert len(said.labels_sha256) == 64


@pytest.mark.parametrize(
    ("healthy", "faulty", "told"),
    [
        (20, 10, "10 more labelled units"),
        (40, 5, "3 more with a fault"),
        (8, 2, "30 more labelled units, 6 more with a fault"),
        (3, 40, "5 more that were healthy"),
    ],
)
def test_too_few_labels_are_refused_with_how_many_more(
    tmp_path: Path, healthy: int, faulty: int, told: str
) -> None:
    with pytest.raises(LabelError, match=f"Needed: {told}\\. Label more units"):
        tune(fleet(tmp_path, healthy, faulty), COSTS)


def test_what_was_said_is_held_against_what_came_true(tmp_path: Path) -> None:
    bins = labelled.came_true(fleet(tmp_path, 40, 10).used)
    assert [low for low, *_ in bins] == [0.0, 0.1, 0.25, 0.5]
    assert sum(units for *_, units in bins) == 50
    assert [true for *_, true, _ in bins] == pytest.approx([0, 0, 2 / 9, 1])


def test_a_thresholds_file_is_replaced_and_no_other(tmp_path: Path) -> None:
    out = tmp_path / "mine.toml"
    for thresholds in (Thresholds(0.5, 0.2), Thresholds(0.4, 0.1)):
        write_thresholds(thresholds, out)
        assert load_thresholds(out) == thresholds
    assert [path.name for path in tmp_path.iterdir()] == ["mine.toml"]
    notes = tmp_path / "notes.txt"
    notes.write_text("mine", encoding="utf-8")
    for place, told in (
        (notes, "holds no thresholds"),
        (tmp_path, "holds no thresholds"),
        (tmp_path / "no" / "x.toml", "cannot be written"),
    ):
        with pytest.raises(LabelError, match=told):
            write_thresholds(Thresholds(0.5, 0.2), place)
    assert notes.read_text(encoding="utf-8") == "mine"
