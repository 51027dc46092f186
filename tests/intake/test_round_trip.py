"""Every layout, written and read back, gives the same log within the rounding of its units."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest
from intake_frames import UNITS, assert_accounted, errors, invented_log, number, warnings

from coldsift.intake import Intake, read_logs
from coldsift.intake.layouts import load_layouts, own_folder
from coldsift.schema import CHANNELS, Quantity
from coldsift.simulate.layouts import PLAIN_WORDS, write_logs

LAYOUTS = tuple(sorted(path.parent.name for path in own_folder().glob("*/layout.toml")))
VARIANTS = ("", "+gzip", "+zip", "+split", "+split+zip")

HALF_STEP = {
    Quantity.TEMPERATURE: 0.0051,
    Quantity.TEMPERATURE_DIFFERENCE: 0.0051,
    Quantity.PRESSURE: 0.00051,
    Quantity.SHARE: 0.051,
    Quantity.FREQUENCY: 0.0051,
    Quantity.VOLTAGE: 0.051,
    Quantity.CURRENT: 0.0051,
    Quantity.POWER: 0.51,
    Quantity.AIR_FLOW: 0.051,
}


def assert_same_readings(found: pl.DataFrame, truth: pl.DataFrame) -> None:
    assert found.height == truth.height
    pairs = found.join(truth, on=["container", "time"], suffix="@", how="inner")
    assert pairs.height == truth.height
    for channel in CHANNELS.values():
        here, there = pairs[channel.name], pairs[f"{channel.name}@"]
        if channel.is_state:
            assert here.eq_missing(there).all(), channel.name
        else:
            assert (here.is_null() == there.is_null()).all(), channel.name
            assert there.count() > 0, channel.name
            largest = (here - there).abs().max()
            assert isinstance(largest, float)
            assert largest <= HALF_STEP[channel.quantity], channel.name


def read_back(log: pl.DataFrame, folder: Path, layout: str) -> Intake:
    write_logs(log, folder, dict.fromkeys(log["container"].unique(), layout))
    return read_logs([folder])


def test_there_are_nine_layouts_and_all_can_be_used() -> None:
    layouts, messages = load_layouts()
    assert [layout.name for layout in layouts] == list(LAYOUTS)
    assert len(LAYOUTS) == 9
    assert messages == []


@pytest.mark.parametrize("variant", VARIANTS)
@pytest.mark.parametrize("layout", [*LAYOUTS, PLAIN_WORDS])
def test_a_log_written_and_read_is_the_same_log(tmp_path: Path, layout: str, variant: str) -> None:
    log = invented_log(units=2, rows=200)
    intake = read_back(log, tmp_path, layout + variant)
    assert_accounted(intake)
    assert errors(intake) == []
    assert warnings(intake) == []
    assert_same_readings(intake.log, log)
    assert intake.set_aside.is_empty()
    expected = "generic" if layout == PLAIN_WORDS else layout
    assert {source.layout for source in intake.sources} == {expected}
    if "split" in variant and layout not in ("tag_value", "fleet_parquet"):
        assert sum(source.merged for source in intake.sources) == 2 * 20


def test_twelve_hour_clocks_and_offsets_keep_the_instant(tmp_path: Path) -> None:
    log = invented_log(units=1, rows=200)
    for layout in ("fahrenheit_psi", "semicolon_preamble", "workbook"):
        intake = read_back(log, tmp_path / layout, layout)
        assert intake.log["time"].to_list() == log["time"].to_list()


def test_all_layouts_side_by_side_give_one_log(tmp_path: Path) -> None:
    names = [*LAYOUTS, PLAIN_WORDS]
    truth = pl.concat(
        invented_log(units=1, rows=50, seed=k).with_columns(container=pl.lit(number(310000 + k)))
        for k in range(len(names))
    )
    write_logs(truth, tmp_path, {number(310000 + k): name for k, name in enumerate(names)})
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert_same_readings(intake.log, truth)
    assert {source.layout for source in intake.sources} == {*LAYOUTS, "generic"}


@pytest.mark.parametrize("layout", [*LAYOUTS, PLAIN_WORDS])
def test_the_same_log_gives_the_same_bytes(tmp_path: Path, layout: str) -> None:
    log = invented_log(units=2, rows=20)
    for name in ("one", "two"):
        for variant in ("", "+zip", "+gzip"):
            write_logs(log, tmp_path / name, dict.fromkeys(UNITS[:2], layout + variant))
    first = {path.name: path.read_bytes() for path in sorted((tmp_path / "one").iterdir())}
    second = {path.name: path.read_bytes() for path in sorted((tmp_path / "two").iterdir())}
    assert first == second
    assert len(first) >= 3


def test_the_order_of_paths_never_changes_the_result(tmp_path: Path) -> None:
    log = invented_log(units=3, rows=60)
    write_logs(log, tmp_path, {UNITS[0]: "comma_iso+split", UNITS[1]: "tag_value", UNITS[2]: "workbook"})
    spoiled = tmp_path / "spoiled.csv"
    spoiled.write_text((tmp_path / f"{UNITS[0]}_a.csv").read_text().replace(",1,", ",0,"))
    paths = sorted(tmp_path.iterdir())
    forth, back = read_logs(paths), read_logs(paths[::-1])
    folder = read_logs([tmp_path])
    assert_accounted(forth)
    for other in (back, folder):
        assert forth.log.equals(other.log)
        assert forth.set_aside.equals(other.set_aside)
        assert forth.sources == other.sources
        assert forth.messages == other.messages
    assert forth.set_aside.height > 0


def test_a_path_given_twice_is_read_once(tmp_path: Path) -> None:
    log = invented_log(units=1, rows=10)
    (path,) = write_logs(log, tmp_path, {UNITS[0]: "comma_iso"})
    intake = read_logs([path, tmp_path, str(tmp_path / "*.csv")])
    assert len(intake.sources) == 1
    assert intake.log.height == 10


def test_equal_files_under_two_names_are_merged_and_told_apart(tmp_path: Path) -> None:
    log = invented_log(units=1, rows=10)
    (path,) = write_logs(log, tmp_path, {UNITS[0]: "comma_iso"})
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "copy.csv").write_bytes(path.read_bytes())
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert len({source.id for source in intake.sources}) == 3
    assert [source.merged for source in intake.sources] == [0, 10, 10]
    assert intake.log.height == 10


def test_progress_is_reported_for_each_file(tmp_path: Path) -> None:
    log = invented_log(units=2, rows=5)
    write_logs(log, tmp_path, dict.fromkeys(UNITS[:2], "comma_iso"))
    seen: list[tuple[str, int, int]] = []
    read_logs([tmp_path], progress=lambda name, done, total: seen.append((name, done, total)))
    assert [entry[1:] for entry in seen] == [(0, 2), (1, 2), (2, 2)]


def test_a_set_point_above_the_table_stands_for_the_column(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(
        f"Container: {UNITS[0]}\nUTC-Versatz: +02:00\nKältemittel: R134a\nSollwert: -18,5 °C\n\n"
        "Datum;Uhrzeit;Zuluft [°C];Rückluft [°C]\n"
        "01.04.2026;00:00:00;-18,1;-17,9\n01.04.2026;00:15:00;-18,2;-17,8\n".encode("cp1252")
    )
    intake = read_logs([path])
    assert_accounted(intake)
    assert intake.sources[0].layout == "semicolon_preamble"
    assert intake.sources[0].encoding == "cp1252"
    assert intake.log["set_point"].to_list() == [-18.5, -18.5]
    assert intake.log["supply_air"].to_list() == [-18.1, -18.2]
    assert intake.log["time"][0].isoformat() == "2026-03-31T22:00:00+00:00"
    assert intake.log["time"].diff()[1] == timedelta(minutes=15)
