"""What each container carries, as far as it is known, and what the cargo bears.

Goes in: the timeline, the facts, the goods. Comes out: one :class:`Cargo` a container, with every limit and
every assumed range beside the words that say where it comes from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import polars as pl

from coldsift.cargo.commodities import Commodity, Goods, Packaging, find_commodity
from coldsift.cargo.leak import heat_leak
from coldsift.cargo.properties import conductivity_of_water_content, specific_heat_of_water_content
from coldsift.regimes.numbered import IN_MEMORY
from coldsift.voyage.facts import UnitFacts

Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class StowRanges:
    """Lowest and highest value of what the model needs to know of the stow.

    Attributes
    ----------
    half_thickness
        Of the piece of stow that air flows round. [m]
    bulk_density
        [kg/m³]
    heat_transfer
        From the air to its face, fans at full speed. [W/m² K]
    conductivity
        Of the stow, gaps counted. [W/m K]
    specific_heat
        Unfrozen, packaging counted. [J/kg K]
    """

    half_thickness: Range
    bulk_density: Range
    heat_transfer: Range
    conductivity: Range
    specific_heat: Range


@dataclass(frozen=True, slots=True)
class Cargo:
    """One container's cargo.

    Attributes
    ----------
    container
        Its number.
    name, known_from
        Commodity, or the class that the set point tells; where that is known from.
    frozen
        It is carried frozen.
    set_point
        Last one logged; None without any. [°C]
    limit_low, limit_high, limit_from
        What it bears, None where there is no edge [°C]; where that comes from.
    mean_kinetic_limit
        Warmest mean kinetic temperature that its rule allows; None without one. [°C]
    stow
        Ranges of the model's parameters.
    foods
        What it may be as to freezing: water content [mass share], ascending, and initial freezing point [°C].
        Empty where freezing is left out.
    respiration, respiration_factor, q10
        CO2 given off: (°C, mg/(kg h)); range of the factor on it; rise of the rate of living and ageing in
        10 K.
    optimum, life_days
        Storage temperature range [°C] and life there [d].
    mass
        Net. [kg]
    heat_leak
        Of the box. [W/K]
    assumptions
        What was taken for granted, one sentence each.
    """

    container: str
    name: str
    known_from: str
    frozen: bool
    set_point: float | None
    limit_low: float | None
    limit_high: float | None
    limit_from: str
    mean_kinetic_limit: float | None
    stow: StowRanges
    foods: tuple[tuple[float, float], ...]
    respiration: tuple[tuple[float, float], ...]
    respiration_factor: Range
    q10: float | None
    optimum: Range | None
    life_days: float | None
    mass: Range
    heat_leak: Range
    assumptions: tuple[str, ...]


class UnknownPackaging(ValueError):
    """The facts name a packaging that no file describes."""


MASS: Range = (8_000.0, 28_000.0)
"""Net cargo of a container where it is not told. [kg] Common practice, no source."""

HEAT_LEAK: Range = (20.0, 60.0)
"""From a new 20 ft box to a worn 40 ft high-cube one, where no certificate tells. [W/K] ISO 1496-2 allows 26,
48 and 51 for 20 ft, 40 ft and 40 ft high-cube: from memory, low confidence."""

CERTIFICATE_ERROR = 0.15
"""A box of some years leaks up to this share more or less than its certificate says. Common practice, no
source."""

PACKAGING_SHARE: Range = (0.88, 1.04)
"""Specific heat of the load against that of the goods: boards and pallets take their share of the mass, and
the formula errs by some per cent. Common practice, no source."""

RESPIRATION_SPREAD: Range = (0.5, 1.5)
"""Averages of a handbook stand for varieties and ripeness half as much again. Agriculture Handbook 66, in a
text that restates it."""

ASSUMED_STRETCH = 1.6
"""Where the usual packaging is assumed and not told, its pieces may be this much thinner or thicker."""

SET_POINT_ROOM = 0.5
"""A limit of the commodity that is nearer to the set point than this gives way to the band: whoever ordered
the set point accepted it. [K]"""

# Common practice, no source: from single vented cartons to stow that air only flows round.
_UNKNOWN_CHILLED = Packaging(
    id="unknown",
    name="unknown",
    half_thickness=(0.05, 0.6),
    bulk_density=(200.0, 900.0),
    heat_transfer=(3.0, 15.0),
    conductivity_factor=(0.3, 1.0),
    source="common practice, no source",
)
_UNKNOWN_FROZEN = replace(_UNKNOWN_CHILLED, half_thickness=(0.08, 1.0), bulk_density=(300.0, 900.0))

_UNKNOWN_CHILLED_WATER: Range = (0.55, 0.92)
"""Mass share of water in what travels chilled, from cheese to lettuce. From memory."""

_UNKNOWN_FROZEN_FOODS = ((0.35, -3.0), (0.6, -2.0), (0.75, -1.5), (0.88, -0.8))
"""Water content and initial freezing point of what travels frozen: bread and dough, ice cream and potatoes,
meat and fish, vegetables. From memory."""

_USUAL_FREEZING_POINT = -1.5
"""Of frozen commodities that give none. [°C] From memory."""

_UNKNOWN_RESPIRATION: tuple[tuple[float, float], ...] = ((5.0, 8.0),)
_UNKNOWN_RESPIRATION_FACTOR: Range = (0.0, 1.6)
"""From nothing, as of meat and dairy, to 13 mg CO2/(kg h) at 5 °C, which most fruit stays
below. From memory."""


def cargoes_of(timeline: pl.DataFrame, facts: Mapping[str, UnitFacts], goods: Goods) -> tuple[Cargo, ...]:
    """Say of every container what it carries.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, its bands those that hold.
    facts
        What is told of single containers.
    goods
        Commodities, rules, packagings.

    Returns
    -------
    tuple of Cargo
        One for each container of the timeline, in the order of their numbers.

    Raises
    ------
    UnknownCommodity, UnknownPackaging
        When the facts name what the goods do not have.
    """
    last = (
        timeline.lazy()
        .group_by("container")
        .agg(
            pl.col("set_point", "band_low", "band_high").last(ignore_nulls=True),
            chilled=(pl.col("regime_class").is_in(["chilled", "heated"])).last(ignore_nulls=True),
            ambient=pl.col("ambient_air").is_not_null().any(),
        )
        .sort("container")
        .collect(engine=IN_MEMORY)
    )
    return tuple(
        _cargo_of(row, facts.get(row["container"], UnitFacts()), goods) for row in last.iter_rows(named=True)
    )


@dataclass(frozen=True, slots=True)
class _Ends:
    """How a log ends: set point, band edges [°C], class; whether it has ambient readings."""

    container: str
    set_point: float | None
    band_low: float | None
    band_high: float | None
    chilled: bool | None
    ambient: bool


def _cargo_of(row: dict[str, object], facts: UnitFacts, goods: Goods) -> Cargo:
    ends = _Ends(**row)  # type: ignore[arg-type]
    commodity = find_commodity(facts.cargo, goods) if facts.cargo else None
    frozen = commodity.regime_class != "chilled" if commodity else ends.chilled is False
    packaging, assumptions = _packaging(facts, commodity, goods, frozen)
    if commodity:
        name, known_from = commodity.name, "facts file"
    elif ends.set_point is None:
        name, known_from = "unknown", "no set point logged: cargo and class unknown"
    else:
        name = "frozen cargo" if frozen else "chilled cargo"
        known_from = f"set point: class {'frozen' if frozen else 'chilled'}, cargo unknown"
    low, high, limit_from = _limits(ends, facts, commodity, goods)
    foods = _foods(commodity, frozen)
    waters = _waters(commodity, foods)
    respiration, respiration_factor = _respiration(commodity, frozen)
    if facts.cargo_mass is None:
        assumptions.append(f"Net mass of the cargo not told: {MASS[0] / 1000:g} to {MASS[1] / 1000:g} t.")
    leak = _heat_leak(facts)
    if leak is None:
        assumptions.append(
            f"Heat leak of the box not told: {HEAT_LEAK[0]:g} to {HEAT_LEAK[1]:g} W/K, around the maxima of "
            "ISO 1496-2."
        )
    if not ends.ambient:
        assumptions.append("No ambient temperature logged: 5 to 35 °C.")
    mass = facts.cargo_mass
    return Cargo(
        container=ends.container,
        name=name,
        known_from=known_from,
        frozen=frozen,
        set_point=ends.set_point,
        limit_low=low,
        limit_high=high,
        limit_from=limit_from,
        mean_kinetic_limit=goods.rules[commodity.rule].mean_kinetic_limit
        if commodity and commodity.rule
        else None,
        stow=StowRanges(
            half_thickness=packaging.half_thickness,
            bulk_density=packaging.bulk_density,
            heat_transfer=packaging.heat_transfer,
            conductivity=_conductivity(waters, foods, ends.set_point, packaging),
            specific_heat=_specific_heat(waters),
        ),
        foods=foods,
        respiration=respiration,
        respiration_factor=respiration_factor,
        q10=commodity.q10 if commodity else None,
        optimum=(commodity.optimum_low, commodity.optimum_high) if commodity else None,
        # The shorter life: the cautious reading of a handbook's range.
        life_days=commodity.storage_life_days[0] if commodity and commodity.storage_life_days else None,
        mass=MASS if mass is None else (0.97 * mass, 1.03 * mass),
        heat_leak=HEAT_LEAK
        if leak is None
        else ((1.0 - CERTIFICATE_ERROR) * leak, (1.0 + CERTIFICATE_ERROR) * leak),
        assumptions=tuple(assumptions),
    )


def _heat_leak(facts: UnitFacts) -> float | None:
    """Heat leak as told, or as the walls that are told give it. [W/K]."""
    coefficient, inside, outside = facts.wall_coefficient, facts.inside_area, facts.outside_area
    if facts.heat_leak is not None or coefficient is None or inside is None or outside is None:
        return facts.heat_leak
    return heat_leak(coefficient, inside, outside)


def _packaging(
    facts: UnitFacts, commodity: Commodity | None, goods: Goods, frozen: bool
) -> tuple[Packaging, list[str]]:
    if facts.packaging is not None:
        if facts.packaging not in goods.packagings:
            raise UnknownPackaging(
                f"no packaging {facts.packaging!r}; known are {', '.join(sorted(goods.packagings))}"
            )
        return goods.packagings[facts.packaging], []
    if commodity:
        usual = goods.packagings[commodity.packaging]
        thin, thick = usual.half_thickness
        stretched = replace(usual, half_thickness=(thin / ASSUMED_STRETCH, thick * ASSUMED_STRETCH))
        return stretched, [f"Packaging not told; the usual one is assumed: {usual.name}."]
    unknown = _UNKNOWN_FROZEN if frozen else _UNKNOWN_CHILLED
    thin, thick = unknown.half_thickness
    return unknown, [f"Packaging not told: pieces of {200 * thin:g} to {200 * thick:g} cm across."]


def _foods(commodity: Commodity | None, frozen: bool) -> tuple[tuple[float, float], ...]:
    if commodity is None or commodity.water is None:
        return _UNKNOWN_FROZEN_FOODS if frozen else ()
    if commodity.freezing_point is not None:
        return ((commodity.water, commodity.freezing_point),)
    return ((commodity.water, _USUAL_FREEZING_POINT),) if frozen else ()


def _waters(commodity: Commodity | None, foods: tuple[tuple[float, float], ...]) -> Range:
    """Least and most water."""
    if foods:
        return foods[0][0], foods[-1][0]
    if commodity and commodity.water is not None:
        return commodity.water, commodity.water
    return _UNKNOWN_CHILLED_WATER


def _specific_heat(waters: Range) -> Range:
    low, high = (
        float(share * specific_heat_of_water_content(water))
        for share, water in zip(PACKAGING_SHARE, waters, strict=True)
    )
    return low, high


def _conductivity(
    waters: Range, foods: tuple[tuple[float, float], ...], set_point: float | None, packaging: Packaging
) -> Range:
    temperature = 5.0 if set_point is None else set_point
    freezing_points = (foods[0][1], foods[-1][1]) if foods else (None, None)
    low, high = (
        float(factor * conductivity_of_water_content(water, temperature, freezing_point))
        for factor, water, freezing_point in zip(
            packaging.conductivity_factor, waters, freezing_points, strict=True
        )
    )
    return low, high


def _respiration(commodity: Commodity | None, frozen: bool) -> tuple[tuple[tuple[float, float], ...], Range]:
    if commodity:
        return commodity.respiration, RESPIRATION_SPREAD
    return ((), (0.0, 0.0)) if frozen else (_UNKNOWN_RESPIRATION, _UNKNOWN_RESPIRATION_FACTOR)


def _limits(
    ends: _Ends, facts: UnitFacts, commodity: Commodity | None, goods: Goods
) -> tuple[float | None, float | None, str]:
    """Each edge from the first that names it: contract, rule, the living cargo's own, the band."""
    low, low_from = _low_limit(ends, facts, commodity, goods)
    high, high_from = _high_limit(ends, facts, commodity, goods)
    if low is None and high is None:
        return None, None, "no limit known"
    if low is None or low_from == high_from:
        return low, high, high_from
    if high is None:
        return low, high, low_from
    return low, high, f"low: {low_from}; high: {high_from}"


def _low_limit(
    ends: _Ends, facts: UnitFacts, commodity: Commodity | None, goods: Goods
) -> tuple[float | None, str]:
    if facts.limit_low is not None:
        return facts.limit_low, "contract"
    if commodity and commodity.rule and (rule := goods.rules[commodity.rule]).limit_low is not None:
        return rule.limit_low, rule.name
    band = ends.band_low, "set point and band"
    if commodity is None or commodity.regime_class != "chilled":
        return band
    own = {
        f"{words} of {commodity.name}": value
        for words, value in (
            ("chilling limit", commodity.chilling_limit),
            ("freezing point", commodity.freezing_point),
        )
        if value is not None
    }
    if not own:
        return band
    words, value = max(own.items(), key=lambda entry: entry[1])
    if ends.set_point is not None and ends.band_low is not None and value > ends.set_point - SET_POINT_ROOM:
        return min(value, ends.band_low), f"set point and band, the {words} being at the set point"
    return value, words


def _high_limit(
    ends: _Ends, facts: UnitFacts, commodity: Commodity | None, goods: Goods
) -> tuple[float | None, str]:
    if facts.limit_high is not None:
        return facts.limit_high, "contract"
    if commodity and commodity.rule and (rule := goods.rules[commodity.rule]).limit_high is not None:
        if rule.brief_rise:
            # What the outer cargo of a part of the load may briefly have.
            return (
                rule.limit_high + rule.brief_rise,
                f"{rule.name}, brief rise of {rule.brief_rise:g} K counted",
            )
        return rule.limit_high, rule.name
    return ends.band_high, "set point and band"
