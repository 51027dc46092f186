"""The commands as a user types them."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.calls import run, run_alone

SAMPLE = Path(__file__).parents[2] / "sample_logs"

GOOD = "Container,Time (UTC),Set point (°C),Supply air (°C),Return air (°C)\n" + "".join(
    f"QXAU0000016,2026-01-{1 + hour // 24:02}T{hour % 24:02}:00:00Z,-18.0,-19.1,-17.{hour % 7}\n"
    for hour in range(72)
)


def test_screening_the_sample_ends_well_and_says_where_the_report_is(tmp_path: Path) -> None:
    done = run_alone("screen", SAMPLE, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stdout + done.stderr
    assert str(tmp_path / "out" / "index.html") in done.stdout
    assert "does not mean safe" in done.stdout
    assert "\x1b" not in done.stdout + done.stderr
    assert done.stderr == ""


def test_json_is_for_machines(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(GOOD, encoding="utf-8")
    done = run("screen", tmp_path / "log.csv", "--out", tmp_path / "out", "--json")
    summary = json.loads(done.stdout)
    assert summary["units"] == 1
    assert summary["rows"] == {
        "lines": 73,
        "heading_lines": 1,
        "fact_lines": 0,
        "blank_lines": 0,
        "rows": 72,
        "used": 72,
        "merged": 0,
        "set_aside": 0,
    }


BAD_FILES = {
    "empty.csv": b"",
    "heading_only.csv": GOOD.splitlines()[0].encode() + b"\n",
    "junk.csv": bytes(range(256)) * 40,
    "unknown.csv": b"foo,bar\n1,2\n3,4\n",
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_file_that_cannot_be_used_is_named_and_the_rest_goes_on(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "logs"
    folder.mkdir()
    (folder / "good.csv").write_text(GOOD, encoding="utf-8")
    (folder / name).write_bytes(BAD_FILES[name])
    done = run("screen", folder, "--out", tmp_path / "out")
    assert done.returncode == 1, done.stdout + done.stderr
    assert name in done.stdout
    assert "Traceback" not in done.stdout + done.stderr
    assert "1 container" in done.stdout
    assert (tmp_path / "out" / "index.html").is_file()


@pytest.mark.parametrize("name", BAD_FILES)
def test_nothing_usable_is_status_two_and_no_output(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(BAD_FILES[name])
    done = run("screen", tmp_path / name, "--out", tmp_path / "out")
    assert done.returncode == 2
    assert name in done.stdout
    assert not (tmp_path / "out").exists()
    assert "Traceback" not in done.stdout + done.stderr


def test_a_folder_without_logs_and_a_path_that_is_not_there_are_status_two(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for path in (tmp_path / "empty", tmp_path / "missing"):
        done = run("screen", path, "--out", tmp_path / "out")
        assert done.returncode == 2
        assert path.name in done.stdout
        assert "Traceback" not in done.stdout + done.stderr


def test_a_wrong_call_is_status_two() -> None:
    assert run("screen").returncode == 2
    assert run("screen", SAMPLE, "--band", "-3").returncode == 2
    assert run("schema", "no_such_table").returncode == 2
    zone = run("screen", SAMPLE, "--time-zone", "Nowhere")
    assert zone.returncode == 2
    assert "'Nowhere' is no time zone" in zone.stderr


def test_an_output_folder_of_somebody_else_is_refused(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(GOOD, encoding="utf-8")
    done = run("screen", tmp_path / "log.csv", "--out", tmp_path)
    assert done.returncode == 2
    assert "did not write" in done.stderr
    assert (tmp_path / "log.csv").read_text(encoding="utf-8") == GOOD


def test_dates_that_leave_day_and_month_open_are_asked_about(tmp_path: Path) -> None:
    rows = "".join(f"QXAU0000016,03/04/2026 {hour:02}:00,-18,-19,-17\n" for hour in range(24))
    (tmp_path / "log.csv").write_text(
        GOOD.splitlines()[0].replace(" (UTC)", "") + "\n" + rows, encoding="utf-8"
    )
    asked = run("screen", tmp_path / "log.csv", "--out", tmp_path / "out")
    assert asked.returncode == 2
    assert "--date-order" in asked.stdout
    told = run("screen", tmp_path / "log.csv", "--out", tmp_path / "out", "--date-order", "day_first")
    assert told.returncode == 0, told.stdout


def test_the_schema_is_printed_with_units() -> None:
    shown = run("schema", "common_log")
    assert shown.returncode == 0
    assert "suction_pressure" in shown.stdout
    assert "bar" in shown.stdout
    tables = json.loads(run("schema", "--json").stdout)["tables"]
    assert {"findings", "excursions", "defrosts", "features", "set_aside", "common_log"} <= set(tables)


def test_layouts_are_listed_tried_and_drafted(tmp_path: Path) -> None:
    assert "generic" in run("layout", "list").stdout
    odd = tmp_path / "odd.csv"
    odd.write_text("box;when;t1;t2\nQXAU0000016;2026-01-01 00:00;-18,1;-19,2\n", encoding="utf-8")
    assert run("layout", "try", odd).returncode == 0
    draft = run("layout", "draft", odd)
    assert draft.returncode == 0
    assert "when" in draft.stdout


def test_a_simulated_voyage_can_be_screened_and_says_that_it_is_invented(tmp_path: Path) -> None:
    made = run("simulate", "--out", tmp_path / "voyage", "--units", 6, "--days", 2, "--seed", 5)
    assert made.returncode == 0, made.stderr
    assert json.loads((tmp_path / "voyage" / "voyage.json").read_text(encoding="utf-8"))["invented"] is True
    done = run("screen", tmp_path / "voyage", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "6 containers" in done.stdout
    assert run("simulate", "--out", tmp_path / "voyage").returncode == 2


def test_two_simulated_voyages_can_lie_on_different_days(tmp_path: Path) -> None:
    for seed, begin in ((5, "2031-01-06"), (6, "2031-03-02")):
        out = tmp_path / begin
        made = run(
            "simulate",
            "--out",
            out,
            "--units",
            2,
            "--days",
            1,
            "--seed",
            seed,
            "--begin",
            begin,
            "--fault-share",
            0,
        )
        assert made.returncode == 0, made.stderr
        first = sorted(out.glob("*.csv"))[0]
        assert first.read_text(encoding="utf-8").splitlines()[1].startswith(f"{begin} 00:00:00")
    wrong = run("simulate", "--out", tmp_path / "wrong", "--begin", "second of March")
    assert wrong.returncode == 2
    assert "Traceback" not in wrong.stderr


def test_help_does_not_load_the_heavy_libraries() -> None:
    code = (
        "import sys, coldsift.cli.app; "
        "print(sorted({'polars', 'sklearn', 'plotly', 'scipy', 'CoolProp'} & set(sys.modules)))"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "[]"
