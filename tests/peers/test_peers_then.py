from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
from tests.builders import START, clock, log, timeline

from coldsift.peers import peers_then, unit_hours


def fleet() -> pl.DataFrame:
    """One unit that warms from hour 12 on, four that hold, of which one has a frozen set point."""
    hours = clock(24, 30)
    warm = np.where(hours >= 12, 9.0, 3.0)
    logs = [log(hours, "A", set_point=3.0, supply_air=warm, return_air=warm + 1)]
    logs += [
        log(hours, name, set_point=3.0, supply_air=3.0 + shift, return_air=4.0)
        for name, shift in (("B", -0.2), ("C", 0.0), ("D", 0.4))
    ]
    logs.append(log(hours, "E", set_point=-18.0, supply_air=-19.0, return_air=0.0))
    return timeline(*logs)


def test_units_of_the_same_kind_hold_while_one_warms() -> None:
    then = peers_then(unit_hours(fleet()), "A", START, START + timedelta(hours=24))
    assert then.height == 24
    assert then["units"].unique().to_list() == [3]
    assert then["outside"].sum() == 0
    assert then["median"].abs().max() < 1e-9


def test_a_frozen_box_is_not_measured_by_chilled_ones() -> None:
    then = peers_then(unit_hours(fleet()), "E", START, START + timedelta(hours=24))
    assert then.is_empty()


def test_the_others_see_the_one_that_is_outside() -> None:
    then = peers_then(unit_hours(fleet()), "C", START, START + timedelta(hours=24))
    assert then["outside"].to_list() == [0] * 12 + [1] * 12


def test_only_the_hours_asked_for_count() -> None:
    then = peers_then(
        unit_hours(fleet()), "A", START + timedelta(hours=6), START + timedelta(hours=8, minutes=30)
    )
    assert then["time"].to_list() == [START + timedelta(hours=hour) for hour in (6, 7, 8)]


def test_an_hour_that_the_window_touches_counts_whole() -> None:
    hours = unit_hours(fleet())
    whole = peers_then(hours, "A", START, START + timedelta(hours=3))
    part = peers_then(hours, "A", START + timedelta(minutes=40), START + timedelta(hours=2, minutes=1))
    assert part.equals(whole.head(3))


def test_the_hours_of_a_unit_are_the_same_alone_and_among_others() -> None:
    together = unit_hours(fleet())
    alone = pl.concat([unit_hours(unit) for unit in fleet().partition_by("container")])
    assert together.equals(alone)


def test_readings_in_a_defrost_do_not_count_and_their_hour_stays() -> None:
    """Its own hour must stand, or the others would not be told of then."""
    defrosting = fleet().with_columns(
        defrost=pl.when(pl.col("container") == "B").then(pl.col("time").dt.hour() == 5).otherwise("defrost")
    )
    hours = unit_hours(defrosting)
    b = hours.filter(pl.col("container") == "B")
    assert b.height == 24
    assert b.filter(pl.col("readings") == 0)["hour"].to_list() == [START + timedelta(hours=5)]
    end = START + timedelta(hours=24)
    assert peers_then(hours, "A", START, end)["units"].to_list() == [3] * 5 + [2] + [3] * 18
    assert peers_then(hours, "B", START, end).height == 24
