"""A query reads the archive's tables, and can do nothing else; the commands say what they did."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from tests.archive.voyages import UNITS, finished_run
from typer.testing import CliRunner, Result

from coldsift.archive import KEPT, VOYAGES, ArchiveError, add_run, query, read_voyages
from coldsift.cli.archive import SHOWN_ROWS, archive_app

FORMULA = "=cmd|' /C calc'!A0"


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("asked")
    archive = home / "archive"
    findings = {UNITS[0]: {"group": "go_now", "oddness": 5.0, "why": FORMULA}}
    add_run(finished_run(home / "north", findings=findings), archive)
    add_run(finished_run(home / "south", "2031-04-01", findings=findings), archive)
    return archive


def command(*arguments: object) -> Result:
    return CliRunner().invoke(archive_app, [*map(str, arguments)])


def told(*arguments: object) -> str:
    """What a command prints that must go well."""
    result = command(*arguments)
    assert result.exit_code == 0, result.output
    return result.stdout


def snapshot(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_every_table_can_be_asked_by_its_name(archive: Path) -> None:
    text = (
        "SELECT table_name, list(column_name ORDER BY column_index) FROM duckdb_columns() WHERE NOT internal "
        "GROUP BY table_name"
    )
    with query(archive, text) as answer:
        there = dict(answer.rows)
    assert there == {
        VOYAGES.name: VOYAGES.names,
        **{name: ["voyage", *table.names] for name, table in KEPT.items()},
    }


@pytest.mark.parametrize(
    "text",
    [
        "COPY (SELECT 1) TO '{archive}/findings/x.csv'",
        "COPY (SELECT 1) TO '{archive}/voyages.parquet' (FORMAT parquet)",
        "CREATE TABLE x AS SELECT 1",
        "INSERT INTO voyages SELECT * FROM voyages",
        "DELETE FROM voyages",
        "DROP VIEW findings",
        "UPDATE voyages SET name = 'x'",
        "ATTACH '{archive}/catalogue.duckdb' AS other",
        "EXPORT DATABASE '{archive}/export'",
        "INSTALL httpfs",
        "LOAD httpfs",
        "SET enable_external_access = true",
        "PRAGMA database_list",
        "EXPLAIN ANALYZE SELECT 1",
        "SELECT 1; DROP TABLE voyages",
        "CALL pragma_version()",
        "WITH x AS (COPY voyages TO '{archive}/x.csv') SELECT * FROM x",
        "WITH x AS (COPY voyages TO '{archive}/voyages.parquet' (FORMAT parquet)) TABLE voyages;",
        "WITH x AS (DELETE FROM voyages RETURNING *) SELECT * FROM x",
        "",
    ],
)
def test_nothing_but_one_select_is_run(archive: Path, text: str) -> None:
    before = snapshot(archive)
    refused = pytest.raises(ArchiveError, match=r"one SELECT can be asked|reaches the archive's tables")
    with refused, query(archive, text.format(archive=archive)) as answer:
        list(answer.rows)
    assert snapshot(archive) == before


@pytest.mark.parametrize(
    "text",
    [
        "SELECT * FROM read_csv('{outside}')",
        "SELECT * FROM read_text('{archive}/../outside.csv')",
        "SELECT * FROM glob('{parent}/*')",
        "SELECT * FROM read_blob('{outside}')",
        "SELECT * FROM read_parquet('https://archive.invalid/x.parquet')",
        "SELECT * FROM read_csv('s3://archive.invalid/x.csv')",
        "SELECT * FROM '{outside}'",
        "SELECT * FROM sniff_csv('{outside}')",
        "SELECT * FROM parquet_metadata('{outside}')",
    ],
)
def test_a_query_reaches_no_other_file_and_no_network(archive: Path, text: str) -> None:
    outside = archive.parent / "outside.csv"
    outside.write_text("secret\n1\n", encoding="utf-8")
    asked = text.format(archive=archive, parent=archive.parent, outside=outside)
    with pytest.raises(ArchiveError), query(archive, asked) as answer:
        pytest.fail(f"read {list(answer.rows)}")


def test_a_query_sees_none_of_the_programs_own_variables(archive: Path) -> None:
    import polars as pl

    own = pl.DataFrame({"secret": [1]})
    with pytest.raises(ArchiveError, match="own does not exist"), query(archive, "SELECT * FROM own"):
        pytest.fail(f"{own}")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("SELEC 1", "syntax error"),
        ("SELECT nothing FROM findings", "nothing"),
        ("SELECT * FROM nowhere", "nowhere"),
        ("SELECT 'x", "unterminated"),
        ("SELECT CAST(container AS INTEGER) FROM findings", "Could not convert"),
    ],
)
def test_a_wrong_query_is_told_in_one_line(archive: Path, text: str, words: str) -> None:
    result = command("sql", text, "--archive", archive)
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert line.startswith("error: the query was not understood, or failed. ")
    assert words in line


def test_an_answer_is_shown_as_a_table(archive: Path) -> None:
    text = (
        'SELECT name, "group", oddness FROM findings JOIN voyages USING (voyage) WHERE oddness > 1 ORDER BY 1'
    )
    assert told("sql", text, "--archive", archive).splitlines() == [
        "name   group   oddness",
        "north  go_now  5",
        "south  go_now  5",
    ]


def test_a_long_answer_says_that_it_is_cut(archive: Path) -> None:
    lines = told("sql", "SELECT time FROM common_log", "--archive", archive).splitlines()
    assert len(lines) == SHOWN_ROWS + 2
    assert lines[-1].startswith(f"… the first {SHOWN_ROWS} rows")


def test_an_answer_for_machines_keeps_every_row_and_type(archive: Path) -> None:
    text = (
        "SELECT container, time, [1.5, NULL] AS list, 'nan'::DOUBLE AS odd, day FROM common_log "
        "JOIN unit_days USING (voyage, container) ORDER BY ALL"
    )
    rows = json.loads(told("sql", text, "--archive", archive, "--json"))
    assert len(rows) == 2 * 3 * 5 * 5 * 6
    assert rows[0] == {
        "container": UNITS[0],
        "time": "2031-01-03T00:00:00Z",
        "list": [1.5, None],
        "odd": None,
        "day": "2031-01-03",
    }
    assert json.loads(told("sql", "SELECT 1 WHERE false", "--archive", archive, "--json")) == []


def test_no_text_of_a_csv_is_a_formula(archive: Path) -> None:
    text = "SELECT DISTINCT why, -2.5 AS number, 'a;=b' AS \"=heading\", 'x;\"  @y' AS quoted FROM findings"
    printed = told("sql", f"{text} WHERE why IS NOT NULL", "--archive", archive, "--csv")
    assert printed.startswith("\ufeff")
    heading, row = csv.reader(io.StringIO(printed.removeprefix("\ufeff")))
    assert heading == ["why", "number", "'=heading", "quoted"]
    assert row == [f"'{FORMULA}", "-2.5", "a;'=b", "x;\"  '@y"]


def test_a_query_may_end_as_sql_does(archive: Path) -> None:
    for end in (";", "; -- the newest", " -- the newest\n", ";\n;"):
        assert told("sql", f"SELECT 'it''s' AS word{end}", "--archive", archive) == "word\nit's\n"


def test_two_columns_of_one_name_are_no_object(archive: Path) -> None:
    text = "SELECT f.voyage, v.voyage FROM findings f JOIN voyages v USING (voyage)"
    refused = command("sql", text, "--archive", archive, "--json")
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert "two columns are named voyage" in refused.stderr
    assert told("sql", text, "--archive", archive, "--csv").startswith("\ufeffvoyage,voyage")


def test_json_and_csv_together_are_refused(archive: Path) -> None:
    assert command("sql", "SELECT 1", "--archive", archive, "--json", "--csv").exit_code == 2


def test_adding_says_what_was_done(tmp_path: Path) -> None:
    run, archive = finished_run(tmp_path / "run"), tmp_path / "archive"
    other = finished_run(tmp_path / "other", mark=1)
    id_ = None
    for path, options, words in (
        (run, ["--voyage", "North\x1b[31m"], "Kept as North\ufffd[31m ({}).\n"),
        (run, [], "Kept already as North\ufffd[31m ({}); nothing was changed.\n"),
        (other, ["--replace"], "Kept as other ({}) in place of North\ufffd[31m.\n"),
    ):
        printed = told("add", path, "--to", archive, *options)
        (id_,) = read_voyages(archive)["voyage"]
        assert printed == words.format(id_)
    refused = command("add", run, "--to", archive)
    assert refused.exit_code == 2
    assert refused.stderr.startswith("error: this voyage is in the archive already as 'other'")


def test_the_list_names_every_voyage(archive: Path) -> None:
    lines = told("list", "--archive", archive).splitlines()
    assert lines[0].split()[:4] == ["voyage", "name", "begin", "end"]
    assert ["north (simulated)" in lines[1], "south (simulated)" in lines[2]] == [True, True]
    assert "2031-01-03  2031-01-07  3" in lines[1]
    rows = json.loads(told("list", "--archive", archive, "--json"))
    assert [row["name"] for row in rows] == ["north", "south"]
    assert (rows[0]["go_now"], rows[0]["begin"]) == (1, "2031-01-03T00:00:00Z")


def test_what_came_again_is_told_in_words_and_for_machines(archive: Path) -> None:
    printed = told("again", "--archive", archive)
    assert printed.startswith("Voyages kept: 2, all simulated.\nCame back after a repair\n  none\n")
    assert f"  {UNITS[0]}  Odd on 2 of 2 voyages: north (go now); south (go now).\n" in printed
    assert printed.endswith("A unit that is not named here is not shown to be sound.\n")
    held: dict[str, Any] = json.loads(told("again", "--archive", archive, "--json"))
    assert (held["voyages"], held["invented"]) == (2, 2)
    assert [row["container"] for row in held["odd"]] == [UNITS[0]]
    assert held["came_back"] == held["drift"] == []


@pytest.mark.parametrize(
    "asked", [["list"], ["again"], ["sql", "SELECT 1"], ["send", "postgresql://nowhere"]]
)
def test_a_folder_without_an_archive_is_told_so(tmp_path: Path, asked: list[str]) -> None:
    result = command(*asked, "--archive", tmp_path)
    assert result.exit_code == 2
    assert "holds no archive" in result.stderr
    assert "Traceback" not in result.output


def test_reading_changes_nothing_in_the_archive(archive: Path) -> None:
    before = snapshot(archive)
    for asked in (["list"], ["again"], ["sql", "SELECT count(*) FROM findings"]):
        told(*asked, "--archive", archive)
    assert snapshot(archive) == before
