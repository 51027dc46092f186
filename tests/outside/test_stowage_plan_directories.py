"""Stowage plans against the UN/EDIFACT directories, ISO 6346 and ISO 9711, read in three ways.

Sources: segment table of BAPLIE in UN/EDIFACT D.95B and code lists 8169 and 6167, as UNECE publishes them;
order of segments of BAPLIE in D.13B, from a public code template of that directory (secondary); syntax of
segments, ISO 9735, from memory. What is not of these says so.
"""

from __future__ import annotations

import re
import warnings
from pathlib import Path

import polars as pl
import pytest
from pydifact.exceptions import MissingImplementationWarning
from pydifact.parser import Parser

from coldsift.voyage import read_plan
from coldsift.voyage.edifact import READ, Segment, take_apart
from coldsift.voyage.size_types import is_thermal, length_of
from coldsift.voyage.stowage import cell, in_words

SAMPLE = Path(__file__).parents[2] / "sample_logs" / "plan.edi"

TABLE_D95B = (
    r"UNH BGM DTM (RFF )?(NAD ){0,3}"
    r"(TDT (LOC ){2}(DTM ){1,99}(RFF )?(FTX )?){1,3}"
    r"(LOC (GID )?(GDS )?(FTX ){0,9}(MEA ){1,9}(DIM ){0,9}(TMP )?(RNG )?(LOC ){0,9}RFF "
    r"(EQD (EQA ){0,9}(NAD )?){0,3}(DGS (FTX )?){0,999}){0,9999}"
    r"UNT "
)
"""UNECE, UNTDID D.95B, segment table of BAPLIE: groups 1 to 4 with their most repeats."""


def split_by_hand(text: str) -> list[list[list[str]]]:
    """Segments of a text with the usual separators: ISO 9735's rule and nothing else."""

    def parts(piece: str, mark: str) -> list[str]:
        return re.split(rf"(?<!\?)\{mark}", piece)

    body = text.removeprefix("UNA:+.? '").replace("\n", "")
    return [
        [[re.sub(r"\?(.)", r"\1", part) for part in parts(element, ":")] for element in parts(segment, "+")]
        for segment in parts(body, "'")
        if segment
    ]


def as_lists(segment: Segment) -> list[list[str]]:
    """Tag and elements, trailing empty components left away as the library does."""
    return [[segment.tag], *(list(element) for element in segment.elements)]


def read_parts(elements: list[list[str]]) -> list[list[str]]:
    """Tag and elements of a segment that is read, without trailing empty components; the tag of another."""
    if elements[0][0] not in READ:
        return elements[:1]
    return [
        element[: max((at for at, part in enumerate(element) if part), default=0) + 1] for element in elements
    ]


@pytest.mark.parametrize(
    ("text", "parsed"),
    [
        # Computed with pydifact v0.2.3, a general parser; recorded before this code was written.
        ("TMP+2+-18:CEL'", [["TMP"], ["2"], ["-18", "CEL"]]),
        ("LOC+147+0190482::5'", [["LOC"], ["147"], ["0190482", "", "5"]]),
        ("EQD+CN+CSQU3054383+45R1+++5'", [["EQD"], ["CN"], ["CSQU3054383"], ["45R1"], [""], [""], ["5"]]),
        # Variants of the place that public code meets (secondary).
        ("LOC+147+0140282::5'", [["LOC"], ["147"], ["0140282", "", "5"]]),
        ("LOC+147+0060382:139:5'", [["LOC"], ["147"], ["0060382", "139", "5"]]),
        ("LOC+147+0500284'", [["LOC"], ["147"], ["0500284"]]),
        # ISO 9735, from memory: the release sign makes the next one text.
        ("LOC+11+5 O?'CLOCK ?+ 3??'", [["LOC"], ["11"], ["5 O'CLOCK + 3?"]]),
    ],
)
def test_published_fragments_read_the_same_by_hand_and_here(text: str, parsed: list[list[str]]) -> None:
    (segment,) = take_apart(text.encode()).segments
    assert as_lists(segment) == parsed
    if "??" not in text:
        assert split_by_hand(text) == [parsed]


def test_the_sample_plan_reads_the_same_here_by_hand_and_by_the_library_s_own_reader() -> None:
    text = SAMPLE.read_text(encoding="ascii")
    here = [read_parts(as_lists(segment)) for segment in take_apart(text.encode()).segments]
    assert here == [read_parts(elements) for elements in split_by_hand(text)]
    with warnings.catch_warnings():
        # The library says that it brings no directory of this syntax version; nothing is checked against one.
        warnings.simplefilter("ignore", MissingImplementationWarning)
        read = list(Parser().parse(text))[1:]
    library = [
        [[each.tag], *([e] if isinstance(e, str) else list(e) for e in each.elements)] for each in read
    ]
    assert here == [read_parts(elements) for elements in library]


def test_the_sample_plan_keeps_the_order_of_the_directory_and_counts_itself_right() -> None:
    segments = take_apart(SAMPLE.read_bytes()).segments
    message = segments[1:-1]
    assert re.fullmatch(TABLE_D95B, "".join(f"{segment.tag} " for segment in message))
    assert [segments[0].tag, segments[-1].tag] == ["UNB", "UNZ"]
    assert message[-1].at(0) == str(len(message))
    assert message[0].at(1) == "BAPLIE"
    # 6246 is n3 in D.96B to D.99B; sign and decimal mark do not count (ISO 9735, from memory).
    figures = [re.sub(r"[-.]", "", each.at(1)) for each in message if each.tag == "TMP"]
    assert figures
    assert all(re.fullmatch(r"[0-9]{1,3}", each) for each in figures)


def test_the_sample_plan_counted_by_hand_gives_the_same_containers() -> None:
    plan = read_plan(SAMPLE).table
    rows, place, kept = [], "", None
    for tag, *elements in split_by_hand(SAMPLE.read_text(encoding="ascii")):
        if tag == ["LOC"] and elements[0] == ["147"]:
            place, kept = elements[1][0], None
        elif tag == ["TMP"]:
            kept = float(elements[1][0])
        elif tag == ["EQD"]:
            rows.append((elements[1][0], place, kept, elements[5] == ["5"]))
    found = plan.select("container", "position", "required_temperature", "full").rows()
    assert found == sorted(rows)


@pytest.mark.parametrize(
    ("directory", "segments"),
    [
        ("95B", ["LOC+147+0330204::5", "MEA+WT++KGM:1", "TMP+2+-18:CEL", "LOC+11+ZZDIS", "RFF+BM:1", "EQD"]),
        ("13B", ["LOC+147+0330204::5", "EQD", "MEA+AAE+VGM+KGM:1", "LOC+11+ZZDIS", "TMP+2+-18:CEL"]),
    ],
)
def test_a_group_reads_alike_in_the_order_of_either_directory(
    tmp_path: Path, directory: str, segments: list[str]
) -> None:
    box = "EQD+CN+CSQU3054383+45R1+++5"
    group = [box if segment == "EQD" else segment for segment in segments]
    path = tmp_path / "plan.edi"
    path.write_text("'".join([f"UNH+1+BAPLIE:D:{directory}:UN", *group, f"UNT+{len(group) + 2}+1'"]))
    plan = read_plan(path)
    assert plan.messages == ()
    row = plan.table.select("position", "required_temperature", "discharge_port", "full").row(0)
    assert row == ("0330204", -18.0, "ZZDIS", True)


@pytest.mark.parametrize(
    ("code", "full"),
    # UNECE code list 8169: 4 empty, 5 full, 7 full with a mixed consignment, 8 full with a single one; 1 to 3
    # say how much room there is.
    [("4", False), ("5", True), ("7", True), ("8", True), ("1", None), ("", None)],
)
def test_full_and_empty_are_those_of_the_code_list(tmp_path: Path, code: str, full: bool | None) -> None:
    path = tmp_path / "plan.edi"
    path.write_text(f"UNH+1+BAPLIE:D:95B:UN'LOC+147+0190482::5'EQD+CN+CSQU3054383+45R1+++{code}'UNT+4+1'")
    assert read_plan(path).table["full"].to_list() == [full]


@pytest.mark.parametrize(
    ("qualifier", "kept"),
    # UNECE code list 6167: 5 temperature range, 12 transport temperature range, 13 that of pre-tripping.
    [("5", -18.0), ("12", -18.0), ("13", None)],
)
def test_a_range_is_one_of_temperature_under_transport(
    tmp_path: Path, qualifier: str, kept: float | None
) -> None:
    path = tmp_path / "plan.edi"
    span = f"RNG+{qualifier}+CEL:-20:-16"
    path.write_text(f"UNH+1+BAPLIE:D:95B:UN'LOC+147+0190482::5'{span}'EQD+CN+CSQU3054383+45R1+++5'UNT+5+1'")
    assert read_plan(path).table["required_temperature"].to_list() == [kept]


@pytest.mark.parametrize(
    ("code", "length", "thermal"),
    [
        # Register of container codes (size and type code page) and a university's page on container codes,
        # both secondary for ISO 6346: 2, 4, L and M; 45R1 the usual refrigerated one, LEG1 one of 45 ft.
        ("22G1", 20.0, False),
        ("42G1", 40.0, False),
        ("45R1", 40.0, True),
        ("LEG1", 45.0, False),
        ("M5G1", 48.0, False),
        # Groups of ISO 6346, from public lists: R0 refrigerated, R1 also heated; H0, H2, H5, H6 thermal.
        ("22R0", 20.0, True),
        ("45H5", 40.0, True),
        ("22T1", 20.0, False),
        # Edition of 1984, from memory.
        ("4530", 40.0, True),
        ("2210", 20.0, False),
        ("9500", 45.0, False),
        ("", None, False),
        ("?", None, False),
    ],
)
def test_size_and_type_codes_tell_length_and_refrigeration(
    code: str, length: float | None, thermal: bool
) -> None:
    assert length_of(code) == length
    assert is_thermal(code) == thermal


@pytest.mark.parametrize(
    ("written", "words"),
    [
        # Comment in public source code (secondary): LOC+147+0330204::5 is bay 033, row 02, tier 04.
        ("0330204", "bay 033, row 02, tier 04"),
        # Two training sites (secondary): 020584 is bay 02, row 05, tier 84.
        ("020584", "bay 002, row 05, tier 84"),
    ],
)
def test_a_place_reads_as_bay_row_and_tier(written: str, words: str) -> None:
    assert in_words(cell(written)) == words


def test_bay_two_covers_bays_one_and_three(tmp_path: Path) -> None:
    # Published: GDV Container Handbook 1.3.3. A 40 ft box in bay 02 leaves no room in bays 01 and 03.
    numbers = ["CSQU3054383", "TASU1170000", "TSTU0000014", "ZEPU0037255"]
    bays = ["02", "01", "03", "05"]
    path = tmp_path / "plan.csv"
    lines = [f"{number},{bay}0482" for number, bay in zip(numbers, bays, strict=True)]
    path.write_text("\n".join(["container,position", *lines]), encoding="ascii")
    table = read_plan(path).table
    placed = table.filter(pl.col("position").is_not_null())["container"].to_list()
    assert placed == [numbers[0], numbers[3]]
