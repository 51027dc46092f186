"""Saturation temperatures beside the readings, for features and charts."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from tests.builders import log, timeline

from coldsift.features import DRAWN_COLUMNS, with_saturation
from coldsift.refrigerant import UnknownRefrigerant, saturation

HOURS = np.arange(4.0)


def two_units() -> pl.DataFrame:
    pressures = {"suction_pressure": [1.0, 2.0, None, 0.0], "discharge_pressure": [9.0, 12.0, 9.0, 80.0]}
    return timeline(*(log(HOURS, name, set_point=2.0, supply_air=2.0, **pressures) for name in ("A", "B")))


@pytest.mark.parametrize(("container", "name"), [("A", "R134a"), ("B", "R404A")])
def test_each_unit_s_pressures_are_read_with_its_own_refrigerant(container: str, name: str) -> None:
    found = with_saturation(two_units(), {"B": "R404A"}).filter(pl.col("container") == container)
    lines = saturation(name)
    assert found["evaporating"][:2].to_list() == pytest.approx(lines.dew_temperature([1.0, 2.0]))
    assert found["condensing"][:2].to_list() == pytest.approx(lines.bubble_temperature([9.0, 12.0]))


def test_a_pressure_that_is_missing_or_refused_has_no_temperature() -> None:
    found = with_saturation(two_units()).filter(pl.col("container") == "A")
    assert found["evaporating"].is_null().to_list() == [False, False, True, True]
    assert found["condensing"].is_null().to_list() == [False, False, False, True]


def test_the_readings_stay_as_and_where_they_were() -> None:
    before = two_units()
    after = with_saturation(before)
    assert after.select(before.columns).equals(before)
    assert set(DRAWN_COLUMNS) <= set(after.columns)


def test_a_refrigerant_that_there_is_not_is_refused() -> None:
    with pytest.raises(UnknownRefrigerant):
        with_saturation(two_units(), {"A": "R999"})
