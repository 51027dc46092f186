"""The range of like units through time."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log, timeline

from coldsift.features import with_saturation
from coldsift.peers import peer_bands, peer_cells, peer_grid, peer_groups, peer_span
from coldsift.peers.band import ABOVE_SET_POINT, AS_THEY_ARE, FEWEST_UNITS, MOST_BUCKETS
from coldsift.refrigerant import saturation
from coldsift.regimes import unit_traits
from coldsift.schema import CHANNELS, PEER_BANDS


def unit(number: int, hours: np.ndarray, set_point: float | None = 2.0, **channels: Any) -> pl.DataFrame:
    base = 2.0 if set_point is None else set_point
    values: dict[str, Any] = {
        "set_point": [None] * len(hours) if set_point is None else set_point,
        "supply_air": base + number / 10,
        "return_air": base + 1.0,
        "ambient_air": 25.0,
    }
    return log(hours, f"QXAU{number:07}", **(values | channels))


def bands(*logs: pl.DataFrame) -> pl.DataFrame:
    return bands_of(with_saturation(timeline(*logs)))


def bands_of(built: pl.DataFrame, units_at_once: int = 100) -> pl.DataFrame:
    groups = peer_groups(unit_traits(built))
    every = built["container"].unique().sort()
    parts = [
        built.filter(pl.col("container").is_in(every[first : first + units_at_once].implode()))
        for first in range(0, len(every), units_at_once)
    ]
    grid = peer_grid(pl.concat([peer_span(part) for part in parts] or [peer_span(built)]))
    cells = [peer_cells(part, grid) for part in parts] if grid else []
    return peer_bands(cells, grid, groups.members, groups.chosen)


def of(frame: pl.DataFrame, channel: str) -> pl.DataFrame:
    return frame.filter(pl.col("channel") == channel)


DAY = clock(24, 60)


def test_the_band_is_the_middle_eighty_of_a_hundred_units() -> None:
    """Supply air 0.0 to 1.0 K above set point; a tenth of eleven units lies exactly on one of them."""
    found = of(bands(*(unit(number, DAY) for number in range(11))), "supply_air")
    assert found.height == 24
    for row in found.iter_rows(named=True):
        assert (row["low"], row["middle"], row["high"]) == pytest.approx((0.1, 0.5, 0.9))
        assert row["units"] == 11


def test_percentiles_are_those_of_numpy() -> None:
    powers = np.random.default_rng(3).normal(2000, 300, 9)
    found = of(bands(*(unit(number, DAY, power=powers[number]) for number in range(9))), "power")
    assert found["low"][0] == pytest.approx(np.percentile(powers, 10))
    assert found["middle"][0] == pytest.approx(np.percentile(powers, 50))
    assert found["high"][0] == pytest.approx(np.percentile(powers, 90))


def test_units_at_different_set_points_are_compared_by_their_distance_from_it() -> None:
    found = of(bands(*(unit(number, DAY, set_point=float(number)) for number in range(8))), "return_air")
    assert found["low"].to_list() == pytest.approx([1.0] * 24)
    assert found["high"].to_list() == pytest.approx([1.0] * 24)


def test_a_unit_without_set_point_is_in_the_band_of_its_pressures_and_not_of_its_air() -> None:
    fleet = [unit(number, DAY, suction_pressure=1.2) for number in range(6)]
    blind = unit(6, DAY, None, suction_pressure=1.2)
    found = bands(*fleet, blind).filter(pl.col("peer_group") == "all units")
    assert of(found, "supply_air")["units"].unique().to_list() == [6]
    assert of(found, "suction_pressure")["units"].unique().to_list() == [7]


def test_saturation_temperatures_have_a_band_too() -> None:
    fleet = [unit(number, DAY, suction_pressure=2.0, discharge_pressure=9.0) for number in range(5)]
    found = bands(*fleet)
    lines = saturation("R134a")
    assert of(found, "evaporating")["middle"][0] == pytest.approx(lines.dew_temperature([2.0])[0])
    assert of(found, "condensing")["middle"][0] == pytest.approx(lines.bubble_temperature([9.0])[0])


def test_fewer_than_five_units_have_no_band() -> None:
    assert bands(*(unit(number, DAY) for number in range(FEWEST_UNITS - 1))).is_empty()
    late = [unit(number, DAY + (12 if number else 0)) for number in range(FEWEST_UNITS)]
    times = of(bands(*late), "supply_air")["time"]
    # Four units are not enough before noon; one of five has ended a day later.
    assert times.min() == START + timedelta(hours=12, minutes=30)
    assert times.max() == START + timedelta(hours=23, minutes=30)


def test_a_channel_that_four_of_ten_units_log_has_no_band() -> None:
    fleet = [unit(number, DAY, **({"humidity": 60.0} if number < 4 else {})) for number in range(10)]
    assert of(bands(*fleet), "humidity").is_empty()


def test_a_stretch_is_a_whole_number_of_log_intervals_and_there_are_no_more_than_can_be_drawn() -> None:
    hours = clock(24 * 11, 15)
    found = of(bands(*(unit(number, hours) for number in range(5))), "supply_air")
    # 11 d of 96 readings in 240 stretches: 5 readings each.
    assert found["time"].diff().drop_nulls().unique().to_list() == [timedelta(minutes=75)]
    assert found["time"][0] == START + timedelta(minutes=37.5)
    assert 200 < found.height <= MOST_BUCKETS


@pytest.mark.parametrize("readings", [240, 241, 480, 481])
def test_the_last_reading_falls_in_the_last_stretch(readings: int) -> None:
    hours = np.arange(readings) * 0.25
    found = of(bands(*(unit(number, hours) for number in range(5))), "supply_air")
    step = timedelta(minutes=15) * (1 if readings <= 240 else 2 if readings <= 480 else 3)
    assert found.height <= MOST_BUCKETS
    since_begin = START + timedelta(hours=hours[-1]) - (found["time"].max() - step / 2)  # type: ignore[operator]
    assert timedelta() <= since_begin < step


def test_a_unit_with_a_wrong_clock_stretches_nothing() -> None:
    fleet = [unit(number, DAY) for number in range(6)]
    lost = log(DAY, "QXAU0000009", start=START - timedelta(days=400), set_point=2.0, supply_air=2.0)
    found = of(bands(*fleet, lost), "supply_air")
    assert found.height == 24
    assert found["time"].min() > START


def test_logs_of_different_intervals_share_the_stretches_of_the_commonest() -> None:
    fleet = [unit(number, clock(24, 30)) for number in range(4)] + [unit(9, clock(24, 60))]
    found = of(bands(*fleet), "supply_air")
    # The hourly log has a reading in every second half hour only.
    middles = [START + timedelta(hours=hour, minutes=15) for hour in range(24)]
    assert found["time"].to_list() == middles


def test_nothing_is_averaged_over_a_defrost() -> None:
    hours = clock(24, 15)
    defrosting = (hours >= 10) & (hours < 10.5)
    supply = np.where(defrosting, 30.0, 2.0)
    fleet = [unit(number, hours, supply_air=supply, defrost_state=defrosting) for number in range(5)]
    found = of(bands(*fleet), "supply_air")
    assert found["high"].max() == pytest.approx(0.0)
    assert found.height == len(hours) - 2


def test_only_groups_that_somebody_is_compared_with_are_told() -> None:
    fleet = [unit(number, DAY) for number in range(9)]
    assert set(bands(*fleet)["peer_group"]) == {"chilled, air cooled, ambient about 20 °C, over 20 min"}
    assert set(bands(*fleet, unit(9, DAY, -18.0))["peer_group"]) == {
        "chilled, air cooled, ambient about 20 °C, over 20 min",
        "all units",
    }


@pytest.mark.parametrize("logs", [[], [log([0.0], set_point=2.0, supply_air=2.0)]])
def test_a_log_of_one_reading_or_none_does_no_harm(logs: list[pl.DataFrame]) -> None:
    built = with_saturation(timeline(*(logs or [log([0.0]).clear()])))
    assert bands_of(built).equals(PEER_BANDS.empty())


def test_units_that_never_sailed_together_have_no_band() -> None:
    assert bands(*(unit(number, DAY + 24 * number) for number in range(6))).is_empty()


def test_five_units_of_one_reading_each_have_no_band() -> None:
    assert bands(*(unit(number, np.array([0.0])) for number in range(5))).is_empty()


def test_every_channel_of_a_band_is_a_measurement() -> None:
    for name in (*ABOVE_SET_POINT, *AS_THEY_ARE):
        assert name in {"evaporating", "condensing"} or not CHANNELS[name].is_state


def test_the_order_of_the_units_changes_nothing() -> None:
    noise = np.random.default_rng(5)
    fleet = [unit(number, DAY, power=noise.normal(2000, 200, len(DAY))) for number in range(8)]
    assert bands(*fleet).equals(bands(*reversed(fleet)))


def test_bands_are_the_same_in_whatever_batches_the_units_came() -> None:
    chance = np.random.default_rng(5)
    hours = clock(72, 15)
    fleet = [
        unit(number, hours + number % 3, power=chance.normal(2000, 300, len(hours))) for number in range(13)
    ]
    built = with_saturation(timeline(*fleet))
    whole = bands_of(built)
    assert not whole.is_empty()
    for units_at_once in (1, 5):
        assert bands_of(built, units_at_once).equals(whole)
