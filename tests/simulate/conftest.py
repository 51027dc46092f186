"""Voyages shared by the tests of the simulator; each is run once."""

from dataclasses import replace
from datetime import UTC, datetime

import polars as pl
import pytest

from coldsift.simulate import CAUSES, Fleet, FleetPlan, UnitPlan, simulate
from coldsift.simulate.plan import container_number

START = datetime(2031, 3, 1, tzinfo=UTC)


def voyage(*units: UnitPlan, days: float = 5, seed: int = 3, route: str = "tropics") -> FleetPlan:
    return FleetPlan(seed=seed, start=START, days=days, route=route, units=units)


def one_of_each_cause() -> FleetPlan:
    """Every cause at full severity from hour 48 on, in the kind of unit that shows it."""
    chilled = {"vent_left_open", "warm_cargo"}
    units = [
        UnitPlan(
            container=container_number(index),
            set_point=2.0 if cause in chilled else -20.0,
            cargo="apples" if cause in chilled else "frozen meat",
            cause=cause,
            severity=1.0,
            onset_hours=0.0 if CAUSES[cause].from_start else 48.0,
            cooling="water" if cause == "condenser_water_flow" else "air",
        )
        for index, cause in enumerate(CAUSES)
    ]
    units.append(
        replace(
            units[0], container=container_number(500), has_economizer=False
        )  # expansion valve not opening, without the path that hides it
    )
    return voyage(*units)


@pytest.fixture(scope="session")
def faulty() -> Fleet:
    return simulate(one_of_each_cause())


@pytest.fixture(scope="session")
def twins() -> Fleet:
    plan = one_of_each_cause()
    return simulate(
        replace(plan, units=tuple(replace(unit, cause="healthy", severity=0.0) for unit in plan.units))
    )


@pytest.fixture(scope="session")
def healthy() -> Fleet:
    """Sound units of every kind in the tropics."""
    kinds = (
        (-18.0, "frozen meat"),
        (-20.0, "frozen vegetables"),
        (-25.0, "frozen fish"),
        (-30.0, "deep-frozen fish"),
        (0.0, "chilled meat"),
        (1.0, "apples"),
        (5.0, "citrus"),
        (6.0, "avocados"),
        (13.5, "bananas"),
    )
    units = [
        UnitPlan(
            container=container_number(2 * place + deck),
            set_point=set_point,
            cargo=cargo,
            stow="deck" if deck else "hold",
            has_economizer=bool(place % 3),
            interval_minutes=5,
        )
        for place, (set_point, cargo) in enumerate(kinds)
        for deck in (0, 1)
    ]
    return simulate(voyage(*units))


@pytest.fixture(scope="session")
def hold(healthy: Fleet) -> pl.DataFrame:
    """Sound units from the third day on, without defrosts and the two hours after them."""
    log = healthy.log.filter(
        (pl.col("time") > START + pl.duration(hours=48)), pl.col("power_state")
    ).with_columns(before=pl.col("time"))
    ends = healthy.defrosts.select("container", "start", "end")
    joined = log.join_asof(
        ends.rename({"start": "defrost_start", "end": "defrost_end"}).sort("defrost_start"),
        left_on="time",
        right_on="defrost_start",
        by="container",
        strategy="backward",
        check_sortedness=False,
    )
    return joined.filter(
        pl.col("defrost_end").is_null() | (pl.col("time") > pl.col("defrost_end") + pl.duration(hours=2))
    )
