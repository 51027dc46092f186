"""Differences between phases and between now and before."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log
from tests.features.measured import measured, value

from coldsift.features.catalogue import imbalance


def test_two_phases_tell_no_imbalance_of_three() -> None:
    """5, 6 and 7 A: 1 A from their mean of 6, 16.7 %. Without the third nothing is known."""
    phases = pl.DataFrame({"first": [5.0, 5.0], "second": [6.0, 6.0], "third": [7.0, None]})
    full, lacking = phases.select(imbalance(*phases.columns)).to_series()
    assert full == pytest.approx(100 / 6)
    assert lacking is None


def test_defrosts_that_come_twice_as_often_as_before_shifted_by_the_difference() -> None:
    """Every 12 h for six days, then every 6 h for four: minus 6 h."""
    hours = clock(240)
    every = np.where(hours < 144, 12, 6)
    defrosting = (hours >= 6) & (hours % every < 0.5)
    found = measured(
        log(hours, set_point=-18.0, supply_air=-19.5, return_air=-17.6, defrost_state=defrosting)
    )
    assert value(found, "defrost_interval_shift") == pytest.approx(-6.0)
