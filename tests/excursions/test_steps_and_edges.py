"""Single steps beyond the edge, and excursions that touch the ends of a log or of a holding."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from scipy.integrate import quad
from tests.builders import START, clock, log, timeline

from coldsift.excursions import divide, find_excursions
from coldsift.excursions.straight import mean_rate_beyond
from coldsift.schema import CUSTODY

ACTIVATION = 83.144e3 / 8.3144
"""Heat of activation over the gas constant, as for the mean kinetic temperature. [K]"""


def test_the_mean_rate_of_a_step_is_its_integral() -> None:
    """From 5 to 12 °C, against scipy's integration of the law of Arrhenius."""

    def rate(celsius: float) -> float:
        return float(np.exp(ACTIVATION * (1 / 273.15 - 1 / (273.15 + celsius))))

    step = pl.DataFrame({"air": [5.0], "next_air": [12.0], "edge": [5.0], "side": [1]})
    found = step.select(mean_rate_beyond(*(pl.col(name) for name in step.columns))).item()
    assert found == pytest.approx(quad(rate, 5.0, 12.0)[0] / 7.0, rel=1e-3)


def test_a_coil_that_warmed_by_a_third_of_the_rise_did_not_warm_with_it() -> None:
    hours = clock(72)
    rising = np.clip(np.minimum((hours - 30) / 4, (44 - hours) / 2), 0, 1)
    built = timeline(
        log(
            hours,
            set_point=3.0,
            supply_air=3 + 6 * rising,
            evaporator_temperature=-2 + 2 * rising,
            compressor_state=True,
        )
    )
    assert "the coil warmed with it" not in find_excursions(built)["sensor_doubt_why"].item()


def test_a_single_reading_lasts_no_time_even_without_a_grace_time() -> None:
    assert find_excursions(timeline(log([0.0], set_point=3.0, supply_air=9.0)), 0.0).is_empty()


def test_air_that_is_never_inside_its_band_is_found() -> None:
    found = find_excursions(timeline(log(clock(24), set_point=3.0, supply_air=9.0)))
    assert found["start"].min() == START
    assert found["end"].max() == START + timedelta(hours=23.75)


def test_steps_that_may_not_have_been_outside_add_nothing_at_most() -> None:
    """Half a step of 0.5 K: 0.25 K beyond for an hour, 0.75 K for one, 3.25 K for eight; and the jumps."""
    hours = clock(48)
    air = np.select(
        [hours < 9, hours < 10, hours < 11, hours < 12, hours < 20], [3.0, 4.0, 5.0, 5.5, 8.0], 3.5
    )
    found = find_excursions(timeline(log(hours, set_point=3.0, supply_air=air)))
    most = 0.25 + 0.75 + 8 * 3.25 + 0.25 * (0.25 + 0.75 + 3.25)
    assert found["degree_hours"].item() <= found["degree_hours_at_most"].item() <= most


def test_whoever_takes_over_at_the_very_end_has_no_part() -> None:
    hours = clock(48)
    air = 3 + 6 * np.clip(np.minimum((hours - 10) / 2, (32 - hours) / 2), 0, 1)
    built = timeline(log(hours, set_point=3.0, supply_air=air))
    found = find_excursions(built)
    end = found["end"].item()
    custody = CUSTODY.conform(
        pl.DataFrame(
            {
                "container": ["QXAU0000001"] * 2,
                "start": [START - timedelta(hours=1), end],
                "end": [end, None],
                "holder": ["ship", "port"],
                "line": [2, 3],
            },
            schema_overrides=CUSTODY.empty().schema,
        )
    )
    parts = divide(built, found, custody).filter(pl.col("division") == "custody")
    assert parts["part"].to_list() == ["ship"]
