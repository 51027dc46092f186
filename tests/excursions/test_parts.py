from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log, timeline

from coldsift.excursions import divide, find_excursions
from coldsift.schema import CUSTODY

NAME = "QXAU0000001"


def at(hour: float) -> datetime:
    return START + timedelta(hours=hour)


def custody(*rows: tuple[float, float | None, str], container: str = NAME) -> pl.DataFrame:
    """Holders from hour to hour."""
    return CUSTODY.conform(
        pl.DataFrame(
            [
                (container, at(start), None if end is None else at(end), holder, line)
                for line, (start, end, holder) in enumerate(rows, 2)
            ],
            schema=["container", "start", "end", "holder", "line"],
            orient="row",
            schema_overrides=CUSTODY.empty().schema,
        )
    )


def warm(hours: np.ndarray, **channels: object) -> pl.DataFrame:
    """3 °C, up to 9 °C from 10 to 12 h, back from 30 to 32 h."""
    air = 3 + 6 * np.clip(np.minimum((hours - 10) / 2, (32 - hours) / 2), 0, 1)
    return timeline(log(hours, **({"set_point": 3.0, "supply_air": air, "return_air": air} | channels)))


def added_up(parts: pl.DataFrame) -> pl.DataFrame:
    return parts.group_by("container", "excursion", "division").agg(
        pl.col("hours", "gap_hours", "degree_hours").sum()
    )


def test_an_excursion_is_cut_at_the_very_instant_of_a_handover() -> None:
    """Handed over at 20 h 7 min, between two readings of 9 °C: 4 K beyond the edge either side."""
    built = warm(clock(48))
    (found,) = find_excursions(built).iter_rows(named=True)
    handover = 20 + 7 / 60
    parts = divide(built, find_excursions(built), custody((0, handover, "ship"), (handover, None, "port")))
    ship, port = parts.filter(pl.col("division") == "custody").iter_rows(named=True)
    assert (ship["part"], port["part"]) == ("ship", "port")
    assert (ship["start"], ship["end"]) == (found["start"], at(handover))
    assert (port["start"], port["end"]) == (at(handover), found["end"])
    # Edge passed at 10 h 40 min; a triangle of 4/3 h up to 12 h, then the height of 4 K.
    assert ship["hours"] == pytest.approx(handover - (10 + 2 / 3), abs=1e-6)
    assert ship["degree_hours"] == pytest.approx(4 * 4 / 3 / 2 + 4 * (handover - 12), abs=1e-6)
    assert ship["degree_hours"] + port["degree_hours"] == pytest.approx(found["degree_hours"], abs=1e-6)


def test_a_handover_on_the_way_up_is_interpolated() -> None:
    """At 11 h 20 min the air is 7 °C: two thirds of an hour, 2/3 K h."""
    built = warm(clock(48))
    parts = divide(built, find_excursions(built), custody((0, None, "ship"), (11 + 1 / 3, None, "port")))
    ship = parts.filter(pl.col("part") == "ship").row(0, named=True)
    assert ship["hours"] == pytest.approx(2 / 3, abs=1e-6)
    assert ship["degree_hours"] == pytest.approx(2 / 3, abs=1e-6)
    assert ship["peak"] == pytest.approx(7.0)


def test_stretches_that_nobody_is_named_for_are_parts_without_a_name() -> None:
    built = warm(clock(48))
    parts = divide(built, find_excursions(built), custody((15, 18, "terminal"), (25, None, "lorry")))
    by_custody = parts.filter(pl.col("division") == "custody")
    assert by_custody["part"].to_list() == [None, "terminal", None, "lorry"]
    assert by_custody["end"].to_list()[:-1] == [at(15), at(18), at(25)]
    assert by_custody["start"].is_sorted()


def test_the_same_holder_twice_has_two_rows() -> None:
    built = warm(clock(48))
    rows = ((0, 12.0, "ship"), (12, 14.0, "port"), (14, None, "ship"))
    parts = divide(built, find_excursions(built), custody(*rows))
    assert parts.filter(pl.col("division") == "custody")["part"].to_list() == ["ship", "port", "ship"]


def test_of_two_holders_at_once_the_later_one_has_it() -> None:
    built = warm(clock(48))
    parts = divide(built, find_excursions(built), custody((0, 40.0, "ship"), (20, 22.0, "port")))
    by_custody = parts.filter(pl.col("division") == "custody")
    assert by_custody["part"].to_list() == ["ship", "port", None]


def test_a_container_that_the_events_do_not_name_is_nobodys() -> None:
    built = warm(clock(48))
    parts = divide(built, find_excursions(built), custody((0, None, "ship"), container="QXAU0000009"))
    assert parts.filter(pl.col("division") == "custody")["part"].to_list() == [None]


@pytest.mark.parametrize("events", [None, CUSTODY.empty()])
def test_without_events_the_division_is_by_regime_alone(events: pl.DataFrame | None) -> None:
    built = warm(clock(48))
    assert set(divide(built, find_excursions(built), events)["division"]) == {"regime"}


def test_regimes_and_gaps_are_told_apart() -> None:
    hours = clock(48)
    hours = hours[(hours <= 24) | (hours >= 28)]
    off = (hours >= 12) & (hours < 20)
    defrosting = (hours >= 22) & (hours < 22.5)
    parts = divide(
        built := warm(hours, power_state=~off, defrost_state=defrosting), find_excursions(built)
    ).sort("part")
    row = {part["part"]: part for part in parts.iter_rows(named=True)}
    assert row["off"]["hours"] == pytest.approx(8.0)
    assert row["off"]["degree_hours"] == pytest.approx(32.0)
    assert row["defrost"]["hours"] == pytest.approx(0.5)
    assert row["unknown"]["hours"] == 0.0
    assert row["unknown"]["gap_hours"] == pytest.approx(4.0)
    assert row["unknown"]["peak"] is None


def test_the_peak_of_a_holder_leaves_a_defrost_out_and_that_of_the_defrost_does_not() -> None:
    hours = clock(48)
    defrosting = (hours >= 20) & (hours < 20.5)
    air = np.where(defrosting, 15.0, 3 + 6 * np.clip(np.minimum((hours - 10) / 2, (32 - hours) / 2), 0, 1))
    built = warm(hours, supply_air=air, return_air=air, defrost_state=defrosting)
    parts = divide(built, find_excursions(built), custody((0, None, "ship")))
    assert parts.filter(pl.col("part") == "ship")["peak"].to_list() == [9.0]
    assert parts.filter(pl.col("part") == "defrost")["peak"].to_list() == [15.0]


def test_an_excursion_below_the_band_has_its_coldest_as_peak() -> None:
    hours = clock(48)
    air = np.where((hours >= 10) & (hours < 20), -1.0, 3.0)
    built = warm(hours, supply_air=air, return_air=air)
    assert divide(built, find_excursions(built))["peak"].to_list() == [-1.0]


@pytest.mark.parametrize("seed", range(30))
def test_parts_add_up_to_the_excursion(seed: int) -> None:
    """Random air, gaps, defrosts, power, set points and handovers of three units."""
    draw = np.random.default_rng(seed)
    logs, events = [], []
    for number in range(3):
        name = f"QXAU000000{number}"
        hours = np.cumsum(draw.choice([0.25, 0.25, 0.25, 0.25, 0.5, 1.0, 8.0], 200)).round(2)
        set_point = np.where(np.arange(200) < draw.integers(80, 300), 3.0, -2.0)
        air = set_point + np.cumsum(draw.normal(0, 0.5, 200))
        logs.append(
            log(
                hours,
                name,
                set_point=set_point,
                supply_air=air,
                return_air=air + 1,
                defrost_state=draw.random(200) < 0.05,
                power_state=np.arange(200) // 30 % 4 != 2,
            )
        )
        instants = np.sort(draw.uniform(0, hours[-1], 4))
        ends = [None, float(instants[1] + 0.5), None, float(instants[3] + 9)]
        events.append(
            custody(
                *(
                    (float(start), end, f"holder {place}")
                    for place, (start, end) in enumerate(zip(instants, ends, strict=True))
                ),
                container=name,
            )
        )
    built = timeline(*logs)
    found = find_excursions(built, 0.0)
    parts = divide(built, found, pl.concat(events))
    sums = found.join(
        added_up(parts), left_on=["container", "start"], right_on=["container", "excursion"], suffix="_parts"
    )
    assert sums.height == 2 * found.height > 0
    for name in ("hours", "gap_hours", "degree_hours"):
        assert (sums[name] - sums[f"{name}_parts"]).abs().max() < 1e-6  # type: ignore[operator]
    assert (parts["start"] <= parts["end"]).all()
