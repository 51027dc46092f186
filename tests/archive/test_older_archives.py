"""Archives of earlier versions open, are asked, and take further voyages; those of a newer one do not."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import polars as pl
import pytest
from tests.archive.voyages import finished_run
from tests.cli.calls import run

from coldsift.archive import VOYAGES, ArchiveError, add_run, again, query, read_voyages
from coldsift.archive.catalogue import opened
from coldsift.archive.kept import KEPT
from coldsift.archive.send import Sent
from coldsift.changes import EarlierRunError, earlier_findings
from coldsift.engine.evidence import DossierError
from coldsift.engine.folders import by_units, write_table
from coldsift.engine.recalled import recall
from coldsift.schema import COMMON_LOG, FINDINGS, SCHEMA_VERSION, TABLES, newer_tables

OLDER = Path(__file__).parent / "older"
VERSIONS = sorted(path.stem for path in OLDER.glob("*.zip"))


@pytest.fixture(params=VERSIONS)
def older(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    return unpacked(request.param, tmp_path)


def unpacked(version: str, home: Path) -> Path:
    with zipfile.ZipFile(OLDER / f"{version}.zip") as held:
        held.extractall(home)
    return home / "archive"


def asked(archive: Path, text: str) -> list[tuple[object, ...]]:
    with query(archive, text) as answer:
        return list(answer.rows)


def test_there_is_an_archive_of_each_earlier_kind() -> None:
    assert VERSIONS == ["without_papers", "without_schema"]


def test_its_voyages_are_listed_and_asked(older: Path) -> None:
    voyages = read_voyages(older)
    assert voyages.columns == VOYAGES.names
    assert voyages["units"].to_list() == [3] * voyages.height
    assert voyages["schema"].null_count() == voyages.height
    assert again(older).voyages == voyages.height
    listed = run("archive", "list", "--archive", older)
    assert listed.returncode == 0
    assert "coldsift 0.1.0" in listed.stdout
    (rows,) = asked(older, "SELECT count(*) FROM common_log WHERE supply_air IS NOT NULL")[0]
    assert rows == voyages["readings"].sum()


def test_every_table_can_be_asked_also_those_it_does_not_have(older: Path) -> None:
    with opened(older) as connection:
        for name, table in KEPT.items():
            answer = connection.execute(f'SELECT * FROM "{name}" LIMIT 1')
            assert {column[0] for column in answer.description} == {"voyage", *table.names}


def test_a_voyage_of_today_is_added_to_it(older: Path, tmp_path: Path) -> None:
    before = read_voyages(older)
    add_run(finished_run(tmp_path / "run", "2031-07-03"), older, "today")
    voyages = read_voyages(older)
    assert voyages.filter(pl.col("name") != "today").equals(before)
    assert voyages.row(by_predicate=pl.col("name") == "today", named=True)["schema"] == SCHEMA_VERSION
    assert again(older).voyages == before.height + 1
    (days,) = asked(older, "SELECT count(DISTINCT voyage) FROM unit_days")[0]
    assert days == before.height + 1


def test_a_dossier_is_made_from_the_last_version_and_refused_with_a_reason_before(tmp_path: Path) -> None:
    number = ("SELECT container FROM findings ORDER BY container LIMIT 1",)
    archive = unpacked("without_schema", tmp_path / "last")
    (container,) = asked(archive, *number)[0]
    with recall(archive, str(container)) as recalled:
        assert recalled.of_container(str(container)).timeline.height == 96
    archive = unpacked("without_papers", tmp_path / "first")
    (container,) = asked(archive, *number)[0]
    with (
        pytest.raises(DossierError, match="kept without what a dossier needs"),
        recall(archive, str(container), "Voyage v1"),
    ):
        pass


def test_every_table_written_carries_the_schema_version(sample_run: Path, tmp_path: Path) -> None:
    tables = sorted(sample_run.rglob("*.parquet"))
    assert {path.stem for path in tables} >= set(TABLES) - {
        *("common_log", "unit_hours", "pre_trip", "cargo_temperatures", "treatment_days", "peers_then")
    }
    assert {pl.read_parquet_metadata(path).get("coldsift.schema") for path in tables} == {SCHEMA_VERSION}
    manifest = json.loads((sample_run / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["schema"] == SCHEMA_VERSION
    add_run(finished_run(tmp_path / "run"), tmp_path / "archive")
    kept = sorted((tmp_path / "archive").rglob("*.parquet"))
    assert {pl.read_parquet_metadata(path).get("coldsift.schema") for path in kept} == {SCHEMA_VERSION}
    assert json.loads(run("schema", "--json").stdout)["schema"] == SCHEMA_VERSION
    assert SCHEMA_VERSION in run("schema", "findings").stdout


def test_the_same_table_is_the_same_bytes(tmp_path: Path) -> None:
    frame = FINDINGS.empty()
    for name in ("one", "two"):
        write_table(frame, tmp_path / name)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()
    log = COMMON_LOG.conform(pl.DataFrame({"container": ["a"], "time": [None], "source": ["s"]})[:0])
    assert by_units(log) == by_units(log)


@pytest.mark.parametrize(
    ("version", "readable"),
    [(None, True), ("0.9", True), (SCHEMA_VERSION, True), ("1.99", True), ("2.0", False), ("x", False)],
)
def test_only_tables_of_a_later_main_version_are_refused(version: str | None, readable: bool) -> None:
    assert (newer_tables("here", version) == "") is readable


def test_runs_and_archives_of_a_newer_version_are_refused_with_what_to_do(tmp_path: Path) -> None:
    folder = finished_run(tmp_path / "run")
    add_run(folder, tmp_path / "archive")
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    (folder / "manifest.json").write_text(json.dumps(manifest | {"schema": "2.0"}), encoding="utf-8")
    with pytest.raises(ArchiveError, match=r"made by a newer coldsift.*schema 2\.0.*Update coldsift"):
        add_run(folder, tmp_path / "archive")
    with pytest.raises(EarlierRunError, match="made by a newer coldsift"):
        earlier_findings(folder)
    listed = tmp_path / "archive" / "voyages.parquet"
    pl.read_parquet(listed).with_columns(schema=pl.lit("2.0")).write_parquet(listed)
    with pytest.raises(ArchiveError, match="made by a newer coldsift"):
        read_voyages(tmp_path / "archive")
    told = run("archive", "list", "--archive", tmp_path / "archive")
    assert told.returncode == 2
    assert "Update coldsift" in told.stderr


def test_tables_and_columns_of_a_later_minor_version_are_passed_over(tmp_path: Path) -> None:
    archive = tmp_path / "archive"
    folder = finished_run(tmp_path / "run")
    findings = folder / "findings.parquet"
    pl.read_parquet(findings).with_columns(mood=pl.lit("good")).write_parquet(findings)
    added = add_run(folder, archive)
    listed = pl.read_parquet(archive / "voyages.parquet")
    later = listed.with_columns(
        tables=pl.concat_list("tables", pl.lit("moods")), schema=pl.lit("1.99"), weather=pl.lit("fair")
    )
    later.write_parquet(archive / "voyages.parquet")
    assert read_voyages(archive)["voyage"].to_list() == [added.voyage]
    assert asked(archive, "SELECT count(*) FROM findings") == [(3,)]
    add_run(finished_run(tmp_path / "next", "2031-08-01"), archive)
    assert read_voyages(archive).height == 2


def test_sending_says_which_tables_it_does_not_know(monkeypatch: pytest.MonkeyPatch) -> None:
    sent = Sent(("Voyage",), 0, 12, "localhost/db", ("moods",))
    monkeypatch.setattr("coldsift.archive.send", lambda archive, address: sent)
    told = run("archive", "send", "postgresql://localhost/db")
    assert "a newer coldsift added them: moods" in told.stdout
