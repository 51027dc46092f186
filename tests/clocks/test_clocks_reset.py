"""Controllers whose clock lost its time: the epoch of its counter, or a date far from the rest of the log."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from coldsift.days import unit_days
from coldsift.excursions import find_excursions
from coldsift.intake import Intake, read_logs
from coldsift.regimes import build_timeline, find_defrosts, mark_shared
from coldsift.report import overview_of
from coldsift.schema import VOYAGE_EVENTS

UNIT = "QXAU0000001"
BEGIN = datetime(2026, 4, 1, tzinfo=UTC)
QUARTER = timedelta(minutes=15)

EPOCHS = {
    "POSIX": datetime(1970, 1, 1),
    "GPS": datetime(1980, 1, 6),
    "spreadsheets": datetime(1900, 1, 1),
    "a clock circuit": datetime(2000, 1, 1),
    "GPS weeks, first rollover": datetime(1999, 8, 22),
    "GPS weeks, second rollover": datetime(2019, 4, 7),
    "NTP era 1": datetime(2036, 2, 7, 6, 30),
    "POSIX, 32 bits": datetime(2038, 1, 19, 3, 15),
    "the last of two digits": datetime(2099, 12, 30),
}
"""Sources beside :data:`coldsift.intake.times.EPOCHS`."""


def log(shown: list[datetime], container: str = UNIT) -> list[str]:
    return [f"{container},{stamp:%Y-%m-%d %H:%M},2.0,{at % 7 / 10}" for at, stamp in enumerate(shown)]


def run(begin: datetime, count: int) -> list[datetime]:
    return [begin.replace(tzinfo=UTC) + QUARTER * k for k in range(count)]


def read(folder: Path, lines: list[str]) -> Intake:
    path = folder / "log.csv"
    path.write_text("\n".join(["Container,Time (UTC),Set point (°C),Supply air (°C)", *lines]) + "\n")
    intake = read_logs([path])
    (source,) = intake.sources
    assert source.used + source.merged + source.set_aside == source.rows == len(lines)
    return intake


def said(intake: Intake) -> str:
    return " | ".join(message.what for message in intake.messages)


@pytest.mark.parametrize("epoch", EPOCHS)
def test_a_clock_that_was_reset_is_told_with_its_lines_and_their_place(epoch: str, tmp_path: Path) -> None:
    """Set right again after a day: the rows before and after keep their times."""
    before, after = run(BEGIN, 96), run(BEGIN + timedelta(days=2), 96)
    intake = read(tmp_path, log([*before, *run(EPOCHS[epoch], 96), *after]))
    assert intake.log["time"].to_list() == [*before, *after]
    assert intake.set_aside["row"].to_list() == list(range(98, 194))
    assert set(intake.set_aside["container"]) == {UNIT}
    assert set(intake.set_aside["reason"]) <= {"the clock was not set", "the clock was reset"}
    assert (
        f"{UNIT}: 96 lines on a clock without its time, which showed {EPOCHS[epoch]:%Y-%m-%d %H:%M} to "
        in said(intake)
    )
    assert "between 2026-04-01 23:45 and 2026-04-03 00:00 UTC" in said(intake)


@pytest.mark.parametrize("epoch", [name for name in EPOCHS if "two digits" not in name])
@pytest.mark.parametrize("at_end", [True, False])
def test_a_clock_never_set_right_again_is_told_too(epoch: str, at_end: bool, tmp_path: Path) -> None:
    """Also where most of the log is on the reset clock."""
    right, wrong = run(BEGIN, 50), run(EPOCHS[epoch], 200)
    intake = read(tmp_path, log([*right, *wrong] if at_end else [*wrong, *right]))
    assert intake.log["time"].to_list() == right
    assert "their place in the file does not say when that was" in said(intake)


def test_each_unit_of_a_file_is_told_with_its_own_count(tmp_path: Path) -> None:
    other = "QXAU0000022"
    lines = [
        *log([*run(BEGIN, 20), *run(datetime(2000, 1, 1), 7), *run(BEGIN + timedelta(days=1), 20)]),
        *log([*run(BEGIN, 20), *run(datetime(1970, 1, 1), 5), *run(BEGIN + timedelta(days=1), 20)], other),
        *log(run(BEGIN, 30), "QXAU0000043"),
    ]
    intake = read(tmp_path, lines)
    assert f"{UNIT}: 7 lines" in said(intake)
    assert f"{other}: 5 lines" in said(intake)
    assert "QXAU0000043" not in said(intake).replace("Container number 'QXAU0000043'", "")
    assert intake.set_aside["container"].value_counts(sort=True).rows() == [(UNIT, 7), (other, 5)]


def test_newest_first_the_place_is_found_as_well(tmp_path: Path) -> None:
    shown = [*run(BEGIN, 40), *run(datetime(2006, 7, 19), 40), *run(BEGIN + timedelta(days=1), 40)]
    intake = read(tmp_path, log(shown[::-1]))
    assert intake.set_aside.height == 40
    assert "between 2026-04-01 09:45 and 2026-04-02 00:00 UTC" in said(intake)


def test_an_earlier_voyage_in_the_memory_is_kept(tmp_path: Path) -> None:
    """Two voyages with more than a year between them, in order or one file pasted behind the other."""
    then, now = run(datetime(2024, 2, 3, 4), 300), run(BEGIN, 100)
    for shown in ([*then, *now], [*now, *then]):
        intake = read(tmp_path, log(shown))
        assert intake.set_aside.is_empty()
        assert intake.log["time"].to_list() == [*then, *now]


def test_rows_in_no_order_at_all_are_no_sign_of_a_reset(tmp_path: Path) -> None:
    shown = [*run(datetime(2024, 2, 3, 4), 60), *run(BEGIN, 60)]
    assert (
        read(tmp_path, log(shown[::7] + [each for at, each in enumerate(shown) if at % 7])).log.height == 120
    )


def test_a_step_of_the_clock_is_told_and_its_rows_stay(tmp_path: Path) -> None:
    back = read(tmp_path, log([*run(BEGIN, 40), *run(BEGIN + timedelta(hours=7), 40)]))
    assert "The time steps back once, first by 2.75 h" in said(back) or "steps back" in said(back)
    forward = read(tmp_path, log([*run(BEGIN, 40), *run(BEGIN + timedelta(days=4), 40)]))
    assert "leaps forward" in said(forward)
    assert forward.log.height == 80


def test_one_unit_with_a_reset_clock_stretches_no_voyage(tmp_path: Path) -> None:
    """Nor memory: the years between are no hours of a voyage."""
    wrong = [*run(BEGIN, 96), *run(datetime(2000, 1, 1), 96), *run(BEGIN + timedelta(days=2), 96)]
    lines = [each for number in range(6) for each in log(run(BEGIN, 288), f"QXAU000000{number}")]
    away = log(run(datetime(2000, 1, 1), 96), "QXAU0000077")
    intake = read(tmp_path, [*lines, *log(wrong, "QXAU0000099"), *away])
    line = mark_shared(build_timeline(intake.log), VOYAGE_EVENTS.empty())
    view = overview_of(line, VOYAGE_EVENTS.empty())
    assert (view.first, view.last) == (BEGIN, BEGIN + timedelta(days=3) - QUARTER)
    days = unit_days(line, find_defrosts(line), find_excursions(line))
    assert days["container"].value_counts().filter(container="QXAU0000099")["count"].item() == 3
    assert days.height == 6 * 3 + 3 + 1
    longest = line.filter(pl.col("container") == "QXAU0000099")["step_hours"].max()
    assert longest == pytest.approx(24.25)


def test_an_earlier_voyage_in_the_memory_makes_no_days_between(tmp_path: Path) -> None:
    kept = read(tmp_path, log([*run(datetime(2024, 2, 3), 96), *run(BEGIN, 96)])).log
    line = mark_shared(build_timeline(kept), VOYAGE_EVENTS.empty())
    days = unit_days(line, find_defrosts(line), find_excursions(line))
    assert [f"{day:%Y-%m-%d}" for day in days["day"]] == ["2024-02-03", "2026-04-01"]
