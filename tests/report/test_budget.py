"""The report of a whole ship on a long voyage stays small enough to be opened anywhere.

Ten simulated units are screened and stand for 400 over 60 days: their log is repeated four times in a row,
and every table of theirs under other numbers.
"""

from __future__ import annotations

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

from coldsift.engine import Screening, Settings
from coldsift.engine.aboard import aboard_of
from coldsift.engine.analysis import analyse
from coldsift.engine.papers import Voyage
from coldsift.engine.passage import passage_of
from coldsift.engine.write import material
from coldsift.report import HANDOVER, INDEX, Material, build_report
from coldsift.schema import SET_ASIDE
from coldsift.simulate import plan_fleet, simulate

UNITS, DAYS = 400, 60
SIMULATED, SIMULATED_DAYS = 10, 15
MEGABYTE = 1_000_000


@pytest.fixture(scope="module")
def ship() -> Material:
    short = simulate(plan_fleet(units=SIMULATED, days=SIMULATED_DAYS, seed=46, fault_share=0.5)).log
    stretches = range(DAYS // SIMULATED_DAYS)
    log = pl.concat(
        short.with_columns(pl.col("time") + timedelta(days=SIMULATED_DAYS * place)) for place in stretches
    ).sort("container", "time")
    analysis = analyse(log, Settings())
    voyage = Voyage()
    passage = passage_of(analysis.timeline, analysis.excursions, analysis.defrosts, voyage)
    screening = Screening(
        settings=Settings(),
        log=log,
        analysis=analysis,
        voyage=voyage,
        passage=passage,
        aboard=aboard_of(analysis, voyage, Settings()),
        set_aside=SET_ASIDE.empty(),
        sources=(),
        messages=(),
        invented=True,
    )
    return _with_papers(_repeated(material(screening, "A long invented voyage")))


def _repeated(few: Material) -> Material:
    """Every table again and again under other container numbers."""
    names = few.findings["container"].to_list()
    numbers = count(1)
    others = [
        {name: (stem := f"QXAU{next(numbers):06d}") + iso6346.calc_check_digit(stem) for name in names}
        for _ in range(UNITS // SIMULATED)
    ]
    frames = {each.name: getattr(few, each.name) for each in fields(few)}
    return replace(
        few,
        **{
            name: pl.concat(frame.with_columns(pl.col("container").replace_strict(other)) for other in others)
            for name, frame in frames.items()
            if isinstance(frame, pl.DataFrame) and "container" in frame.columns
        },
    )


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


def test_four_hundred_units_over_sixty_days_stay_within_their_bytes(ship: Material) -> None:
    assert ship.timeline.height == UNITS * DAYS * 96
    sizes = {name: len(text.encode()) for name, text in build_report(ship)}
    pages = [size for name, size in sizes.items() if name.endswith(".html") and name not in (INDEX, HANDOVER)]
    assert len(pages) == UNITS
    assert sizes[INDEX] <= 8 * MEGABYTE
    assert max(pages) <= 1.5 * MEGABYTE
    assert sizes[HANDOVER] <= 0.1 * MEGABYTE


def test_one_file_of_a_whole_ship_can_still_be_opened(ship: Material) -> None:
    """Browsers were seen to fail above 80 MB; a quarter of the ship is rendered and counted fourfold."""
    some = ship.findings["container"].to_list()[: UNITS // 4]
    frames = {each.name: getattr(ship, each.name) for each in fields(ship)}
    quarter = replace(
        ship,
        **{
            name: frame.filter(pl.col("container").is_in(some))
            for name, frame in frames.items()
            if isinstance(frame, pl.DataFrame) and "container" in frame.columns
        },
    )
    texts = dict(build_report(quarter, one_file=True))
    assert texts.keys() == {INDEX, HANDOVER}
    assert 4 * len(texts[INDEX].encode()) <= 80 * MEGABYTE
