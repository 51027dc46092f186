"""Reckoned cargo temperatures against planted ones, and what gaps and probes do to the band."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from benchmarks.cargo.planted import Planted, judge, without
from tests.builders import START, clock, log, timeline

from coldsift.cargo import (
    Goods,
    cargo_outlook,
    cargo_temperatures,
    cargoes_of,
    load_goods,
    slab_profile,
)
from coldsift.cargo.air import PROBES
from coldsift.regimes import build_timeline
from coldsift.schema import CARGO, CARGO_TEMPERATURES
from coldsift.voyage.facts import UnitFacts

NAME = "QXAU0000001"


def reckoned(built: pl.DataFrame, goods: Goods, **facts: UnitFacts) -> pl.DataFrame:
    return cargo_temperatures(built, cargoes_of(built, facts, goods))


def held(hours: float, air: float = 4.0, minutes: int = 15, **channels: object) -> pl.DataFrame:
    """A unit that holds its set point."""
    return log(
        clock(hours, minutes), **{"set_point": air, "supply_air": air, "return_air": air + 1.0} | channels
    )


def width(rows: pl.DataFrame, node: str = "core") -> np.ndarray:
    return (rows[f"{node}_high"] - rows[f"{node}_low"]).to_numpy()


@pytest.fixture(scope="session")
def probed(planted: Planted) -> pl.DataFrame:
    """Log of the units that log probes."""
    with_probes = planted.log.filter(pl.col(PROBES[0]).is_not_null())["container"].unique()
    assert len(with_probes) >= 3
    return planted.log.filter(pl.col("container").is_in(with_probes.implode()))


def test_the_planted_truth_lies_in_the_band(planted: Planted) -> None:
    """Nothing told but the air; asked for: nine in ten. A band as wide as the air's own swing says little."""
    judged = judge(planted, without(planted.log, *PROBES), load_goods())
    for _, rows in judged.group_by("node", maintain_order=True):
        assert rows["inside"].mean() >= 0.9
        assert rows["error"].mean() < 1.5


def test_probes_narrow_the_band_and_keep_the_truth_in_it(planted: Planted, probed: pl.DataFrame) -> None:
    hidden = judge(planted, without(probed, *PROBES), load_goods())
    fitted = judge(planted, probed, load_goods())
    both = hidden.join(fitted, on=["container", "zone", "node"], suffix="_fitted")
    for _, rows in both.group_by("node", maintain_order=True):
        assert rows["inside_fitted"].mean() >= 0.9
        assert rows["width_fitted"].mean() < 0.6 * rows["width"].mean()
        assert rows["error_fitted"].mean() < 0.6


def test_the_fit_is_reported(planted: Planted, probed: pl.DataFrame) -> None:
    built = build_timeline(planted.log)
    outlook = cargo_outlook(built, cargoes_of(built, {}, load_goods()))
    fitted = outlook.filter("fitted")
    assert set(fitted["container"]) == set(probed["container"])
    assert fitted["fit_error"].max() < 0.8
    assert (
        outlook.filter(~pl.col("fitted"))["fit_error"].null_count()
        == outlook.filter(~pl.col("fitted")).height
    )


def test_a_stuck_probe_is_not_fitted_to(goods: Goods) -> None:
    hours = clock(96)
    air = 4.0 + 10.0 * np.exp(-hours / 12.0)
    built = timeline(held(96, supply_air=air, return_air=air + 1.0, cargo_probe_1=[9.3] * len(hours)))
    outlook = cargo_outlook(built, cargoes_of(built, {}, goods))
    assert outlook["fitted"].to_list() == [False]
    moving = np.round(5.0 + 10.0 * np.exp(-hours / 24.0), 1)
    built = timeline(held(96, supply_air=air, return_air=air + 1.0, cargo_probe_1=moving))
    assert cargo_outlook(built, cargoes_of(built, {}, goods))["fitted"].to_list() == [True]


def test_a_probe_that_hangs_in_another_place_is_not_fitted_to(goods: Goods) -> None:
    hours = clock(72)
    outside = 25.0 + 3.0 * np.sin(hours / 4.0)
    built = timeline(held(72, cargo_probe_1=np.round(outside, 1)))
    outlook = cargo_outlook(built, cargoes_of(built, {}, goods))
    assert outlook.select("fitted", "fit_error").row(0) == (False, None)


def test_cargo_comes_to_its_air(goods: Goods) -> None:
    rows = reckoned(timeline(held(24 * 14, air=-18.0)), goods).tail(1)
    assert -18.5 < rows["core"].item() < -16.5
    assert rows["core_low"].item() <= rows["core"].item() <= rows["core_high"].item()


def test_the_core_lags_behind_the_outer_cargo_while_it_is_pulled_down(goods: Goods) -> None:
    hours = clock(48)
    air = -18.0 + 20.0 * np.exp(-hours / 6.0)
    built = timeline(log(hours, set_point=-18.0, supply_air=air - 1.0, return_air=air))
    rows = reckoned(built, goods).filter(pl.col("time") == START + timedelta(hours=24))
    assert rows["core"].item() > rows["surface"].item() + 0.3


def test_respiration_keeps_living_cargo_warmer_than_dead_one(goods: Goods) -> None:
    built = timeline(held(24 * 10, air=8.0))
    fruit = reckoned(built, goods, **{NAME: UnitFacts(cargo="fruit", packaging="cartons")}).tail(1)
    medicine = reckoned(built, goods, **{NAME: UnitFacts(cargo="medicine", packaging="cartons")}).tail(1)
    assert fruit["core"].item() > medicine["core"].item() + 0.3


def test_a_gap_widens_the_band_and_is_not_bridged_in_silence(goods: Goods) -> None:
    whole = held(24 * 8, ambient_air=30.0)
    missing = pl.col("time").is_between(START + timedelta(days=5), START + timedelta(days=7), closed="none")
    rows = reckoned(timeline(whole.filter(~missing)), goods)
    after = rows.filter(pl.col("time") >= START + timedelta(days=7)).head(1)
    unbroken = reckoned(timeline(whole), goods).filter(pl.col("time") == after["time"].item())
    assert width(after, "surface")[0] > 1.5 * width(unbroken, "surface")[0]
    # The unit may have stood in the gap: upwards more than downwards.
    assert after["surface_high"].item() > unbroken["surface_high"].item() + 1.0
    assert not rows["time"].is_between(START + timedelta(days=5, hours=1), START + timedelta(days=6)).any()


def test_readings_without_air_are_a_gap_wherever_they_stand(goods: Goods) -> None:
    hours = clock(48)
    supply = np.where((hours < 3) | ((hours > 20) & (hours < 30)), np.nan, 4.0)
    holes = [None if np.isnan(value) else float(value) for value in supply]
    built = timeline(log(hours, set_point=4.0, supply_air=holes))
    rows = reckoned(built, goods)
    assert rows["time"].min() == START + timedelta(hours=3)
    assert rows.height == sum(value is not None for value in holes)
    assert rows.null_count().sum_horizontal().item() == 0


def test_a_missing_second_air_probe_widens_the_band(goods: Goods) -> None:
    both = reckoned(timeline(held(24 * 10)), goods).tail(1)
    one = reckoned(timeline(held(24 * 10).with_columns(return_air=None)), goods).tail(1)
    assert width(one, "surface")[0] > width(both, "surface")[0]


def test_still_air_in_a_defrost_warms_the_cargo_less_than_its_probe(goods: Goods) -> None:
    hours = clock(24 * 5)
    defrost = hours % 12 < 0.75
    air = np.where(defrost, -2.0, -18.0)
    built = timeline(log(hours, set_point=-18.0, supply_air=air, return_air=air - 1.0, defrost_state=defrost))
    rows = reckoned(built, goods)
    assert rows["surface"].max() < -13.0
    calm = reckoned(timeline(log(hours, set_point=-18.0, supply_air=-18.0, return_air=-19.0)), goods)
    assert rows.tail(1)["core"].item() == pytest.approx(calm.tail(1)["core"].item(), abs=0.8)


def test_the_log_interval_hardly_matters(goods: Goods) -> None:
    """The same air, logged every quarter hour and every hour."""
    fine, coarse = clock(24 * 4), clock(24 * 4, 60)

    def air(hours: np.ndarray) -> np.ndarray:
        return np.asarray(4.0 + 12.0 * np.exp(-hours / 8.0))

    ends = []
    for hours in (fine, coarse):
        built = timeline(log(hours, set_point=4.0, supply_air=air(hours), return_air=air(hours) + 0.5))
        rows = reckoned(built, goods).filter(pl.col("time") <= START + timedelta(hours=95)).tail(1)
        ends.append(rows.select("surface", "core", "core_low", "core_high").row(0))
    assert ends[0] == pytest.approx(ends[1], abs=0.1)


def test_a_unit_is_reckoned_the_same_whoever_sails_along(planted: Planted) -> None:
    goods = load_goods()
    every = build_timeline(planted.log)
    together = cargo_temperatures(every, cargoes_of(every, {}, goods))
    outlook = cargo_outlook(every, cargoes_of(every, {}, goods))
    for container in every["container"].unique().sort()[::5]:
        alone = every.filter(pl.col("container") == container)
        cargoes = cargoes_of(alone, {}, goods)
        assert cargo_temperatures(alone, cargoes).equals(together.filter(pl.col("container") == container))
        assert cargo_outlook(alone, cargoes).equals(outlook.filter(pl.col("container") == container))


def test_the_same_log_gives_the_same_tables_in_order(planted: Planted) -> None:
    built = build_timeline(planted.log)
    cargoes = cargoes_of(built, {}, load_goods())
    first, second = (cargo_temperatures(built, cargoes) for _ in range(2))
    assert first.equals(second)
    assert first.equals(CARGO_TEMPERATURES.conform(first))
    assert first.equals(first.sort("container", "time"))
    for node in ("surface", "core"):
        assert first.select((pl.col(f"{node}_low") <= pl.col(node)).all()).item()
        assert first.select((pl.col(node) <= pl.col(f"{node}_high")).all()).item()


def test_a_container_without_air_has_its_row_and_no_temperatures(goods: Goods) -> None:
    built = timeline(log(clock(24), set_point=4.0, suction_pressure=2.0))
    cargoes = cargoes_of(built, {}, goods)
    assert cargo_temperatures(built, cargoes).equals(CARGO_TEMPERATURES.empty())
    outlook = cargo_outlook(built, cargoes)
    assert outlook.equals(CARGO.conform(outlook))
    assert outlook.select("cargo", "surface", "core", "fitted", "hours_if_failed").row(0) == (
        "chilled cargo",
        None,
        None,
        False,
        None,
    )


def test_a_single_reading_is_enough_for_a_wide_band(goods: Goods) -> None:
    built = timeline(held(0.25))
    rows = reckoned(built, goods)
    assert rows.height == 1
    assert width(rows)[0] > 2.0
    assert slab_profile(built, cargoes_of(built, {}, goods)[0]).is_empty()


def test_slab_and_stores_tell_the_same(goods: Goods) -> None:
    """The second opinion for one unit: the same members, the whole profile."""
    hours = clock(24 * 4)
    defrost = hours % 8 < 0.5
    air = -18.0 + 12.0 * np.exp(-hours / 6.0)
    built = timeline(
        log(
            hours,
            set_point=-18.0,
            supply_air=air + np.where(defrost, 10.0, -1.5),
            return_air=air,
            defrost_state=defrost,
        )
    )
    cargo = cargoes_of(built, {}, goods)[0]
    slab = slab_profile(built, cargo)
    stores = cargo_temperatures(built, [cargo])
    assert slab["time"].equals(stores["time"])
    # The slab begins even, the stores with an outer cargo that is on its way to the air.
    late = slab["time"] > START + timedelta(hours=24)
    for ours, theirs in (("centre", "core"), ("outer", "surface")):
        for edge in ("", "_low", "_high"):
            apart = (slab[f"{ours}{edge}"] - stores[f"{theirs}{edge}"]).filter(late).abs()
            assert apart.max() < 1.0
            assert apart.mean() < 0.5
    assert (slab["face_high"] - slab["face_low"] > 0).all()
