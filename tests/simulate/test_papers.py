"""The papers of the sample voyage: as they lie in sample_logs, and as coldsift reads them."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from coldsift.simulate import Fleet, sample_voyage
from coldsift.simulate.papers import FILES, papers_of
from coldsift.voyage import read_facts

SAMPLE = Path(__file__).parents[2] / "sample_logs"

NOTHING = pl.DataFrame()
FLEET = Fleet(sample_voyage(), log=NOTHING, truth=NOTHING, defrosts=NOTHING, excursions=NOTHING)
"""Papers rest on the plan alone."""


@pytest.mark.parametrize("name", FILES)
def test_the_papers_beside_the_sample_logs_are_those_of_the_simulator(name: str) -> None:
    assert (SAMPLE / name).read_bytes() == papers_of(FLEET)[name].encode()


def test_every_container_has_a_place_of_its_own_on_deck_or_in_the_hold() -> None:
    units = read_facts(SAMPLE / "facts.toml").units
    assert set(units) == {unit.container for unit in FLEET.plan.units}
    places = {container: unit.position for container, unit in units.items()}
    assert len(set(places.values())) == len(units)
    for unit in FLEET.plan.units:
        place = places[unit.container]
        assert place is not None
        # Common practice: tiers on deck count from 80, even bays are those of 40 ft boxes, odd ones of 20 ft.
        assert (int(place[5:]) >= 80) == (unit.stow == "deck")
        assert (int(place[:3]) % 2 == 1) == (unit.size == "20")
