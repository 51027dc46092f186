"""The command on the example logs, and its outputs."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import polars as pl
import pytest
import typer
from typer.testing import CliRunner, Result

from coldsift.cli.pre_trip import pretrip
from coldsift.schema import PRE_TRIP
from coldsift.simulate.pre_trip_folder import write_pre_trip_sample

EXAMPLE = Path(__file__).resolve().parents[2] / "docs" / "examples" / "pre_trip"
FAULTY = {"QXKU7548737", "XQFU7469524", "ZZRU7469500"}

app = typer.Typer()
app.command()(pretrip)


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(each) for each in arguments], catch_exceptions=False)


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pre_trip") / "out"
    done = run(EXAMPLE, "--out", folder)
    assert done.exit_code == 0, done.output
    return folder


def test_the_example_is_what_the_simulator_makes(tmp_path: Path) -> None:
    write_pre_trip_sample(tmp_path / "made")
    made = {path.name: path.read_bytes() for path in (tmp_path / "made").iterdir()}
    assert made == {path.name: path.read_bytes() for path in EXAMPLE.iterdir()}
    truth = json.loads(made["voyage.json"])
    assert truth["invented"] is True
    assert {unit["container"] for unit in truth["units"] if unit["cause"] != "healthy"} == FAULTY


def test_the_faulty_boxes_of_the_example_come_first_and_only_they_have_something_outside(out: Path) -> None:
    items = pl.read_parquet(out / "pre_trip.parquet")
    assert set(items.filter(pl.col("verdict") == "outside")["container"]) == FAULTY
    assert set(items.filter(pl.col("rank") <= 3)["container"]) == FAULTY
    PRE_TRIP.conform(items)


def test_the_folder_holds_page_tables_and_manifest(out: Path) -> None:
    assert {path.name for path in out.iterdir()} == {
        "index.html",
        "manifest.json",
        "pre_trip.csv",
        "pre_trip.parquet",
    }
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    rows = manifest["rows"]
    assert rows["rows"] == rows["used"] + rows["merged"] + rows["set_aside"] > 0
    assert manifest["invented"] is True
    assert sum(manifest["verdicts"].values()) == pl.read_parquet(out / "pre_trip.parquet").height
    assert (out / "pre_trip.csv").read_text(encoding="utf-8-sig").startswith("container,rank,phase,item")


def test_the_same_logs_give_the_same_bytes(out: Path, tmp_path: Path) -> None:
    assert run(EXAMPLE, "--out", tmp_path / "again").exit_code == 0
    for path in out.iterdir():
        assert (tmp_path / "again" / path.name).read_bytes() == path.read_bytes(), path.name


def test_the_terminal_names_what_is_outside_and_calls_nothing_safe(tmp_path: Path) -> None:
    done = run(EXAMPLE, "--out", tmp_path / "out")
    for container in FAULTY:
        assert container in done.output
    assert "Nothing outside its band does not mean safe, or passed." in done.output
    assert str(tmp_path / "out" / "index.html") in done.output


def test_the_log_of_a_voyage_is_said_to_be_no_inspection(tmp_path: Path) -> None:
    voyage = Path(__file__).parents[2] / "sample_logs" / "ZZRU4314001.xlsx"
    done = run(voyage, "--out", tmp_path / "out")
    assert "warning: ZZRU4314001: The log goes on for more than 24 h" in done.output
    assert "use coldsift screen" in done.output
    assert "; 1 box\n" in done.output
    assert "use coldsift screen" in (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "warning" not in run(EXAMPLE, "--out", tmp_path / "inspections").output


def test_json_for_machines(tmp_path: Path) -> None:
    done = run(EXAMPLE, "--out", tmp_path / "out", "--json")
    told = json.loads(done.stdout)
    assert told["boxes"] == 7
    assert {item["verdict"] for item in told["items"]} <= {"outside", "watch", "within", "not_tested"}


def test_a_folder_with_other_files_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    done = run(EXAMPLE, "--out", tmp_path)
    assert done.exit_code == 2
    assert "holds files that coldsift did not write" in done.output
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_a_wrong_bands_file_is_refused_before_anything_is_read(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text("[items.voltage]\nunit = 'kV'\n", encoding="utf-8")
    done = run(EXAMPLE, "--out", tmp_path / "out", "--bands", own)
    assert done.exit_code == 2
    assert "items.voltage: unit 'kV'" in done.output
    assert not (tmp_path / "out").exists()


def test_a_file_that_is_no_log_is_told_and_the_rest_is_judged(tmp_path: Path) -> None:
    shutil.copy(EXAMPLE / "ZZBU7469495.csv", tmp_path / "a.csv")
    (tmp_path / "b.csv").write_text("nothing;here\n1;2\n", encoding="utf-8")
    done = run(tmp_path, "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "b.csv" in done.output
    assert (tmp_path / "out" / "index.html").is_file()


def test_nothing_usable_is_status_two_without_a_traceback(tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_text("nothing;here\n1;2\n", encoding="utf-8")
    done = run(tmp_path, "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert not (tmp_path / "out").exists()
    assert "no page was written" in done.output


@pytest.mark.parametrize(
    ("arguments", "told"),
    [(("--refrigerant", "R999"), "R999"), (("--time-zone", "Nowhere"), "no time zone")],
)
def test_a_wrong_call_says_what_is_wrong(tmp_path: Path, arguments: tuple[str, str], told: str) -> None:
    done = run(EXAMPLE, "--out", tmp_path / "out", *arguments)
    assert done.exit_code == 2
    assert told in done.output
