"""Each clock against the others of the ship: what is reported, within which bounds, what is left alone."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log

from coldsift.clocks import compare_clocks, outages
from coldsift.clocks.spelled import in_words
from coldsift.engine.analysis import whole_voyage
from coldsift.engine.reading import seen_of, together
from coldsift.intake.merge import REPEATS
from coldsift.regimes import Bands

CUTS = ((40.0, 41.4), (100.2, 101.0), (170.0, 172.5))
"""Hours without power of the whole ship."""

NOT_SET = "2000-01-05 to 2000-01-15"


def unit(
    number: int,
    ahead: float = 0.0,
    gains: float = 0.0,
    minutes: int = 15,
    cuts: tuple[tuple[float, float], ...] = CUTS,
    silent: bool = False,
    **channels: Any,
) -> pl.DataFrame:
    """Ten days of a unit whose clock is ahead [min] and gains [s a day]; no two log at the same minute."""
    shown = clock(240, minutes) + number * minutes / 600
    true = shown - (ahead / 60 + gains * shown / 24 / 3600)
    off = np.zeros(len(true), dtype=bool)
    for begin, end in cuts:
        off |= (true >= begin) & (true < end)
    wave = 25 + 4 * np.sin(2 * np.pi * true / 24) + np.random.default_rng(number).normal(0, 0.3, len(true))
    readings: dict[str, Any] = {
        "set_point": -18.0,
        "supply_air": -19.0,
        "return_air": -17.5,
        "ambient_air": wave,
    }
    made = log(shown, f"QXAU{number:07}", power_state=~off, **(readings | channels))
    return made.filter(~pl.Series(off)) if silent else made


def compared(*logs: pl.DataFrame) -> dict[str, dict[str, Any]]:
    seen, _ = seen_of(pl.concat(logs), Bands(), pl.DataFrame(schema=REPEATS))
    return {row["container"]: row for row in whole_voyage(seen).clock_offsets.iter_rows(named=True)}


def last(*logs: pl.DataFrame) -> dict[str, Any]:
    """What is said of the last of them; nothing is said against the others."""
    found = list(compared(*logs).values())
    assert not any(row["apart"] for row in found[:-1])
    return found[-1]


def right(count: int = 9, **said: Any) -> list[pl.DataFrame]:
    return [unit(number, **said) for number in range(count)]


# Power cuts.
@pytest.mark.parametrize("minutes", [5, 15, 60])
@pytest.mark.parametrize("ahead", [-180.0, 120.0])
def test_a_clock_that_is_hours_off_is_told_with_bounds_that_hold(ahead: float, minutes: int) -> None:
    found = last(*right(minutes=minutes), unit(9, ahead, minutes=minutes))
    assert found["apart"]
    assert found["power_cuts"] >= 2
    assert found["lower"] <= ahead * 60 <= found["upper"]
    assert found["upper"] - found["lower"] <= 2.5 * minutes * 60 + 600


def test_a_clock_a_quarter_of_an_hour_off_is_told_in_words() -> None:
    found = last(*right(minutes=5), unit(9, -14.0, minutes=5))
    assert found["apart"]
    assert found["lower"] <= -14 * 60 <= found["upper"]
    assert (
        "behind the others, from 3 power cuts of the whole ship; its times are shown as logged"
        in (found["words"])
    )


@pytest.mark.parametrize("gains", [-150.0, 100.0])
def test_a_drift_is_told_by_the_day(gains: float) -> None:
    cuts = ((10.0, 11.4), (100.2, 101.0), (225.0, 227.5))
    found = last(*right(minutes=5, cuts=cuts), unit(9, 0.0, gains, minutes=5, cuts=cuts))
    assert found["drift_lower"] <= gains <= found["drift_upper"]
    assert np.sign(found["drift"]) == np.sign(gains)
    at = (found["at"] - START) / timedelta(days=1)
    assert found["lower"] <= gains * at <= found["upper"]
    assert f"it {'gains' if gains > 0 else 'loses'} " in found["words"]


def test_right_clocks_are_left_alone_whatever_their_interval() -> None:
    fleet = [unit(number, minutes=(5, 15, 30, 60)[number % 4]) for number in range(12)]
    assert not any(row["apart"] for row in compared(*fleet).values())


def test_units_that_log_nothing_without_power_show_the_cut_by_their_silence() -> None:
    found = last(*right(silent=True), unit(9, 45.0, silent=True))
    assert found["apart"]
    assert found["lower"] <= 45 * 60 <= found["upper"]


def test_a_unit_fed_otherwise_with_an_outage_of_its_own_keeps_its_clock() -> None:
    """Its own one is shorter, or the day wave of its ambient air says that the clock is right."""
    own = ((60.0, 60.5),)
    assert not last(*right(), unit(9, cuts=own))["apart"]
    as_long = ((163.0, 165.5),)
    found = last(*right(cuts=CUTS[2:]), unit(9, cuts=as_long))
    assert found["by_day_wave"]
    assert not found["apart"]


def test_an_outage_of_its_own_beside_the_ship_s_changes_nothing() -> None:
    found = last(*right(), unit(9, cuts=(*CUTS, (96.0, 96.8), (60.0, 65.0))))
    assert not found["apart"]
    assert found["power_cuts"] == 3


def test_a_clock_set_between_two_cuts_is_judged_by_the_last() -> None:
    early, late = unit(9, cuts=CUTS), unit(9, 90.0, cuts=CUTS)
    set_over = pl.concat(
        [
            early.filter(pl.col("time") < START + timedelta(hours=150)),
            late.filter(pl.col("time") >= START + timedelta(hours=152)),
        ]
    )
    found = last(*right(), set_over)
    assert found["power_cuts"] in (1, 2)
    assert found["lower"] <= found["offset"] <= found["upper"]


def test_too_few_units_have_no_common_power_cut() -> None:
    found = compared(*right(3), unit(9, 120.0))
    assert all(row["offset"] is None for row in found.values())
    assert all("not known" in row["words"] for row in found.values())


# The day wave.
def test_without_a_power_cut_day_and_night_tell_by_the_hour() -> None:
    found = last(*right(cuts=()), unit(9, -300.0, cuts=()))
    assert found["apart"] and found["by_day_wave"]
    assert found["power_cuts"] == 0
    assert found["lower"] <= -300 * 60 <= found["upper"]


def test_two_units_in_two_zones_that_nobody_stated_are_told_apart() -> None:
    found = compared(*right(), unit(9, 330.0), unit(10, -240.0))
    assert [row["container"] for row in found.values() if row["apart"]] == ["QXAU0000009", "QXAU0000010"]
    assert found["QXAU0000009"]["lower"] <= 330 * 60 <= found["QXAU0000009"]["upper"]
    assert found["QXAU0000010"]["lower"] <= -240 * 60 <= found["QXAU0000010"]["upper"]


def test_a_ship_that_crosses_time_zones_moves_all_day_waves_alike() -> None:
    def crossing(number: int, ahead: float) -> pl.DataFrame:
        true = clock(240) - ahead / 60
        wave = 25 + 4 * np.sin(2 * np.pi * (true + true / 72) / 24)
        noise = np.random.default_rng(number).normal(0, 0.3, len(true))
        return unit(number, ahead, cuts=(), ambient_air=wave + noise)

    found = last(*(crossing(number, 0.0) for number in range(9)), crossing(9, 300.0))
    assert found["lower"] <= 300 * 60 <= found["upper"]


def test_a_clock_years_off_is_named_and_not_searched_for() -> None:
    lost = unit(9).with_columns(pl.col("time") - (START - START.replace(year=2000)))
    found = last(*right(), lost)
    assert found["apart"] and found["offset"] is None
    assert "more than a year from the others': its clock was not set" in found["words"]


# How it is told.
def test_what_is_told_does_not_depend_on_the_batches() -> None:
    logs = [*right(), unit(9, 45.0)]
    parts = [seen_of(each, Bands(), pl.DataFrame(schema=REPEATS))[0] for each in logs]
    whole, _ = seen_of(pl.concat(logs), Bands(), pl.DataFrame(schema=REPEATS))
    assert whole_voyage(together(parts)).clock_offsets.equals(whole_voyage(whole).clock_offsets)


def test_nothing_read_is_nothing_said() -> None:
    seen, line = seen_of(unit(0).clear(), Bands(), pl.DataFrame(schema=REPEATS))
    assert whole_voyage(seen).clock_offsets.is_empty()
    assert compare_clocks(
        outages(line),
        pl.DataFrame(schema={"start": pl.Datetime("us", "UTC"), "end": pl.Datetime("us", "UTC")}),
        seen.marks,
        seen.spans,
    ).is_empty()


def test_an_outage_is_bracketed_by_the_readings_beside_it() -> None:
    _, line = seen_of(unit(0), Bands(), pl.DataFrame(schema=REPEATS))
    hours = outages(line).select((pl.all().exclude("container") - START).dt.total_minutes() / 60)
    assert hours.row(0) == (39.75, 40.0, 41.25, 41.5)
    _, quiet = seen_of(unit(0, silent=True), Bands(), pl.DataFrame(schema=REPEATS))
    assert outages(quiet).height == 3
    hours = outages(quiet).select((pl.all().exclude("container") - START).dt.total_minutes() / 60)
    assert hours.row(0) == (39.75, 40.0, 41.25, 41.5)


def test_the_sentence_says_how_far_between_what_and_from_what() -> None:
    row = {"offset": -840.0, "lower": -1020.0, "upper": -660.0, "power_cuts": 3, "by_day_wave": False}
    assert in_words(row, "") == (
        "14\u00a0min (11 to 17\u00a0min) behind the others, from 3 power cuts of the whole ship; "
        "its times are shown as logged"
    )
    drifting = row | {"drift": -30.4, "drift_lower": -45.0, "drift_upper": -20.0}
    assert "it loses 30\u00a0s a day (20 to 45)" in in_words(drifting, "")
    hours = {"offset": 20_000.0, "lower": 17_000.0, "upper": 23_000.0, "power_cuts": 0, "by_day_wave": True}
    assert in_words(hours, "").startswith(
        "5.6\u00a0h (283\u00a0min to 6.4\u00a0h) ahead of the others, from the day wave"
    )
    assert NOT_SET in in_words({}, NOT_SET)
