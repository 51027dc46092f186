from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log, timeline

from coldsift.excursions import find_excursions
from coldsift.features import FEATURES, unit_features
from coldsift.peers import compare
from coldsift.ranking import Ranking, rank
from coldsift.ranking.limits import hours_to_limit
from coldsift.regimes import find_defrosts, unit_traits

HOURS = clock(96, 60)


def healthy(number: int, **channels: object) -> pl.DataFrame:
    noise = np.random.default_rng(number).normal(0, 0.2, len(HOURS))
    values = {
        "set_point": -18.0,
        "return_air": -17.8 + noise,
        "supply_air": -19.8 + noise,
        "ambient_air": 25.0,
    } | channels
    return log(HOURS, f"QXAU{number:07}", **values)


def ranked(*logs: pl.DataFrame) -> Ranking:
    built = timeline(*logs)
    comparison = compare(unit_features(built, find_defrosts(built)), unit_traits(built), FEATURES)
    return rank(comparison, unit_traits(built), built, find_excursions(built), FEATURES)


FLEET = [healthy(number) for number in range(14)]


def row(result: Ranking, number: int) -> dict[str, object]:
    return result.findings.row(by_predicate=pl.col("container") == f"QXAU{number:07}", named=True)


def test_a_unit_warming_out_of_its_band_is_first_and_to_be_seen_now() -> None:
    air = np.where(HOURS > 60, -17.8 + (HOURS - 60) * 0.25, -17.8)
    found = row(ranked(*FLEET, healthy(20, return_air=air, supply_air=air - 0.2)), 20)
    assert found["rank"] == 1
    assert found["group"] == "go_now"
    assert found["hours_to_limit"] == 0
    assert "outside its band" in str(found["why"])


def test_healthy_units_have_nothing_found() -> None:
    groups = set(ranked(*FLEET).findings["group"].cast(str))
    assert groups == {"nothing_found"}


def test_a_log_without_set_point_cannot_be_judged_and_says_so() -> None:
    found = row(ranked(*FLEET, healthy(20, set_point=[None] * len(HOURS))), 20)
    assert found["group"] == "cannot_tell"
    assert found["cannot_tell"] == "no set point logged"
    assert found["chance_of_fault"] is None


def test_a_steady_rise_foretells_when_the_band_is_left() -> None:
    """−17.8 °C rising 0.1 K/h towards −15 °C: 28 h at the start. Hand calculation."""
    air = -17.8 + 0.1 * clock(12, 15)
    built = timeline(log(clock(12, 15), set_point=-18.0, return_air=air, supply_air=air - 2))
    expected = (-15 - air[-2]) / 0.1
    assert hours_to_limit(built)["hours_to_limit"].item() == pytest.approx(expected, abs=0.1)


def test_a_pull_down_on_its_way_is_not_out_of_its_band_now() -> None:
    hours = clock(12)
    air = -18 + 38 * np.exp(-hours / 8)
    limits = hours_to_limit(timeline(log(hours, set_point=-18.0, return_air=air, supply_air=air - 4)))
    assert limits["hours_to_limit"].to_list() == [None]
    assert limits["pulling_down"].to_list() == [True]


def test_ranks_run_from_one_without_gap() -> None:
    findings = ranked(*FLEET).findings
    assert findings["rank"].to_list() == list(range(1, len(FLEET) + 1))


def test_a_finding_says_with_whom_the_unit_was_compared() -> None:
    alike = ranked(*FLEET).findings["compared_with"].unique().to_list()
    assert alike == ["13 other units: deep frozen, air cooled, ambient about 20 °C, over 20 min"]
    lone = row(ranked(*FLEET, healthy(20, set_point=[13.0] * len(HOURS))), 20)
    assert lone["compared_with"] == "14 other units: all units; fewer than 8 are more alike"
