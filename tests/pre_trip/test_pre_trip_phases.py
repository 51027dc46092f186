"""The parts of an inspection are found from what was ordered and what the air did."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from coldsift.pre_trip.phases import find_phases, last_session, with_phases
from tests.builders import log
from tests.pre_trip.inspected import START, by_hand, judged, later, verdicts, words


def phases(frame: pl.DataFrame) -> pl.DataFrame:
    return find_phases(with_phases(last_session(frame)))


def names(frame: pl.DataFrame) -> list[str]:
    return phases(frame)["phase"].cast(pl.String).to_list()


def test_the_programme_is_found_in_its_order() -> None:
    assert names(by_hand()) == [
        "fans_only",
        "pull_down_chilled",
        "chilled_hold",
        "pull_down_frozen",
        "frozen_hold",
        "defrost",
        "return",
    ]


def test_phases_begin_and_end_where_the_paper_says() -> None:
    found = phases(by_hand())
    minutes = dict(found.select(pl.col("phase").cast(pl.String), "minutes").iter_rows())
    # The chilled air is within 1 K at its first reading at 0.2 °C, 12 readings after the compressor started;
    # the frozen return air at the first at −18 °C.
    assert minutes["fans_only"] == 30
    assert minutes["pull_down_chilled"] == 60
    assert minutes["pull_down_frozen"] == 90
    assert minutes["defrost"] == 20
    assert found["start"][0] == START


def test_a_set_point_above_the_air_is_heated_to() -> None:
    count = 40
    air = np.concatenate([np.linspace(-18, 17.5, 25), np.full(15, 18.0)])
    frame = log(
        np.arange(count) / 12,
        set_point=18.0,
        supply_air=air,
        return_air=air,
        compressor_state=False,
        evaporator_fan_speed=100.0,
        heater_state=True,
    )
    assert names(frame) == ["heating", "warm_hold"]


def test_a_defrost_on_the_way_does_not_end_the_way() -> None:
    frame = by_hand()
    begin = START + timedelta(minutes=5 * 36)
    on_the_way = pl.col("time").is_between(begin, begin + timedelta(minutes=10))
    frame = frame.with_columns(
        defrost_state=pl.col("defrost_state") | on_the_way,
        compressor_state=pl.col("compressor_state") & ~on_the_way,
    )
    found = phases(frame)
    way = found.filter(pl.col("phase") == "pull_down_frozen")
    assert way.height == 1
    assert way["minutes"][0] == 90


def test_only_the_last_occasion_is_judged_and_the_rest_is_counted() -> None:
    earlier = by_hand(supply_air=5.0)
    both = pl.concat([earlier, later(by_hand(), 48)])
    inspection = judged(both)
    assert inspection.timeline.height == earlier.height
    assert inspection.left_out.rows() == [("QXAU0000016", earlier.height)]


def test_a_night_without_power_after_the_test_does_not_hide_it() -> None:
    night = by_hand(power_state=False, set_point=-18.0)
    both = pl.concat([by_hand(), later(night, 6)])
    assert names(both)[:3] == ["fans_only", "pull_down_chilled", "chilled_hold"]


def test_a_repeated_step_is_judged_by_its_last_finished_run() -> None:
    slow = by_hand().head(18)
    again = later(by_hand(), 1.5)
    found = phases(pl.concat([slow.with_columns(set_point=pl.lit(3.0)), again]))
    chosen = found.filter("chosen", pl.col("phase") == "pull_down_chilled")
    assert chosen["set_point"].to_list() == [0.0]


def test_a_log_without_set_point_has_no_phase_to_judge() -> None:
    inspection = judged(by_hand(set_point=None))
    assert verdicts(inspection)["pull_down_chilled_minutes"] == "not_tested"
    assert words(inspection, "pull_down_chilled_minutes").startswith("Not tested: no such phase")


@pytest.mark.parametrize("rows", [0, 1, 2])
def test_hardly_any_readings_are_no_failure(rows: int) -> None:
    inspection = judged(by_hand().head(rows))
    assert set(inspection.items["verdict"].cast(pl.String)) <= {"not_tested", "within", "watch"}
