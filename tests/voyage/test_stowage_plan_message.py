"""Stowage plans as UN/EDIFACT messages: both orders of a group, and what is said of damaged ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldsift.voyage import StowagePlan, TableError, read_plan

ONE, TWO, THREE = "CSQU3054383", "TASU1170000", "QXAU4710227"

HEAD = ["UNB+UNOA:2+A+B+310106:0000+1", "UNH+1+BAPLIE:D:95B:UN:SMDG22", "BGM++1+9"]
FIRST = [
    "LOC+147+0190482::5",
    "MEA+WT++KGM:24000",
    "TMP+2+-18:CEL",
    "LOC+9+ZZLOA:139:6",
    "LOC+11+ZZDIS:139:6",
    "RFF+BM:1",
    f"EQD+CN+{ONE}+45R1+++5",
    "NAD+CA+INV:172:20",
]
SECOND = [
    "LOC+147+0210284::5",
    "MEA+WT++KGM:9000",
    "LOC+9+ZZLOA:139:6",
    "RFF+BM:1",
    f"EQD+CN+{TWO}+22G1+++4",
]


def tail(segments: list[str]) -> list[str]:
    """The ends of the message and of the interchange."""
    return [f"UNT+{len(segments)}+1", "UNZ+1+1"]


def plan_of(
    folder: Path, segments: list[str], una: str = "", end: str = "'", mark: str = "\n"
) -> StowagePlan:
    path = folder / "plan.edi"
    path.write_bytes((una + mark.join(segment + end for segment in segments)).encode("latin-1"))
    return read_plan(path)


def whole(*groups: list[str]) -> list[str]:
    segments = [*HEAD, *(segment for group in groups for segment in group)]
    return [*segments, *tail(segments)]


def said(plan: StowagePlan) -> list[str]:
    return [str(message) for message in plan.messages]


def test_a_plan_of_the_older_directory_names_the_container_last(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, whole(FIRST, SECOND))
    assert plan.messages == ()
    one, two = plan.table.to_dicts()
    assert one == {
        "container": ONE,
        "position": "0190482",
        "size_type": "45R1",
        "length": 40.0,
        "refrigerated": True,
        "required_temperature": -18.0,
        "full": True,
        "load_port": "ZZLOA",
        "discharge_port": "ZZDIS",
        "line": 10,
    }
    assert (two["position"], two["length"], two["refrigerated"], two["full"]) == (
        "0210284",
        20.0,
        False,
        False,
    )
    assert (two["required_temperature"], two["discharge_port"], two["line"]) == (None, None, 16)


def test_a_plan_of_the_newer_directory_names_the_container_right_after_its_place(tmp_path: Path) -> None:
    segments = [
        "UNB+UNOA:2+A+B+310106:0000+1",
        "UNH+1+BAPLIE:D:13B:UN:SMDG31",
        "BGM+659++9",
        "UNS+D",
        "LOC+147+0190482::5",
        f"EQD+CN+{ONE}:6346:5+45R1:6346:5+++5",
        "NAD+CF+INV:LINES:306",
        "MEA+AAE+VGM+KGM:24000",
        "LOC+9+ZZLOA",
        "LOC+11+ZZDIS",
        "TMP+2+013.5:CEL",
        "RNG+5+CEL:12:15",
        "LOC+147+0210284::5",
        f"EQD+CN+{TWO}:6346:5+22G1:6346:5+++5",
        "LOC+11+ZZDIS",
    ]
    plan = plan_of(tmp_path, [*segments, f"UNT+{len(segments)}+1", "UNZ+1+1"])
    assert plan.messages == ()
    rows = plan.table.select("container", "position", "required_temperature", "load_port", "full").rows()
    assert rows == [(ONE, "0190482", 13.5, "ZZLOA", True), (TWO, "0210284", None, None, True)]


def test_a_sender_may_name_the_container_before_its_place(tmp_path: Path) -> None:
    groups = [
        f"EQD+CN+{ONE}+45R1:102:5++2+5", "LOC+147+0180484:139:5", "MEA+WT+G+KGM:24000", "TMP+2+-18:CEL",
        f"EQD+CN+{TWO}+22G1:102:5++2+4", "LOC+147+0170384:139:5", "LOC+11+ZZDIS:139:6",
    ]  # fmt: skip
    plan = plan_of(tmp_path, whole(groups))
    assert plan.messages == ()
    rows = plan.table.select("container", "position", "required_temperature", "full").rows()
    assert rows == [(ONE, "0180484", -18.0, True), (TWO, "0170384", None, False)]


def test_where_the_two_ends_of_a_message_disagree_no_place_is_guessed(tmp_path: Path) -> None:
    groups = [f"EQD+CN+{ONE}+45R1+++5", "LOC+147+0180484::5", f"EQD+CN+{TWO}+45R1+++5"]
    plan = plan_of(tmp_path, whole(groups))
    assert plan.table["position"].to_list() == [None, None]
    assert "not clear whether a place stands before its container or after it" in said(plan)[0]


@pytest.mark.parametrize(
    ("una", "end", "mark"),
    [
        ("UNA:+.? '", "'", ""),
        ("UNA:+.? '\r\n", "'", "\r\n"),
        ("", "'", "\n\n"),
        ("  \n", "'", "\n"),
        ("From: ship\nSubject: plan\n\n", "'", "\n"),
    ],
)
def test_a_plan_reads_the_same_with_and_without_separators_declared_and_line_breaks(
    tmp_path: Path, una: str, end: str, mark: str
) -> None:
    plan = plan_of(tmp_path, whole(FIRST, SECOND), una, end, mark)
    assert plan.table.equals(plan_of(tmp_path, whole(FIRST, SECOND)).table)
    assert plan.messages == ()


@pytest.mark.parametrize("una", ["UNA|*,! ~", "UNA|*.  ~", "UNA|*,! \n"])
def test_separators_of_the_sender_s_own_are_those_that_count(tmp_path: Path, una: str) -> None:
    segments = [each.replace(":", "|").replace("+", "*") for each in whole(FIRST, SECOND)]
    plan = plan_of(tmp_path, segments, una, una[-1], "")
    assert plan.table.equals(plan_of(tmp_path, whole(FIRST, SECOND)).table)


def test_lines_broken_at_a_fixed_width_belong_together(tmp_path: Path) -> None:
    text = "".join(segment + "'" for segment in whole(FIRST, SECOND))
    path = tmp_path / "plan.txt"
    path.write_text("\r\n".join(text[at : at + 80] for at in range(0, len(text), 80)), encoding="ascii")
    assert read_plan(path).table.equals(plan_of(tmp_path, whole(FIRST, SECOND)).table)


def test_a_released_sign_is_text(tmp_path: Path) -> None:
    group = ["LOC+147+0190482::5", "FTX+AAA+++5 o?'clock ?+ LOC+147+9999999", f"EQD+CN+{ONE}+45R1+++5"]
    plan = plan_of(tmp_path, whole(group))
    assert plan.messages == ()
    assert plan.table.select("container", "position").rows() == [(ONE, "0190482")]


@pytest.mark.parametrize(
    ("identifier", "encoding", "is_right"),
    [
        ("UNOC", "latin-1", True),
        ("UNOY", "utf-8", True),
        ("UNOE", "iso8859-5", True),
        ("UNOW", "latin-1", False),
    ],
)
def test_the_character_set_is_the_one_that_the_interchange_names(
    tmp_path: Path, identifier: str, encoding: str, is_right: bool
) -> None:
    sign = "Ж" if encoding == "iso8859-5" else "é"
    group = ["LOC+147+0190482::5", f"LOC+11+ZZ{sign}IS", f"EQD+CN+{ONE}+45R1+++5"]
    segments = whole(group)
    segments[0] = f"UNB+{identifier}:3+A+B+310106:0000+1"
    path = tmp_path / "plan.edi"
    path.write_bytes("".join(segment + "'" for segment in segments).encode(encoding))
    plan = read_plan(path)
    assert (plan.table["discharge_port"].item() == f"ZZ{sign}IS") == is_right
    assert any("are not of the character set UNOW" in each for each in said(plan)) != is_right


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("TMP+2+-18:CEL", -18.0),
        ("TMP+2+008:CEL", 8.0),
        ("TMP+2+-018:CEL", -18.0),
        ("TMP+2+13.5:CEL", 13.5),
        ("TMP+2+13,5:CEL", 13.5),
        ("TMP+2+-0,4:FAH", -18.0),
        ("TMP+2+032:FAH", 0.0),
        ("TMP+1+005:CEL", None),
    ],
)
def test_a_required_temperature_is_read_in_its_unit(tmp_path: Path, written: str, read: float | None) -> None:
    plan = plan_of(tmp_path, whole(["LOC+147+0190482::5", written, f"EQD+CN+{ONE}+42G1+++5"]))
    found = plan.table["required_temperature"].item()
    assert found == (None if read is None else pytest.approx(read, abs=1e-6))
    assert plan.table["refrigerated"].item() == (read is not None)
    assert plan.messages == ()


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("TMP+2+COLD:CEL", "'COLD' is no temperature"),
        ("TMP+2+-18", "'-18' is °C or °F, nothing says which"),
        ("TMP+2+-18:KGM", "'KGM' is no unit of temperature"),
        ("TMP+2+-180:CEL", "-180.0 °C is outside -60 to 60 °C"),
        ("TMP+2", "'' is no temperature"),
    ],
)
def test_a_temperature_that_cannot_be_is_named_and_the_container_kept(
    tmp_path: Path, written: str, told: str
) -> None:
    plan = plan_of(tmp_path, whole(["LOC+147+0190482::5", written, f"EQD+CN+{ONE}+45R1+++5"]))
    assert plan.table.select("position", "required_temperature").rows() == [("0190482", None)]
    cost = "the container is used without a required temperature. Correct the temperature in the plan."
    assert said(plan) == [f"warning: plan.edi: Segment 5 ({written}): {told}; {cost}"]


def test_a_range_is_used_only_where_no_temperature_is_given_and_that_is_said(tmp_path: Path) -> None:
    place, box, span = "LOC+147+0190482::5", f"EQD+CN+{ONE}+45R1+++5", "RNG+5+CEL:-20:-16"
    plan = plan_of(tmp_path, whole([place, span, box]))
    assert plan.table["required_temperature"].item() == -18.0
    assert "gives a range and no temperature; its middle is taken, -18.0 °C" in said(plan)[0]
    plan = plan_of(tmp_path, whole([place, "TMP+2+-17:CEL", span, box]))
    assert plan.table["required_temperature"].item() == -17.0
    assert plan.messages == ()


@pytest.mark.parametrize(
    ("place", "read"),
    [
        ("LOC+147+190482::5", "0190482"),
        ("LOC+147+0190482:139:5", "0190482"),
        ("LOC+147+0190482", "0190482"),
        ("LOC+147+019O482::5", None),
        ("LOC+147+0190482::ZZZ", None),
        ("LOC+147", None),
    ],
)
def test_a_place_is_six_or_seven_figures_or_it_is_named(tmp_path: Path, place: str, read: str | None) -> None:
    plan = plan_of(tmp_path, whole([place, "MEA+WT++KGM:1", f"EQD+CN+{ONE}+45R1+++5"]))
    assert plan.table["position"].item() == read
    told = [
        each for each in said(plan) if "is no bay, row and tier" in each and f"Segment 4 ({place})" in each
    ]
    assert len(told) == (read is None)


def test_a_damaged_segment_is_named_by_its_number_and_the_rest_is_used(tmp_path: Path) -> None:
    damaged = ["L0C147+0230284::5", "MEA+WT++KGM:9000", "TMP+2+5:CEL", "RFF+BM:1", f"EQD+CN+{THREE}+45R1+++5"]
    plan = plan_of(tmp_path, whole(FIRST, damaged, SECOND))
    rows = plan.table.sort("line").select("container", "position", "required_temperature").rows()
    assert rows == [(ONE, "0190482", -18.0), (THREE, None, 5.0), (TWO, "0210284", None)]
    assert said(plan)[0].startswith("warning: plan.edi: Segment 12 (L0C147+0230284::5): is no segment")
    assert "Segment 16" in said(plan)[1]
    assert "no place can be read for this container" in said(plan)[1]


def test_a_place_that_is_lost_unseen_gives_its_temperature_to_no_other_container(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, whole(SECOND, FIRST[1:], [segment.replace(ONE, THREE) for segment in FIRST]))
    rows = {row["container"]: row for row in plan.table.to_dicts()}
    assert (rows[TWO]["required_temperature"], rows[TWO]["position"]) == (None, "0210284")
    assert (rows[ONE]["required_temperature"], rows[ONE]["position"]) == (-18.0, None)
    assert (rows[THREE]["required_temperature"], rows[THREE]["position"]) == (-18.0, "0190482")


def test_a_container_that_cannot_be_read_is_named_by_its_place(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, whole([*FIRST[:6], f"E#D+CN+{ONE}+45R1+++5"], SECOND))
    assert plan.table["container"].to_list() == [TWO]
    assert any(
        "Segment 4 (LOC+147+0190482::5): something stands in this place" in each for each in said(plan)
    )


def test_a_lost_end_mark_at_the_end_of_a_line_costs_nothing(tmp_path: Path) -> None:
    text = "\n".join(segment + "'" for segment in whole(FIRST, SECOND)).replace("0190482::5'", "0190482::5")
    path = tmp_path / "plan.edi"
    path.write_text(text, encoding="ascii")
    plan = read_plan(path)
    assert plan.table.equals(plan_of(tmp_path, whole(FIRST, SECOND)).table)
    assert "Segment 4 (LOC+147+0190482::5): has no end mark" in said(plan)[0]


def test_a_file_that_is_cut_off_says_so_and_keeps_what_came_before(tmp_path: Path) -> None:
    text = "".join(segment + "'" for segment in whole(FIRST, SECOND))
    path = tmp_path / "plan.edi"
    path.write_text(text[: text.index(TWO) + 5], encoding="ascii")
    plan = read_plan(path)
    assert plan.table["container"].to_list() == [ONE]
    told = said(plan)
    assert any("the file is cut off within it" in each for each in told)
    assert any("has no end (UNT)" in each for each in told)
    assert any("has no end (UNZ)" in each for each in told)


def test_counts_that_do_not_agree_are_told(tmp_path: Path) -> None:
    segments = whole(FIRST)
    segments[-2:] = ["UNT+99+1", "UNZ+2+1"]
    told = said(plan_of(tmp_path, segments))
    assert any("(UNT+99+1): it counts 99 segments, the message has 11" in each for each in told)
    assert any("(UNZ+2+1): it counts 2 messages, 1 are there" in each for each in told)


def test_several_messages_in_one_interchange_are_one_plan(tmp_path: Path) -> None:
    first, second = ["UNH+1+BAPLIE:D:95B:UN", *FIRST], ["UNH+2+BAPLIE:D:95B:UN", *SECOND]
    segments = [HEAD[0], *first, f"UNT+{len(first) + 1}+1", *second, f"UNT+{len(second) + 1}+2", "UNZ+2+1"]
    plan = plan_of(tmp_path, segments)
    assert plan.messages == ()
    assert plan.table["container"].to_list() == [ONE, TWO]


def test_another_message_beside_the_plan_is_left_out_and_alone_is_refused(tmp_path: Path) -> None:
    other = ["UNH+2+COARRI:D:95B:UN", f"EQD+CN+{THREE}+45R1+++5", "UNT+3+2"]
    segments = [*whole(FIRST)[:-1], *other, "UNZ+2+1"]
    plan = plan_of(tmp_path, segments)
    assert plan.table["container"].to_list() == [ONE]
    assert "a message of type COARRI is no stowage plan and is left out" in said(plan)[0]
    with pytest.raises(TableError, match=r"plan.edi is no stowage plan: it holds COARRI, not BAPLIE"):
        plan_of(tmp_path, [HEAD[0], *other, "UNZ+1+1"])


def test_two_boxes_in_one_place_are_told_and_the_first_keeps_it(tmp_path: Path) -> None:
    twin = [segment.replace(ONE, THREE) for segment in FIRST]
    plan = plan_of(tmp_path, whole(FIRST, twin))
    assert dict(plan.table.select("container", "position").rows()) == {ONE: "0190482", THREE: None}
    assert (
        f"{ONE} and {THREE} stand in one place, bay 019, row 04, tier 82, segments 10 and 18" in said(plan)[0]
    )
    assert f"{ONE} keeps it, {THREE} is used without a place" in said(plan)[0]


def test_a_long_box_stands_in_the_way_of_two_short_ones(tmp_path: Path) -> None:
    def box(number: str, place: str) -> list[str]:
        return [f"LOC+147+{place}::5", f"EQD+CN+{number}+45R1+++5"]

    plan = plan_of(tmp_path, whole(box(ONE, "0180482"), box(TWO, "0190482"), box(THREE, "0210482")))
    assert dict(plan.table.select("container", "position").rows()) == {
        ONE: "0180482",
        TWO: None,
        THREE: "0210482",
    }
    assert "bay 018, row 04, tier 82 and bay 019, row 04, tier 82" in said(plan)[0]


def test_one_box_in_two_places_is_told_and_used_as_it_stands_first(tmp_path: Path) -> None:
    again = [segment.replace("0190482", "0230482") for segment in FIRST]
    plan = plan_of(tmp_path, whole(FIRST, again))
    assert plan.table.select("container", "position", "line").rows() == [(ONE, "0190482", 10)]
    assert (
        f"{ONE} is there in bay 019, row 04, tier 82 and in bay 023, row 04, tier 82, segments 10 and 18; "
        "the first is used" in said(plan)[0]
    )


def test_a_wrong_check_digit_is_told_and_kept(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, whole([segment.replace(ONE, "CSQU3054384") for segment in FIRST]))
    assert plan.table["container"].to_list() == ["CSQU3054384"]
    assert "CSQU3054384: check digit 4 is wrong, 3 would be right" in said(plan)[0]


def test_a_place_kept_free_and_equipment_that_is_no_container_are_named(tmp_path: Path) -> None:
    free = ["LOC+147+0230284::5", "EQD+CN++45R1+++5"]
    trailer = ["LOC+147+0250284::5", "EQD+TE+TRAILER1+++++5"]
    plan = plan_of(tmp_path, whole(FIRST, free, trailer))
    assert plan.table["container"].to_list() == [ONE]
    assert [message.severity for message in plan.messages] == ["note", "note"]
    assert any("names no container (a place that is kept free)" in each for each in said(plan))
    assert any("equipment of type TE is no container" in each for each in said(plan))


def test_an_empty_place_is_nothing_to_tell(tmp_path: Path) -> None:
    plan = plan_of(
        tmp_path, whole(["LOC+147+0010082::5", "LOC+147+0030082::5"], FIRST, ["LOC+147+0990082::5"])
    )
    assert plan.messages == ()
    assert plan.table.select("container", "position").rows() == [(ONE, "0190482")]


def test_many_faults_of_one_kind_are_one_list_of_numbers(tmp_path: Path) -> None:
    groups = [[f"LOC+147+BAY{at}::5", f"EQD+CN+{ONE[:4]}{at:07d}+22G1+++5"] for at in range(30)]
    plan = plan_of(tmp_path, whole(*groups))
    told = [each for each in said(plan) if "bay, row" in each or "The same holds" in each]
    assert "The same holds for 25 further segments: 14, 16, 18" in " ".join(told)
    assert len(plan.messages) == 12


@pytest.mark.parametrize(
    "data", [b"", b"UNB", b"UNA:+.? '", b"\x00\x01\x02", b"hello", b"UNB+UNOA:2'UNZ+0+1'"]
)
def test_what_is_no_plan_at_all_is_refused_with_what_to_do(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "plan.edi"
    path.write_bytes(data)
    with pytest.raises(TableError, match=r"plan\.edi .*\."):
        read_plan(path)


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="Name a file that can be read"):
        read_plan(tmp_path / "absent.edi")
