"""What is to be simulated: units, their cargo, their faults, the voyage.

Goes in: a few numbers and a seed. Comes out: a :class:`FleetPlan`, plain data that says everything the
simulator needs; the same plan always gives the same log.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from stdnum import iso6346

from coldsift.regimes.bands import DEEP_FROZEN_SET_POINT, FROZEN_SET_POINT
from coldsift.simulate.faults import CAUSES, HEALTHY, SECOND_CAUSES
from coldsift.simulate.weather import ROUTES

HARD_CASES = ("warm_load", "hot_stow", "port_power_off", "set_point_change")
"""Healthy units that look like failing ones: hot cargo, sun and hot neighbours on deck, hours without a
socket, an ordered change of set point."""

CHANNEL_SETS = ("full", "air_electric", "air")
"""What a unit logs: everything it has; air and electric; air alone."""

START = datetime(2031, 1, 6, tzinfo=UTC)
"""First minute of a voyage for which none is given."""

_OWNERS = ("QXAU", "QXKU", "ZZBU", "ZZRU", "XQTU", "XQFU")
_SIZES = ("20", "40", "40HC")
_INTERVALS = (5, 15, 30, 60)


@dataclass(frozen=True, slots=True)
class Cargo:
    """Kind of load.

    Attributes
    ----------
    specific_heat
        [J/kg K]
    mass
        In a 40 ft box; a 20 ft box takes 0.7 of it. [kg]
    respiration
        Heat given off at 10 °C; doubles every 9 K. 0 for cargo that is not alive. [W/t]
    vent
        Fresh air ordered. [m³/h]
    set_points
        Usual ones. [°C]
    """

    specific_heat: float
    mass: float
    respiration: float
    vent: float
    set_points: tuple[float, ...]


CARGOES: dict[str, Cargo] = {
    "frozen meat": Cargo(2000.0, 25_000.0, 0.0, 0.0, (-18.0, -20.0, -22.0)),
    "frozen vegetables": Cargo(2050.0, 21_000.0, 0.0, 0.0, (-18.0, -20.0)),
    "frozen fish": Cargo(1950.0, 24_000.0, 0.0, 0.0, (-20.0, -23.0, -25.0)),
    "ice cream": Cargo(2050.0, 14_000.0, 0.0, 0.0, (-25.0,)),
    "deep-frozen fish": Cargo(1900.0, 22_000.0, 0.0, 0.0, (-30.0,)),
    "chilled meat": Cargo(3400.0, 19_000.0, 0.0, 0.0, (-1.0, 0.0)),
    "dairy": Cargo(3300.0, 20_000.0, 0.0, 0.0, (2.0, 4.0)),
    "apples": Cargo(3700.0, 21_000.0, 24.0, 15.0, (0.5, 1.0)),
    "citrus": Cargo(3700.0, 22_000.0, 20.0, 25.0, (3.0, 5.0)),
    "grapes": Cargo(3600.0, 19_000.0, 12.0, 15.0, (-0.5, 0.0)),
    "avocados": Cargo(3400.0, 20_000.0, 45.0, 35.0, (5.0, 6.0)),
    "pineapples": Cargo(3600.0, 19_000.0, 22.0, 25.0, (7.5,)),
    "bananas": Cargo(3400.0, 20_000.0, 38.0, 40.0, (13.5,)),
}
"""Invented, rounded loads; specific heats and respiration of the right size, from memory."""

_FROZEN = tuple(name for name, cargo in CARGOES.items() if cargo.set_points[0] <= FROZEN_SET_POINT)
_CHILLED = tuple(name for name in CARGOES if name not in _FROZEN)


_NEEDS_FROST = frozenset({"defrost_not_starting", "defrost_not_terminating", "heater_failed"})
"""A unit that never defrosts cannot fail to: these are drawn for frozen cargo."""


@dataclass(frozen=True, slots=True)
class UnitPlan:
    """One container.

    Attributes
    ----------
    container
        ISO 6346 number with its check digit.
    set_point
        Booked set point. [°C]
    cargo
        Key of :data:`CARGOES`.
    size
        ``20``, ``40`` or ``40HC``.
    stow
        ``deck`` or ``hold``.
    cause
        Cause id, or ``healthy``.
    severity
        0 barely visible to 1 plain.
    onset_hours
        From the start of the voyage. [h]
    repaired_hours
        From the start of the voyage until the fault is mended; None when it never is. A second fault goes
        on. [h]
    also, also_severity, also_onset_hours
        Second fault of the same unit: one of :data:`~coldsift.simulate.faults.SECOND_CAUSES`, or ``healthy``.
    hard_case
        One of :data:`HARD_CASES`, or None.
    interval_minutes
        Between log rows. [min]
    channels
        One of :data:`CHANNEL_SETS`.
    logs_defrost
        False when the log has no defrost state.
    has_economizer
        Second, intercooling path in the circuit.
    cooling
        Condenser cooled by ``air`` or ``water``.
    """

    container: str
    set_point: float
    cargo: str = "frozen meat"
    size: str = "40HC"
    stow: str = "deck"
    cause: str = HEALTHY
    severity: float = 0.0
    onset_hours: float = 0.0
    repaired_hours: float | None = None
    also: str = HEALTHY
    also_severity: float = 0.0
    also_onset_hours: float = 0.0
    hard_case: str | None = None
    interval_minutes: int = 15
    channels: str = "full"
    logs_defrost: bool = True
    has_economizer: bool = True
    cooling: str = "air"

    def __post_init__(self) -> None:
        problems = [
            f"{name} {value!r} is none of {', '.join(map(str, allowed))}"
            for name, value, allowed in (
                ("cargo", self.cargo, tuple(CARGOES)),
                ("size", self.size, _SIZES),
                ("stow", self.stow, ("deck", "hold")),
                ("cause", self.cause, (HEALTHY, *CAUSES)),
                ("also", self.also, (HEALTHY, *SECOND_CAUSES)),
                ("hard_case", self.hard_case, (None, *HARD_CASES)),
                ("interval_minutes", self.interval_minutes, _INTERVALS),
                ("channels", self.channels, CHANNEL_SETS),
                ("cooling", self.cooling, ("air", "water")),
            )
            if value not in allowed
        ]
        if not (0.0 <= self.severity <= 1.0 and 0.0 <= self.also_severity <= 1.0):
            problems.append(f"severity {self.severity} or {self.also_severity} is not between 0 and 1")
        if self.repaired_hours is not None and not (
            self.cause in CAUSES and CAUSES[self.cause].at_full and self.repaired_hours > self.onset_hours
        ):
            problems.append("there is no fault to mend, or it is mended before it begins")
        if self.repaired_hours is not None and self.cause == "clock_wrong":
            problems.append("a clock that is put right would log some hours twice")
        if self.also != HEALTHY and self.also == self.cause:
            problems.append("the second fault is the first one again")
        if "condenser_water_flow" in (self.cause, self.also) and self.cooling != "water":
            problems.append("condenser_water_flow needs a water-cooled condenser")
        if "economizer_valve_stuck" in (self.cause, self.also) and not self.has_economizer:
            problems.append("economizer_valve_stuck needs an economizer")
        if not iso6346.is_valid(self.container):
            problems.append("not a valid ISO 6346 number")
        if problems:
            raise ValueError(f"{self.container}: {'; '.join(problems)}")

    @property
    def is_frozen(self) -> bool:
        """True when the unit is controlled on return air."""
        return self.set_point <= FROZEN_SET_POINT

    @property
    def regime_class(self) -> str:
        """``deep_frozen``, ``frozen`` or ``chilled``, by set point."""
        if self.set_point <= DEEP_FROZEN_SET_POINT:
            return "deep_frozen"
        return "frozen" if self.is_frozen else "chilled"


@dataclass(frozen=True, slots=True)
class FleetPlan:
    """A voyage of an invented ship.

    Attributes
    ----------
    seed
        Of every random stream, with the unit's place in ``units``.
    start
        First minute, UTC.
    days
        Length. [d]
    route
        ``tropics``, ``winter`` or ``mixed``.
    units
        The containers.
    blackouts
        Ship-wide ones: first hour and length. [h]
    name
        Of the voyage, for people.
    """

    seed: int
    start: datetime
    days: float
    route: str
    units: tuple[UnitPlan, ...]
    blackouts: tuple[tuple[float, float], ...] = ()
    name: str = "invented voyage"

    def __post_init__(self) -> None:
        if self.start.utcoffset() is None:
            raise ValueError("start needs a time zone")
        if self.route not in ROUTES:
            raise ValueError(f"unknown route {self.route!r}; known: {', '.join(ROUTES)}")
        if self.days < 1 or not self.units:
            raise ValueError("a voyage needs at least one day and one unit")
        if len({unit.container for unit in self.units}) < len(self.units):
            raise ValueError("container numbers repeat")


def container_number(index: int) -> str:
    """An invented container number, different for every index below 600 000.

    The owner prefixes are made up; the check digit is right (ISO 6346).
    """
    owner = _OWNERS[index % len(_OWNERS)]
    body = f"{owner}{(100_003 + 7919 * (index // len(_OWNERS) + 1) + index) % 1_000_000:06d}"
    return f"{body}{iso6346.calc_check_digit(body)}"


def plan_fleet(
    *,
    units: int = 40,
    days: float = 14,
    seed: int = 1,
    route: str = "mixed",
    fault_share: float = 0.25,
    second_share: float = 0.0,
    hard_share: float = 0.15,
    severity: tuple[float, float] = (0.3, 1.0),
    causes: Sequence[str] | None = None,
    channels: str = "full",
    interval_minutes: int = 15,
    blackouts: tuple[tuple[float, float], ...] = (),
    start: datetime = START,
) -> FleetPlan:
    """Draw a fleet at random.

    Parameters
    ----------
    units, days, seed, route
        Size, length [d], random seed and :data:`~coldsift.simulate.weather.ROUTES` of the voyage.
    fault_share, second_share, hard_share
        Share of units with a fault, share of those that have a second one beside it, and share of healthy
        hard cases, 0 to 1.
    severity
        Range of the faults' severity, 0 to 1.
    causes
        Cause ids to draw from, every one once before any twice; all when None.
    channels, interval_minutes
        What every unit logs, and how often. [min]
    blackouts
        Ship-wide ones: first hour and length. [h]
    start
        First minute, with a time zone.

    Returns
    -------
    FleetPlan
        With about one unit in eight that logs no defrost state.
    """
    chosen = tuple(CAUSES) if causes is None else tuple(causes)
    fleet_draw = np.random.default_rng(np.random.SeedSequence([seed, 1_000_001]))
    faulty = round(units * fault_share)
    hard = min(round(units * hard_share), units - faulty)
    roles = fleet_draw.permutation(np.arange(units))
    rounds = [fleet_draw.permutation(len(chosen)) for _ in range(faulty // len(chosen) + 1)] if chosen else []
    order = [chosen[place] for places in rounds for place in places]
    cause_of = {int(role): order[place] for place, role in enumerate(roles[: faulty if order else 0])}
    hard_of = {
        int(role): HARD_CASES[place % len(HARD_CASES)]
        for place, role in enumerate(roles[faulty : faulty + hard])
    }
    return FleetPlan(
        seed=seed,
        start=start,
        days=days,
        route=route,
        units=tuple(
            _draw_unit(
                seed,
                index,
                days=days,
                cause=cause_of.get(index, HEALTHY),
                hard_case=hard_of.get(index),
                severity=severity,
                second_share=second_share,
                channels=channels,
                interval_minutes=interval_minutes,
            )
            for index in range(units)
        ),
        blackouts=blackouts,
    )


def _draw_unit(
    seed: int,
    index: int,
    *,
    days: float,
    cause: str,
    hard_case: str | None,
    severity: tuple[float, float],
    second_share: float,
    channels: str,
    interval_minutes: int,
) -> UnitPlan:
    draw = np.random.default_rng(np.random.SeedSequence([seed, index, 1]))
    frozen = bool(draw.random() < 0.55) or cause in _NEEDS_FROST
    cargo = str(draw.choice(_FROZEN if frozen else _CHILLED))
    at_start = cause in CAUSES and CAUSES[cause].from_start
    onset = 0.0 if at_start or cause == HEALTHY else float(draw.uniform(0.15, 0.55)) * days * 24.0
    water = cause == "condenser_water_flow" or bool(draw.random() < 0.15)
    set_point = float(draw.choice(CARGOES[cargo].set_points))
    # Below −24 °C the plain circuit is at its end; such cargo is booked into units with an economizer.
    economizer = bool(draw.random() < 0.75) or cause == "economizer_valve_stuck" or set_point < -24.0
    drawn = UnitPlan(
        container=container_number(index),
        set_point=set_point,
        cargo=cargo,
        size=str(draw.choice(_SIZES, p=(0.1, 0.1, 0.8))),
        stow="deck" if hard_case == "hot_stow" else str(draw.choice(("deck", "hold"))),
        cause=cause,
        severity=0.0 if cause == HEALTHY else round(float(draw.uniform(*severity)), 2),
        onset_hours=round(onset, 1),
        hard_case=hard_case,
        interval_minutes=interval_minutes,
        channels=channels,
        logs_defrost=bool(draw.random() > 0.125),
        has_economizer=economizer,
        cooling="water" if water else "air",
    )
    if cause == HEALTHY or draw.random() >= second_share:
        return drawn
    fitting = [
        name
        for name in SECOND_CAUSES
        if name != cause
        and (water or name != "condenser_water_flow")
        and (economizer or name != "economizer_valve_stuck")
        and (frozen or name not in _NEEDS_FROST)
    ]
    return replace(
        drawn,
        also=str(draw.choice(fitting)),
        also_severity=round(float(draw.uniform(*severity)), 2),
        also_onset_hours=round(float(draw.uniform(0.15, 0.55)) * days * 24.0, 1),
    )


def sample_voyage() -> FleetPlan:
    """The voyage behind ``sample_logs``: 43 invented units over 14 days, from winter over the equator.

    28 plain healthy units, 4 healthy hard cases, 11 faults of varied kind and severity, two of them mended
    under way, one ship-wide blackout. Nothing in it comes from a real ship, owner or log.
    """
    frozen, meat, fish = "frozen vegetables", "frozen meat", "frozen fish"
    # Set point, cargo, and what differs from an ordinary unit.
    rows: tuple[tuple[float, str, dict[str, object]], ...] = (
        (-18.0, meat, {}),
        (-18.0, meat, {"stow": "hold"}),
        (-18.0, frozen, {}),
        (-18.0, frozen, {"stow": "hold", "logs_defrost": False}),
        (-20.0, meat, {}),
        (
            -20.0,
            fish,
            {"cause": "expansion_valve_not_opening", "severity": 1.0, "onset_hours": 214.0},
        ),
        (-20.0, meat, {"stow": "hold"}),
        (-20.0, fish, {"has_economizer": False}),
        (-20.0, fish, {}),
        (-18.0, frozen, {"cause": "low_refrigerant", "severity": 0.9, "onset_hours": 120.0}),
        (-18.0, meat, {"cooling": "water", "stow": "hold"}),
        (-18.0, meat, {"hard_case": "hot_stow"}),
        (-22.0, meat, {}),
        (-22.0, meat, {"stow": "hold"}),
        (-23.0, fish, {"logs_defrost": False}),
        (-18.0, frozen, {"cause": "defrost_not_starting", "severity": 1.0, "onset_hours": 60.0}),
        (-20.0, frozen, {}),
        (-18.0, meat, {"hard_case": "port_power_off", "stow": "hold"}),
        (-25.0, "ice cream", {"stow": "hold"}),
        (-25.0, fish, {}),
        (-30.0, "deep-frozen fish", {"stow": "hold"}),
        (-18.0, meat, {"cause": "condenser_fouled", "severity": 0.95, "onset_hours": 96.0}),
        (-18.0, frozen, {"size": "20"}),
        (0.0, "chilled meat", {"stow": "hold"}),
        (-1.0, "chilled meat", {}),
        (2.0, "dairy", {"cause": "supply_sensor_drift", "severity": 0.9, "onset_hours": 110.0}),
        (4.0, "dairy", {"stow": "hold"}),
        (0.5, "apples", {}),
        (1.0, "apples", {"stow": "hold"}),
        (5.0, "citrus", {}),
        (3.0, "citrus", {"hard_case": "warm_load"}),
        (-0.5, "grapes", {"stow": "hold"}),
        (0.0, "grapes", {"cause": "evaporator_fan_failed", "severity": 1.0, "onset_hours": 150.0}),
        (5.0, "avocados", {"stow": "hold"}),
        (6.0, "avocados", {"hard_case": "set_point_change"}),
        (7.5, "pineapples", {}),
        (13.5, "bananas", {"stow": "hold"}),
        (13.5, "bananas", {}),
        (5.0, "citrus", {"cause": "door_or_seal_leak", "severity": 1.0, "onset_hours": 130.0}),
        (-20.0, meat, {"cause": "compressor_not_starting", "severity": 1.0, "onset_hours": 230.0}),
        (
            -20.0,
            meat,
            {
                "cause": "condenser_fan_failed",
                "severity": 1.0,
                "onset_hours": 150.0,
                "repaired_hours": 190.0,
                "interval_minutes": 60,
            },
        ),
        (-18.0, frozen, {"cause": "evaporator_iced", "severity": 1.0, "onset_hours": 100.0}),
        (
            -20.0,
            fish,
            {
                "cause": "phase_imbalance",
                "severity": 0.9,
                "onset_hours": 240.0,
                "repaired_hours": 325.5,
            },
        ),
    )
    units = tuple(
        UnitPlan(
            container=container_number(1000 + index),
            set_point=set_point,
            cargo=cargo,
            **{"interval_minutes": {0: 30, 5: 15}.get(index % 10, 60), **changes},  # type: ignore[arg-type]
        )
        for index, (set_point, cargo, changes) in enumerate(rows)
    )
    return FleetPlan(
        seed=20310106,
        start=START,
        days=14,
        route="mixed",
        units=units,
        blackouts=((179.95, 1.1),),
        name="voyage 031 of the invented ship Grey Heron",
    )
