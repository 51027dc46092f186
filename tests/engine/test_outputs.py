"""The whole job on the sample voyage: every output, whole, documented, the same each time."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from coldsift.engine import OutputError, Screening, write_outputs
from coldsift.engine import write as writing
from coldsift.engine.spreadsheets import findings_csv, neutral
from coldsift.schema import TABLES

SAMPLE = Path(__file__).parents[2] / "sample_logs"


@pytest.fixture(scope="module")
def screening(sample: Screening) -> Screening:
    return sample


@pytest.fixture(scope="module")
def outputs(sample_run: Path) -> Path:
    return sample_run


def truth() -> pl.DataFrame:
    return pl.DataFrame(
        json.loads((SAMPLE / "voyage.json").read_text(encoding="utf-8"))["units"], strict=False
    )


OF_OTHERS = {"cargo_temperatures", "treatment_days", "peers_then", "pre_trip"}
"""Tables of a dossier and of a pre-trip inspection; a screening does not write them."""


IN_PARTS = {"common_log", "unit_hours"}
"""Tables that are written batch by batch of units."""


@pytest.mark.parametrize("name", [name for name in TABLES if name not in OF_OTHERS])
def test_each_table_has_its_documented_columns(outputs: Path, name: str) -> None:
    schema = pl.read_parquet_schema(
        outputs / (f"{name}/part-00000.parquet" if name in IN_PARTS else f"{name}.parquet")
    )
    assert schema == {column.name: column.dtype for column in TABLES[name].columns}


def test_the_common_log_is_sorted_unique_and_documented(outputs: Path) -> None:
    log = pl.read_parquet(outputs / "common_log" / "*.parquet")
    assert log.columns == TABLES["common_log"].names
    assert log.select("container", "time").is_unique().all()
    assert log.equals(log.sort("container", "time"))


def test_every_unit_of_the_voyage_is_in_the_findings(outputs: Path) -> None:
    findings = pl.read_parquet(outputs / "findings.parquet")
    assert set(findings["container"]) == set(truth()["container"])


def test_planted_faults_stand_above_healthy_units(outputs: Path) -> None:
    findings = pl.read_parquet(outputs / "findings.parquet").join(truth(), on="container")
    faulty = findings.filter(pl.col("cause") != "healthy").height
    first = findings.sort("rank").head(faulty)
    assert first.filter(pl.col("cause") != "healthy").height >= faulty - 1


def test_the_blackout_is_one_event_of_the_ship(outputs: Path) -> None:
    events = pl.read_parquet(outputs / "voyage_events.parquet")
    assert events.filter(pl.col("kind") == "power_off").height == 1
    assert events["share"].min() > 0.5


def test_every_line_of_every_file_is_accounted_for(screening: Screening) -> None:
    for source in screening.sources:
        assert source.lines == source.heading_lines + source.fact_lines + source.blank_lines + source.rows
        assert source.rows == source.used + source.merged + source.set_aside
    whole_lines = screening.set_aside.filter(pl.col("channel").is_null())
    assert whole_lines.height == sum(source.set_aside for source in screening.sources)


def test_the_manifest_names_every_source_with_its_hash(outputs: Path) -> None:
    manifest = json.loads((outputs / "manifest.json").read_text(encoding="utf-8"))
    assert all(len(source["sha256"]) == 64 and source["layout"] for source in manifest["sources"])
    assert manifest["rows"]["rows"] == sum(source["rows"] for source in manifest["sources"])
    assert manifest["invented"] is True


def test_a_folder_with_other_files_is_left_alone(screening: Screening, tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("mine")
    with pytest.raises(OutputError, match="did not write"):
        write_outputs(screening, tmp_path, "Sample")
    assert [path.name for path in tmp_path.iterdir()] == ["letters.txt"]


def test_a_run_that_fails_leaves_the_earlier_one_whole(
    screening: Screening, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    write_outputs(screening, out, "First")
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}

    def disk_full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(writing, "write_workbook", disk_full)
    with pytest.raises(OutputError, match="No space left"):
        write_outputs(screening, out, "Second")
    assert {path: path.read_bytes() for path in out.rglob("*") if path.is_file()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_text_that_a_spreadsheet_takes_for_a_formula_is_neutralised(text: str) -> None:
    assert neutral(text) == f"'{text}"


def test_spreadsheets_of_the_findings_hold_no_formula(
    screening: Screening, outputs: Path, tmp_path: Path
) -> None:
    hostile = screening.findings.head(1).with_columns(why=pl.lit('=HYPERLINK("x")'))
    cell = list(csv.reader(findings_csv(hostile).lstrip("\ufeff").splitlines()))[1]
    assert cell[hostile.columns.index("why")] == '\'=HYPERLINK("x")'
    sheet = openpyxl.load_workbook(outputs / "findings.xlsx").active
    assert sheet is not None
    assert sheet.max_row == len(screening.findings) + 1
    assert sheet.freeze_panes == "C2"
    assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)
