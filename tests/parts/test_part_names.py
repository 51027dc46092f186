"""Names of parts in the words of the catalogue, of the spares list and of the notes."""

from __future__ import annotations

import pytest

from coldsift.parts import Vocabulary, noted_parts

KNOWN = Vocabulary(
    (
        "expansion valve coil",
        "economizer valve",
        "economizer valve coil",
        "compressor",
        "compressor contactor",
        "filter drier",
        "door seal",
        "pressure sensor",
        "heater safety cut-out",
        "evaporator fan motor",
        "condenser fan motor",
        "seals and caps",
    )
)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("Expansion Valve Coils", "expansion valve coil"),
        ("coil for expansion valve", "expansion valve coil"),
        ("COIL, EXPANSION VALVE, 24 V", "expansion valve coil"),
        ("expansion valve coil (24 V, with plug)", "expansion valve coil"),
        ("filter-driers", "filter drier"),
        ("filter dryer", "filter drier"),
        ("heater safety cutout", "heater safety cut-out"),
        ("economiser valve coil", "economizer valve coil"),
        ("suction pressure sensor", "pressure sensor"),
        ("motor, condenser fan, 460V", "condenser fan motor"),
        ("  seal   for door ", "door seal"),
        ("compressors", "compressor"),
    ],
)
def test_the_same_part_is_known_in_other_words(written: str, meant: str) -> None:
    assert KNOWN.find(written) == meant


@pytest.mark.parametrize(
    "written",
    [
        "valve coil",  # of which valve?
        "fan motor",  # of which fan?
        "compressor oil",
        "air compressor",
        "plug for pressure sensor",
        "door seal adhesive",
        "economizer",
        "fiter drier",
        "evaporator and condenser fan motor",
        "",
        "4711-0815",
    ],
)
def test_what_may_be_another_part_is_not_guessed(written: str) -> None:
    assert KNOWN.find(written) is None


def test_a_figure_that_belongs_to_a_name_must_be_in_what_is_written() -> None:
    fuses = Vocabulary(("output fuse 10 A", "output fuse 16 A"))
    assert fuses.find("fuse, output, 16 A") == "output fuse 16 A"
    # Which of the two was it?
    assert fuses.find("output fuse") is None
    assert fuses.find("output fuse 25 A") is None
    assert Vocabulary(fuses.names[:1]).find("output fuse") == "output fuse 10 A"


@pytest.mark.parametrize(
    ("written", "found"),
    [
        ("filter drier", [("filter drier", 1)]),
        ("2 x filter drier; door seal", [("filter drier", 2), ("door seal", 1)]),
        ("filter drier x2 + 3 pcs door seal", [("filter drier", 2), ("door seal", 3)]),
        ("2 filter driers", [("filter driers", 2)]),
        ("expansion valve coil, filter drier", [("expansion valve coil", 1), ("filter drier", 1)]),
        # A comma that turns a name round, a voltage and a size are no list and no number of pieces.
        ("coil, expansion valve", [("coil, expansion valve", 1)]),
        ("24 V relay", [("24 V relay", 1)]),
        ("10 x 38 fuse", [("10 x 38 fuse", 1)]),
        ("3 way valve", [("3 way valve", 1)]),
        (" ; ", []),
    ],
)
def test_a_note_may_name_several_parts_and_how_many(written: str, found: list[tuple[str, int]]) -> None:
    assert noted_parts(written, KNOWN) == found
