"""What each cargo went through, reckoned in batches of units and for all units at once."""

from __future__ import annotations

from collections.abc import Callable

import polars as pl
import pytest
from benchmarks.cargo.planted import Planted

from coldsift.cargo import cargo_outlook, cargo_temperatures, cargoes_of, load_goods
from coldsift.excursions import divide, find_defrost_rises, find_excursions, find_gaps
from coldsift.ranking import hours_to_limit
from coldsift.regimes import build_timeline, find_defrosts, mark_shared
from coldsift.schema import VOYAGE_EVENTS

Stage = Callable[[pl.DataFrame], pl.DataFrame]


def cargoes(timeline: pl.DataFrame) -> pl.DataFrame:
    return cargo_outlook(timeline, cargoes_of(timeline, {}, load_goods()))


def temperatures(timeline: pl.DataFrame) -> pl.DataFrame:
    return cargo_temperatures(timeline, cargoes_of(timeline, {}, load_goods()))


def parts(timeline: pl.DataFrame) -> pl.DataFrame:
    return divide(timeline, find_excursions(timeline))


def rises(timeline: pl.DataFrame) -> pl.DataFrame:
    return find_defrost_rises(timeline, find_defrosts(timeline))


STAGES: tuple[Stage, ...] = (
    cargoes,
    temperatures,
    find_excursions,
    parts,
    rises,
    find_gaps,
    hours_to_limit,
)


@pytest.mark.parametrize("stage", STAGES)
def test_batches_of_five_tell_the_same_as_all_units_at_once(planted: Planted, stage: Stage) -> None:
    built = mark_shared(build_timeline(planted.log), VOYAGE_EVENTS.empty())
    every = built["container"].unique().sort()
    batches = [
        stage(built.filter(pl.col("container").is_in(every[first : first + 5].implode())))
        for first in range(0, len(every), 5)
    ]
    assert pl.concat(batches).equals(stage(built))
