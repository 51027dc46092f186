"""Spares on board against what the units may want; every unit and list invented."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.causes.small import catalogue, cause

from coldsift.causes import Catalogue, load_catalogue
from coldsift.causes.catalogue import Kind
from coldsift.engine.naming import probable
from coldsift.parts import Parts, weigh_parts
from coldsift.schema import CAUSES, FINDINGS, NOTES, SPARES

COUNTED = datetime(2031, 1, 10, tzinfo=UTC)

VALVE = replace(
    cause("valve_shut"),
    parts=("valve coil", "valve body"),
    kinds=(
        Kind("coil", "coil", 0.6, "", ("valve coil",)),
        Kind("body", "body", 0.4, "", ("valve body", "filter drier")),
    ),
)
LEAK = replace(cause("leak"), parts=("filter drier", "caps"))
FOULED = replace(cause("fouled"), parts=("coil cleaner",), alike=("fouled", "fan_failed"))
FAN = replace(cause("fan_failed"), parts=("fan motor", "coil cleaner"), alike=("fouled", "fan_failed"))
CATALOGUE = catalogue([VALVE, LEAK, FOULED, FAN])


def chances(units: Mapping[str, Mapping[str, float]], of: Catalogue = CATALOGUE) -> pl.DataFrame:
    rows = []
    for container, own in units.items():
        full = {name: own.get(name, 0.0) for name in of.causes}
        full["healthy"] = 1 - sum(full.values())
        for place, (name, chance) in enumerate(sorted(full.items(), key=lambda each: -each[1]), start=1):
            kinds = of.causes[name].kinds if name in of.causes else ()
            for kind, share in [(kind.id, kind.share) for kind in kinds] or [(None, 1.0)]:
                rows.append(
                    {
                        "container": container,
                        "place": place,
                        "cause": name,
                        "kind": kind,
                        "chance": chance * share,
                        "cause_chance": chance,
                    }
                )
    return CAUSES.conform(pl.DataFrame(rows))


def found(*groups: tuple[str, str]) -> pl.DataFrame:
    if not groups:
        return FINDINGS.empty()
    return FINDINGS.conform(
        pl.DataFrame(
            [
                {"container": container, "rank": rank, "group": group, "number_valid": True}
                for rank, (container, group) in enumerate(groups, start=1)
            ]
        )
    )


def notes(*parts: str | None, after: float = 1.0) -> pl.DataFrame:
    return NOTES.conform(
        pl.DataFrame(
            {
                "container": ["z"] * len(parts),
                "time": [COUNTED + timedelta(hours=after)] * len(parts),
                "part": pl.Series(parts, dtype=pl.String),
                "line": range(2, 2 + len(parts)),
            },
            schema_overrides={"container": pl.String, "time": pl.Datetime("us", "UTC")},
        )
    )


def spares(stock: Mapping[str, int] | None = None, time: datetime | None = COUNTED) -> pl.DataFrame:
    rows: Sequence[dict[str, Any]] = [
        {"part": part, "on_board": count, "time": time, "line": line}
        for line, (part, count) in enumerate((stock or {}).items(), start=2)
    ]
    return (
        SPARES.conform(pl.DataFrame(rows, schema_overrides={"time": pl.Datetime("us", "UTC")}))
        if rows
        else SPARES.empty()
    )


def totals(parts: Parts, part: str) -> tuple[int | None, int, int, int | None]:
    row = parts.parts.row(by_predicate=pl.col("part") == part, named=True)
    return row["on_board"], row["used"], row["wanted"], row["short"]


THREE = chances({name: {"valve_shut": 0.5} for name in "abc"})


def test_the_unit_that_ranks_first_takes_the_last_spare() -> None:
    order = found(("b", "go_now"), ("c", "this_round"), ("a", "this_round"))
    parts = weigh_parts(THREE, order, notes(), spares({"Valve Coil": 2}), CATALOGUE)
    coils = parts.wanted.filter(pl.col("part") == "valve coil")
    assert coils.select("container", "state").rows() == [("b", "on_board"), ("c", "on_board"), ("a", "short")]
    assert coils["spare"].unique().to_list() == ["Valve Coil"]
    assert totals(parts, "Valve Coil") == (2, 0, 3, 1)


def test_a_part_that_the_spares_list_does_not_name_is_not_said_to_be_lacking() -> None:
    parts = weigh_parts(THREE, found(("a", "go_now")), notes(), spares({"valve coil": 1}), CATALOGUE)
    body = parts.wanted.row(by_predicate=pl.col("part") == "valve body", named=True)
    assert (body["state"], body["spare"]) == ("not_listed", None)
    assert totals(parts, "valve body") == (None, 0, 1, None)


def test_nothing_is_wanted_for_units_in_which_nothing_was_found_or_of_which_the_log_cannot_tell() -> None:
    parts = weigh_parts(
        THREE, found(("a", "nothing_found"), ("b", "cannot_tell")), notes(), spares(), CATALOGUE
    )
    assert parts.wanted.is_empty()
    assert parts.parts.is_empty()


def test_a_spare_that_nobody_wants_is_still_on_the_list() -> None:
    parts = weigh_parts(THREE, found(), notes(), spares({"humidity sensor": 3}), CATALOGUE)
    assert totals(parts, "humidity sensor") == (3, 0, 0, 0)


def test_what_the_notes_used_since_the_count_is_gone() -> None:
    stock = spares({"coil for valves": 2})
    since = weigh_parts(THREE, found(("a", "go_now")), notes("2 x valve coil"), stock, CATALOGUE)
    assert totals(since, "coil for valves") == (2, 2, 1, 1)
    assert since.wanted["state"].to_list() == ["short", "not_listed"]
    before = weigh_parts(THREE, found(("a", "go_now")), notes("valve coil", after=-1), stock, CATALOGUE)
    assert totals(before, "coil for valves") == (2, 0, 1, 0)


def test_a_list_without_a_time_is_older_than_every_note() -> None:
    parts = weigh_parts(
        THREE, found(), notes("valve coil", after=-500), spares({"valve coil": 2}, None), CATALOGUE
    )
    assert totals(parts, "valve coil") == (2, 1, 0, 0)


def test_more_used_than_counted_leaves_none_and_no_debt() -> None:
    parts = weigh_parts(
        THREE, found(("a", "go_now")), notes("3 x valve coil"), spares({"valve coil": 2}), CATALOGUE
    )
    assert totals(parts, "valve coil") == (2, 3, 1, 1)


def test_a_part_that_only_a_note_names_is_listed_in_its_words() -> None:
    parts = weigh_parts(THREE, found(), notes("relay K7", "Relay K7", None), spares(), CATALOGUE)
    assert totals(parts, "relay K7") == (None, 2, 0, None)


def test_two_spares_that_are_the_same_part_are_taken_one_after_the_other() -> None:
    order = found(("a", "go_now"), ("b", "go_now"), ("c", "go_now"))
    stock = spares({"valve coil 24 V": 1, "valve coil 110 V": 1})
    parts = weigh_parts(THREE, order, notes(), stock, CATALOGUE)
    coils = parts.wanted.filter(pl.col("part") == "valve coil")
    assert coils.select("spare", "state").rows() == [
        ("valve coil 24 V", "on_board"),
        ("valve coil 110 V", "on_board"),
        ("valve coil 24 V", "short"),
    ]
    assert totals(parts, "valve coil 24 V") == (1, 0, 2, 1)
    assert totals(parts, "valve coil 110 V") == (1, 0, 1, 0)


def test_a_part_is_as_likely_wanted_as_the_kinds_that_it_repairs() -> None:
    units = chances({"a": {"valve_shut": 0.5}, "b": {"leak": 0.3}})
    parts = weigh_parts(units, found(("a", "go_now"), ("b", "this_round")), notes(), spares(), CATALOGUE)
    assert parts.wanted.select("container", "cause", "part").rows() == [
        ("a", "valve_shut", "valve coil"),
        ("a", "valve_shut", "valve body"),
        ("b", "leak", "filter drier"),
        ("b", "leak", "caps"),
    ]
    assert parts.wanted["chance"].to_list() == pytest.approx([0.3, 0.2, 0.3, 0.3])


def test_causes_that_the_log_does_not_tell_apart_want_their_parts_together_and_each_once() -> None:
    units = chances({"a": {"fouled": 0.5, "fan_failed": 0.3, "leak": 0.1}})
    parts = weigh_parts(units, found(("a", "this_round")), notes(), spares(), CATALOGUE)
    assert parts.wanted.select("part", "cause").rows() == [
        ("coil cleaner", "fouled"),
        ("fan motor", "fan_failed"),
    ]
    assert parts.wanted["chance"].to_list() == pytest.approx([0.8, 0.3])


def test_a_unit_wants_what_the_report_tells_to_bring() -> None:
    shipped = load_catalogue()
    draw = np.random.default_rng(3)
    units = {
        f"u{unit:02d}": dict(
            zip(shipped.causes, 0.9 * draw.dirichlet(np.full(len(shipped.causes), 0.1)), strict=True)
        )
        for unit in range(60)
    }
    visited = found(*((name, "go_now") for name in units))
    told = probable(visited, chances(units, shipped), shipped)
    wanted = weigh_parts(chances(units, shipped), visited, notes(), spares(), shipped).wanted
    parts = {name: tuple(rows["part"]) for (name,), rows in wanted.group_by("container")}
    assert len(parts) > 40
    for name, named in told.items():
        own = parts.get(name, ())
        assert named.bring[: len(own)] == own
        assert {*own} == {*named.bring} & {*wanted["part"]}


def test_every_part_of_the_shipped_catalogue_is_found_under_its_own_name() -> None:
    shipped = load_catalogue()
    units = {name: {name: 0.9} for name in shipped.causes}
    names = {part: 9 for each in shipped.causes.values() for part in each.parts}
    parts = weigh_parts(
        chances(units, shipped), found(*((name, "go_now") for name in units)), notes(), spares(names), shipped
    )
    assert parts.wanted.filter(pl.col("part") != pl.col("spare")).is_empty()
    assert set(parts.wanted["part"]) == set(names)
    assert set(parts.wanted["state"].cast(pl.String)) <= {"on_board", "short"}
    assert set(parts.parts["part"]) == set(names)


def test_without_causes_findings_notes_and_spares_there_is_nothing_to_say() -> None:
    parts = weigh_parts(CAUSES.empty(), FINDINGS.empty(), NOTES.empty(), SPARES.empty(), CATALOGUE)
    assert parts.parts.is_empty()
    assert parts.wanted.is_empty()


def test_a_unit_that_is_only_watched_takes_no_spare_from_one_to_go_to() -> None:
    order = found(("b", "watch"), ("c", "this_round"))
    parts = weigh_parts(THREE, order, notes(), spares({"Valve Coil": 1}), CATALOGUE)
    assert parts.wanted.filter(part="valve coil").select("container", "state").rows() == [("c", "on_board")]
