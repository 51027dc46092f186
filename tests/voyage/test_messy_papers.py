"""Papers as they come: cells too many, nothing in them, several interchanges in one file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from coldsift.schema import PLAN
from coldsift.voyage import (
    TableError,
    read_bookings,
    read_custody,
    read_notes,
    read_plan,
    read_spares,
    unmatched,
)

NUMBER, OTHER = "CSQU3054383", "TASU1170000"


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("reader", "text"),
    [
        (read_bookings, f"container,set point (°C),cargo\n{NUMBER},2,5,dairy\n"),
        (read_notes, f"container,time,observation,action\n{NUMBER},2031-01-08,salt, dust,\n"),
        (read_custody, f"container,time,holder\n{NUMBER},2031-01-08,Terminal, quay A\n"),
        (read_spares, "part,on board\nfilter drier,1,5\n"),
    ],
)
def test_a_comma_that_moves_cells_into_other_columns_is_refused(
    tmp_path: Path, reader: Callable[[Path], object], text: str
) -> None:
    with pytest.raises(TableError, match=r"line 2 .* more cells than there are headings.* quotation marks"):
        reader(written(tmp_path, "kept.csv", text))


@pytest.mark.parametrize("reader", [read_bookings, read_notes, read_custody, read_spares, read_plan])
def test_an_empty_file_is_said_to_be_empty(tmp_path: Path, reader: Callable[[Path], object]) -> None:
    with pytest.raises(TableError, match="is empty"):
        reader(written(tmp_path, "kept.csv", "\n \n"))


def test_a_plan_of_headings_only_is_not_told_to_lack_them(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="no line below them"):
        read_plan(written(tmp_path, "plan.csv", "container,position\n"))


def interchange(container: str, place: str, count: int = 1) -> str:
    return (
        "UNA:+.? '\nUNB+UNOA:2+A+B+310106:0000+1'\nUNH+1+BAPLIE:D:95B:UN:SMDG22'\n"
        f"LOC+147+{place}::5'\nTMP+2+-18:CEL'\nEQD+CN+{container}+45R1'\nUNT+5+1'\nUNZ+{count}+1'\n"
    )


def test_interchanges_one_behind_the_other_are_one_plan(tmp_path: Path) -> None:
    both = interchange(NUMBER, "0020182") + interchange(OTHER, "0020282")
    plan = read_plan(written(tmp_path, "plan.edi", both))
    assert plan.table.select("container", "position").rows() == [(NUMBER, "0020182"), (OTHER, "0020282")]
    assert plan.messages == ()


def test_each_end_of_an_interchange_counts_its_own_messages(tmp_path: Path) -> None:
    both = interchange(NUMBER, "0020182", count=3) + interchange(OTHER, "0020282")
    (told,) = read_plan(written(tmp_path, "plan.edi", both)).messages
    assert "Segment 7 (UNZ+3+1): it counts 3 messages, 1 are there" in told.what


def test_a_temperature_below_nought_has_a_true_minus_sign(tmp_path: Path) -> None:
    plan = read_plan(written(tmp_path, "plan.edi", interchange(NUMBER, "0020182"))).table
    words = unmatched(plan, PLAN.empty()["container"])["words"].item()
    assert "to be kept at −18.0 °C" in words
