from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log, timeline

from coldsift.features import FEATURES, unit_features, with_saturation
from coldsift.peers import Comparison, adjusted, compare, group_statistics, peer_groups
from coldsift.regimes import find_defrosts, unit_traits

HOURS = clock(96, 60)


def unit(number: int, set_point: float = -18.0, split: float = 2.0, **channels: Any) -> pl.DataFrame:
    generator = np.random.default_rng(number)
    noise = generator.normal(0, 0.15, len(HOURS))
    own = generator.normal(0, 0.15)
    values: dict[str, Any] = {
        "set_point": set_point,
        "return_air": set_point + 0.2 + noise,
        "supply_air": set_point + 0.2 - split + own + noise,
        "ambient_air": 25.0,
    }
    return log(HOURS, f"QXAU{number:07}", **(values | channels))


def compared(*logs: pl.DataFrame) -> Comparison:
    built = timeline(*logs)
    return compare(unit_features(with_saturation(built), find_defrosts(built)), unit_traits(built), FEATURES)


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


def usual_distance(
    value: float | None, low: float | None, high: float | None, **columns: Any
) -> float | None:
    """Distance of a lone unit, the smallest difference that counts being 0.5."""
    frame = pl.DataFrame(
        {
            "container": ["lone"],
            "feature": ["superheat"],
            "peer_group": ["all"],
            "value": [value],
            "adjusted": [value],
            "scale": [0.5],
            "usual_low": [low],
            "usual_high": [high],
            "by_peers": [True],
        }
        | {name: [entry] for name, entry in columns.items()},
        schema_overrides=dict.fromkeys(("value", "adjusted", "usual_low", "usual_high"), pl.Float64),
    )
    found: float | None = group_statistics(frame, frame.select("container", "peer_group"))["z"].item()
    return found


@pytest.mark.parametrize(
    ("value", "distance"),
    [
        # Usual is 4 to 10 K, and 2 × 0.5 K counts as one spread: a lone unit has to stand out more.
        (4.0, 0.0),
        (7.0, 0.0),
        (10.0, 0.0),
        (12.5, 2.5),
        (1.0, -3.0),
        (None, None),
    ],
)
def test_a_lone_unit_is_held_against_the_usual_range_of_good_ones(
    value: float | None, distance: float | None
) -> None:
    assert usual_distance(value, 4.0, 10.0) == distance


def test_a_lone_unit_without_a_usual_range_is_not_judged() -> None:
    assert usual_distance(30.0, None, None) is None


def test_a_lone_unit_is_told_the_usual_range() -> None:
    result = compared(unit(1, return_air=np.full(len(HOURS), -14.5)))
    words = result.distances.filter(pl.col("feature") == "in_band_share")["words"].item()
    assert words == "Share of hold time in the band 0.0 %; 100 % expected, too few peers to compare"


def test_what_is_always_held_against_the_usual_is_not_excused_by_the_peers() -> None:
    """Every condenser of the fleet runs on water; the usual is air."""
    result = compared(*(unit(number, condenser_cooling="water") for number in range(20)))
    water = result.distances.filter(pl.col("feature") == "water_cooled")
    # A share of 1 over a usual 0, in two scales of 0.1.
    assert water["distance"].to_list() == pytest.approx([5.0] * 20)
    assert set(water["words"]) == {"Share of time the condenser is water-cooled 100 %"}


def test_water_cooling_worries_nobody() -> None:
    result = compared(*(unit(number, condenser_cooling="water") for number in range(20)))
    assert "water_cooled" not in set(result.contributions["feature"])
    assert (result.oddness["oddness"] < 1.0).all()


def test_every_feature_of_every_unit_has_its_distance_or_none_where_it_has_no_value() -> None:
    fleet = [unit(number) for number in range(12)]
    distances = compared(*fleet).distances
    assert distances.height == 12 * len(FEATURES)
    assert distances.filter(pl.col("value").is_null())["distance"].is_null().all()
    split = distances.filter(pl.col("feature") == "split")
    assert split["distance"].is_not_null().all()
    assert split["words"].str.contains("11 peers hold").all()


def test_distances_keep_their_sign() -> None:
    """The causes go by it: too small a split is another fault than too large a one."""
    fleet = [unit(number) for number in range(20)]
    result = compared(*fleet, unit(20, split=0.2), unit(21, split=5.0)).distances
    split = result.filter(pl.col("feature") == "split").sort("container")["distance"].to_list()
    assert split[20] < -3
    assert split[21] > 3


def test_two_ordinary_kinds_in_one_group_are_neither_odd() -> None:
    """Ten units split by 2.0 K and eight by 4.0 K: the median deviation is that of one kind."""
    fleet = [unit(number, split=2.0) for number in range(10)]
    fleet += [unit(number, split=4.0) for number in range(10, 18)]
    split = compared(*fleet).distances.filter(pl.col("feature") == "split")
    assert split["distance"].abs().max() < 3  # type: ignore[operator]
