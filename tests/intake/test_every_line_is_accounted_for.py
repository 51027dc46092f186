"""Logs made by chance, in every layout: where each line went, against the books of whoever wrote them."""

from __future__ import annotations

import gzip
import json
from collections.abc import Sequence
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import polars as pl
import pytest
import xlsxwriter
from benchmarks.robustness.accounting import measure, put, readings, rows_in_other_orders
from benchmarks.robustness.books import Audit, audit, fingerprint
from benchmarks.robustness.generated_logs import DECLARED, FORMS, Written, draw, draw_voyage
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_frames import UNITS, assert_accounted, errors

from coldsift.intake import Intake, read_logs
from coldsift.intake.layouts import load_layouts

CHANCE = st.randoms(use_true_random=False)


def examples(count: int) -> settings:
    slow = [HealthCheck.too_slow, HealthCheck.data_too_large]
    return settings(
        max_examples=count, derandomize=True, deadline=None, database=None, suppress_health_check=slow
    )


def read(files: Sequence[Written]) -> Intake:
    with TemporaryDirectory() as folder:
        return read_logs(put(files, Path(folder) / "logs"))


def assert_balanced(found: Audit) -> None:
    assert found.lost == []
    assert found.off == []
    assert found.values > 0


def test_every_layout_is_written() -> None:
    layouts, _ = load_layouts()
    assert list(DECLARED) == [layout.name for layout in layouts]
    assert set(FORMS) > set(DECLARED), "and logs in the trade's words, that no layout declares"


@pytest.mark.parametrize("form", FORMS)
def test_every_line_of_a_spoiled_log_is_used_merged_or_set_aside(form: str) -> None:
    @examples(4)
    @given(CHANCE)
    def holds(random: Random) -> None:
        file = draw(random, form)
        assert_balanced(audit([file], read([file])))

    holds()


@examples(8)
@given(CHANCE)
def test_files_together_are_accounted_for_and_their_order_changes_no_byte(random: Random) -> None:
    files = draw_voyage(random)
    with TemporaryDirectory() as folder:
        paths = put(files, Path(folder) / "logs")
        intake = read_logs(paths)
        assert_balanced(audit(files, intake))
        shuffled = random.sample(paths, len(paths))
        for given_paths in (shuffled, [Path(folder) / "logs"], [*shuffled, Path(folder) / "logs"]):
            assert fingerprint(read_logs(given_paths)) == fingerprint(intake)


@pytest.mark.parametrize("form", FORMS)
def test_the_order_of_rows_and_a_log_in_two_files_change_no_reading(form: str) -> None:
    @examples(2)
    @given(CHANCE)
    def holds(random: Random) -> None:
        as_drawn, shuffled, dealt_out = rows_in_other_orders(random, form)
        known = readings(read(as_drawn))
        assert known.height > 0
        assert readings(read(shuffled)).equals(known)
        assert readings(read(dealt_out)).equals(known)

    holds()


def test_the_benchmark_counts_what_it_holds_against_the_books(tmp_path: Path) -> None:
    figures = measure(tmp_path, examples=1)
    assert figures["used"] + figures["merged"] + figures["set_aside"] < figures["lines"], (
        "headings and blanks"
    )
    assert figures["lines_off"] == figures["values_off"] == figures["orders_off"] == 0
    assert set(figures["logs"]) == set(FORMS)
    json.dumps(figures)


# ---------------------------------------------------------- what the books must not let through


@pytest.fixture
def file() -> Written:
    drawn = (draw(Random(seed), "comma_iso") for seed in range(50))
    return next(each for each in drawn if {"row", "aside"} <= {line.fate for line in each.lines})


def test_a_row_lost_without_a_word_is_found_out(file: Written) -> None:
    intake = read([file])
    without = Intake(intake.log[1:], intake.set_aside, intake.sources, intake.messages)
    assert audit([file], intake).lost == []
    assert len(audit([file], without).lost) == 1


def test_a_line_set_aside_and_not_listed_is_found_out(file: Written) -> None:
    intake = read([file])
    whole = intake.set_aside.filter(pl.col("channel").is_null())
    others = intake.set_aside.filter(pl.col("channel").is_not_null() | (pl.col("row") != whole["row"][0]))
    assert len(audit([file], Intake(intake.log, others, intake.sources, intake.messages)).lost) == 1


def test_a_reading_off_by_a_tenth_of_its_last_digit_is_found_out(file: Written) -> None:
    intake = read([file])
    nudged = intake.log.with_columns(pl.col("set_point") + 0.001)
    found = audit([file], Intake(nudged, intake.set_aside, intake.sources, intake.messages))
    assert len(found.off) == intake.log["set_point"].count() > 0
    assert found.lost == []


# ---------------------------------------------------------- faults that such logs brought to light

TAGS = "stamp,box,tag,value,unit\n"
AT = f"2026-04-28T22:00:00Z,{UNITS[0]}"


def tags(folder: Path, *lines: str, heading: str = TAGS) -> Intake:
    path = folder / "log.csv"
    path.write_text(heading + "".join(f"{AT},{line}\n" for line in lines), encoding="utf-8")
    intake = read_logs([path])
    assert_accounted(intake)
    assert errors(intake) == []
    return intake


def test_the_same_number_in_another_unit_is_no_repeat(tmp_path: Path) -> None:
    intake = tags(tmp_path, "AIR.TSET,5.00,°C", "AIR.TSUP,5.00,°C", "AIR.TSUP,5.00,°F", "AIR.TSUP,5.00,°C")
    assert intake.log["supply_air"].to_list() == [5.0]
    assert intake.set_aside["row"].to_list() == [4]
    assert intake.sources[0].merged == 1


def test_a_tag_line_without_a_value_does_not_keep_out_one_with_a_value(tmp_path: Path) -> None:
    intake = tags(tmp_path, "AIR.TSET,5.00,°C", "AIR.TSUP,,°C", "AIR.TSUP,4.50,°C", "AIR.TSUP,n/a,°C")
    assert intake.log["supply_air"].to_list() == [4.5]
    assert (intake.sources[0].used, intake.sources[0].merged) == (2, 2)


def test_two_tags_for_one_channel_are_each_read_in_their_own_unit(tmp_path: Path) -> None:
    later = AT.replace("22:00", "22:15")
    heading = "Time,Container,Tag,Value\n"
    lines = ("Set point (°C),5.0", "Supply air (°C),4.0")
    path = tmp_path / "log.csv"
    path.write_text(
        heading + "".join(f"{AT},{line}\n" for line in lines) + f"{later},Supply air temperature (°F),50.0\n",
        encoding="utf-8",
    )
    intake = read_logs([path])
    assert_accounted(intake)
    assert intake.log["supply_air"].to_list() == pytest.approx([4.0, 10.0])


def records(folder: Path, *lines: str) -> Intake:
    path = folder / "log.jsonl"
    path.write_text("".join(f"{line}\n" for line in (f'{{"boxNumber": "{UNITS[0]}"}}', *lines)))
    intake = read_logs([path])
    assert_accounted(intake)
    return intake


def record(minute: int, **fields: object) -> str:
    return json.dumps({"at": f"2026-04-28T22:{minute:02d}:00Z", "setPoint": 5.0, "supplyAir": 4.5} | fields)


def test_a_damaged_record_does_not_change_the_alarms_of_the_others(tmp_path: Path) -> None:
    sound = record(0, alarms=["E12", "HP/LP switch"]), record(15, alarms=[]), record(30)
    alarms = [["E12", "HP/LP switch"], [], None]
    assert records(tmp_path, *sound).log["alarms"].to_list() == alarms
    assert records(tmp_path, *sound, '{"at": ').log["alarms"].to_list() == alarms


def test_alarms_as_a_list_and_as_a_text_are_read_side_by_side(tmp_path: Path) -> None:
    intake = records(tmp_path, record(0, alarms=["E12", "E07"]), record(15, alarms="E31"))
    assert intake.log["alarms"].to_list() == [["E12", "E07"], ["E31"]]


@pytest.mark.parametrize("odd", [True, [4.0, 4.5], {"value": 4.0}, "4,5"])
def test_what_is_no_number_is_no_reading_and_is_listed(tmp_path: Path, odd: object) -> None:
    for others in ({"supplyAir": odd}, {}):
        intake = records(tmp_path, record(0, supplyAir=odd), record(15, **others))
        assert intake.log["supply_air"].to_list() == [None, None if others else 4.5]
        listed = intake.set_aside.filter(pl.col("channel") == "supply_air")
        assert listed["row"].to_list() == [2, 3][: 1 + len(others)]


ODD = '"supplyAir": 4.5, "supplyAir": 7.5'
"""In a record: one reading with two values."""


@pytest.mark.parametrize("other", [ODD, ODD.replace('4.5, "supply', '4.5, "\\u0073upply'), f"{ODD} "])
@pytest.mark.parametrize("end", ["", '{"at": '])
def test_a_record_that_gives_one_reading_two_values_is_set_aside(
    tmp_path: Path, other: str, end: str
) -> None:
    twice = record(15).replace('"supplyAir": 4.5', other)
    assert twice != record(15)
    intake = records(tmp_path, record(0), twice, record(30), *[end] * bool(end))
    assert intake.log["supply_air"].to_list() == [4.5, 4.5]
    assert intake.set_aside.row(0, named=True)["text"] == twice
    reason = "the field 'supplyAir' is there twice, with different values"
    assert intake.set_aside.select("row", "reason").row(0) == (3, reason)
    assert any(reason in message.what and message.line == 3 for message in intake.messages)


def test_a_record_that_gives_one_reading_the_same_value_twice_is_used(tmp_path: Path) -> None:
    twice = record(15).replace('"supplyAir": 4.5', '"supplyAir": 4.5, "supplyAir" : 4.50')
    nested = record(30, door={"seal": 1}, vent={"seal": 2})
    intake = records(tmp_path, record(0), twice, nested)
    assert intake.log["supply_air"].to_list() == [4.5] * 3
    assert intake.set_aside.is_empty()


def test_a_first_record_that_names_two_containers_gives_none(tmp_path: Path) -> None:
    path = tmp_path / "log.jsonl"
    path.write_text(f'{{"boxNumber": "{UNITS[0]}", "boxNumber": "{UNITS[1]}"}}\n{record(0)}\n')
    intake = read_logs([path])
    assert_accounted(intake)
    assert intake.log.is_empty()
    assert intake.set_aside["row"].to_list() == [1, 2]


def workbook(folder: Path, *rows: Sequence[object]) -> Intake:
    path = folder / "log.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet()
        for at, row in enumerate((("Time (UTC)", "Container", "Set point (°C)", "Supply air (°C)"), *rows)):
            sheet.write_row(at, 0, row)
    intake = read_logs([path])
    assert_accounted(intake)
    return intake


def test_a_column_of_remarks_without_a_heading_costs_no_row_of_a_worksheet(tmp_path: Path) -> None:
    rows = [
        [f"2026-04-28T22:{minute:02d}:00Z", UNITS[0], 5.0, 4.5, remark]
        for minute, remark in ((0, "seen"), (15, "seen"), (30, ""))
    ]
    assert workbook(tmp_path, *rows).log["row"].to_list() == [2, 3, 4]


def test_a_worksheet_row_that_reaches_beyond_the_heading_is_set_aside_with_its_text(tmp_path: Path) -> None:
    rows = [[f"2026-04-28T22:{minute:02d}:00Z", UNITS[0], 5.0, 4.5] for minute in (0, 15, 30, 45)]
    rows[1].append(7.5)
    rows[2] += [" "]
    rows[3] += ["", "door open"]
    intake = workbook(tmp_path, *rows)
    assert intake.log["row"].to_list() == [2, 4], "blanks beside the heading are nothing"
    assert intake.set_aside.select("row", "reason").rows() == [
        (3, "too many fields: 5 in place of 4"),
        (5, "too many fields: 6 in place of 4"),
    ]
    assert intake.set_aside["text"].to_list()[1].endswith("5\t4.5\t\tdoor open")
    assert any("2 lines could not be taken apart" in message.what for message in intake.messages)


def test_columns_of_a_tag_table_that_are_not_read_are_named(tmp_path: Path) -> None:
    heading = "stamp,box,tag,value,unit,quality\n"
    intake = tags(tmp_path, "AIR.TSET,5.00,°C,good", "AIR.TSUP,4.50,°C,bad", heading=heading)
    assert any("not known and not read: 'quality'" in message.what for message in intake.messages)
    assert intake.sources[0].layout == "tag_value"


def test_a_file_of_damaged_records_has_every_line_set_aside(tmp_path: Path) -> None:
    path = tmp_path / "log.jsonl"
    path.write_text('{"at": \n\n{"at": "2026-')
    intake = read_logs([path])
    assert_accounted(intake)
    assert [message.what for message in errors(intake)] == ["No line of the file is a JSON record."]
    assert (intake.sources[0].lines, intake.sources[0].set_aside, intake.sources[0].blank_lines) == (3, 2, 1)


TIMES = pl.datetime_range(
    pl.datetime(2026, 4, 28, 22), pl.datetime(2026, 4, 28, 22, 15), "15m", time_zone="UTC", eager=True
)


def parquet(folder: Path, **columns: object) -> Intake:
    keys = {"instant": TIMES, "box": [UNITS[0]] * 2, "tset": [5.0, 5.0]}
    pl.DataFrame(keys | columns).write_parquet(folder / "log.parquet")
    intake = read_logs([folder / "log.parquet"])
    assert_accounted(intake)
    return intake


def test_a_number_that_stands_for_no_reading_is_known_among_32_bit_floats(tmp_path: Path) -> None:
    intake = parquet(tmp_path, pele=pl.Series([3276.7, 2400.0], dtype=pl.Float32))
    assert intake.log["power"].to_list() == [None, 2400.0]
    assert intake.set_aside.select("row", "reason").rows() == [(1, "not a reading")]


@pytest.mark.parametrize("values", [TIMES, [True, False], [b"4", b"5"], TIMES.diff(), [[4.0], [5.0]]])
def test_a_column_that_holds_no_numbers_gives_no_readings(tmp_path: Path, values: object) -> None:
    intake = parquet(tmp_path, tsup=values)
    assert intake.log["supply_air"].to_list() == [None, None]
    listed = intake.set_aside.filter(pl.col("channel") == "supply_air")
    assert listed.height == 2 - pl.Series(values).null_count()


@pytest.mark.parametrize(("suction", "settled"), [("-20.0", "gauge"), ("130.0", "absolute")])
def test_a_number_that_stands_for_no_reading_is_known_in_pressures_that_do_not_say_gauge_or_absolute(
    tmp_path: Path, suction: str, settled: str
) -> None:
    # Below zero can only be gauge; R134a at 2.3 bar would evaporate warmer than this supply air.
    heading = (
        "Time,Container,Set point (°C),Supply air (°C),Compressor,Suction pressure (kPa),High pressure (kPa)"
    )
    rows = [
        f"2026-04-28T22:{minute:02d}:00Z,{UNITS[0]},-18.0,-18.0,on,{suction},{high}"
        for minute, high in enumerate(("3276.7", "900.0", "900.0", "900.0"))
    ]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([heading, *rows, ""]))
    intake = read_logs([path])
    assert intake.sources[0].pressure_reading.startswith(settled)
    assert intake.log["discharge_pressure"].is_null().to_list() == [True, False, False, False]
    assert intake.set_aside.select("row", "channel", "reason").rows() == [
        (2, "discharge_pressure", "not a reading")
    ]


def test_the_last_line_of_a_damaged_gzip_file_is_not_taken_for_whole(tmp_path: Path) -> None:
    heading = "TIME,UNIT,TSET,TSUP,PELE\n"
    lines = [f"2026-04-28T{at // 60:02d}:{at % 60:02d}:00Z,{UNITS[0]},5.00,4.50,5240\n" for at in range(60)]
    packed = gzip.compress((heading + "".join(lines)).encode(), compresslevel=0, mtime=0)
    path = tmp_path / "log.csv.gz"
    path.write_bytes(packed[: packed.rindex(b"5240") + 2])
    intake = read_logs([path])
    assert_accounted(intake)
    assert intake.log["power"].unique().to_list() == [5240.0], "and not 52 W"
    assert intake.set_aside["row"].to_list() == [61]
    assert intake.sources[0].truncated


def test_one_log_as_text_and_as_32_bit_floats_is_one_log(tmp_path: Path) -> None:
    parquet(tmp_path, tsup=pl.Series([4.1, -18.3], dtype=pl.Float32))
    rows = [f"{time:%Y-%m-%dT%H:%M:%SZ},{UNITS[0]},5.00" for time in TIMES]
    (tmp_path / "log.csv").write_text(f"TIME,UNIT,TSET,TSUP\n{rows[0]},4.1\n{rows[1]},-18.3\n")
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert intake.set_aside.is_empty()
    assert [source.merged for source in intake.sources] == [0, 2]
    assert intake.log["supply_air"].to_list() == [4.1, -18.3]
