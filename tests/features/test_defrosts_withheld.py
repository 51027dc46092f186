"""The longest running time without a defrost: only hours that gather frost count."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log
from tests.features.measured import measured, value

HOURS = clock(96)
COLD: dict[str, Any] = {
    "set_point": -18.0,
    "supply_air": -19.5,
    "return_air": -17.6,
    "ambient_air": 25.0,
    "defrost_state": False,
}


def hours_without_defrost(**channels: Any) -> Any:
    readings: pl.DataFrame = log(HOURS, **(COLD | channels))
    return value(measured(readings), "without_defrost")


def test_a_unit_that_never_defrosts_shows_its_whole_running_time() -> None:
    # The last reading stands for no time.
    assert hours_without_defrost(compressor_state=True) == pytest.approx(95.75)


def test_the_longest_stretch_between_defrosts_counts() -> None:
    """Defrosts of half an hour at 20 and 70 h: 20, 49.5 and 25.5 h between and beside them."""
    defrosting = ((HOURS >= 20) & (HOURS < 20.5)) | ((HOURS >= 70) & (HOURS < 70.5))
    found = hours_without_defrost(compressor_state=True, defrost_state=defrosting)
    # The defrost's last reading counts to the stretch after it.
    assert found == pytest.approx(49.5, abs=0.3)


def test_a_coil_above_frost_gathers_none() -> None:
    coil = np.where(HOURS < 30, 2.0, -24.0)
    assert hours_without_defrost(compressor_state=True, evaporator_temperature=coil) == pytest.approx(65.75)


def test_a_compressor_that_stands_gathers_none() -> None:
    assert hours_without_defrost(compressor_state=HOURS % 4 < 2) == pytest.approx(48.0)


def test_hours_without_power_gather_none() -> None:
    assert hours_without_defrost(power_state=HOURS < 40) == pytest.approx(40.0)


def test_what_has_gathered_since_the_last_defrost_is_told_apart_from_the_longest_stretch() -> None:
    """The same two defrosts: 25.5 h since the last, whatever came before."""
    defrosting = ((HOURS >= 20) & (HOURS < 20.5)) | ((HOURS >= 70) & (HOURS < 70.5))
    readings: pl.DataFrame = log(HOURS, **(COLD | {"compressor_state": True, "defrost_state": defrosting}))
    assert value(measured(readings), "frosting_since_defrost") == pytest.approx(25.5, abs=0.3)
