from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
from tests.builders import START, clock, log, timeline

from coldsift.peers import peers_then


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
    then = peers_then(fleet(), "A", START, START + timedelta(hours=24))
    assert then.height == 24
    assert then["units"].unique().to_list() == [3]
    assert then["outside"].sum() == 0
    assert then["median"].abs().max() < 1e-9


def test_a_frozen_box_is_not_measured_by_chilled_ones() -> None:
    then = peers_then(fleet(), "E", START, START + timedelta(hours=24))
    assert then.is_empty()


def test_the_others_see_the_one_that_is_outside() -> None:
    then = peers_then(fleet(), "C", START, START + timedelta(hours=24))
    assert then["outside"].to_list() == [0] * 12 + [1] * 12


def test_only_the_hours_asked_for_count() -> None:
    then = peers_then(fleet(), "A", START + timedelta(hours=6), START + timedelta(hours=8, minutes=30))
    assert then["time"].to_list() == [START + timedelta(hours=hour) for hour in (6, 7, 8)]
