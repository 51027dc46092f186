"""A run goes into the archive whole, once, and under its own name."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import duckdb
import polars as pl
import pytest
from tests.archive.voyages import UNITS, day, finished_run

import coldsift
from coldsift.archive import (
    CATALOGUE,
    FORMAT,
    KEPT,
    ArchiveError,
    add_run,
    part,
    query,
    read_voyages,
)
from coldsift.engine import write_outputs
from coldsift.schema import TABLES


def asked(archive: Path, text: str) -> list[tuple[object, ...]]:
    with query(archive, text) as answer:
        return list(answer.rows)


def files(archive: Path) -> dict[str, bytes]:
    """What counts in an archive: all of it but the catalogue and the lock."""
    return {
        str(path.relative_to(archive)): path.read_bytes()
        for path in sorted(archive.rglob("*"))
        if path.is_file() and path.name not in (CATALOGUE, ".lock")
    }


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return tmp_path / "archive"


def test_begin_end_units_and_groups_come_from_the_data(tmp_path: Path, archive: Path) -> None:
    run = finished_run(tmp_path / "north", findings={UNITS[1]: {"group": "go_now"}})
    added = add_run(run, archive)
    (voyage,) = read_voyages(archive).to_dicts()
    assert (added.outcome, added.voyage, added.name) == ("added", voyage["voyage"], "north")
    assert (voyage["begin"], voyage["end"]) == (day("2031-01-03"), day("2031-01-07").replace(hour=20))
    assert (voyage["units"], voyage["go_now"], voyage["nothing_found"]) == (3, 1, 2)
    assert (voyage["readings"], voyage["files"], voyage["version"]) == (3 * 5 * 6, 3, "0.1.0")


def test_the_tables_come_back_as_they_were(tmp_path: Path, archive: Path) -> None:
    run = finished_run(tmp_path / "north", mark=1.5)
    added = add_run(run, archive)
    (kept,) = read_voyages(archive).iter_rows(named=True)
    for name in ("findings", "unit_days", "causes", "defrosts", "set_aside"):
        ours = pl.read_parquet(part(archive, name, added.voyage, kept["run"]))
        assert ours.equals(pl.read_parquet(run / f"{name}.parquet"))
    log = pl.read_parquet(part(archive, "common_log", added.voyage, kept["run"]))
    assert log.equals(pl.read_parquet(run / "common_log" / "part-00000.parquet"))
    assert asked(archive, "SELECT text FROM manifests") == [((run / "manifest.json").read_text("utf-8"),)]


def test_the_same_voyage_twice_changes_nothing(tmp_path: Path, archive: Path) -> None:
    run = finished_run(tmp_path / "north")
    add_run(run, archive)
    before = files(archive)
    moved = shutil.copytree(run, tmp_path / "the same elsewhere")
    for again in (run, moved):
        assert add_run(again, archive).outcome == "unchanged"
        assert files(archive) == before


def test_the_same_runs_make_the_same_bytes_in_any_archive(tmp_path: Path) -> None:
    runs = [
        finished_run(tmp_path / name, begin) for name, begin in (("a", "2031-01-03"), ("b", "2031-03-01"))
    ]
    for home in ("one", "two"):
        for run in runs if home == "one" else reversed(runs):
            add_run(run, tmp_path / home)
    assert files(tmp_path / "one") == files(tmp_path / "two")


def test_other_settings_are_refused_until_asked_to_replace(tmp_path: Path, archive: Path) -> None:
    first = finished_run(tmp_path / "first", mark=1)
    second = finished_run(tmp_path / "second", mark=2)
    id_ = add_run(first, archive, "North").voyage
    before = files(archive)
    with pytest.raises(ArchiveError, match=r"already as 'North', from another run.*--replace"):
        add_run(second, archive)
    assert files(archive) == before
    replaced = add_run(second, archive, replace=True)
    assert (replaced.voyage, replaced.outcome, replaced.replaced) == (id_, "replaced", ("North",))
    assert asked(archive, "SELECT DISTINCT oddness FROM findings") == [(2.0,)]
    assert asked(archive, "SELECT count(*) FROM common_log WHERE supply_air <> 2") == [(0,)]
    assert len({path.stem for path in archive.glob("*/voyage=*/*.parquet")}) == 1


def test_another_name_for_a_voyage_wants_replace(tmp_path: Path, archive: Path) -> None:
    run = finished_run(tmp_path / "run")
    add_run(run, archive, "North")
    with pytest.raises(ArchiveError, match="already as 'North', under that name"):
        add_run(run, archive, "South")
    assert add_run(run, archive).name == "North"
    assert add_run(run, archive, "South", replace=True).name == "South"
    assert read_voyages(archive)["name"].to_list() == ["South"]


def test_a_longer_log_of_the_same_days_is_the_same_voyage(tmp_path: Path, archive: Path) -> None:
    half = finished_run(tmp_path / "half", days=5)
    whole = finished_run(tmp_path / "whole", days=10, sources=["all of it"])
    first = add_run(half, archive).voyage
    with pytest.raises(ArchiveError, match="3 of the 3 containers have the same days in 'half'"):
        add_run(whole, archive)
    later = add_run(whole, archive, replace=True)
    assert later.voyage != first
    assert later.replaced == ("half",)
    (voyage,) = read_voyages(archive).iter_rows(named=True)
    assert (voyage["voyage"], voyage["replaces"]) == (later.voyage, [first])
    assert not [*archive.glob(f"*/voyage={first}")]


def test_a_log_that_reaches_back_into_the_voyage_before_is_another_voyage(
    tmp_path: Path, archive: Path
) -> None:
    add_run(finished_run(tmp_path / "before", "2031-01-03", days=10), archive)
    add_run(finished_run(tmp_path / "after", "2031-01-09", days=10), archive)
    assert read_voyages(archive)["name"].to_list() == ["before", "after"]


def test_other_containers_at_the_same_time_are_another_voyage(tmp_path: Path, archive: Path) -> None:
    add_run(finished_run(tmp_path / "one ship"), archive)
    add_run(finished_run(tmp_path / "other ship", units=["ZZBU0000015"]), archive)
    assert read_voyages(archive).height == 2


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda run: (run / "manifest.json").unlink(), "holds no finished run: no manifest.json"),
        (lambda run: (run / "manifest.json").write_text("[1]"), "is not one that coldsift wrote"),
        (lambda run: (run / "manifest.json").write_bytes(b"\xff\xfe"), "manifest.json cannot be read"),
        (lambda run: (run / "findings.parquet").unlink(), "its table findings is missing"),
        (lambda run: (run / "causes.parquet").write_bytes(b"PAR1"), "the table causes is not as coldsift"),
        (
            lambda run: pl.concat([pl.read_parquet(run / "defrosts.parquet")] * 2).write_parquet(
                run / "defrosts.parquet"
            ),
            "the table defrosts is not as coldsift",
        ),
        (
            lambda run: pl.DataFrame({"container": ["A"]}).write_parquet(
                run / "common_log" / "part-00000.parquet"
            ),
            "the table common_log is not as coldsift",
        ),
        (
            lambda run: (
                pl.read_parquet(run / "common_log" / "part-00000.parquet")
                .reverse()
                .write_parquet(run / "common_log" / "part-00000.parquet")
            ),
            "the table common_log is not as coldsift writes it .*not sorted",
        ),
    ],
)
def test_a_folder_that_is_no_whole_run_is_refused(
    tmp_path: Path, archive: Path, spoil: object, told: str
) -> None:
    add_run(finished_run(tmp_path / "good", "2030-01-01"), archive)
    before = files(archive)
    run = finished_run(tmp_path / "bad")
    spoil(run)  # type: ignore[operator]
    with pytest.raises(ArchiveError, match=told):
        add_run(run, archive)
    add_run(tmp_path / "good", archive)
    assert files(archive) == before


def test_a_run_of_which_no_file_was_used_is_refused(tmp_path: Path, archive: Path) -> None:
    with pytest.raises(ArchiveError, match="none of its log files was used"):
        add_run(finished_run(tmp_path / "run", sources=[]), archive)


def test_a_folder_with_other_files_is_no_archive(tmp_path: Path, archive: Path) -> None:
    archive.mkdir()
    (archive / "letter.txt").write_text("dear")
    run = finished_run(tmp_path / "run")
    with pytest.raises(ArchiveError, match=r"holds other files, such as letter\.txt"):
        add_run(run, archive)
    with pytest.raises(ArchiveError, match="is a file"):
        add_run(run, archive / "letter.txt")
    with pytest.raises(ArchiveError, match="holds no archive"):
        read_voyages(archive)


def test_without_its_list_of_voyages_nothing_is_thrown_away(tmp_path: Path, archive: Path) -> None:
    add_run(finished_run(tmp_path / "run"), archive)
    (archive / "voyages.parquet").unlink()
    before = files(archive)
    with pytest.raises(ArchiveError, match="Put it back from a backup"):
        add_run(finished_run(tmp_path / "next", "2031-03-01"), archive)
    assert files(archive) == before


def test_a_newer_archive_is_refused_and_left_alone(tmp_path: Path, archive: Path) -> None:
    add_run(finished_run(tmp_path / "run"), archive)
    newer = read_voyages(archive).with_columns(format=pl.lit(FORMAT + 1, dtype=pl.Int64))
    newer.write_parquet(archive / "voyages.parquet")
    before = files(archive)
    for use in (
        read_voyages,
        lambda path: add_run(tmp_path / "run", path),
        lambda path: asked(path, "SELECT 1"),
    ):
        with pytest.raises(ArchiveError, match=rf"newer coldsift: it has layout {FORMAT + 1}.*Update"):
            use(archive)
    assert files(archive) == before


def test_an_archive_from_before_a_column_and_a_table_were_thought_of_opens(
    tmp_path: Path, archive: Path
) -> None:
    added = add_run(finished_run(tmp_path / "old"), archive)
    (old,) = read_voyages(archive).iter_rows(named=True)
    findings = part(archive, "findings", added.voyage, old["run"])
    pl.read_parquet(findings).drop("hours_to_limit").write_parquet(findings)
    read_voyages(archive).drop("replaces").with_columns(
        tables=pl.col("tables").list.set_difference(pl.lit(["defrosts"]))
    ).write_parquet(archive / "voyages.parquet")
    assert asked(archive, "SELECT count(*), count(hours_to_limit) FROM findings") == [(3, 0)]
    assert asked(archive, "SELECT * FROM defrosts") == []
    add_run(
        finished_run(tmp_path / "new", "2031-03-01", findings={UNITS[0]: {"hours_to_limit": 7.0}}), archive
    )
    assert asked(archive, "SELECT count(*), count(hours_to_limit) FROM findings") == [(6, 1)]
    assert asked(archive, "SELECT count(*) FROM defrosts") == [(3,)]


@pytest.mark.usefixtures("catalogue")
def test_a_lost_catalogue_is_made_anew_and_never_needed(tmp_path: Path, archive: Path) -> None:
    run = finished_run(tmp_path / "run")
    add_run(run, archive)
    (archive / CATALOGUE).write_bytes(b"not a database")
    assert asked(archive, "SELECT count(*) FROM findings") == [(3,)]
    (archive / CATALOGUE).unlink()
    assert asked(archive, "SELECT count(*) FROM findings") == [(3,)]
    assert add_run(run, archive).outcome == "unchanged"
    assert (archive / CATALOGUE).is_file()


@pytest.mark.usefixtures("catalogue")
def test_another_program_opens_the_catalogue(tmp_path: Path, archive: Path) -> None:
    for name, begin in (("a", "2031-01-03"), ("b", "2031-03-01")):
        add_run(finished_run(tmp_path / name, begin), archive)
    with duckdb.connect(str(archive / CATALOGUE), read_only=True) as connection:
        names = {name for (name,) in connection.execute("SELECT table_name FROM duckdb_columns()").fetchall()}
        assert {"voyages", *KEPT} <= names
        joined = (
            "SELECT name, count(*) FROM common_log JOIN voyages USING (voyage) GROUP BY name ORDER BY name"
        )
        assert connection.execute(joined).fetchall() == [("a", 90), ("b", 90)]


@pytest.mark.usefixtures("catalogue")
def test_a_missing_part_is_named_and_can_be_put_back(tmp_path: Path, archive: Path) -> None:
    add_run(finished_run(tmp_path / "run"), archive)
    (gone,) = archive.glob("causes/voyage=*/*.parquet")
    gone.unlink()
    told = rf"a part of .* cannot be read: .*{gone.stem}.*add its run with --replace"
    with pytest.raises(ArchiveError, match=told):
        asked(archive, "SELECT 1")
    with pytest.raises(ArchiveError, match=told):
        add_run(tmp_path / "run", archive)
    add_run(tmp_path / "run", archive, replace=True)
    assert asked(archive, "SELECT count(*) FROM causes") == [(3,)]


@pytest.mark.usefixtures("catalogue")
@pytest.mark.parametrize("folder", ["it's", "a [1]", "x=y", "sp ace; -- é"])
def test_the_archive_may_stand_in_any_folder(tmp_path: Path, folder: str) -> None:
    archive = tmp_path / folder / "archive"
    added = add_run(finished_run(tmp_path / "run"), archive)
    assert asked(archive, "SELECT DISTINCT voyage FROM findings") == [(added.voyage,)]
    assert asked(archive, "DESCRIBE findings")[-1][0] == TABLES["findings"].names[-1]


def test_a_folder_that_reads_like_a_part_of_an_archive_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="may begin with voyage="):
        add_run(finished_run(tmp_path / "run"), tmp_path / "voyage=7" / "archive")


def test_text_from_logs_stays_text(tmp_path: Path, archive: Path) -> None:
    hostile = sorted(["../../X'; DROP TABLE voyages; --", 'A"B=voyage', "=cmd()", "a/b\\c"])
    run = finished_run(tmp_path / "run", units=hostile)
    add_run(run, archive, "../'; DELETE FROM voyages; --")
    assert asked(archive, "SELECT container FROM findings ORDER BY rank") == [(text,) for text in hostile]
    assert read_voyages(archive)["name"].to_list() == ["../'; DELETE FROM voyages; --"]
    assert {path.name for path in tmp_path.iterdir()} == {"run", "archive"}


@pytest.mark.parametrize("name", ["", "   ", "x" * 201])
def test_a_voyage_has_a_name_of_some_length(tmp_path: Path, archive: Path, name: str) -> None:
    with pytest.raises(ArchiveError, match="1 to 200 characters"):
        add_run(finished_run(tmp_path / "run"), archive, name)


def test_a_real_screening_is_kept_with_all_its_tables(tmp_path: Path, archive: Path) -> None:
    logs = Path(__file__).parents[2] / "sample_logs"
    screening = coldsift.screen(sorted(logs.glob("ZZBU*"))[:2])
    write_outputs(screening, tmp_path / "run", "Some of the sample voyage")
    add_run(tmp_path / "run", archive)
    (voyage,) = read_voyages(archive).iter_rows(named=True)
    in_parts = {path.parent.name for path in (tmp_path / "run").glob("*/part-00000.parquet")}
    of_one_file = {path.stem for path in (tmp_path / "run").glob("*.parquet")}
    written = of_one_file | in_parts | {"manifests", "inputs"}
    assert set(voyage["tables"]) == written
    names = sorted(of_one_file)
    counted = asked(archive, " UNION ALL ".join(f"SELECT '{name}', count(*) FROM {name}" for name in names))
    assert dict(counted) == {
        name: pl.read_parquet(tmp_path / "run" / f"{name}.parquet").height for name in names
    }
    manifest = json.loads((tmp_path / "run" / "manifest.json").read_text(encoding="utf-8"))
    assert voyage["readings"] == manifest["rows"]["used"]
    assert {group: voyage[group] for group in manifest["groups"]} == manifest["groups"]
    ((coldest,),) = asked(archive, "SELECT min(supply_air) FROM common_log")
    assert coldest == screening.log["supply_air"].min()
