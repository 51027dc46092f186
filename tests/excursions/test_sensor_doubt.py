"""Is it the air or the probe?"""

from __future__ import annotations

import numpy as np
import polars as pl
from tests.builders import clock, log, timeline

from coldsift.excursions import find_excursions

HOURS = clock(72)
WITHIN = (HOURS >= 30) & (HOURS < 42)
RISING = np.clip(np.minimum((HOURS - 30) / 4, (44 - HOURS) / 2), 0, 1)


def doubt(**channels: object) -> tuple[float, str]:
    values = {"set_point": 3.0, "supply_air": 3.0, "return_air": 4.0, "ambient_air": 30.0} | channels
    logged = {name: value for name, value in values.items() if value is not None}
    (row,) = find_excursions(timeline(log(HOURS, **logged))).iter_rows(named=True)
    return row["sensor_doubt"], row["sensor_doubt_why"]


def test_nothing_else_logged_leaves_the_prior() -> None:
    assert doubt(supply_air=3 + 6 * RISING, return_air=None, ambient_air=None) == (
        0.1,
        "nothing speaks against the probe",
    )


def test_the_other_air_probe_going_with_it_speaks_for_the_air() -> None:
    chance, why = doubt(supply_air=3 + 6 * RISING, return_air=4 + 5 * RISING)
    assert chance < 0.05
    assert "for the air: the other air sensor went with it" in why


def test_the_other_air_probe_staying_speaks_against_the_probe() -> None:
    chance, why = doubt(supply_air=3 + 6 * RISING, heater_state=True)
    assert 0.25 < chance < 0.5
    assert why == "the other air sensor stayed where it was"


def test_supply_air_above_the_return_air_with_the_heater_off_speaks_against_the_probe() -> None:
    chance, why = doubt(supply_air=3 + 12 * RISING, heater_state=False)
    assert chance > 0.6
    assert "with nothing heating it" in why


def test_a_split_that_the_unit_makes_anyway_is_no_sign() -> None:
    """Return air 7 K above the supply air all along: 10 K between them tell nothing."""
    frozen = {"set_point": -20.0, "supply_air": -26.0, "return_air": -19.0 + 3 * RISING}
    assert doubt(**frozen) == (0.1, "nothing speaks against the probe")


def test_a_unit_without_power_that_warms_is_believed() -> None:
    chance, why = doubt(supply_air=3 + 6 * RISING, return_air=None, power_state=~WITHIN)
    assert chance < 0.05
    assert "no power" in why


def test_a_standing_compressor_speaks_for_warm_air() -> None:
    chance, why = doubt(supply_air=3 + 6 * RISING, return_air=None, compressor_state=~WITHIN)
    assert chance < 0.1
    assert "nothing cooled it" in why


def test_a_coil_that_warms_with_the_air_speaks_for_it() -> None:
    chance, _ = doubt(
        supply_air=3 + 6 * RISING,
        return_air=None,
        evaporator_temperature=-2 + 5 * RISING,
        compressor_state=True,
    )
    assert chance < 0.1


def test_air_colder_than_the_coil_that_cools_it_cannot_be() -> None:
    chance, why = doubt(
        supply_air=3 - 9 * RISING,
        return_air=None,
        evaporator_temperature=0.0,
        compressor_state=True,
        heater_state=False,
    )
    assert chance > 0.3
    assert "colder than the coil" in why


def test_air_cannot_get_far_warmer_than_all_that_could_warm_it() -> None:
    chance, why = doubt(supply_air=3 + 12 * RISING, return_air=None, ambient_air=-5.0, heater_state=False)
    assert chance > 0.2
    assert "warmer than the ambient" in why


def test_air_does_not_get_colder_while_the_compressor_stands() -> None:
    chance, why = doubt(supply_air=3 - 8 * RISING, return_air=None, compressor_state=~WITHIN & (HOURS < 29))
    assert chance > 0.2
    assert "compressor stood" in why


def test_cargo_that_followed_speaks_for_the_air_and_cargo_that_did_not_against_it() -> None:
    followed, _ = doubt(supply_air=3 + 6 * RISING, return_air=None, cargo_probe_1=3 + RISING)
    unmoved, why = doubt(supply_air=3 + 6 * RISING, return_air=None, cargo_probe_1=3.0)
    assert followed < 0.05
    assert unmoved > 0.15
    assert why == "the cargo probes did not move"


def test_cargo_that_stays_through_a_small_excursion_is_no_sign() -> None:
    chance, _ = doubt(supply_air=3 + 3 * RISING, return_air=None, cargo_probe_1=3.0)
    assert chance == 0.1


def test_no_evidence_is_certain() -> None:
    stuck, _ = doubt(supply_air=np.where(WITHIN, 25.0, 3.0), heater_state=False, cargo_probe_1=3.0)
    believed, _ = doubt(
        supply_air=3 + 6 * RISING,
        return_air=4 + 6 * RISING,
        power_state=~WITHIN,
        evaporator_temperature=6 * RISING,
        cargo_probe_1=3 + RISING,
    )
    assert 0.9 < stuck <= 0.95
    assert 0.01 <= believed < 0.02


def test_what_the_controller_made_of_the_reading_says_nothing() -> None:
    plain = doubt(supply_air=3 + 6 * RISING, return_air=None, compressor_state=True)
    answered = doubt(
        supply_air=3 + 6 * RISING, return_air=None, compressor_state=True, power=np.where(WITHIN, 9e3, 3e3)
    )
    assert plain == answered


def test_doubt_of_one_unit_does_not_hang_on_another() -> None:
    air = 3 + 6 * RISING
    one = log(HOURS, "QXAU0000001", set_point=3.0, supply_air=air, return_air=air + 1)
    other = log(HOURS, "QXAU0000002", set_point=3.0, supply_air=air, return_air=4.0)
    together = find_excursions(timeline(one, other))
    alone = pl.concat([find_excursions(timeline(one)), find_excursions(timeline(other))])
    assert together["sensor_doubt"].to_list() == alone["sensor_doubt"].to_list()
