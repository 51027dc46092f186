from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log, timeline

from coldsift.features import FEATURES, unit_features
from coldsift.peers import Comparison, adjusted, compare, peer_groups
from coldsift.regimes import find_defrosts, unit_traits

HOURS = clock(96, 60)


def unit(number: int, set_point: float = -18.0, split: float = 2.0, **channels: object) -> pl.DataFrame:
    generator = np.random.default_rng(number)
    noise = generator.normal(0, 0.15, len(HOURS))
    own = generator.normal(0, 0.15)
    values = {
        "set_point": set_point,
        "return_air": set_point + 0.2 + noise,
        "supply_air": set_point + 0.2 - split + own + noise,
        "ambient_air": 25.0,
    } | channels
    return log(HOURS, f"QXAU{number:07}", **values)


def compared(*logs: pl.DataFrame) -> Comparison:
    built = timeline(*logs)
    return compare(unit_features(built, find_defrosts(built)), unit_traits(built), FEATURES)


def test_the_unit_without_a_split_is_the_odd_one_and_says_why() -> None:
    result = compared(*(unit(number) for number in range(20)), unit(20, split=0.2))
    assert result.oddness.sort("oddness", descending=True)["container"][0] == "QXAU0000020"
    words = result.contributions.filter(pl.col("container") == "QXAU0000020")["words"][0]
    assert words.startswith("Split (return minus supply)")
    assert "20 peers hold" in words


def test_ordinary_units_are_not_odd() -> None:
    result = compared(*(unit(number) for number in range(20)))
    assert (result.oddness["oddness"] < 1.0).all()


def test_a_single_unit_of_its_kind_falls_back_to_a_wider_group_and_says_so() -> None:
    built = timeline(*(unit(number) for number in range(12)), unit(12, set_point=13.0))
    groups = peer_groups(unit_traits(built)).chosen
    lone = groups.row(by_predicate=pl.col("container") == "QXAU0000012", named=True)
    assert lone["level"] == "all units"
    common = groups.row(by_predicate=pl.col("container") == "QXAU0000000", named=True)
    assert common["level"] == "class, ambient and log interval"
    assert common["peers"] == 11


def test_a_unit_without_peers_is_held_against_its_set_point() -> None:
    result = compared(unit(1, return_air=np.full(len(HOURS), -14.5)))
    words = result.contributions["words"].to_list()
    assert any("too few peers" in sentence for sentence in words)
    assert result.oddness["oddness"].item() > 0.5


def test_warm_weather_explains_power_and_is_taken_out() -> None:
    lift = np.linspace(20, 60, 30)
    values = pl.DataFrame(
        {
            "container": [f"unit {number:02}" for number in range(30)],
            "feature": "power_mean",
            "value": 2000 + 50 * lift,
            "side": True,
            "task": lift,
        }
    )
    corrected = adjusted(values)["adjusted"].to_numpy()
    assert np.ptp(corrected) < 1e-6
    assert corrected.mean() == pytest.approx(4000)


def test_the_same_fleet_in_another_order_gives_the_same_result() -> None:
    logs = [unit(number, split=2.0 if number else 0.3) for number in range(15)]
    assert compared(*logs).oddness.equals(compared(*reversed(logs)).oddness)
