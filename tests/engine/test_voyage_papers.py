"""Work notes and places on board in a screening."""

from __future__ import annotations

from pathlib import Path

import pytest

import coldsift
from coldsift.engine import Request, Screening, Settings, VoyageFiles, reconstruct
from coldsift.schema import NOTES, REASONS, UNIT_DAYS
from coldsift.voyage import TableError

SAMPLE = Path(__file__).parents[2] / "sample_logs"
LOG = SAMPLE / "XQTU4234768.csv"
NUMBER = "XQTU4234768"
STRANGER = "QXAU0000016"


def screened(**files: Path) -> Screening:
    return coldsift.screen([LOG], Settings(voyage=VoyageFiles(**files)))


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_work_notes_come_with_the_screening_and_are_named_among_its_settings(tmp_path: Path) -> None:
    notes = written(tmp_path, "notes.csv", f"container,time,action\n{NUMBER},2031-01-08 10:00,fan replaced\n")
    found = screened(notes=notes)
    assert found.voyage.notes["action"].to_list() == ["fan replaced"]
    assert found.settings.in_words()["work notes"] == "notes.csv"
    assert [message for message in found.messages if message.file == "notes.csv"] == []


def test_without_work_notes_there_are_none() -> None:
    found = screened()
    assert found.voyage.notes.equals(NOTES.empty())
    assert "work notes" not in found.settings.in_words()


def test_notes_of_a_container_without_a_log_are_told(tmp_path: Path) -> None:
    notes = written(
        tmp_path, "notes.csv", f"container,time,action\n{NUMBER},2031-01-08,x\n{STRANGER},2031-01-08,y\n"
    )
    (told,) = [message for message in screened(notes=notes).messages if message.file == "notes.csv"]
    assert told.severity == "warning"
    assert told.what == f"1 of the containers it names have no log here: {STRANGER}."


def test_notes_that_cannot_be_used_are_refused_before_the_logs_are_read(tmp_path: Path) -> None:
    notes = written(tmp_path, "notes.csv", f"container,time,action\n{NUMBER},2031-01-08,\n")
    with pytest.raises(TableError, match="says nothing"):
        screened(notes=notes)


def test_a_dossier_tells_the_notes_of_its_screening(tmp_path: Path) -> None:
    line = "container,time,action\n" + NUMBER + ",2031-01-08 10:00,{}\n"
    found = screened(notes=written(tmp_path, "notes.csv", line.format("fan replaced")))
    assert reconstruct(found, Request(NUMBER)).notes["action"].to_list() == ["fan replaced"]
    assert [file.name for file in reconstruct(found, Request(NUMBER)).files] == ["notes.csv"]


def test_a_finding_says_where_the_container_stands(tmp_path: Path) -> None:
    facts = written(tmp_path, "facts.toml", f'[units.{NUMBER}]\nposition = "210482"\n')
    assert screened(facts=facts).findings["position"].to_list() == ["0210482"]
    assert screened().findings["position"].to_list() == [None]


def test_two_containers_on_one_place_are_both_named(tmp_path: Path) -> None:
    facts = written(
        tmp_path,
        "facts.toml",
        f'[units.{NUMBER}]\nposition = "210482"\n[units.{STRANGER}]\nposition = "0210482"\n',
    )
    told = [message.what for message in screened(facts=facts).messages if "place on board" in message.what]
    assert told == [f"{NUMBER} and {STRANGER} are given one place on board, 0210482."]


def test_every_container_of_the_sample_stands_somewhere_and_nobody_is_warned() -> None:
    found = coldsift.screen([SAMPLE], Settings(voyage=VoyageFiles(facts=SAMPLE / "facts.toml")))
    assert found.findings["position"].null_count() == 0
    assert [message for message in found.messages if message.severity != "note"] == []


def test_the_tables_of_a_screening_are_as_documented() -> None:
    found = screened()
    assert found.reasons.columns == REASONS.names
    assert found.unit_days.columns == UNIT_DAYS.names
    assert found.analysis.peer_members["container"].unique().to_list() == [NUMBER]
    assert found.analysis.peer_bands.is_empty()
    assert found.analysis.timeline["evaporating"].drop_nulls().is_between(-60, 30).all()


def test_no_usable_log_gives_every_table_without_rows(tmp_path: Path) -> None:
    found = coldsift.screen([written(tmp_path, "letter.csv", "dear\nsir\n")])
    for table in (found.findings, found.reasons, found.unit_days, found.analysis.peer_bands):
        assert table.is_empty()
