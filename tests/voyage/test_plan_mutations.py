"""Whatever happens to a stowage plan, no container stands in another's place or at another's temperature."""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coldsift.schema import PLAN
from coldsift.simulate.plan import container_number
from coldsift.voyage import TableError, read_plan

BOXES = 6
PLACES = [f"0{at + 1}90482" for at in range(BOXES)]
NUMBERS = [container_number(at) for at in range(BOXES)]
WARMTHS = [-20.0 + at for at in range(BOXES)]

FREELY = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def group(at: int, order: str) -> list[str]:
    place, box = f"LOC+147+{PLACES[at]}::5", f"EQD+CN+{NUMBERS[at]}+45R1+++5"
    told = ["MEA+WT++KGM:1", f"TMP+2+{WARMTHS[at]:g}:CEL", "LOC+9+ZZLOA", "LOC+11+ZZDIS", "RFF+BM:1"]
    return {
        "container last": [place, *told, box, "NAD+CA+INV:172:20"],
        "container second": [place, box, *told],
        "container first": [box, place, *told],
    }[order]


def segments_of(order: str) -> tuple[list[str], list[int | None]]:
    """The segments of a whole plan, and the box each belongs to."""
    groups = [(segment, at) for at in range(BOXES) for segment in group(at, order)]
    head = ["UNB+UNOA:2+A+B+310106:0000+1", "UNH+1+BAPLIE:D:95B:UN:SMDG22", "BGM++1+9"]
    end = [f"UNT+{len(groups) + 3}+1", "UNZ+1+1"]
    segments = [*head, *(segment for segment, _ in groups), *end]
    return segments, [None, None, None, *(at for _, at in groups), None, None]


@st.composite
def damage(draw: st.DrawFn) -> list[tuple[int, str, int]]:
    """Up to two segments to strike: which, how, and a seed for where."""
    kinds = st.sampled_from(("gone", "twice", "sign lost", "sign changed", "sign added", "tag"))
    return draw(st.lists(st.tuples(st.integers(0, 60), kinds, st.integers(0, 999)), max_size=2))


def struck(segment: str, kind: str, seed: int) -> list[str]:
    chance = random.Random(seed)
    at = chance.randrange(len(segment))
    sign = chance.choice("A9+:?'\" \n\x00é")
    return {
        "gone": [],
        "twice": [segment, segment],
        "sign lost": [segment[:at] + segment[at + 1 :]],
        "sign changed": [segment[:at] + sign + segment[at + 1 :]],
        "sign added": [segment[:at] + sign + segment[at:]],
        "tag": [sign + segment[1:]],
    }[kind]


def written(folder: Path, segments: Sequence[str], mark: str) -> Path:
    path = folder / "plan.edi"
    path.write_bytes("".join(f"{segment}'{mark}" for segment in segments).encode("latin-1"))
    return path


@pytest.mark.parametrize(
    ("order", "most"),
    # Where the container comes first, two faults that make up for each other in the count look like none.
    [("container last", 2), ("container second", 2), ("container first", 1)],
)
@FREELY
@given(strikes=damage(), mark=st.sampled_from(("", "\n")))
def test_a_struck_segment_never_moves_another_container(
    tmp_path: Path, order: str, most: int, strikes: list[tuple[int, str, int]], mark: str
) -> None:
    strikes = strikes[:most]
    segments, owners = segments_of(order)
    hit: set[int | None] = set()
    pieces = [[segment] for segment in segments]
    for which, kind, seed in strikes:
        at = which % len(segments)
        pieces[at] = struck(segments[at], kind, seed)
        # A lost end mark joins a segment to the next one's.
        hit |= {owners[at], owners[min(at + 1, len(owners) - 1)]}
    try:
        plan = read_plan(written(tmp_path, [each for piece in pieces for each in piece], mark))
    except TableError as refused:
        assert str(refused).endswith(".")
        return
    PLAN.conform(plan.table)
    rows = {row["container"]: row for row in plan.table.to_dicts()}
    for at, number in enumerate(NUMBERS):
        if number not in rows:
            # Used or named.
            assert plan.messages, number
        elif at not in hit:
            assert rows[number]["position"] in (PLACES[at], None)
            assert rows[number]["required_temperature"] in (WARMTHS[at], None)
            assert rows[number]["position"] is not None or plan.messages
    if not strikes:
        assert plan.messages == ()
        assert plan.table.height == BOXES


@FREELY
@given(
    data=st.binary(max_size=200), begin=st.sampled_from((b"", b"UNB+UNOA:2+", b"UNA:+.? '", b"container,bay"))
)
def test_bytes_of_any_kind_are_read_or_refused_in_words(tmp_path: Path, data: bytes, begin: bytes) -> None:
    path = tmp_path / "plan"
    path.write_bytes(begin + data)
    try:
        read_plan(path)
    except TableError as refused:
        assert str(refused)


@pytest.mark.parametrize("order", ["container last", "container second", "container first"])
def test_a_plan_that_is_cut_off_anywhere_never_moves_a_container(tmp_path: Path, order: str) -> None:
    segments, _ = segments_of(order)
    text = "'".join(segments)
    known = dict(zip(NUMBERS, zip(PLACES, WARMTHS, strict=True), strict=True))
    path = tmp_path / "plan.edi"
    for end in range(40, len(text), 7):
        path.write_text(text[:end], encoding="ascii")
        try:
            plan = read_plan(path)
        except TableError:
            continue
        assert plan.messages or plan.table.height == BOXES
        for row in plan.table.filter(pl.col("container").is_in(NUMBERS)).to_dicts():
            place, warmth = known[row["container"]]
            assert row["position"] in (place, None)
            assert row["required_temperature"] in (warmth, None)
