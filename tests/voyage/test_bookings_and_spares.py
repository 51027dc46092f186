"""Bookings and spare parts: refused whole, with the line that is wrong."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldsift.voyage import TableError, read_bookings, read_spares

ONE, TWO = "CSQU3054383", "TASU1170000"


def written(folder: Path, text: str) -> Path:
    path = folder / "table.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_booking_names_the_set_point_and_its_later_changes(tmp_path: Path) -> None:
    found = read_bookings(
        written(
            tmp_path,
            "Container;Booked set point (°C);Cargo;Size type;From\n"
            f"{TWO};13,5;bananas;45R1;\n"
            f"{ONE};6;avocados;45R1;\n"
            f"csqu 305438-3;9;avocados;45R1;2031-01-12 18:00+02:00\n",
        )
    )
    assert found.rows() == [
        (ONE, None, 6.0, "avocados", "45R1", 3),
        (ONE, datetime(2031, 1, 12, 16, tzinfo=UTC), 9.0, "avocados", "45R1", 4),
        (TWO, None, 13.5, "bananas", "45R1", 2),
    ]


@pytest.mark.parametrize(
    ("headings", "cells"),
    [
        ("set point (°F)", "-0.4"),
        ("set point,temperature unit", "-0.4,degF"),
        ("booked temperature [°C]", "-18"),
        ("required temperature_degC", "-18.0"),
        ("set point", "-18 °C"),
    ],
)
def test_a_booked_set_point_comes_with_its_unit(tmp_path: Path, headings: str, cells: str) -> None:
    found = read_bookings(written(tmp_path, f"container,{headings}\n{ONE},{cells}\n"))
    assert found["set_point"].to_list() == [pytest.approx(-18.0)]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            f"container,set point\n{ONE},-18\n",
            r"line 2 \(CSQU3054383, -18\): '-18' is °C or °F, nothing says which",
        ),
        (f"container,set point (°C)\n{ONE},cold\n", "'cold' is no temperature"),
        (f"container,set point (bar)\n{ONE},2\n", "'bar' is no unit of temperature"),
        (f"container,set point (°C)\n{ONE},-180\n", "outside -60 to 60"),
        (f"container,set point (°C)\n{ONE},\n", "no set point"),
        ("container,set point (°C)\n,5\n", "no container number"),
        (f"container,cargo\n{ONE},fish\n", "no heading 'booked set point'"),
        (f"container,set point (°C)\n{ONE},5\n{ONE},6\n", "line 2 .* and line 3 .* does not say from when"),
        (
            f"container,set point (°C),from\n{ONE},5,2031-01-08 10:00\n{ONE},6,2031-01-07 10:00\n",
            "line 2 .* and line 3 .* are not in order of time",
        ),
        (f"container,set point (°C),from\n{ONE},5,soon\n", "time is no time"),
    ],
)
def test_a_booking_that_cannot_be_understood_is_refused(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(TableError, match=told):
        read_bookings(written(tmp_path, text))


def test_dates_of_a_change_that_can_be_read_in_two_ways_are_not_guessed(tmp_path: Path) -> None:
    path = written(tmp_path, f"container,set point (°C),from\n{ONE},5,03/04/2031 10:00\n")
    with pytest.raises(TableError, match="--date-order"):
        read_bookings(path)
    assert read_bookings(path, "+02:00", "day_first")["time"].to_list() == [
        datetime(2031, 4, 3, 8, tzinfo=UTC)
    ]


def test_spares_say_how_many_are_where_and_when_they_were_counted(tmp_path: Path) -> None:
    found = read_spares(
        written(
            tmp_path, "Part,On board,Place,Counted\nfan  motor,2,workshop,2031-01-06 00:00\ndoor seal,0,,\n"
        )
    )
    assert found.rows() == [
        ("door seal", 0, None, None, 3),
        ("fan motor", 2, "workshop", datetime(2031, 1, 6, tzinfo=UTC), 2),
    ]


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ("fan motor,-1", "on board is no whole number"),
        ("fan motor,1.5", "on board is no whole number"),
        ("fan motor,some", "on board is no whole number"),
        ("fan motor,", "on board is no whole number"),
        (",3", "no part"),
        ("fan motor,1\nFan Motor,2", "line 2 .* and line 3 .* name one part"),
    ],
)
def test_a_count_that_is_none_is_refused(tmp_path: Path, lines: str, told: str) -> None:
    with pytest.raises(TableError, match=told):
        read_spares(written(tmp_path, f"part,on board\n{lines}\n"))
