"""The report of a whole ship on a long voyage stays small enough to be opened anywhere, that of a fleet too.

Ten simulated units are screened and stand for 400 over 60 days, or for 5,000: their log is repeated twelve
times in a row, and every table of theirs under other numbers.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from datetime import timedelta
from itertools import count

import polars as pl
import pytest
from stdnum import iso6346
from tests.report.ship import (
    changes,
    inspection,
    notes,
    parts,
    parts_wanted,
    plan,
    possible_repairs,
    repairs,
    set_points,
)

from coldsift import screen
from coldsift.engine.write import material
from coldsift.report import HANDOVER, INDEX, Material, Overview, build_report, prepare
from coldsift.schema import COMMON_LOG
from coldsift.simulate import plan_fleet, simulate

UNITS, DAYS = 400, 60
FLEET, FLEET_DAYS = 5000, 90
SIMULATED, SIMULATED_DAYS = 10, 5
MEGABYTE = 1_000_000

Names = dict[str, str]


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> tuple[Material, pl.DataFrame]:
    """The simulated units over the whole time: what the report is made from, and their readings."""
    short = simulate(plan_fleet(units=SIMULATED, days=SIMULATED_DAYS, seed=46, fault_share=0.5)).log
    stretches = range(DAYS // SIMULATED_DAYS)
    log = pl.concat(
        short.with_columns(pl.col("time") + timedelta(days=SIMULATED_DAYS * place)) for place in stretches
    ).sort("container", "time")
    path = tmp_path_factory.mktemp("logs") / "log.parquet"
    COMMON_LOG.conform(log).write_parquet(path)
    screening = screen([path])
    return material(screening, "A long invented voyage"), screening.analysis.timeline


def _copies(few: Material, units: int) -> list[Names]:
    """Other container numbers, again and again."""
    names = few.findings["container"].to_list()
    numbers = count(1)
    return [
        {name: (stem := f"QXAU{next(numbers):06d}") + iso6346.calc_check_digit(stem) for name in names}
        for _ in range(units // len(names))
    ]


def _under(others: Sequence[Names], frame: pl.DataFrame) -> pl.DataFrame:
    return pl.concat(frame.with_columns(pl.col("container").replace_strict(each)) for each in others)


def _repeated(few: Material, others: Sequence[Names]) -> Material:
    """Every table of the units under their other numbers."""
    frames = {each.name: getattr(few, each.name) for each in fields(few)}
    overview = {each.name: _under(others, getattr(few.overview, each.name)) for each in fields(Overview)}
    repeated = {
        name: _under(others, frame)
        for name, frame in frames.items()
        if isinstance(frame, pl.DataFrame) and "container" in frame.columns
    }
    return replace(few, **repeated, overview=Overview(**overview))


def _timelines(log: pl.DataFrame, others: Sequence[Names]) -> Iterator[pl.DataFrame]:
    return (_under([each], log) for each in others)


def _with_papers(many: Material) -> Material:
    """Every unit has a place, every fourth a stop of the round, work, a part it wants and a change."""
    names = many.findings["container"].to_list()
    noted = notes(names, UNITS // 4)
    wanting = [names[place : place + 3] for place in range(0, UNITS // 4, 3)]
    return replace(
        many,
        plan=plan(names),
        round=inspection(many.findings.with_columns(group=pl.lit("this_round")), 24).head(UNITS // 4),
        round_hours=4.0,
        set_points=set_points(names),
        notes=noted,
        repairs=repairs(noted),
        parts=parts(),
        parts_wanted=pl.concat(map(parts_wanted, wanting)),
        possible_repairs=pl.concat(map(possible_repairs, wanting)),
        changes=changes(many.findings, UNITS // 4),
        earlier="before",
    )


def test_four_hundred_units_over_sixty_days_stay_within_their_bytes(
    few: tuple[Material, pl.DataFrame],
) -> None:
    """The pages of an eighth of the units are rendered, some with papers: the others are like them."""
    simulated, log = few
    others = _copies(simulated, UNITS)
    ship = _with_papers(_repeated(simulated, others))
    assert ship.overview.spans["readings"].sum() == UNITS * DAYS * 96
    report = prepare(ship)
    assert len(report.rows) == UNITS
    rendered = [report.units_of([*own.values()]).pages(_under([own], log)) for own in others[::8]]
    of_units = [len(text.encode()) for pages in rendered for _, text in pages]
    assert len(of_units) == UNITS // 8
    assert max(of_units) <= 1.5 * MEGABYTE
    sizes = {name: len(text.encode()) for name, text in report.rest()}
    assert sizes[INDEX] <= 6 * MEGABYTE
    assert sizes[HANDOVER] <= 0.1 * MEGABYTE


def test_one_file_of_a_whole_ship_can_still_be_opened(few: tuple[Material, pl.DataFrame]) -> None:
    """Browsers were seen to fail above 80 MB; a quarter of the ship is rendered and counted fourfold."""
    simulated, log = few
    others = _copies(simulated, UNITS // 4)
    quarter = _with_papers(_repeated(simulated, others))
    texts = dict(build_report(quarter, _timelines(log, others), one_file=True))
    assert texts.keys() == {INDEX, HANDOVER}
    assert 4 * len(texts[INDEX].encode()) <= 80 * MEGABYTE


def test_the_index_of_five_thousand_units_over_ninety_days_can_be_opened(
    few: tuple[Material, pl.DataFrame],
) -> None:
    simulated, _ = few
    others = _copies(simulated, FLEET)
    fleet = _repeated(simulated, others)
    days = fleet.unit_days
    later = days.with_columns(pl.col("day") + timedelta(days=DAYS))
    report = prepare(
        replace(
            fleet,
            unit_days=pl.concat(
                [days, later.filter(pl.col("day") < days["day"].min() + timedelta(days=FLEET_DAYS))]
            ),
        )
    )
    assert (
        sum(getattr(fleet.overview, each.name).estimated_size() for each in fields(Overview)) < 50 * MEGABYTE
    )
    sizes, index = {}, ""
    for name, text in report.rest():
        sizes[name] = len(text.encode())
        index = text
    assert len(report.rows) == FLEET
    assert sizes[INDEX] <= 8 * MEGABYTE
    assert sizes[HANDOVER] <= 0.1 * MEGABYTE
    assert {row.page for row in report.rows} <= set(re.findall(r'<a href="([^"]+)"', index))
