"""Containers on the plan without a log, and logs without a place on the plan."""

from __future__ import annotations

import polars as pl
import pytest

from coldsift.schema import PLAN
from coldsift.voyage import unmatched


def planned(container: str, **told: object) -> dict[str, object]:
    usual = {
        "position": "0190482",
        "refrigerated": True,
        "required_temperature": -18.0,
        "full": True,
        "line": 1,
    }
    return {"container": container, **usual, **told}


def plan_of(*rows: dict[str, object]) -> pl.DataFrame:
    schema = {column.name: column.dtype for column in PLAN.columns}
    return PLAN.conform(pl.DataFrame(list(rows), schema=schema))


def found(plan: pl.DataFrame, *logged: str) -> list[tuple[str, str, str]]:
    return unmatched(plan, pl.Series(logged, dtype=pl.String)).select("container", "kind", "words").rows()


def test_a_refrigerated_container_without_a_log_is_named_with_its_place() -> None:
    told = found(plan_of(planned("CSQU3054383"), planned("TASU1170000")), "TASU1170000")
    words = "On the plan in bay 019, row 04, tier 82, to be kept at −18.0 °C, but there is no log of it."
    assert told == [("CSQU3054383", "no_log", words)]


@pytest.mark.parametrize(
    ("told", "is_missing"),
    [
        ({}, True),
        ({"refrigerated": False, "required_temperature": None}, False),
        ({"full": False, "required_temperature": None}, False),
        ({"full": False}, True),
        ({"full": None, "required_temperature": None}, True),
        ({"position": None}, True),
    ],
)
def test_dry_boxes_and_empty_ones_that_keep_no_temperature_need_no_log(
    told: dict[str, object], is_missing: bool
) -> None:
    assert bool(found(plan_of(planned("CSQU3054383", **told)))) == is_missing


def test_a_log_without_a_place_is_named_whether_or_not_the_plan_knows_it() -> None:
    told = found(plan_of(planned("CSQU3054383", position=None)), "CSQU3054383", "TASU1170000")
    assert told == [
        ("CSQU3054383", "no_place", "Logged, but the plan names no place for it."),
        ("TASU1170000", "no_place", "Logged, but not on the plan."),
    ]


@pytest.mark.parametrize(
    ("typed", "is_near"),
    [
        ("CSQU3054388", True),  # one figure
        ("CSQU3054833", True),  # two neighbours changed over
        ("CSOU3054383", True),  # one letter
        ("CSQU3045383", True),
        ("CSQU3054338", True),
        ("CSQU8054833", False),  # two slips
        ("CSQU305438", False),
        ("CSQU3504833", False),
        ("TASU1170000", False),
    ],
)
def test_a_number_that_one_slip_leads_to_is_probably_the_same(typed: str, is_near: bool) -> None:
    told = found(plan_of(planned(typed)), "CSQU3054383")
    assert [kind for _, kind, _ in told] == ["no_log", "no_place"]
    assert ["There is a log of CSQU3054383" in told[0][2], f"The plan has {typed}" in told[1][2]] == [
        is_near
    ] * 2


def test_a_number_that_has_its_log_is_no_typing_error_of_another() -> None:
    told = found(plan_of(planned("CSQU3054383"), planned("CSQU3054388")), "CSQU3054383")
    assert told[0][0] == "CSQU3054388"
    assert "almost the same" not in told[0][2]


def test_without_a_plan_nothing_is_unmatched() -> None:
    assert found(PLAN.empty(), "CSQU3054383") == []
