"""What a container carries and bears, and where that is known from."""

from __future__ import annotations

import pytest
from tests.builders import clock, log, timeline

from coldsift.cargo import Cargo, Goods, UnknownCommodity, UnknownPackaging, cargoes_of, load_goods
from coldsift.voyage.facts import UnitFacts

NAME = "QXAU0000001"


def cargo_of(
    goods: Goods, set_point: float | None, facts: UnitFacts | None = None, **channels: float
) -> Cargo:
    air = 5.0 if set_point is None else set_point
    ordered = {} if set_point is None else {"set_point": set_point}
    built = timeline(log(clock(24), supply_air=air, return_air=air + 1.0, **ordered, **channels))
    return cargoes_of(built, {} if facts is None else {NAME: facts}, goods)[0]


def limits(cargo: Cargo) -> tuple[float | None, float | None, str]:
    return cargo.limit_low, cargo.limit_high, cargo.limit_from


def test_unknown_chilled_cargo_bears_what_its_band_allows(goods: Goods) -> None:
    cargo = cargo_of(goods, 4.0)
    assert (cargo.name, cargo.known_from) == ("chilled cargo", "set point: class chilled, cargo unknown")
    assert limits(cargo) == (2.0, 6.0, "set point and band")
    assert cargo.foods == ()


def test_cold_does_no_harm_to_frozen_cargo(goods: Goods) -> None:
    cargo = cargo_of(goods, -18.0)
    assert cargo.known_from == "set point: class frozen, cargo unknown"
    assert limits(cargo) == (None, -15.0, "set point and band")
    assert cargo.respiration == ()


def test_without_a_set_point_no_class_is_made_up(goods: Goods) -> None:
    cargo = cargo_of(goods, None)
    assert cargo.name == "unknown"
    assert limits(cargo) == (None, None, "no limit known")


def test_a_contract_goes_before_everything(goods: Goods) -> None:
    facts = UnitFacts(cargo="fruit", limit_low=-0.5, limit_high=3.0)
    assert limits(cargo_of(goods, 0.5, facts)) == (-0.5, 3.0, "contract")


def test_a_contract_of_one_edge_leaves_the_other_to_the_next_source(goods: Goods) -> None:
    assert limits(cargo_of(goods, 0.5, UnitFacts(cargo="fruit", limit_high=3.0))) == (
        -1.5,
        3.0,
        "low: freezing point of Fruit; high: contract",
    )


def test_a_rule_with_a_brief_rise_counts_it_for_the_outer_cargo(goods: Goods) -> None:
    """ATP Annex 2, paragraph 4: at most 3 K at the surface of part of the load."""
    assert limits(cargo_of(goods, -18.0, UnitFacts(cargo="frozen"))) == (
        None,
        -15.0,
        "Frozen rule, brief rise of 3 K counted",
    )


def test_a_rule_can_have_two_edges(goods: Goods) -> None:
    assert limits(cargo_of(goods, 5.0, UnitFacts(cargo="medicine"))) == (2.0, 8.0, "Medicine rule")


def test_living_cargo_has_its_own_lower_edge(goods: Goods) -> None:
    assert limits(cargo_of(goods, 0.5, UnitFacts(cargo="fruit"))) == (
        -1.5,
        2.5,
        "low: freezing point of Fruit; high: set point and band",
    )
    tender = cargo_of(goods, 7.0, UnitFacts(cargo="tender"))
    assert limits(tender) == (5.0, 9.0, "low: chilling limit of Tender fruit; high: set point and band")


def test_a_set_point_at_the_chilling_limit_does_not_call_the_ordered_air_too_cold(goods: Goods) -> None:
    low, _, words = limits(cargo_of(goods, 5.0, UnitFacts(cargo="tender")))
    assert low == 3.0
    assert "the chilling limit of Tender fruit being at the set point" in words


def test_every_assumption_is_put_in_words(goods: Goods) -> None:
    unknown = cargo_of(goods, 4.0)
    assert len(unknown.assumptions) == 4
    told = UnitFacts(cargo="fruit", packaging="cartons", cargo_mass=20_000.0, heat_leak=40.0)
    cargo = cargo_of(goods, 4.0, told, ambient_air=20.0)
    assert cargo.assumptions == ()
    assert cargo.stow.half_thickness == (0.1, 0.2)
    assert cargo.mass == pytest.approx((19_400.0, 20_600.0))
    assert cargo.heat_leak == pytest.approx((34.0, 46.0))


def test_the_usual_packaging_is_assumed_with_room_to_both_sides(goods: Goods) -> None:
    cargo = cargo_of(goods, 4.0, UnitFacts(cargo="fruit"))
    thin, thick = cargo.stow.half_thickness
    assert thin < 0.1
    assert thick > 0.2
    assert "Packaging not told; the usual one is assumed: Cartons." in cargo.assumptions


def test_unknown_names_are_refused_with_a_hint(goods: Goods) -> None:
    with pytest.raises(UnknownCommodity, match="frut"):
        cargo_of(goods, 4.0, UnitFacts(cargo="frut"))
    with pytest.raises(UnknownPackaging, match="known are cartons"):
        cargo_of(goods, 4.0, UnitFacts(packaging="crates"))


def test_containers_come_in_the_order_of_their_numbers(goods: Goods) -> None:
    hours = clock(12)
    built = timeline(
        log(hours, container="ZZBU0000002", set_point=4.0, supply_air=4.0),
        log(hours, container="QXAU0000001", set_point=-18.0, supply_air=-18.0),
    )
    assert [cargo.container for cargo in cargoes_of(built, {}, goods)] == ["QXAU0000001", "ZZBU0000002"]


def test_the_shipped_goods_can_all_be_carried() -> None:
    shipped = load_goods()
    hours = clock(2)
    for commodity in shipped.commodities.values():
        set_point = -20.0 if commodity.regime_class != "chilled" else commodity.optimum_high
        built = timeline(log(hours, set_point=set_point, supply_air=set_point))
        cargo = cargoes_of(built, {NAME: UnitFacts(cargo=commodity.id)}, shipped)[0]
        assert cargo.name == commodity.name
        assert cargo.limit_high is not None
        for low, high in (
            cargo.stow.half_thickness,
            cargo.stow.bulk_density,
            cargo.stow.heat_transfer,
            cargo.stow.conductivity,
            cargo.stow.specific_heat,
        ):
            assert 0 < low <= high


def test_walls_of_a_certificate_give_the_heat_leak(goods: Goods) -> None:
    """K √(Si Se) = 0.40 √(110 · 130) = 47.833 W/K, computed by hand; ± 15 % for the years."""
    walls = UnitFacts(wall_coefficient=0.40, inside_area=110.0, outside_area=130.0)
    assert cargo_of(goods, 4.0, walls).heat_leak == pytest.approx((0.85 * 47.833, 1.15 * 47.833), abs=1e-2)
    told = UnitFacts(heat_leak=30.0, wall_coefficient=0.4, inside_area=110.0, outside_area=130.0)
    assert cargo_of(goods, 4.0, told).heat_leak == pytest.approx((25.5, 34.5))
