"""The members of a unit's ensemble: what cannot be known of the load, drawn with a seed.

Goes in: the cargoes and how their logs begin. Comes out: :class:`Members`, arrays of units by members. The
seed is the container's number, so that a unit's result does not depend on which others are in the run.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.special import ndtri

from coldsift.cargo.cargoes import Cargo, Range
from coldsift.cargo.lines import Places
from coldsift.cargo.properties import Array, respiration_heat, respiration_rate
from coldsift.cargo.slab import Slab
from coldsift.cargo.two_nodes import TwoNodes

MEMBERS = 48
"""Size of an ensemble."""

BAND: Range = (0.05, 0.95)
"""Shares of the ensemble below the edges of its band."""

SENSOR_ERROR = 0.25
"""Standard deviation of the air readings' error: 0.5 K is two of them (EN 12830 class 1, from memory). [K]"""

ONE_PROBE_ERROR = 1.0
"""The same where only supply or only return air is logged: the other one may be a few kelvin away. [K]"""

STILL_AIR: Range = (0.15, 0.6)
"""Heat transfer with the fans stopped, as a share of that at full speed. Common practice, no source."""

WARMER_AT_BEGIN: Range = (2.0, 3.0)
"""The cargo may be warmer than the warmest air of the log's first hours by this much, in hold and while it is
pulled down. [K] Common practice, no source."""

COLDER_AT_BEGIN = 0.5
"""And colder than the coldest air by this. [K]"""

SELF_HEATING = 4.0
"""Living cargo is stowed so that air reaches it: pieces that would stay warmer than their air by more than
this are taken to be thinner. [K] Common practice, no source."""

FROZEN_AT_BEGIN = -5.0
"""Frozen cargo is loaded no warmer than this, however warm the air. [°C] Common practice, no source."""

DRAWN = (
    "half_thickness",
    "bulk_density",
    "heat_transfer",
    "conductivity",
    "specific_heat",
    "respiration",
    "air_weight",
    "air_error",
    "otherwise_share",
    "still_share",
    "start_core",
    "start_surface",
    "off_length",
    "off_begin",
    "mass",
    "heat_leak",
    "ambient",
    "trend",
)
"""What is drawn, evenly in its range unless :func:`members_of` says otherwise."""


@dataclass(frozen=True, slots=True)
class Members:
    """Arrays of the shape (units, members).

    Attributes
    ----------
    slab, nodes
        The stow and the two stores derived from it.
    specific_heat, food
        Unfrozen [J/kg K]; which of the cargo's foods, the watery ones having the high specific heats.
    respiration
        Factor on the commodity's rate.
    air_weight, air_error
        Place between supply and return air of the air at the cargo, 0 to 1; error of the readings [K].
    otherwise_share
        How far the air was not what a straight line across defrosts and gaps says, 0 to 1.
    still_share
        Heat transfer in still air against that in blown air.
    start_surface, start_core
        When the log begins. [°C]
    off_begin, off_end
        Part of every gap in which the unit stood, as places in it; equal where it ran.
    mass, heat_leak
        Of cargo [kg] and box [W/K].
    ambient, trend
        Places in the ranges of the outlook, 0 to 1.
    """

    slab: Slab
    nodes: TwoNodes
    specific_heat: Array
    food: Places
    respiration: Array
    air_weight: Array
    air_error: Array
    otherwise_share: Array
    still_share: Array
    start_surface: Array
    start_core: Array
    off_begin: Array
    off_end: Array
    mass: Array
    heat_leak: Array
    ambient: Array
    trend: Array


def generator(container: str, purpose: str = "members") -> np.random.Generator:
    """Random numbers that belong to one container and one purpose."""
    digest = hashlib.sha256(f"{purpose} of {container}".encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:8], "little"))


def draw(containers: Sequence[str], members: int = MEMBERS) -> Array:
    """Draw places in every range.

    Parameters
    ----------
    containers
        Their numbers seed the draws.
    members
        Size of each ensemble.

    Returns
    -------
    numpy.ndarray
        Shape (units, members, :data:`DRAWN`), between 0 and 1, spread evenly over every range by Latin
        hypercubes.
    """
    return np.stack([latin_hypercube(members, len(DRAWN), generator(each)) for each in containers])


def latin_hypercube(count: int, axes: int, chance: np.random.Generator) -> Array:
    """Places between 0 and 1, one in every ``count``-th part of every axis; shape (count, axes).

    The draws are those of scipy's ``LatinHypercube``, to the last digit (tests/outside); loading scipy's
    statistics takes every process longer than drawing for a whole ship.
    """
    (own,) = chance.spawn(1)
    within = own.uniform(size=(count, axes))
    parts = np.tile(np.arange(1, count + 1), (axes, 1))
    for axis in parts:
        own.shuffle(axis)
    return np.asarray((parts.T - within) / count)


def members_of(cargoes: Sequence[Cargo], begin: pl.DataFrame, places: Array) -> Members:
    """Turn places in the ranges into members.

    Parameters
    ----------
    cargoes
        One a unit.
    begin
        How the logs begin, see :class:`~coldsift.cargo.air.AirCourse`.
    places
        From :func:`draw`.
    """
    at = dict(zip(DRAWN, np.moveaxis(places, -1, 0), strict=True))

    def edges(ranges: Sequence[Range]) -> tuple[Array, Array]:
        low, high = np.array(ranges, dtype=np.float64).T[:, :, None]
        return low, high

    def evenly(name: str, ranges: Sequence[Range]) -> Array:
        low, high = edges(ranges)
        return np.asarray(low + at[name] * (high - low))

    def by_ratio(name: str, ranges: Sequence[Range]) -> Array:
        low, high = edges(ranges)
        return np.asarray(low * (high / low) ** at[name])

    specific_heat = evenly("specific_heat", [each.stow.specific_heat for each in cargoes])
    respiration = evenly("respiration", [each.respiration_factor for each in cargoes])
    density = evenly("bulk_density", [each.stow.bulk_density for each in cargoes])
    conductivity = evenly("conductivity", [each.stow.conductivity for each in cargoes])
    heat_transfer = by_ratio("heat_transfer", [each.stow.heat_transfer for each in cargoes])
    thickest = _thickest_alive(
        np.array([[_heat_when_carried(each)] for each in cargoes]) * respiration * density,
        conductivity,
        heat_transfer,
    )
    slab = Slab(
        half_thickness=np.minimum(
            by_ratio("half_thickness", [each.stow.half_thickness for each in cargoes]), thickest
        ),
        conductivity=conductivity,
        heat_capacity=density * specific_heat,
        heat_transfer=heat_transfer,
    )
    frozen = [each.frozen for each in cargoes]
    core = evenly("start_core", _start_ranges(begin, frozen))
    surface = core + at["start_surface"] * (begin["first"].to_numpy()[:, None] - core)
    surface = np.where(
        np.array(frozen)[:, None], np.minimum(surface, np.maximum(core, FROZEN_AT_BEGIN)), surface
    )
    off_length = np.maximum(2.0 * at["off_length"] - 1.0, 0.0)
    off_begin = at["off_begin"] * (1.0 - off_length)
    units = len(cargoes)
    return Members(
        slab=slab,
        nodes=TwoNodes.of_slab(slab),
        specific_heat=specific_heat,
        food=_which(at["specific_heat"], [len(each.foods) for each in cargoes]),
        respiration=respiration,
        air_weight=at["air_weight"],
        air_error=np.where(begin["both_probes"].to_numpy(), SENSOR_ERROR, ONE_PROBE_ERROR)[:, None]
        * ndtri(np.clip(at["air_error"], 1e-3, 1.0 - 1e-3)),
        otherwise_share=at["otherwise_share"],
        still_share=by_ratio("still_share", [STILL_AIR] * units),
        start_surface=surface,
        start_core=core,
        off_begin=off_begin,
        off_end=off_begin + off_length,
        mass=by_ratio("mass", [each.mass for each in cargoes]),
        heat_leak=evenly("heat_leak", [each.heat_leak for each in cargoes]),
        ambient=at["ambient"],
        trend=at["trend"],
    )


def _which(places: Array, counts: Sequence[int]) -> Places:
    """Whole numbers below the counts, by place."""
    count = np.maximum(np.array(counts)[:, None], 1)
    return np.asarray(np.minimum((places * count).astype(np.intp), count - 1), dtype=np.intp)


def _heat_when_carried(cargo: Cargo) -> float:
    """Respiration heat of a living cargo somewhat warmer than its set point. [W/kg]."""
    if not cargo.respiration or cargo.set_point is None:
        return 0.0
    carried = cargo.set_point + SELF_HEATING / 2.0
    return float(respiration_heat(respiration_rate(cargo.respiration, carried, cargo.q10))) / 1000.0


def _thickest_alive(heat: Array, conductivity: Array, heat_transfer: Array) -> Array:
    """Half thickness at which a plate's middle stays as much warmer as :data:`SELF_HEATING`. [m].

    Parameters
    ----------
    heat
        By volume. [W/m³]
    conductivity, heat_transfer
        As in :class:`~coldsift.cargo.slab.Slab`.
    """
    # q L / h + q L² / (2 k) = rise, solved for L.
    heat = np.maximum(heat, 1e-9)
    film = conductivity / heat_transfer
    return np.asarray(np.sqrt(film**2 + 2.0 * conductivity * SELF_HEATING / heat) - film)


def _start_ranges(begin: pl.DataFrame, frozen: Sequence[bool]) -> list[Range]:
    """Coldest and warmest that the core can have been when the log began. [°C]."""
    pulling_down = pl.col("pulling_down")
    warmer = pl.when(pulling_down).then(WARMER_AT_BEGIN[1]).otherwise(WARMER_AT_BEGIN[0])
    set_point = pl.when(pulling_down).then("set_point")
    low = pl.min_horizontal("coldest", set_point) - COLDER_AT_BEGIN
    high = pl.max_horizontal("warmest", set_point) + warmer
    loaded_frozen = pl.max_horizontal(pl.min_horizontal(high, FROZEN_AT_BEGIN), low)
    return begin.select(low, pl.when(pl.Series(frozen)).then(loaded_frozen).otherwise(high)).rows()


def quantiles(members: Array, shares: Sequence[float]) -> Array:
    """Values below which these shares of the members lie, straight between members.

    Parameters
    ----------
    members
        Members on the last axis.
    shares
        0 to 1.

    Returns
    -------
    numpy.ndarray
        Shares on the first axis.
    """
    ordered = np.sort(members, axis=-1)
    place = np.array(shares) * (members.shape[-1] - 1)
    lower = np.minimum(place.astype(np.intp), members.shape[-1] - 2)
    part = place - lower
    return np.stack(
        [
            ordered[..., index] + share * (ordered[..., index + 1] - ordered[..., index])
            for index, share in zip(lower, part, strict=True)
        ]
    )
