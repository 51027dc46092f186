"""Voyages shared by the tests of the simulator; each is run once, with many units, for that is cheapest."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from coldsift.simulate import CAUSES, Fleet, FleetPlan, UnitPlan, machines, record, simulate
from coldsift.simulate.plan import container_number

START = datetime(2031, 3, 1, tzinfo=UTC)
DAYS = 4
ONSET = START + timedelta(hours=30)
LATE = START + timedelta(hours=72)
"""From here on a fault has had its time to show."""

SOUND = (
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
"""Set point [°C] and cargo of the sound units; each on deck and in the hold."""


@dataclass(frozen=True, slots=True)
class Voyage:
    """A simulated fleet whose units have names."""

    fleet: Fleet
    names: dict[str, str]

    def log(self, name: str) -> pl.DataFrame:
        return self.fleet.log.filter(pl.col("container") == self.names[name])

    def table(self, table: str, name: str) -> pl.DataFrame:
        frame: pl.DataFrame = getattr(self.fleet, table)
        return frame.filter(pl.col("container") == self.names[name])


def voyage(*units: UnitPlan, days: float = DAYS, seed: int = 3, route: str = "tropics") -> FleetPlan:
    return FleetPlan(seed=seed, start=START, days=days, route=route, units=units)


def named_units() -> dict[str, UnitPlan]:
    """Every cause at full severity, the special cases, and sound units of every kind."""
    meat = UnitPlan(container=container_number(0), set_point=-20.0)
    apples = replace(meat, set_point=2.0, cargo="apples")
    units = {
        cause: replace(
            apples if cause in ("vent_left_open", "warm_cargo") else meat,
            cause=cause,
            severity=1.0,
            onset_hours=0.0 if CAUSES[cause].from_start else 30.0,
            cooling="water" if cause == "condenser_water_flow" else "air",
        )
        for cause in CAUSES
    }
    units["unmasked"] = replace(units["expansion_valve_not_opening"], has_economizer=False)
    for severity in (0.1, 0.5):
        units[f"fouled {severity}"] = replace(units["condenser_fouled"], severity=severity)
    units["drift chilled"] = replace(
        apples, cause="supply_sensor_drift", severity=1.0, onset_hours=-48.0, cargo="dairy"
    )
    units["port"] = replace(meat, hard_case="port_power_off")
    units["change"] = replace(apples, hard_case="set_point_change")
    units["no flag"] = replace(meat, logs_defrost=False)
    units["air"] = replace(meat, channels="air")
    units["air_electric"] = replace(meat, channels="air_electric")
    for set_point, cargo in SOUND:
        for stow in ("deck", "hold"):
            units[f"sound {set_point} {stow}"] = replace(
                meat,
                set_point=set_point,
                cargo=cargo,
                stow=stow,
                has_economizer=set_point < -24 or stow == "deck",
                interval_minutes=5,
            )
    return units


def sail_all(units: dict[str, UnitPlan], machines_drawn: int, days: float = DAYS) -> Voyage:
    """Sail with some machines, over and over again: the units draw what the first ones of the ship draw."""
    draw = machines.stream
    numbered = {
        name: replace(unit, container=container_number(at)) for at, (name, unit) in enumerate(units.items())
    }
    with pytest.MonkeyPatch.context() as patch:
        for drawing in (machines, record):
            patch.setattr(drawing, "stream", lambda seed, at, what: draw(seed, at % machines_drawn, what))
        fleet = simulate(voyage(*numbered.values(), days=days))
    return Voyage(fleet, {name: unit.container for name, unit in numbered.items()})


@pytest.fixture(scope="session")
def _faulty_and_twins() -> Voyage:
    """Side by side, for two voyages take twice as long."""
    units = named_units()
    twins = {f"twin of {name}": replace(unit, cause="healthy", severity=0.0) for name, unit in units.items()}
    return sail_all(units | twins, machines_drawn=len(units))


def some_of(both: Voyage, names: dict[str, str]) -> Voyage:
    def kept(frame: pl.DataFrame) -> pl.DataFrame:
        return frame.filter(pl.col("container").is_in([both.names[name] for name in names.values()]))

    fleet = both.fleet
    tables = {name: kept(getattr(fleet, name)) for name in ("log", "truth", "defrosts", "excursions")}
    return Voyage(replace(fleet, **tables), {name: both.names[own] for name, own in names.items()})


@pytest.fixture(scope="session")
def faulty(_faulty_and_twins: Voyage) -> Voyage:
    return some_of(_faulty_and_twins, {name: name for name in named_units()})


@pytest.fixture(scope="session")
def twins(_faulty_and_twins: Voyage) -> Voyage:
    """The same machines, none of them with a fault."""
    return some_of(_faulty_and_twins, {name: f"twin of {name}" for name in named_units()})


@pytest.fixture(scope="session")
def hold(twins: Voyage) -> pl.DataFrame:
    """Sound units from the third day on, without defrosts and the two hours after them."""
    sound = [container for name, container in twins.names.items() if name.startswith("sound")]
    log = twins.fleet.log.filter(
        pl.col("time") > START + timedelta(hours=48), pl.col("power_state"), pl.col("container").is_in(sound)
    )
    defrosts = twins.fleet.defrosts.rename({"start": "defrost_start", "end": "defrost_end"})
    return log.join_asof(
        defrosts.sort("defrost_start"),
        left_on="time",
        right_on="defrost_start",
        by="container",
        strategy="backward",
        check_sortedness=False,
    ).filter(pl.col("defrost_end").is_null() | (pl.col("time") > pl.col("defrost_end") + timedelta(hours=2)))
