"""What a reader of the reckoning is told beside the figures."""

from __future__ import annotations

from tests.builders import clock, log, timeline

from coldsift.cargo import Goods, cargo_notes, cargo_temperatures, cargoes_of
from coldsift.schema import CARGO_TEMPERATURES
from coldsift.voyage.facts import UnitFacts

NAME = "QXAU0000001"


def notes_of(goods: Goods, facts: UnitFacts, set_point: float = 4.0, **channels: float) -> str:
    own = timeline(
        log(clock(48), set_point=set_point, supply_air=set_point, return_air=set_point + 1, **channels)
    )
    (cargo,) = cargoes_of(own, {NAME: facts}, goods)
    return " ".join(cargo_notes(own, cargo, cargo_temperatures(own, (cargo,))))


def test_what_was_assumed_is_said_and_what_was_told_is_not(goods: Goods) -> None:
    assert "Net mass of the cargo not told" in notes_of(goods, UnitFacts())
    assert "Heat leak of the box not told" in notes_of(goods, UnitFacts())
    told = notes_of(goods, UnitFacts(cargo_mass=20_000.0, heat_leak=40.0))
    assert "not told: 8" not in told
    assert "Heat leak" not in told


def test_what_the_walls_let_in_is_worked_out(goods: Goods) -> None:
    """34 and 46 W/K over 34 K, by hand: 1156 and 1564 W."""
    told = notes_of(goods, UnitFacts(heat_leak=40.0), ambient_air=38.0)
    assert "At the mean ambient of 38.0 °C the walls let in 1156 to 1564 W" in told
    assert "all the cargo as one would warm by" in told
    frozen = notes_of(goods, UnitFacts(heat_leak=40.0), -18.0, ambient_air=38.0)
    assert "the walls let in 1904 to 2576 W" in frozen
    assert "as one would warm" not in frozen
    assert "walls let in" not in notes_of(goods, UnitFacts())


def test_a_second_model_gives_its_opinion(goods: Goods) -> None:
    told = notes_of(goods, UnitFacts(), ambient_air=25.0)
    assert "Reckoned a second time as a slab" in told
    assert "K apart in the core" in told


def test_without_air_there_is_no_second_opinion(goods: Goods) -> None:
    own = timeline(log(clock(24), set_point=4.0))
    (cargo,) = cargoes_of(own, {}, goods)
    assert "slab" not in " ".join(cargo_notes(own, cargo, CARGO_TEMPERATURES.empty()))
