"""Nights on which a zone's clocks are changed: wall time to UTC, held against Python's ``zoneinfo``.

``zoneinfo`` reads the time zone database of IANA; which of two instants a wall time means is its ``fold``
(PEP 495).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

import polars as pl
import pytest

from coldsift.intake import Intake, read_logs
from coldsift.intake.times import to_utc, zone_of
from coldsift.regimes import build_timeline

UNIT = "QXAU0000001"

BACK = {
    "Europe/Amsterdam": datetime(2026, 10, 25, 1, tzinfo=UTC),
    "America/New_York": datetime(2026, 11, 1, 6, tzinfo=UTC),
    "America/Santiago": datetime(2026, 4, 5, 3, tzinfo=UTC),
    "Australia/Sydney": datetime(2026, 4, 4, 16, tzinfo=UTC),
    "Australia/Lord_Howe": datetime(2026, 4, 4, 15, tzinfo=UTC),
    # About midnight, so that the hour that comes twice has two dates.
    "America/St_Johns": datetime(2010, 11, 7, 2, 31, tzinfo=UTC),
    # Countries that changed their offset for good.
    "Asia/Pyongyang": datetime(2015, 8, 14, 15, tzinfo=UTC),
    "America/Caracas": datetime(2007, 12, 9, 7, tzinfo=UTC),
    "Europe/Volgograd": datetime(2020, 12, 26, 23, tzinfo=UTC),
}
"""The instant at which clocks go back."""

FORWARD = {
    "Europe/Amsterdam": datetime(2026, 3, 29, 1, tzinfo=UTC),
    "Australia/Sydney": datetime(2026, 10, 3, 16, tzinfo=UTC),
    "Australia/Lord_Howe": datetime(2026, 10, 3, 15, 30, tzinfo=UTC),
    # A whole day that Samoa left out.
    "Pacific/Apia": datetime(2011, 12, 30, 10, tzinfo=UTC),
    "Asia/Pyongyang": datetime(2018, 5, 4, 15, tzinfo=UTC),
}


def instants(change: datetime, minutes: int, hours: float = 30, shift: int = 0) -> list[datetime]:
    """Every reading of a log from some hours before the change to as many after it."""
    count = int(hours * 60 / minutes)
    midnight = change.replace(hour=0, minute=0) + timedelta(minutes=shift)
    begin = midnight + (change - midnight) // timedelta(minutes=minutes) * timedelta(minutes=minutes)
    return [begin + timedelta(minutes=minutes) * k for k in range(-count, count + 1)]


def wall(stamps: list[datetime], zone: str) -> pl.Series:
    """What a clock on the wall shows."""
    local = (stamp.astimezone(ZoneInfo(zone)).replace(tzinfo=None) for stamp in stamps)
    return pl.Series(list(local), dtype=pl.Datetime("us"))


def placed(shown: pl.Series, zone: str) -> list[datetime | None]:
    return to_utc(shown, zone, pl.Series([UNIT] * len(shown))).instant.to_list()


def folds(shown: datetime, zone: str) -> set[datetime]:
    """The instants that a wall time can mean, by ``zoneinfo``; none where the zone skips it."""
    known = ZoneInfo(zone)
    both = {shown.replace(tzinfo=known, fold=fold).astimezone(UTC) for fold in (0, 1)}
    return {each for each in both if each.astimezone(known).replace(tzinfo=None) == shown}


def read(folder: Path, shown: pl.Series, zone: str | None = None) -> Intake:
    lines = [f"{UNIT},{stamp:%Y-%m-%d %H:%M},2.0,{at % 7 / 10}" for at, stamp in enumerate(shown)]
    path = folder / "log.csv"
    path.write_text("\n".join(["Container,Time,Set point (°C),Supply air (°C)", *lines]) + "\n")
    intake = read_logs([path], time_zone=zone)
    (source,) = intake.sources
    assert source.used + source.merged + source.set_aside == source.rows == len(shown)
    return intake


# Placed as they were.
@pytest.mark.parametrize("minutes", [1, 15, 60])
@pytest.mark.parametrize("zone", BACK)
@pytest.mark.parametrize("newest_first", [False, True])
def test_a_whole_log_over_the_night_comes_back_to_its_instants(
    zone: str, minutes: int, newest_first: bool
) -> None:
    true = instants(BACK[zone], minutes)
    # Half-hour changes leave an hourly clock one reading in the doubled half hour, or none.
    true = true[::-1] if newest_first else true
    assert placed(wall(true, zone), zone) == true


@pytest.mark.parametrize("minutes", [1, 15, 60])
@pytest.mark.parametrize("zone", FORWARD)
def test_a_whole_log_over_the_short_night_has_neither_gap_nor_loss(zone: str, minutes: int) -> None:
    true = instants(FORWARD[zone], minutes, hours=50)
    assert placed(wall(true, zone), zone) == true


@pytest.mark.parametrize("zone", FORWARD)
def test_times_that_the_zone_skips_are_placed_nowhere(zone: str) -> None:
    first = FORWARD[zone].astimezone(ZoneInfo(zone)).replace(tzinfo=None) - timedelta(hours=30)
    shown = pl.Series([first + timedelta(minutes=10) * k for k in range(200)])
    found = to_utc(shown, zone, pl.Series([UNIT] * 200))
    assert found.never.to_list() == [not folds(each, zone) for each in shown]
    assert found.never.any()
    assert [found.instant[at] for at in range(200) if not found.never[at]] == [
        min(folds(each, zone)) for each in shown if folds(each, zone)
    ]


@pytest.mark.parametrize("zone", [*BACK, *FORWARD])
@pytest.mark.parametrize("year", [2007, 2015, 2026, 2037, 2045])
def test_times_far_from_any_change_are_those_of_zoneinfo(zone: str, year: int) -> None:
    shown = pl.Series([datetime(year, 1, 1, 12) + timedelta(days=k, minutes=k) for k in range(365)])
    for given, got in zip(shown, placed(shown, zone), strict=True):
        assert folds(given, zone) == ({got} if got else set())


@pytest.mark.parametrize("cut", range(0, 12))
@pytest.mark.parametrize("zone", ["Europe/Amsterdam", "America/Santiago"])
def test_a_log_that_ends_or_begins_within_the_hours_follows_on(zone: str, cut: int) -> None:
    true = instants(BACK[zone], 15, hours=6)
    middle = len(true) // 2 - 6 + cut
    for part in (true[: middle + 1], true[middle:]):
        assert placed(wall(part, zone), zone) == part


def test_units_that_take_turns_in_a_file_are_each_placed_by_their_own_order() -> None:
    zone = "Europe/Amsterdam"
    true = [stamp for stamp in instants(BACK[zone], 15) for _ in range(3)]
    owners = pl.Series(["a", "b", "c"] * (len(true) // 3))
    found = to_utc(wall(true, zone), zone, owners)
    assert found.instant.to_list() == true
    assert found.by_order == 8 * 3


# What nothing tells.
def test_one_run_only_between_readings_on_either_side_is_set_aside() -> None:
    """The other run is lost, and an hour is missing before it as well as after it."""
    zone = "Europe/Amsterdam"
    true = instants(BACK[zone], 15)
    for lost in (range(-4, 0), range(0, 4)):
        at = [len(true) // 2 + each for each in lost]
        part = [stamp for place, stamp in enumerate(true) if place not in at]
        found = placed(wall(part, zone), zone)
        assert found.count(None) == 4
        assert [each for each in found if each] == [each for each in part if each in found]


def test_missing_readings_never_put_one_in_the_wrong_hour() -> None:
    zone = "Europe/Amsterdam"
    true = instants(BACK[zone], 15, hours=3)
    for lost in range(1, 2**8, 3):
        gone = {len(true) // 2 - 4 + bit for bit in range(8) if lost >> bit & 1}
        part = [stamp for place, stamp in enumerate(true) if place not in gone]
        found = placed(wall(part, zone), zone)
        # Readings 02:15, 02:30 of either run alone look alike: then none is placed, or the right hour.
        assert all(got is None or got == stamp for got, stamp in zip(found, part, strict=True)), f"{lost:08b}"


def test_rows_in_no_order_that_night_are_set_aside() -> None:
    zone = "Europe/Amsterdam"
    true = instants(BACK[zone], 15)
    middle = len(true) // 2
    mixed = [*true[: middle - 4], *true[middle - 4 : middle + 4][::3], *true[middle - 3 : middle + 4]]
    found = placed(wall(mixed, zone), zone)
    assert all(got in (None, stamp) for got, stamp in zip(found, mixed, strict=True))
    assert None in found


# Through the intake and on.
@pytest.mark.parametrize("minutes", [15, 60])
@pytest.mark.parametrize("change", [BACK["Europe/Amsterdam"], FORWARD["Europe/Amsterdam"]])
def test_no_change_of_the_hour_shows_as_gap_or_step(change: datetime, minutes: int, tmp_path: Path) -> None:
    true = instants(change, minutes)
    intake = read(tmp_path, wall(true, "Europe/Amsterdam"), "Europe/Amsterdam")
    assert intake.log["time"].to_list() == true
    assert not any("steps back" in message.what for message in intake.messages)
    line = build_timeline(intake.log)
    assert not line["gap"].any()
    assert line["step_hours"].drop_nulls().unique().to_list() == [minutes / 60]


def test_the_message_says_how_many_readings_were_decided_how(tmp_path: Path) -> None:
    zone = "Europe/Amsterdam"
    true = instants(BACK[zone], 15)
    whole = read(tmp_path, wall(true, zone), zone)
    assert [message.what for message in whole.messages if "comes twice" in message.what] == [
        "8 readings in the hour that comes twice were placed by their order."
    ]
    ended = read(tmp_path, wall(true[: len(true) // 2 - 1], zone), zone)
    assert [message.what for message in ended.messages if "comes twice" in message.what] == [
        "3 readings in the hour that comes twice were placed so that they follow on from the readings "
        "beside them."
    ]


def test_lines_of_tags_are_placed_tag_by_tag(tmp_path: Path) -> None:
    zone = "Europe/Amsterdam"
    for minutes in (15, 60):
        true = instants(BACK[zone], minutes)
        lines = [
            f"{stamp:%Y-%m-%d %H:%M},{UNIT},{tag},{at % 7 / 10},°C"
            for at, stamp in enumerate(wall(true, zone))
            for tag in ("Set point", "Supply air", "Return air")
        ]
        path = tmp_path / "tags.csv"
        path.write_text("\n".join(["Time,Container,Tag,Value,Unit of measure", *lines]) + "\n")
        intake = read_logs([path], time_zone=zone)
        assert intake.set_aside.is_empty()
        assert intake.log["time"].to_list() == true


def test_readings_that_say_their_own_offset_need_no_zone(tmp_path: Path) -> None:
    """Summer and standard time in one file: the offset settles the hour that comes twice."""
    true = instants(BACK["Europe/Amsterdam"], 15)
    local = [stamp.astimezone(ZoneInfo("Europe/Amsterdam")).isoformat() for stamp in true]
    assert {each[-6:] for each in local} == {"+02:00", "+01:00"}
    path = tmp_path / "log.csv"
    path.write_text(
        "\n".join(["Container,Time,Set point (°C)", *(f"{UNIT},{each},2.0" for each in local)]) + "\n"
    )
    intake = read_logs([path])
    assert intake.log["time"].to_list() == true
    assert intake.sources[0].time_zone == "each reading says its own"
    assert not intake.set_aside.height


def test_a_fixed_offset_has_no_such_night(tmp_path: Path) -> None:
    shown = pl.Series([datetime(2026, 10, 25) + timedelta(minutes=15) * k for k in range(40)])
    intake = read(tmp_path, shown, "+01:00")
    assert intake.log["time"].to_list() == [(each - timedelta(hours=1)).replace(tzinfo=UTC) for each in shown]


def test_every_zone_that_is_taken_can_be_used() -> None:
    """Names of one machine alone, such as its own local time, are no time zones of a log."""
    noon = pl.Series([datetime(2026, 7, 1, 12)])
    names = sorted(available_timezones())
    for name in names[::7]:
        if zone_of(name):
            assert {placed(noon, name)[0]} == folds(noon[0], name), name
    assert [zone_of(name) for name in ("localtime", "posixrules", "right/Europe/Amsterdam", "Factory")] == [
        None
    ] * 4


def test_two_files_that_meet_in_the_night_lose_nothing(tmp_path: Path) -> None:
    zone = "Europe/Amsterdam"
    true = instants(BACK[zone], 15)
    for cut in (len(true) // 2 - 2, len(true) // 2, len(true) // 2 + 2):
        for name, part in (("a", true[:cut]), ("b", true[cut:])):
            lines = [f"{UNIT},{stamp:%Y-%m-%d %H:%M},2.0" for stamp in wall(part, zone)]
            (tmp_path / f"{name}.csv").write_text("\n".join(["Container,Time,Set point (°C)", *lines]) + "\n")
        assert read_logs([tmp_path], time_zone=zone).log["time"].to_list() == true
