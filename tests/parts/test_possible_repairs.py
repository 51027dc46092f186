"""Which of the repairs that a cause may take can be done with what is on board."""

from __future__ import annotations

from dataclasses import replace

import polars as pl
from tests.causes.small import catalogue, cause

from coldsift.causes.catalogue import Kind
from coldsift.parts import possible_repairs
from coldsift.schema import CAUSES, PARTS_WANTED

VALVE = replace(
    cause("valve_shut"),
    parts=("coil", "valve body"),
    kinds=(
        Kind("coil_dead", "Coil dead", 0.7, "", ("coil",)),
        Kind("body_stuck", "Body stuck", 0.2, "", ("valve body", "tape")),
        Kind("plug_loose", "Plug loose", 0.06, "", ()),
        Kind("seized", "Seized", 0.04, "", ("compressor",)),
    ),
)
SENSOR = replace(cause("sensor_off"), parts=("sensor", "seal"))
CATALOGUE = catalogue([VALVE, SENSOR])


def wanted(*rows: tuple[str, str, str, str]) -> pl.DataFrame:
    frame = pl.DataFrame(rows, schema=["container", "cause", "part", "state"], orient="row")
    return PARTS_WANTED.conform(frame.with_columns(spare=pl.lit(None, pl.String), chance=pl.lit(0.5)))


def causes(container: str, name: str, kinds: dict[str | None, float]) -> pl.DataFrame:
    rows = [(container, 1, name, kind, chance, 0.9, None) for kind, chance in kinds.items()]
    return pl.DataFrame(rows, schema={column.name: column.dtype for column in CAUSES.columns}, orient="row")


STUCK = causes("A", "valve_shut", {"coil_dead": 0.3, "body_stuck": 0.5, "plug_loose": 0.06, "seized": 0.04})
OFF = causes("B", "sensor_off", {None: 0.9})


def states(*rows: tuple[str, str, str, str]) -> list[tuple[str, str]]:
    found = possible_repairs(wanted(*rows), pl.concat([STUCK, OFF]), CATALOGUE)
    return list(found.select("repair", pl.col("state").cast(pl.String)).iter_rows())


def test_each_way_to_mend_a_unit_is_judged_by_its_own_parts_the_likeliest_first() -> None:
    assert states(("A", "valve_shut", "coil", "on_board"), ("A", "valve_shut", "valve body", "short")) == [
        ("Body stuck", "short"),
        ("Coil dead", "on_board"),
        ("Plug loose", "no_part"),
        ("Seized", "not_listed"),
    ]


def test_small_things_are_named_and_hold_nothing_up() -> None:
    found = possible_repairs(wanted(("A", "valve_shut", "valve body", "on_board")), STUCK, CATALOGUE)
    row = found.row(by_predicate=pl.col("kind") == "body_stuck", named=True)
    assert (row["parts"], row["also"], row["state"]) == ("valve body", "tape", "on_board")


def test_a_cause_without_kinds_is_one_repair_that_takes_all_its_parts() -> None:
    assert states(("B", "sensor_off", "sensor", "on_board"), ("B", "sensor_off", "seal", "not_listed")) == [
        ("Sensor off", "not_listed")
    ]


def test_without_wants_there_is_nothing_to_tell() -> None:
    assert states() == []
