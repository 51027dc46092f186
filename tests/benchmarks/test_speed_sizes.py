"""The files that speed is measured on are what the page says of them."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from benchmarks.speed import sizes
from benchmarks.speed.sizes import DECIMALS, STATES, Size, as_file, csv_files, voyages
from stdnum import iso6346

from coldsift.intake import read_logs

TINY = Size("tiny", 5, 1, 15, (2, 5))
ROWS = 96


def simulated_units(count: int = 2) -> list[pl.DataFrame]:
    """Like what the simulator logs, without its time."""
    begin = datetime(2031, 1, 6, tzinfo=UTC)
    return [
        pl.DataFrame({"time": [begin + timedelta(minutes=15 * row) for row in range(ROWS)]}).with_columns(
            pl.lit(f"unit {number}").alias("container"),
            *(pl.lit(float(number + 2)).alias(channel) for channel in DECIMALS),
            *(pl.lit(True).alias(state) for state in STATES),
            alarms=pl.lit([], dtype=pl.List(pl.String)),
        )
        for number in range(count)
    ]


@pytest.fixture
def written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(sizes, "_base", lambda size, cache: simulated_units())
    return tmp_path


def test_each_voyage_has_the_files_of_the_one_before(written: Path) -> None:
    first, whole = voyages(TINY, written)
    assert (first.units, first.rows, whole.units, whole.rows) == (2, 2 * ROWS, 5, 5 * ROWS)
    assert set(csv_files(first.folders)) < set(csv_files(whole.folders))
    assert whole.bytes == sum(path.stat().st_size for path in csv_files(whole.folders))


def test_every_unit_has_a_valid_number_of_its_own_and_no_two_files_are_the_same(written: Path) -> None:
    files = list(csv_files(voyages(TINY, written)[-1].folders))
    assert len({path.stem for path in files}) == TINY.units
    assert all(iso6346.is_valid(path.stem) for path in files)
    assert len({path.read_bytes().replace(path.stem.encode(), b"") for path in files}) >= TINY.units - 1


def test_coldsift_reads_them_whole_by_the_trades_words(written: Path) -> None:
    voyage = voyages(TINY, written)[-1]
    intake = read_logs(voyage.folders)
    assert intake.log.height == voyage.rows
    assert intake.set_aside.is_empty()
    assert not [message for message in intake.messages if message.severity != "note"]
    assert intake.log["suction_pressure"].median() == pytest.approx(2.5, abs=0.6)
    assert intake.log["compressor_state"].all()


def test_files_are_made_once_for_the_same_parameters(written: Path) -> None:
    path = next(csv_files(voyages(TINY, written)[-1].folders))
    made = path.stat().st_mtime_ns
    voyages(TINY, written)
    assert path.stat().st_mtime_ns == made
    voyages(Size("tiny", 5, 1, 15, (5,)), written)
    assert not path.exists() or path.stat().st_mtime_ns != made
    assert json.loads((written / "tiny" / "made.json").read_text(encoding="utf-8"))["rows"] == [5 * ROWS]


def test_a_row_is_as_long_as_the_page_says() -> None:
    text = as_file(simulated_units(1)[0].with_columns(pl.col(*DECIMALS) * 4.03), "QXAU1079226", 1).write_csv()
    assert 80 < len(text) / ROWS < 120
    assert "on,on,on" in text


def test_minutes_between_simulated_readings_are_on_the_straight_line() -> None:
    begin = datetime(2031, 1, 6, tzinfo=UTC)
    unit = simulated_units(1)[0].head(2).with_columns(supply_air=pl.Series([0.0, 15.0]))
    filled = sizes._every(unit, 1)
    assert filled["time"].to_list() == [begin + timedelta(minutes=minute) for minute in range(16)]
    assert filled["supply_air"].to_list() == pytest.approx(list(range(16)))
    assert filled["compressor_state"].all()
