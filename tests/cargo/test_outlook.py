"""How long the cargo has, and what its life has lost."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from benchmarks.cargo.planted import Planted
from tests.builders import START, clock, log, timeline

from coldsift.cargo import Goods, cargo_outlook, cargoes_of, load_goods
from coldsift.cargo.properties import enthalpy
from coldsift.regimes import build_timeline
from coldsift.schema import CARGO
from coldsift.voyage.facts import UnitFacts

NAME = "QXAU0000001"
TOLD = UnitFacts(cargo="fruit", packaging="cartons", cargo_mass=20_000.0, heat_leak=40.0)


def outlook(goods: Goods, built: pl.DataFrame, facts: UnitFacts | None = None) -> dict[str, Any]:
    cargoes = cargoes_of(built, {} if facts is None else {NAME: facts}, goods)
    return cargo_outlook(built, cargoes).row(0, named=True)


def frozen(hours: float = 24 * 8, **channels: Any) -> pl.DataFrame:
    given = {"set_point": -20.0, "supply_air": -21.0, "return_air": -20.0, "ambient_air": 30.0}
    return timeline(log(clock(hours), **given | channels))


def test_steady_air_never_brings_frozen_cargo_to_its_limit(goods: Goods) -> None:
    row = outlook(goods, frozen())
    assert row["hours_as_now"] is None
    assert row["hours_as_now_low"] is None
    assert 1.0 < row["hours_if_failed_low"] < row["hours_if_failed"] < row["hours_if_failed_high"] < 200.0


def test_a_failed_unit_warms_as_its_heat_leak_and_mass_say(goods: Goods) -> None:
    """By hand, the whole cargo warming as one with its apparent specific heat: an upper bound, since the
    outer cargo goes ahead."""
    told = UnitFacts(cargo="frozen", packaging="cartons", cargo_mass=20_000.0, heat_leak=40.0)
    row = outlook(goods, frozen(), told)
    gained = 20_000.0 * float(enthalpy(0.7, -1.5, -15.0) - enthalpy(0.7, -1.5, -20.5))
    as_one = gained / (40.0 * (30.0 + 17.5)) / 3600.0
    assert 0.4 * as_one < row["hours_if_failed"] < 1.1 * as_one


def test_more_leak_and_less_cargo_leave_less_time(goods: Goods) -> None:
    def hours(mass: float, leak: float) -> float:
        told = UnitFacts(cargo="frozen", packaging="cartons", cargo_mass=mass, heat_leak=leak)
        return float(outlook(goods, frozen(), told)["hours_if_failed"])

    assert hours(20_000.0, 40.0) > 1.3 * hours(20_000.0, 60.0)
    assert hours(20_000.0, 40.0) > 1.3 * hours(12_000.0, 40.0)


def test_near_the_freezing_point_the_ice_buys_time(goods: Goods) -> None:
    """To −3 °C the cargo takes up far more heat than to −15 °C, and more than in proportion."""

    def hours(limit: float) -> float:
        told = UnitFacts(
            cargo="frozen", packaging="cartons", cargo_mass=20_000.0, heat_leak=50.0, limit_high=limit
        )
        return float(outlook(goods, frozen(), told)["hours_if_failed"])

    assert hours(-3.0) > 2.0 * (17.0 / 5.0) * hours(-15.0)


def test_air_that_keeps_rising_brings_the_cargo_to_its_limit(goods: Goods) -> None:
    hours = clock(24 * 8)
    rise = np.maximum(hours - hours[-1] + 20.0, 0.0) * 0.2
    row = outlook(goods, frozen(supply_air=-21.0 + rise, return_air=-20.0 + rise))
    assert row["hours_as_now_low"] <= row["hours_as_now"] <= row["hours_as_now_high"]
    # The air passes −17 °C within hours of the log's end, the cargo later.
    assert 1.0 < row["hours_as_now"] < 40.0


def test_air_that_rises_stops_at_the_air_outside(goods: Goods) -> None:
    hours = clock(24 * 8)
    rise = np.maximum(hours - hours[-1] + 20.0, 0.0) * 0.1
    cold = outlook(goods, frozen(supply_air=-21.0 + rise, return_air=-20.0 + rise, ambient_air=-25.0))
    assert cold["hours_as_now"] is None
    assert cold["hours_if_failed"] is None


def test_a_set_point_that_is_being_reached_is_no_approach_to_a_limit(goods: Goods) -> None:
    hours = clock(24 * 8)
    fall = np.maximum(hours[-1] - hours, 0.0).clip(0, 20) * 0.1
    built = timeline(
        log(hours, set_point=2.0, supply_air=2.0 + fall, return_air=2.8 + fall, ambient_air=20.0)
    )
    told = UnitFacts(cargo="fruit", packaging="cartons", limit_low=-1.0, limit_high=8.0)
    assert outlook(goods, built, told)["hours_as_now"] is None


def test_a_unit_that_stands_goes_on_standing(goods: Goods) -> None:
    hours = clock(24 * 6)
    dark = hours >= hours[-1] - 2.0
    row = outlook(
        goods,
        frozen(24 * 6, power_state=~dark, supply_air=np.where(dark, -18.0, -21.0)),
    )
    assert row["hours_as_now"] == pytest.approx(row["hours_if_failed"])


def test_cargo_beyond_its_limit_has_no_time_left(goods: Goods) -> None:
    row = outlook(goods, frozen(supply_air=-10.0, return_air=-9.0))
    assert row["hours_if_failed"] == 0.0
    assert row["hours_as_now"] == 0.0


def test_cold_outside_threatens_a_heated_cargo_from_below(goods: Goods) -> None:
    built = timeline(log(clock(24 * 6), set_point=13.5, supply_air=13.5, return_air=13.2, ambient_air=-15.0))
    told = UnitFacts(cargo="medicine", packaging="cartons", limit_low=12.0, limit_high=30.0)
    row = outlook(goods, built, told)
    assert 0.0 < row["hours_if_failed"] < 200.0
    warm = built.with_columns(ambient_air=pl.lit(20.0))
    assert outlook(goods, warm, told)["hours_if_failed"] is None


def test_life_is_lost_in_the_warmth_and_not_at_the_optimum(goods: Goods) -> None:
    """Q10 3: at 10 °C above its optimum the fruit ages three times as fast, two days a day beyond its own.
    Respiration makes it a little more."""
    warm = timeline(log(clock(24 * 6), set_point=10.0, supply_air=10.0, return_air=10.0))
    row = outlook(goods, warm, TOLD)
    assert row["life_days"] == 30.0
    assert row["life_lost_days"] == pytest.approx(6 * 2.0, rel=0.2)
    cold = timeline(log(clock(24 * 6), set_point=-0.8, supply_air=-0.8, return_air=-0.8))
    assert outlook(goods, cold, TOLD)["life_lost_days"] < 0.6
    assert outlook(goods, warm)["life_lost_days"] is None


def test_the_table_keeps_to_its_schema(planted: Planted) -> None:
    built = build_timeline(planted.log)
    table = cargo_outlook(built, cargoes_of(built, {}, load_goods()))
    assert table.equals(CARGO.conform(table))
    assert table["container"].to_list() == sorted(set(planted.log["container"]))
    hours = table.select(pl.selectors.starts_with("hours")).unpivot()["value"].drop_nulls()
    assert hours.min() >= 0.0
    assert hours.max() <= 720.0


def test_healthy_frozen_units_are_not_heading_for_their_limit(planted: Planted) -> None:
    built = build_timeline(planted.log)
    table = cargo_outlook(built, cargoes_of(built, {}, load_goods()))
    settled = table.filter(pl.col("limit_high") < -10.0, pl.col("core") < pl.col("limit_high"))
    assert settled.height >= 3
    assert settled["hours_as_now"].null_count() == settled.height


def test_the_outlook_knows_no_reading_after_its_end(goods: Goods) -> None:
    """Cut off before a failure, the outlook is that of a healthy unit."""
    hours = clock(24 * 8)
    rise = np.maximum(hours - 24 * 7, 0.0) * 0.5
    whole = log(hours, set_point=-20.0, supply_air=-21.0 + rise, return_air=-20.0 + rise, ambient_air=30.0)
    cut = timeline(whole.filter(pl.col("time") < START + timedelta(days=7)))
    assert outlook(goods, cut)["hours_as_now"] is None
    assert outlook(goods, timeline(whole))["hours_as_now"] < 24.0


def test_a_medicine_is_held_against_its_mean_kinetic_temperature() -> None:
    """2 °C for 23 h and 25 °C for 1 h: 5.8254 °C, computed two ways (numpy, scipy logsumexp)."""
    hours = clock(24, 60)
    air = np.where(hours < 23, 2.0, 25.0)
    whole = np.append(hours, 24.0)
    own = timeline(log(whole, set_point=5.0, supply_air=np.append(air, 25.0), return_air=6.0))
    goods = load_goods()
    row = cargo_outlook(own, cargoes_of(own, {NAME: UnitFacts(cargo="pharma_2_8")}, goods)).row(0, named=True)
    assert row["mean_kinetic_temperature"] == pytest.approx(5.8254, abs=1e-3)
    assert row["mean_kinetic_limit"] == 8.0
    unknown = cargo_outlook(own, cargoes_of(own, {}, goods)).row(0, named=True)
    assert unknown["mean_kinetic_limit"] is None
