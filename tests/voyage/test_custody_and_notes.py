from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from coldsift.intake import read_logs
from coldsift.voyage import TableError, read_custody, read_notes

ONE, TWO = "QXAU4710227", "QXAU4789474"


def written(folder: Path, text: str, name: str = "events.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def at(day: int, hour: int = 0) -> datetime:
    return datetime(2031, 1, day, hour, tzinfo=UTC)


def test_each_holder_has_the_container_until_the_next_takes_it_over(tmp_path: Path) -> None:
    found = read_custody(
        written(
            tmp_path,
            "Container;From;Holder;Event;Until\n"
            f"{ONE};2031-01-06 02:00+02:00;Shipper;received;\n"
            f"{TWO};2031-01-06 00:00;Shipper;received;\n"
            f"{ONE};2031-01-08T00:00Z;Ship;loaded;2031-01-09 00:00\n"
            f"qxau 471022-7;2031-01-10 00:00;Terminal;discharged;\n",
        )
    )
    own = found.filter(pl.col("container") == ONE)
    assert own["holder"].to_list() == ["Shipper", "Ship", "Terminal"]
    assert own["start"].to_list() == [at(6), at(8), at(10)]
    assert own["end"].to_list() == [at(8), at(9), None]
    assert own["line"].to_list() == [2, 4, 5]


def test_times_without_a_zone_take_the_one_that_is_given(tmp_path: Path) -> None:
    path = written(tmp_path, f"container,time,holder\n{ONE},2031-01-06 02:00,Shipper\n")
    assert read_custody(path, zone="+02:00")["start"].to_list() == [at(6)]


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (["2031-01-08,,Ship", "2031-01-07,,Terminal"], "run backwards"),
        (["2031-01-07,2031-01-09,Ship", "2031-01-08,,Terminal"], "overlap"),
        (["2031-01-07,,Ship", "2031-01-07,,Terminal"], "say two things of one instant"),
    ],
)
def test_events_that_overlap_or_run_backwards_are_refused_with_both_lines(
    tmp_path: Path, lines: list[str], told: str
) -> None:
    text = "container,time,until,holder\n" + "".join(f"{ONE},{line}\n" for line in lines)
    with pytest.raises(TableError, match=told) as caught:
        read_custody(written(tmp_path, text))
    message = str(caught.value)
    assert message.startswith("events.csv, line 2 (")
    assert "and line 3 (" in message
    assert "Ship" in message
    assert "Terminal" in message


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (f"{ONE},2031-01-08,2031-01-07,Ship", "ends before it begins"),
        (f"{ONE},,,Ship", "no time"),
        (f"{ONE},2031-01-08,,", "no holder"),
        (",2031-01-08,,Ship", "no container number"),
        (f"{ONE},soon,,Ship", "time is no time"),
    ],
)
def test_a_custody_line_that_cannot_be_is_refused_as_it_stands(tmp_path: Path, line: str, told: str) -> None:
    with pytest.raises(TableError, match=told) as caught:
        read_custody(written(tmp_path, f"container,time,until,holder\n{line}\n"))
    assert "line 2" in str(caught.value)


def test_dates_that_can_be_read_in_two_ways_are_not_guessed(tmp_path: Path) -> None:
    path = written(tmp_path, f"container,time,holder\n{ONE},03/04/2031 10:00,Ship\n")
    with pytest.raises(TableError, match="--date-order"):
        read_custody(path)
    assert read_custody(path, date_order="day_first")["start"].to_list() == [
        datetime(2031, 4, 3, 10, tzinfo=UTC)
    ]


def test_a_missing_heading_is_named_with_those_that_may_be_there(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="no heading 'holder'") as caught:
        read_custody(written(tmp_path, f"container,time\n{ONE},2031-01-08\n"))
    assert "place" in str(caught.value)


def test_notes_say_what_was_seen_and_done(tmp_path: Path) -> None:
    found = read_notes(
        written(
            tmp_path,
            f'container,time,observation,action,part\n{ONE},2031-01-08 10:00,"frost, thick",defrosted,\n'
            f"{ONE},2031-01-07 10:00,,,fan motor\n",
            "notes.csv",
        )
    )
    assert found["time"].to_list() == [at(7, 10), at(8, 10)]
    assert found["observation"].to_list() == [None, "frost, thick"]
    with pytest.raises(TableError, match="says nothing"):
        read_notes(written(tmp_path, f"container,time,action\n{ONE},2031-01-08,\n", "notes.csv"))


@pytest.mark.parametrize(
    ("headings", "row", "option"),
    [("container,time,holder", "Ship", "--events"), ("Container;Time;Observation", "frost", "--notes")],
)
def test_voyage_tables_among_the_logs_are_not_read_as_logs(
    tmp_path: Path, headings: str, row: str, option: str
) -> None:
    mark = "," if "," in headings else ";"
    written(tmp_path, f"{headings}\n{ONE}{mark}2031-01-08{mark}{row}\n", "kept_by_hand.csv")
    told = [message for message in read_logs([tmp_path]).messages if message.file == "kept_by_hand.csv"]
    assert [message.severity for message in told] == ["note"]
    assert option in told[0].do


def test_a_log_with_a_remark_column_stays_a_log(tmp_path: Path) -> None:
    rows = "".join(f"{ONE},2031-01-08 {hour:02d}:00,-18,-18.2,-17.5,\n" for hour in range(24))
    written(
        tmp_path,
        f"container,time,set point (°C),supply air (°C),return air (°C),action\n{rows}",
        "log.csv",
    )
    assert read_logs([tmp_path]).log.height == 24
