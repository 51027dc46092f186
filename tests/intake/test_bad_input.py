"""Bad input: a message with file, line, cause and what to do; every line accounted for; the rest goes on."""

from __future__ import annotations

import gzip
import io
import os
import zipfile
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_frames import UNITS, assert_accounted, errors, invented_log, warnings

from coldsift.intake import Intake, Message, read_logs
from coldsift.intake.layouts import own_folder
from coldsift.simulate.layouts import write_logs

UNIT = UNITS[0]
HEADING = "Container number,Date and time (UTC),Set point (°C),Supply air (°C),Return air (°C)"


def rows(count: int = 10, start: int = 0) -> list[str]:
    return [
        f"{UNIT},2026-04-{1 + k // 24:02d} {k % 24:02d}:00:00,-18.0,{-18.2 + k % 3 / 10:.1f},-17.{k % 9}"
        for k in range(start, start + count)
    ]


def written(folder: Path, lines: list[str] | str | bytes, name: str = "log.csv") -> Path:
    path = folder / name
    if isinstance(lines, list):
        lines = "\n".join(lines) + "\n"
    path.write_bytes(lines.encode() if isinstance(lines, str) else lines)
    return path


def beside_a_good_file(folder: Path) -> None:
    """A sound log in the same folder, to see that the batch goes on."""
    write_logs(invented_log(units=2, rows=12), folder, {UNITS[1]: "comma_iso"})


def read_beside_a_good_file(folder: Path) -> Intake:
    beside_a_good_file(folder)
    intake = read_logs([folder])
    assert_accounted(intake)
    assert intake.log.filter(pl.col("container") == UNITS[1]).height == 12
    for message in intake.messages:
        assert message.file and message.what
        assert message.do or message.severity == "note"
    return intake


def about(intake: Intake, name: str, severity: str = "error") -> list[Message]:
    return [message for message in intake.messages if name in message.file and message.severity == severity]


def test_a_sound_file_raises_no_message(tmp_path: Path) -> None:
    written(tmp_path, [HEADING, *rows()])
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert intake.messages == ()
    assert intake.log.height == 10


@pytest.mark.parametrize("content", [b"", b"\n\n \n", b"\xef\xbb\xbf"])
def test_an_empty_file_is_an_error(tmp_path: Path, content: bytes) -> None:
    written(tmp_path, content, "empty.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert "empty" in about(intake, "empty.csv")[0].what


@pytest.mark.parametrize("tail", ["", "\n", "\n\n"])
def test_a_heading_without_rows_is_an_error(tmp_path: Path, tail: str) -> None:
    written(tmp_path, HEADING + tail, "bare.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert "no rows" in about(intake, "bare.csv")[0].what
    assert intake.sources[-1].heading_lines == 1


def test_binary_junk_is_an_error(tmp_path: Path) -> None:
    junk = np.random.default_rng(3).integers(0, 256, 20_000, dtype=np.uint8).tobytes()
    for name, content in {"a.csv": junk, "b.bin": b"\0" * 5000, "c.xlsx": b"PK\x03\x04" + junk,
                          "d.parquet": b"PAR1" + junk + b"PAR1",
                          "e.gz": b"\x1f\x8b" + junk}.items():  # fmt: skip
        written(tmp_path, content, name)
    intake = read_beside_a_good_file(tmp_path)
    for name in ("a.csv", "b.bin", "c.xlsx", "d.parquet", "e.gz"):
        assert len(about(intake, name)) == 1, name


def test_a_cut_off_last_line_is_set_aside_and_the_rows_before_it_are_used(tmp_path: Path) -> None:
    text = "\n".join([HEADING, *rows(10)])
    written(tmp_path, text[:-12], "cut.csv")
    intake = read_beside_a_good_file(tmp_path)
    source = next(source for source in intake.sources if source.path == "cut.csv")
    assert source.truncated
    assert (source.used, source.set_aside) == (9, 1)
    (message,) = about(intake, "cut.csv", "warning")
    assert message.line == 11
    assert "cut off" in message.what
    aside = intake.set_aside.row(0, named=True)
    assert aside["row"] == 11
    assert aside["text"] == text.split("\n")[-1][:-12]


def test_a_last_line_without_line_end_is_used_when_whole(tmp_path: Path) -> None:
    written(tmp_path, "\n".join([HEADING, *rows(10)]), "whole.csv")
    intake = read_beside_a_good_file(tmp_path)
    source = next(source for source in intake.sources if source.path == "whole.csv")
    assert (source.used, source.truncated) == (10, False)


def test_lines_with_too_few_or_too_many_fields_are_set_aside(tmp_path: Path) -> None:
    lines = [HEADING, *rows(10)]
    lines[3], lines[6], lines[8] = lines[3] + ",7", "only,two", "   "
    written(tmp_path, lines, "ragged.csv")
    intake = read_beside_a_good_file(tmp_path)
    source = next(source for source in intake.sources if source.path == "ragged.csv")
    assert (source.used, source.set_aside, source.blank_lines) == (7, 2, 1)
    assert intake.set_aside["row"].to_list() == [4, 7]
    assert [reason.split(":")[0] for reason in intake.set_aside["reason"]] == [
        "too many fields",
        "too few fields",
    ]
    assert intake.set_aside["text"].to_list() == [lines[3], lines[6]]
    assert intake.log.filter(pl.col("container") == UNIT)["row"].to_list() == [2, 3, 5, 6, 8, 10, 11]


def test_nul_bytes_spoil_only_their_line(tmp_path: Path) -> None:
    lines = [HEADING, *rows(10)]
    lines[4] = lines[4].replace("-18", "-\0\0")
    written(tmp_path, lines, "nul.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert intake.set_aside["row"].to_list() == [5]
    assert "NUL" in intake.set_aside["reason"][0]
    assert "\0" not in intake.set_aside["text"][0]


def test_quoted_fields_may_hold_the_delimiter_and_a_stray_quote_spoils_only_its_line(tmp_path: Path) -> None:
    lines = [HEADING + ",Alarms", *(row + ',"low, pressure"' for row in rows(6))]
    lines[3] = rows(6)[2] + ',"never closed'
    written(tmp_path, lines, "quotes.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert intake.set_aside["row"].to_list() == [4]
    log = intake.log.filter(pl.col("container") == UNIT)
    assert log["row"].to_list() == [2, 3, 5, 6, 7]
    assert log["alarms"][0].to_list() == ["low", "pressure"]


def test_a_file_is_read_alike_alone_and_behind_others_with_its_headings(tmp_path: Path) -> None:
    first, second, third = ([row.replace(UNIT, unit) for row in rows(6)] for unit in UNITS[:3])
    written(tmp_path, [HEADING, *first], "a.csv")
    written(tmp_path, [HEADING, *second[:2], second[2] + ",one too many", *second[3:]], "b.csv")
    written(tmp_path, ["Ship: none", HEADING, *third], "c.csv")
    together = read_logs([tmp_path])
    assert_accounted(together)
    for source, name in zip(together.sources, ("a.csv", "b.csv", "c.csv"), strict=True):
        alone = read_logs([tmp_path / name])
        assert alone.sources == (source,)
        assert alone.log.equals(together.log.filter(pl.col("source") == source.id))


def test_blanks_around_a_clock_reading_are_no_part_of_it(tmp_path: Path) -> None:
    lines = rows(6)
    lines[2] = lines[2].replace(",", ", ", 1).replace(":00,", ":00 ,", 1)
    written(tmp_path, [HEADING, *lines])
    intake = read_logs([tmp_path])
    assert intake.messages == ()
    assert intake.log["time"].diff().drop_nulls().n_unique() == 1


def test_a_date_without_its_clock_spoils_only_its_line(tmp_path: Path) -> None:
    heading = HEADING.replace("Date and time (UTC)", "Date,Clock (UTC)")
    lines = [row.replace(" ", ",", 1) for row in rows(6)]
    lines[0] = lines[0].replace("00:00:00", '""')
    written(tmp_path, [heading, *lines], "clock.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert intake.set_aside["row"].to_list() == [2]
    assert intake.set_aside["reason"].to_list() == ["the time cannot be read"]


def test_dates_that_can_be_read_two_ways_are_an_error_naming_the_option(tmp_path: Path) -> None:
    lines = [HEADING, *(f"{UNIT},03/04/2026 {k:02d}:00,-18,-18.1,-17.5" for k in range(8))]
    written(tmp_path, lines, "dates.csv")
    intake = read_beside_a_good_file(tmp_path)
    (message,) = about(intake, "dates.csv")
    assert "--date-order" in message.do
    source = next(source for source in intake.sources if source.path == "dates.csv")
    assert (source.used, source.set_aside) == (0, 8)
    for order, month in (("day_first", 4), ("month_first", 3)):
        settled = read_logs([tmp_path / "dates.csv"], date_order=order)  # type: ignore[arg-type]
        assert_accounted(settled)
        assert errors(settled) == []
        assert settled.log["time"].dt.month().unique().to_list() == [month]


def test_a_date_beyond_the_twelfth_settles_the_order_of_the_whole_file(tmp_path: Path) -> None:
    days = [f"{day:02d}.04.2026 06:00" for day in range(9, 15)]
    written(tmp_path, [HEADING, *(f"{UNIT},{day},-18,-18.1,-17.5" for day in days)], "dates.csv")
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert intake.log["time"].dt.day().to_list() == [9, 10, 11, 12, 13, 14]
    assert any("day first" in message.what for message in intake.messages)


def test_days_in_a_row_settle_the_order_where_the_other_would_jump_by_months(tmp_path: Path) -> None:
    days = [f"05/{day:02d}/2026 06:00" for day in range(1, 9)]
    written(tmp_path, [HEADING, *(f"{UNIT},{day},-18,-18.1,-17.5" for day in days)], "dates.csv")
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert intake.log["time"].dt.month().unique().to_list() == [5]
    assert any("month first" in message.what for message in intake.messages)


def test_unknown_headings_offer_a_draft(tmp_path: Path) -> None:
    written(tmp_path, ["Qa;Qb;Qc", "1;2;3", "4;5;6"], "foreign.csv")
    intake = read_beside_a_good_file(tmp_path)
    (message,) = about(intake, "foreign.csv")
    assert "coldsift layout draft" in message.do
    source = next(source for source in intake.sources if source.path == "foreign.csv")
    assert (source.layout, source.rows, source.set_aside) == (None, 3, 3)


def test_one_unknown_heading_is_named_and_the_others_are_read(tmp_path: Path) -> None:
    written(tmp_path, [HEADING + ",Flux of the moon", *(row + ",9" for row in rows())], "moon.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert any("Flux of the moon" in message.what for message in about(intake, "moon.csv", "note"))
    assert intake.log.height == 22


def test_out_of_order_rows_are_sorted_and_reported(tmp_path: Path) -> None:
    lines = rows(10)
    lines[4], lines[5] = lines[5], lines[4]
    written(tmp_path, [HEADING, *lines], "order.csv")
    intake = read_beside_a_good_file(tmp_path)
    (message,) = about(intake, "order.csv", "warning")
    assert "steps back once" in message.what
    assert message.line == 7
    log = intake.log.filter(pl.col("container") == UNIT)
    assert log["time"].is_sorted()
    assert log["row"].to_list() == [2, 3, 4, 5, 7, 6, 8, 9, 10, 11]


def test_newest_first_is_no_fault(tmp_path: Path) -> None:
    written(tmp_path, [HEADING, *rows(10)[::-1]], "newest.csv")
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert warnings(intake) == []
    assert intake.log["time"].is_sorted()


def test_repeated_rows_are_merged_and_a_row_at_odds_is_set_aside(tmp_path: Path) -> None:
    lines = rows(6)
    lines += [lines[2], lines[3].replace("-18.2", "-11.0")]
    assert lines[-1] != lines[3]
    written(tmp_path, [HEADING, *lines], "repeats.csv")
    intake = read_beside_a_good_file(tmp_path)
    source = next(source for source in intake.sources if source.path == "repeats.csv")
    assert (source.used, source.merged, source.set_aside) == (6, 1, 1)
    aside = intake.set_aside.row(0, named=True)
    assert aside["row"] == 9
    assert aside["reason"] == "conflicts with repeats.csv line 5"
    assert aside["text"] == lines[-1]


@pytest.mark.parametrize(("minutes", "words"), [(-50, "steps back"), (60 * 24 * 9, "leaps forward")])
def test_a_clock_jump_is_reported_with_its_line(tmp_path: Path, minutes: int, words: str) -> None:
    stamps = pl.datetime_range(
        pl.datetime(2026, 4, 1), pl.datetime(2026, 4, 1, 9), "15m", eager=True
    ).to_list()
    shifted = [stamp if k < 20 else stamp + pl.duration(minutes=minutes) for k, stamp in enumerate(stamps)]  # type: ignore[operator]
    texts = pl.select(pl.concat_list(shifted)).to_series()[0].dt.strftime("%Y-%m-%d %H:%M:%S")
    written(
        tmp_path,
        [HEADING, *(f"{UNIT},{text},-18,-18.{k % 10},-17" for k, text in enumerate(texts))],
        "jump.csv",
    )
    intake = read_beside_a_good_file(tmp_path)
    (message,) = [m for m in about(intake, "jump.csv", "warning") if words in m.what]
    assert message.line == 22


def test_a_clock_that_was_never_set_is_set_aside(tmp_path: Path) -> None:
    lines = rows(6)
    lines[2] = lines[2].replace("2026", "1970")
    written(tmp_path, [HEADING, *lines], "unset.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert intake.set_aside["reason"].to_list() == ["the clock was not set"]


def test_no_set_point_is_a_warning(tmp_path: Path) -> None:
    written(tmp_path, ["Container,Time (UTC),Supply air (°C)", f"{UNIT},2026-04-01 00:00,-18"], "no_set.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert any("No set point" in message.what for message in about(intake, "no_set.csv", "warning"))


def test_missing_and_unreadable_paths_are_errors_and_the_rest_goes_on(tmp_path: Path) -> None:
    beside_a_good_file(tmp_path)
    (tmp_path / "loop.csv").symlink_to(tmp_path / "loop.csv")
    (tmp_path / "dangling.csv").symlink_to(tmp_path / "gone.csv")
    intake = read_logs([tmp_path, tmp_path / "not_there.csv", tmp_path / "*.nothing"])
    assert_accounted(intake)
    assert intake.log.height == 12
    assert len(about(intake, "loop.csv")) == 1
    assert len(about(intake, "dangling.csv")) == 1
    assert len(about(intake, "not_there.csv")) == 1
    assert len(about(intake, "*.nothing")) == 1


def test_a_folder_without_logs_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "inner").mkdir()
    (tmp_path / "README.md").write_text("# About")
    intake = read_logs([tmp_path])
    assert [message.what for message in errors(intake)] == ["The folder holds no logs."]
    assert any("README.md" in message.file for message in intake.messages)
    assert intake.log.is_empty()
    assert intake.set_aside.is_empty()


def test_nothing_at_all_gives_an_empty_log() -> None:
    intake = read_logs([])
    assert intake.log.is_empty()
    assert intake.sources == ()


def test_without_a_container_number_no_row_is_used_and_a_file_name_helps(tmp_path: Path) -> None:
    lines = [
        "Time (UTC),Set point (°C),Supply air (°C)",
        "2026-04-01 00:00,-18,-18",
        "2026-04-01 01:00,-18,-18",
    ]
    written(tmp_path, lines, "anonymous.csv")
    written(tmp_path, lines, f"download {UNIT[:4]} {UNIT[4:10]}-{UNIT[10]}.csv")
    intake = read_beside_a_good_file(tmp_path)
    (message,) = about(intake, "anonymous.csv")
    assert "No container number" in message.what
    assert message.line == 2
    assert intake.set_aside["reason"].to_list() == ["no container number"] * 2
    assert intake.log.filter(pl.col("container") == UNIT).height == 2


def test_a_wrong_check_digit_is_kept_and_flagged(tmp_path: Path) -> None:
    wrong = UNIT[:10] + str((int(UNIT[10]) + 1) % 10)
    written(tmp_path, [HEADING, *(row.replace(UNIT, wrong.lower()) for row in rows())], "digit.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert any(
        "check digit" in message.what and wrong in message.what
        for message in about(intake, "digit.csv", "warning")
    )
    assert intake.log.filter(pl.col("container") == wrong).height == 10


def test_readings_that_are_none_become_null_and_are_listed_while_the_row_stays(tmp_path: Path) -> None:
    lines = rows(10)
    for at, text in {1: "-999", 3: "3276.7", 4: "ERR", 6: "---", 7: "412.0", 8: ""}.items():
        cells = lines[at].split(",")
        lines[at] = ",".join([*cells[:3], text, cells[4]])
    written(tmp_path, [HEADING, *lines], "sentinels.csv")
    intake = read_beside_a_good_file(tmp_path)
    source = next(source for source in intake.sources if source.path == "sentinels.csv")
    assert (source.used, source.set_aside) == (10, 0)
    assert intake.set_aside["channel"].to_list() == ["supply_air"] * 5
    assert intake.set_aside["row"].to_list() == [3, 5, 6, 8, 9]
    assert intake.set_aside["text"].to_list() == ["-999", "3276.7", "ERR", "---", "412.0"]
    log = intake.log.filter(pl.col("container") == UNIT)
    assert log["supply_air"].null_count() == 6
    assert log["return_air"].null_count() == 0


def test_a_number_sentinel_alone_is_caught_too(tmp_path: Path) -> None:
    lines = ["Container,Time (UTC),Set point (°C),Supply air (°C),Power (W)"]
    lines += [f"{UNIT},2026-04-01 {k:02d}:00,-18,-18.1,{3276.7 if k == 3 else 4000}" for k in range(8)]
    lines[2] = lines[2].replace("-18.1", "-999")
    written(tmp_path, lines, "numbers.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert intake.set_aside.select("row", "channel").rows() == [(3, "supply_air"), (5, "power")]


def test_a_line_with_an_unreadable_time_is_set_aside(tmp_path: Path) -> None:
    lines = rows(6)
    lines[2] = lines[2].replace("2026-04-01", "yesterday")
    lines[4] = lines[4].replace("2026-04-01 04", "2026-02-30 04")
    written(tmp_path, [HEADING, *lines], "times.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert intake.set_aside["row"].to_list() == [4, 6]
    assert set(intake.set_aside["reason"]) == {"the time cannot be read"}


def test_a_heading_repeated_in_the_middle_is_a_heading(tmp_path: Path) -> None:
    written(tmp_path, [HEADING, *rows(3), HEADING, *rows(3, 3)], "twice.csv")
    intake = read_beside_a_good_file(tmp_path)
    source = next(source for source in intake.sources if source.path == "twice.csv")
    assert (source.heading_lines, source.used) == (2, 6)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-8-sig", "cp1252"])
def test_other_encodings_are_found(tmp_path: Path, encoding: str) -> None:
    written(tmp_path, ("\r\n".join([HEADING, *rows()]) + "\r\n").encode(encoding), "encoded.csv")
    intake = read_beside_a_good_file(tmp_path)
    assert about(intake, "encoded.csv") == []
    assert intake.log.filter(pl.col("container") == UNIT)["supply_air"].null_count() == 0
    assert intake.set_aside.is_empty()


def test_bytes_foreign_to_the_encoding_are_reported_with_their_line(tmp_path: Path) -> None:
    lines = [HEADING + ",Mode", *(row + ",Kühlen" for row in rows(5))]
    raw = ("\n".join(lines) + "\n").encode()
    at = raw.index("Kühlen".encode(), len("\n".join(lines[:3]).encode()))
    written(tmp_path, raw[: at + 1] + b"\xff" + raw[at + 3 :], "foreign.csv")
    intake = read_beside_a_good_file(tmp_path)
    (message,) = about(intake, "foreign.csv", "warning")
    assert message.line == 4
    assert intake.log.filter(pl.col("container") == UNIT).height == 5


def test_a_zip_member_that_climbs_out_is_refused(tmp_path: Path) -> None:
    content = "\n".join([HEADING, *rows()]) + "\n"
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as archive:
        for name in (
            "../climb.csv",
            "/root.csv",
            "ok/../../climb.csv",
            "c:/drive.csv",
            "good.csv",
            "inner.zip",
        ):
            archive.writestr(name, content)
    intake = read_beside_a_good_file(tmp_path)
    assert len([m for m in about(intake, "bad.zip") if "Refused" in m.what]) == 4
    assert len(about(intake, "inner.zip")) == 1
    assert intake.log.filter(pl.col("container") == UNIT).height == 10


def test_a_damaged_archive_is_an_error_and_a_cut_gzip_gives_what_it_has(tmp_path: Path) -> None:
    content = ("\n".join([HEADING, *rows(200)]) + "\n").encode()
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("log.csv", content)
    written(tmp_path, buffer.getvalue()[:-30], "cut.zip")
    packed = gzip.compress(content, mtime=0)
    written(tmp_path, packed[: len(packed) // 2], "cut.csv.gz")
    intake = read_beside_a_good_file(tmp_path)
    assert len(about(intake, "cut.zip")) == 1
    source = next(source for source in intake.sources if source.path == "cut.csv.gz")
    assert source.truncated
    assert 0 < source.used < 200
    assert any("damaged" in message.what for message in about(intake, "cut.csv.gz", "warning"))


def test_a_large_member_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    content = "\n".join([HEADING, *rows(200)]).encode()
    monkeypatch.setattr("coldsift.intake.files.LARGEST_MEMBER", 1000)
    written(tmp_path, gzip.compress(content, mtime=0), "bomb.csv.gz")
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("log.csv", content)
    intake = read_logs([tmp_path])
    assert [message.what.split(":")[0] for message in errors(intake)] == ["Refused", "Refused"]


def test_bad_json_lines_are_set_aside(tmp_path: Path) -> None:
    lines = [
        f'{{"time": "2026-04-01T{k:02d}:00:00Z", "container": "{UNIT}", "set_point": -18, '
        f'"supply_air": -18.{k}}}'
        for k in range(6)
    ]
    lines[2] = "not json"
    lines[4] = lines[4].replace("-18.4", '"ERR"')
    written(tmp_path, "\n".join(lines)[:-10], "log.jsonl")
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert intake.set_aside.filter(pl.col("channel").is_null())["row"].to_list() == [3, 6]
    assert intake.set_aside.filter(pl.col("channel") == "supply_air")["text"].to_list() == ["ERR"]
    assert intake.sources[0].truncated
    assert intake.log.height == 4


def test_a_tag_value_line_at_odds_is_set_aside_alone(tmp_path: Path) -> None:
    lines = ["stamp,box,tag,value,unit"]
    for k in range(4):
        lines += [
            f"2026-04-01T{k:02d}:00:00Z,{UNIT},AIR.TSUP,-18.{k},°C",
            f"2026-04-01T{k:02d}:00:00Z,{UNIT},AIR.TSET,-18,°C",
        ]
    lines += [lines[1], lines[3].replace("-18.1", "-3.0"), lines[5].replace("AIR.TSUP", "NO.SUCH")]
    written(tmp_path, lines, "tags.csv")
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    (source,) = intake.sources
    assert (source.layout, source.rows, source.used, source.merged, source.set_aside) == (
        "tag_value",
        11,
        8,
        1,
        2,
    )
    assert intake.set_aside.select("row", "reason").rows() == [
        (11, "conflicts with tags.csv line 4"),
        (12, "this tag is not known"),
    ]


def test_a_conflict_between_tag_value_files_sets_every_line_of_the_row_aside(tmp_path: Path) -> None:
    def table(value: str) -> list[str]:
        return ["stamp,box,tag,value,unit", f"2026-04-01T00:00:00Z,{UNIT},AIR.TSUP,{value},°C",
                f"2026-04-01T00:00:00Z,{UNIT},AIR.TSET,-18,°C"]  # fmt: skip

    written(tmp_path, table("-18.0"), "a.csv")
    written(tmp_path, table("-12.0"), "b.csv")
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert [(s.used, s.merged, s.set_aside) for s in intake.sources] == [(2, 0, 0), (0, 0, 2)]
    assert intake.set_aside["row"].to_list() == [2, 3]
    assert intake.log["supply_air"].to_list() == [-18.0]


def test_formulas_and_markup_in_text_stay_text(tmp_path: Path) -> None:
    lines = [HEADING + ",Mode", *(row + ",=cmd|'<script>'" for row in rows(2))]
    written(tmp_path, lines)
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert intake.log["mode"].to_list() == ["=cmd|'<script>'"] * 2


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    cuts=st.lists(st.tuples(st.integers(0, 700), st.binary(max_size=6)), max_size=5),
    end=st.integers(0, 700),
)
def test_whatever_happens_to_the_bytes_every_line_is_accounted_for(
    tmp_path: Path, cuts: list[tuple[int, bytes]], end: int
) -> None:
    raw = bytearray(("\n".join([HEADING, *rows(10)]) + "\n").encode())
    for at, junk in cuts:
        raw[at : at + len(junk)] = junk
    written(tmp_path, bytes(raw[:end]))
    intake = read_logs([tmp_path / "log.csv"])
    assert_accounted(intake)
    assert len(intake.sources) == 1
    assert intake.sources[0].used == intake.log.height


SAMPLES = sorted(path for place in own_folder().iterdir() for path in place.glob("sample*"))
SPOILERS = (b"\n", b'"', b";", b",", b"\0", b"\xff", b"-999", b"ERR", b"{", b"2026-13-45", b"UTC", b":")


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.parent.name)
def test_a_spoiled_sample_of_any_layout_is_accounted_for(tmp_path: Path, sample: Path) -> None:
    random = np.random.default_rng(11)
    for turn in range(5):
        raw = bytearray(sample.read_bytes())
        for _ in range(3):
            at = int(random.integers(len(raw)))
            raw[at : at + int(random.integers(30))] = SPOILERS[int(random.integers(len(SPOILERS)))]
        path = written(tmp_path, bytes(raw), f"{turn}_{sample.name}")
        intake = read_logs([path])
        assert_accounted(intake)
        assert len(intake.sources) == 1
        assert sum(source.used for source in intake.sources) >= intake.log.height


def test_a_file_name_that_is_no_utf_8_is_read_and_shown_by_its_codes(tmp_path: Path) -> None:
    written(tmp_path, [HEADING, *rows()])
    (tmp_path / "log.csv").rename(tmp_path / os.fsdecode(b"log\xff.csv"))
    intake = read_logs([tmp_path])
    assert [source.path for source in intake.sources] == ["log\\xff.csv"]
    assert intake.log.height == 10
