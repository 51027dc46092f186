from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log, timeline

from coldsift.excursions import DEFROST_RULES, find_defrost_rises, find_excursions
from coldsift.regimes import Bands, find_defrosts

HOURS = clock(48)
DEFROSTING = (HOURS >= 20) & (HOURS < 20.75)


def rises(set_point: float, air: np.ndarray, bands: Bands | None = None) -> pl.DataFrame:
    built = timeline(
        log(HOURS, set_point=set_point, supply_air=air, return_air=air, defrost_state=DEFROSTING), bands=bands
    )
    return find_defrost_rises(built, find_defrosts(built))


def peaked(set_point: float, height: float, back: float = 21.5) -> np.ndarray:
    """At the set point, up by a height in the defrost, and straight back by an hour."""
    return set_point + np.where(
        DEFROSTING, height, height * np.clip((back - HOURS) / (back - 20.5), 0, 1) * (HOURS > 20)
    )


def test_warm_air_in_a_defrost_and_after_it_is_listed_with_its_rule() -> None:
    row = rises(3.0, peaked(3.0, 6.0)).row(0, named=True)
    assert row["start"] == START + timedelta(hours=20)
    assert row["end"] == START + timedelta(hours=22.25)
    assert (row["peak"], row["above_set_point"]) == (9.0, 6.0)
    # 9 °C from 20 h to 20.5 h, then straight to 3 °C at 21.5 h; 5 °C is passed after two thirds of that.
    assert row["minutes"] == pytest.approx(30 + 40)
    assert row["rule"] == "after_defrost_practice"
    assert row["within_rule"]


def test_chilled_air_that_does_not_come_back_goes_beyond_the_rule() -> None:
    row = rises(3.0, peaked(3.0, 6.0, back=30.0)).row(0, named=True)
    assert not row["within_rule"]
    assert row["end"] == START + timedelta(hours=22.25)


@pytest.mark.parametrize(
    ("set_point", "peak", "within"),
    [
        (-18.0, -15.5, True),
        (-18.0, -15.0, True),
        (-18.0, -14.5, False),
        # Held colder than prescribed, the air may rise further.
        (-25.0, -15.5, True),
        (-25.0, -14.5, False),
        (-15.0, -9.5, True),
        (-15.0, -8.5, False),
        (-10.0, -7.5, True),
    ],
)
def test_frozen_air_is_held_against_three_kelvin_above_what_is_prescribed(
    set_point: float, peak: float, within: bool
) -> None:
    """ATP Annex 2: deep-frozen food −18 °C, other frozen −12 °C; paragraph 4: at most +3 °C."""
    row = rises(set_point, peaked(set_point, peak - set_point), Bands(frozen=1.0)).row(0, named=True)
    assert row["rule"] == "atp_annex_2_para_4"
    assert row["within_rule"] == within


def test_what_the_frozen_rule_does_not_say_is_said() -> None:
    words, source = DEFROST_RULES["atp_annex_2_para_4"]
    assert "no breach by itself" in words
    assert source == "ATP, Annex 2, paragraph 4"
    assert DEFROST_RULES["after_defrost_practice"][1] == "common practice, no source"


def test_a_rise_within_the_band_is_not_listed() -> None:
    assert rises(3.0, peaked(3.0, 1.5)).is_empty()


def test_what_is_listed_as_a_rise_is_no_excursion() -> None:
    air = peaked(3.0, 6.0)
    built = timeline(log(HOURS, set_point=3.0, supply_air=air, return_air=air, defrost_state=DEFROSTING))
    assert find_excursions(built).is_empty()
    assert find_defrost_rises(built, find_defrosts(built)).height == 1


def test_a_defrost_within_an_excursion_is_the_excursions() -> None:
    air = np.where(DEFROSTING, 15.0, np.where((HOURS > 10) & (HOURS < 30), 9.0, 3.0))
    assert rises(3.0, air).is_empty()


def test_each_of_two_defrosts_is_told_by_itself() -> None:
    second = (HOURS >= 30) & (HOURS < 30.5)
    air = np.where(second, 7.0, peaked(3.0, 6.0))
    built = timeline(
        log(HOURS, set_point=3.0, supply_air=air, return_air=air, defrost_state=DEFROSTING | second)
    )
    found = find_defrost_rises(built, find_defrosts(built))
    assert found["peak"].to_list() == [9.0, 7.0]


def test_a_defrost_that_the_log_ends_in_is_listed_up_to_its_last_reading() -> None:
    hours = clock(20.5)
    off = hours >= 20
    built = timeline(
        log(hours, set_point=3.0, supply_air=np.where(off, 9.0, 3.0), return_air=3.0, defrost_state=off)
    )
    row = find_defrost_rises(built, find_defrosts(built)).row(0, named=True)
    assert row["end"] == START + timedelta(hours=20.25)
    assert row["minutes"] == pytest.approx(15.0)


def test_hours_without_readings_do_not_count_as_a_rise() -> None:
    kept = (HOURS <= 20.5) | (HOURS >= 24)
    air = peaked(3.0, 6.0)
    built = timeline(
        log(
            HOURS[kept],
            set_point=3.0,
            supply_air=air[kept],
            return_air=air[kept],
            defrost_state=DEFROSTING[kept],
        )
    )
    row = find_defrost_rises(built, find_defrosts(built)).row(0, named=True)
    assert row["minutes"] == pytest.approx(30.0)
    assert row["end"] == START + timedelta(hours=20.5)
