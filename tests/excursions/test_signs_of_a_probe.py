"""Signs that the probe erred, and readings that are none; what they make of the odds."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from tests.builders import clock, log, timeline

from coldsift.excursions import divide, find_excursions

HOURS = clock(72)
WITHIN = (HOURS >= 30) & (HOURS < 42)
RISING = np.clip(np.minimum((HOURS - 30) / 4, (44 - HOURS) / 2), 0, 1)


def doubt(**channels: object) -> tuple[float, str]:
    values = {"set_point": 3.0, "supply_air": 3.0, "ambient_air": 30.0} | channels
    (row,) = find_excursions(timeline(log(HOURS, **values))).iter_rows(named=True)
    return row["sensor_doubt"], row["sensor_doubt_why"]


def test_a_reading_that_stands_for_hours_is_not_air() -> None:
    _, why = doubt(supply_air=np.where(WITHIN, 9.0, 3.0))
    assert why == "the reading stood unchanged"


def test_a_reading_that_stands_for_three_hours_may_be_air() -> None:
    three_hours = (HOURS >= 30) & (HOURS < 33)
    assert doubt(supply_air=np.where(three_hours, 9.0, 3.0)) == (0.1, "nothing speaks against the probe")


def test_air_colder_than_a_coil_that_cools_nothing_is_no_sign() -> None:
    _, why = doubt(
        supply_air=3 - 9 * RISING,
        evaporator_temperature=0.0,
        compressor_state=False,
        heater_state=False,
        ambient_air=-10.0,
    )
    assert "colder than the coil" not in why


def test_a_few_wild_readings_do_not_move_where_the_other_probe_usually_stands() -> None:
    wild = (HOURS < 30) & (np.arange(len(HOURS)) % 20 == 0)
    chance, why = doubt(supply_air=3 + 6 * RISING, return_air=np.where(wild, 90.0, 4.0), heater_state=True)
    assert why == "the other air sensor stayed where it was"
    assert chance == pytest.approx(4 / 13)


def test_signs_multiply_the_odds_that_the_probe_erred() -> None:
    """One in ten to begin with, odds 1 : 9. By hand: × 4 is 4 in 13; × 0.3 × 0.4 is 0.12 in 9.12."""
    against, _ = doubt(supply_air=3 + 6 * RISING, return_air=4.0, heater_state=True)
    with_it, _ = doubt(
        supply_air=3 + 6 * RISING,
        return_air=4 + 5 * RISING,
        evaporator_temperature=-2 + 5 * RISING,
        compressor_state=True,
    )
    assert against == pytest.approx(4 / 13)
    assert with_it == pytest.approx(0.12 / 9.12)


def test_parts_stand_by_container_then_by_excursion_and_regime_before_custody() -> None:
    logs = [
        log(HOURS, name, set_point=3.0, supply_air=3 + 6 * RISING, power_state=~WITHIN)
        for name in ("QXAU0000002", "QXAU0000001")
    ]
    built = timeline(*logs)
    custody = pl.DataFrame(
        {
            "container": ["QXAU0000001", "QXAU0000002"],
            "start": [built["time"].min()] * 2,
            "end": [None, None],
            "holder": ["ship", "ship"],
        },
        schema_overrides={"end": built.schema["time"]},
    )
    parts = divide(built, find_excursions(built), custody)
    assert parts["container"].is_sorted()
    for _, own in parts.group_by("container"):
        assert own["division"].is_sorted(descending=True)
        assert set(own["division"]) == {"regime", "custody"}
