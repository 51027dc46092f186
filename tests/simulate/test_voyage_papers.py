"""Plan, bookings and spares of the sample voyage: they agree with its logs, but for what is planted."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from coldsift.container_numbers import is_valid
from coldsift.simulate import Fleet, sample_voyage
from coldsift.simulate.papers import EMPTY_REEFER, SILENT, papers_of, positions
from coldsift.simulate.plan import container_number
from coldsift.voyage import read_bookings, read_plan, read_spares, unmatched

NOTHING = pl.DataFrame()
FLEET = Fleet(sample_voyage(), log=NOTHING, truth=NOTHING, defrosts=NOTHING, excursions=NOTHING)
PAPERS = papers_of(FLEET)
LOGGED = {unit.container: unit for unit in FLEET.plan.units}


def paper(folder: Path, name: str) -> Path:
    path = folder / name
    path.write_text(PAPERS[name], encoding="utf-8")
    return path


def test_the_plan_gives_every_unit_the_place_that_the_facts_give_it(tmp_path: Path) -> None:
    table = read_plan(paper(tmp_path, "plan.edi")).table
    planned = dict(table.select("container", "position").rows())
    places = positions(FLEET.plan.units)
    assert {container for container in places if planned.get(container) != places[container]} == {
        unit.container for unit in FLEET.plan.units if unit.cargo == "pineapples"
    }
    assert table["position"].null_count() == 0
    assert table.filter(~pl.col("refrigerated")).height >= 5


def test_one_number_on_the_plan_is_mistyped_and_one_container_has_no_log(tmp_path: Path) -> None:
    plan = read_plan(paper(tmp_path, "plan.edi"))
    (message,) = plan.messages
    assert "check digit" in message.what
    found = unmatched(plan.table, pl.Series(list(LOGGED)))
    silent = dict(found.filter(pl.col("kind") == "no_log").select("container", "words").rows())
    astray = found.filter(pl.col("kind") == "no_place")["container"].to_list()
    assert container_number(SILENT) in silent
    assert container_number(EMPTY_REEFER) not in silent
    assert len(silent) == 2
    assert [LOGGED[container].cargo for container in astray] == ["pineapples"]
    (mistyped,) = set(silent) - {container_number(SILENT)}
    assert not is_valid(mistyped)
    assert f"There is a log of {astray[0]}" in silent[mistyped]


def test_bookings_agree_with_the_set_points_but_for_one_unit_and_one_ordered_change(tmp_path: Path) -> None:
    table = read_bookings(paper(tmp_path, "bookings.csv"))
    first = table.filter(pl.col("time").is_null())
    booked = dict(first.select("container", "set_point").rows())
    assert set(booked) == {*LOGGED, container_number(SILENT)}
    differing = [unit for unit in LOGGED.values() if booked[unit.container] != unit.set_point]
    assert [(unit.cause, unit.cargo, unit.set_point) for unit in differing] == [("healthy", "dairy", 4.0)]
    assert booked[differing[0].container] == 2.0
    changed = table.filter(pl.col("time").is_not_null())["container"].to_list()
    assert [LOGGED[container].hard_case for container in changed] == ["set_point_change"]


def test_the_plan_wants_the_temperatures_that_were_booked(tmp_path: Path) -> None:
    plan = read_plan(paper(tmp_path, "plan.edi")).table
    booked = read_bookings(paper(tmp_path, "bookings.csv")).filter(pl.col("time").is_null())
    both = plan.join(booked, on="container")
    assert both.height == len(LOGGED)
    assert both.filter((pl.col("required_temperature") - pl.col("set_point")).abs() > 0.05).is_empty()


def test_spares_were_counted_when_the_voyage_began(tmp_path: Path) -> None:
    table = read_spares(paper(tmp_path, "spares.csv"))
    assert table["time"].unique().to_list() == [FLEET.plan.start]
    assert 0 in table["on_board"].to_list()
