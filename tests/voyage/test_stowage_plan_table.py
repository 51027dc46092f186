"""Stowage plans kept as CSV."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldsift.voyage import StowagePlan, TableError, read_plan

ONE, TWO = "CSQU3054383", "TASU1170000"


def plan_of(folder: Path, text: str) -> StowagePlan:
    path = folder / "plan.csv"
    path.write_text(text, encoding="utf-8")
    return read_plan(path)


def test_a_plan_is_found_by_its_headings(tmp_path: Path) -> None:
    plan = plan_of(
        tmp_path,
        "Container;Position;ISO type;Required temperature (°C);Full/empty;POL;POD\n"
        f"csqu 305438-3;0190482;45r1;-18,5;F;ZZLOA;ZZDIS\n"
        f"{TWO};021-02-84;22G1;;Empty;ZZLOA;\n",
    )
    assert plan.messages == ()
    one, two = plan.table.to_dicts()
    assert one == {
        "container": ONE,
        "position": "0190482",
        "size_type": "45R1",
        "length": 40.0,
        "refrigerated": True,
        "required_temperature": -18.5,
        "full": True,
        "load_port": "ZZLOA",
        "discharge_port": "ZZDIS",
        "line": 2,
    }
    assert (two["position"], two["full"], two["refrigerated"], two["line"]) == ("0210284", False, False, 3)


@pytest.mark.parametrize(
    ("headings", "cells", "place"),
    [
        ("bay,row,tier", "19,4,82", "0190482"),
        ("Bay,Row,Tier", "019,04,82", "0190482"),
        ("position", "190482", "0190482"),
        ("position", "10482", "0010482"),
        ("slot", "19/04/82", "0190482"),
    ],
)
def test_a_place_may_stand_in_one_column_or_three(
    tmp_path: Path, headings: str, cells: str, place: str
) -> None:
    plan = plan_of(tmp_path, f"container,{headings}\n{ONE},{cells}\n")
    assert plan.table["position"].to_list() == [place]
    assert plan.messages == ()


@pytest.mark.parametrize(
    ("headings", "cells", "kept"),
    [
        ("set point [degF]", "-0.4", -18.0),
        ("temperature,temperature unit", "32,F", 0.0),
        ("temperature (°C),c/f", "32,°F", 0.0),
        ("required temperature °C", "+4", 4.0),
        ("temp", "−18 °C", -18.0),
    ],
)
def test_a_required_temperature_has_its_unit_in_the_heading_a_column_or_behind_it(
    tmp_path: Path, headings: str, cells: str, kept: float
) -> None:
    plan = plan_of(tmp_path, f"container,position,{headings}\n{ONE},190482,{cells}\n")
    assert plan.table["required_temperature"].to_list() == [pytest.approx(kept)]
    assert plan.messages == ()


def test_bad_lines_are_named_and_the_rest_is_used(tmp_path: Path) -> None:
    plan = plan_of(
        tmp_path,
        "container,position,temperature,status\n"
        f"{ONE},190482,-18,full\n"
        f",190484,-18 °C,full\n"
        f"{TWO},aft hold,-18 °C,who knows\n"
        f"QXAU4710227,190486,-18,5,full\n",
    )
    assert plan.table.select("container", "position", "required_temperature").rows() == [
        (ONE, "0190482", None),
        (TWO, None, -18.0),
    ]
    told = {message.line: str(message) for message in plan.messages}
    assert "nothing says which" in told[2]
    assert "Left out: no container number" in told[3]
    assert "more cells than there are headings" in told[5]
    both = " ".join(str(message) for message in plan.messages if message.line == 4)
    assert "it names no bay, row and tier" in both
    assert "does not say whether it is full or empty" in both


def test_two_boxes_in_one_place_are_told_with_their_lines(tmp_path: Path) -> None:
    plan = plan_of(
        tmp_path, f"container,position,type\n{ONE},180482,45R1\n{TWO},180482,45R1\n{ONE},180484,45R1\n"
    )
    assert dict(plan.table.select("container", "position").rows()) == {ONE: "0180482", TWO: None}
    told = [str(message) for message in plan.messages]
    assert any("lines 2 and 3; CSQU3054383 keeps it" in each for each in told)
    assert any("lines 2 and 4; the first is used" in each for each in told)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (f"container,type\n{ONE},45R1\n", "names no place on board"),
        ("position\n190482\n", "no heading 'container'"),
        ("container,position,cell\n", "twice or in two words"),
        ("\xff\xfe", "no heading 'container'"),
    ],
)
def test_a_table_that_is_no_plan_is_refused(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(TableError, match=told):
        plan_of(tmp_path, text)


def test_a_message_is_known_by_its_text_whatever_the_file_is_called(tmp_path: Path) -> None:
    message = f"UNH+1+BAPLIE:D:95B:UN'LOC+147+0190482::5'EQD+CN+{ONE}+45R1+++5'UNT+4+1'"
    plan = plan_of(tmp_path, message)
    assert plan.messages == ()
    assert plan.table["position"].to_list() == ["0190482"]
