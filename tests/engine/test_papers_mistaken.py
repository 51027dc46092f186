"""A paper given with another one's option, and an earlier run that is not this voyage's."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import coldsift
from coldsift.changes import EarlierRunError
from coldsift.engine import Screening, Settings, VoyageFiles, write_outputs
from coldsift.engine.summary import voyage_summary
from coldsift.voyage import TableError

SAMPLE = Path(__file__).parents[2] / "sample_logs"
LOG, OTHER_LOG = SAMPLE / "XQTU4234768.csv", SAMPLE / "XQFU4551773.csv"


@pytest.mark.parametrize(
    ("files", "option"),
    [
        (VoyageFiles(spares=SAMPLE / "notes.csv"), "work notes, give the file with --notes"),
        (VoyageFiles(notes=SAMPLE / "custody.csv"), "custody events, give the file with --events"),
        (VoyageFiles(plan=SAMPLE / "bookings.csv"), "bookings, give the file with --bookings"),
        (VoyageFiles(events=SAMPLE / "plan.edi"), "places of a stowage plan, give the file with --plan"),
        (VoyageFiles(bookings=SAMPLE / "spares.csv"), "spare parts, give the file with --spares"),
    ],
)
def test_a_paper_given_with_another_ones_option_is_told_its_own(files: VoyageFiles, option: str) -> None:
    with pytest.raises(TableError, match=f"If these are {option}"):
        coldsift.screen([LOG], Settings(voyage=files))


def test_a_log_given_as_a_paper_is_refused_without_a_guess() -> None:
    with pytest.raises(TableError) as refusal:
        coldsift.screen([LOG], Settings(voyage=VoyageFiles(plan=LOG)))
    assert "If these are" not in str(refusal.value)


def test_an_earlier_run_that_is_none_is_refused_before_the_logs_are_read(tmp_path: Path) -> None:
    read = []
    with pytest.raises(EarlierRunError):
        coldsift.screen([LOG], Settings(since=tmp_path), lambda *step: read.append(step))
    assert read == []


@pytest.fixture(scope="module")
def earlier(tmp_path_factory: pytest.TempPathFactory) -> Path:
    run = tmp_path_factory.mktemp("earlier") / "monday"
    write_outputs(coldsift.screen([OTHER_LOG]), run, "Monday")
    return run


def test_an_earlier_run_of_another_voyage_is_warned_of(earlier: Path) -> None:
    (told,) = [each for each in coldsift.screen([LOG], Settings(since=earlier)).messages if each.line is None]
    assert (told.severity, told.file) == ("warning", "monday")
    assert "none of these containers" in told.what


def test_an_earlier_run_given_as_a_dot_has_its_name(earlier: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(earlier)
    assert Settings(since=Path()).in_words()["earlier run"] == "monday"


def test_the_summary_for_machines_says_what_the_papers_came_to(sample_with_papers: Screening) -> None:
    screening = sample_with_papers
    told = json.loads(json.dumps(voyage_summary(screening)))
    assert told["wrong_set_points"] == [
        {"container": "QXAU4630970", "kind": "differs", "booked": 2.0, "logged": 4.0}
    ]
    assert told["set_points"] == {"agrees": 42, "differs": 1}
    assert told["unmatched"] == {"no_log": ["XQTU6122263", "ZZRU7410255"], "no_place": ["ZZRU4710255"]}
    last = screening.aboard.round.row(-1, named=True)
    assert told["round"]["stops"] == last["stop"]
    assert told["round"]["minutes"] == round(last["elapsed_minutes"])
    assert 0 < told["round"]["within"] < told["round"]["stops"]
    assert sum(told["repairs"].values()) == len(screening.aboard.repairs)
    assert told["parts_short"]["door seal"] == 3
    assert told["changes"] == {}


def test_without_papers_the_summary_has_every_key_and_no_row() -> None:
    told = voyage_summary(coldsift.screen([LOG]))
    counts = ("set_points", "unmatched", "repairs", "parts_short", "changes")
    assert [told[each] for each in counts] == [{}] * len(counts)
    assert told["wrong_set_points"] == []
    assert set(told["round"]) == {"stops", "within", "minutes"}
