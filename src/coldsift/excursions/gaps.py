"""Gaps in a log, and where the air can have been in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.excursions.readings import of_next, read_air
from coldsift.features.box import LEAST_DRIVE, SETTLING_HOURS
from coldsift.regimes.numbered import IN_MEMORY
from coldsift.schema import GAPS

Floats = NDArray[np.float64]

LARGEST_HEAT_LEAK = 51.0
"""Of a 40 ft high-cube box. [W/K] ISO 1496-2, from memory, low confidence."""

LIGHT_LOAD = 3.0e6
"""Heat capacity of a light load: a tonne of frozen goods and the box's own inside. [J/K] Judgement."""

FASTEST_WARM_UP = LIGHT_LOAD / LARGEST_HEAT_LEAK / 3600
"""Time constant of the warm-up where the log shows none. [h]"""

SETTLING = 3.0
"""Rise of the air at the probe when the fans stop, before the box itself warms, where the log shows none. [K]
Judgement."""

WARM_UP_SAFETY = 0.7
"""A box may warm up faster than it did in its own log, by this factor on the time constant, and settle
further by as much. Judgement."""

LEAST_RISE, LEAST_RISE_HOURS = 0.5, 1.0
"""A smaller rise, or a shorter one, does not show the time constant. [K] [h]"""

SUN = 10.0
"""A box in the sun, or beside a hot one, sees air hotter than the ambient probe by so much; on a clear night
colder. [K] Judgement."""

HOTTEST_AMBIENT, COLDEST_AMBIENT = 45.0, -30.0
"""Taken where no ambient air is logged near the gap. [°C] Common practice, no source."""

FASTEST_AIR = 0.5
"""Time constant of the air at the probe when the unit starts or stops cooling. [h] Judgement: the supply
probe stands behind the coil."""

COLDER_THAN_SEEN = 5.0
"""The unit may have cooled further below what its log shows by this. [K] Judgement."""

NOT_COVERED = "An opened door, a heater or a defrost is not covered."

_BEYOND = 0.1
"""What the air goes towards lies beyond where it has been by this at least. [K]"""

_HALVINGS = 60


def find_gaps(timeline: pl.DataFrame) -> pl.DataFrame:
    """List every gap, with the range in which the air can have been.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.GAPS`: times UTC, temperatures °C, lengths h. A hole of rows without air or set
        point counts as a gap; the gaps of a unit that logs neither have no range.

    Notes
    -----
    Warmest: the air of before settles, then warms towards the hottest ambient near the gap, first order,
    with the fastest time constant; and it must cool down in time to the air of after. Coldest: it follows
    the coil towards the coldest air the unit was seen to make, or cools towards the coldest ambient as slowly
    as it would warm; and it must come back in time. The warmer, or colder, of both air probes is what it
    starts from, for still air mixes. Where the readings themselves ask for a faster change, that one is
    taken. Not covered: an opened door, a heater or a defrost within the gap.
    """
    readings = read_air(timeline)
    air = pl.col("controlling_air")
    unread = timeline.filter(~pl.col("container").is_in(readings["container"].unique().implode()))
    blind = (
        unread.with_columns(air_after=air.shift(-1).over("container"))
        .filter("gap")
        .select(
            "container",
            start="time",
            end=pl.col("time") + pl.duration(microseconds=(pl.col("step_hours") * 3.6e9).cast(pl.Int64)),
            hours="step_hours",
            air_before=air,
            air_after="air_after",
            rests_on=pl.lit("Nothing: no air temperature with a set point is logged."),
        )
    )
    return GAPS.conform(
        pl.concat([possible_air(timeline, readings), blind], how="diagonal").sort("container", "start")
    )


def possible_air(timeline: pl.DataFrame, readings: pl.DataFrame) -> pl.DataFrame:
    """Where the air can have been in each gap between readings.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    readings
        Of the same timeline, from :func:`coldsift.excursions.readings.read_air`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.GAPS` and ``place`` of the reading before, ``area_above`` and ``area_below``
        (largest area beyond the upper and the lower edge of the band) [K h].
    """
    unit = "container"
    with_gaps = readings.filter("unseen").select(unit).unique()
    timeline = timeline.join(with_gaps, on=unit, how="semi", maintain_order="left")
    probes = ("controlling_air", "supply_air", "return_air")
    gaps = (
        readings.join(with_gaps, on=unit, how="semi", maintain_order="left")
        .with_columns(warm_before=pl.max_horizontal(probes), cold_before=pl.min_horizontal(probes))
        .with_columns(
            warm_after=of_next("warm_before"),
            cold_after=of_next("cold_before"),
            # Of two set points, the band that leaves the more outside.
            high=pl.min_horizontal("band_high", of_next("band_high")),
            low=pl.max_horizontal("band_low", of_next("band_low")),
            coldest_seen=pl.col("cold_before").min().over(unit),
        )
        .filter("unseen")
        .select(
            unit,
            "place",
            "warm_before",
            "cold_before",
            "warm_after",
            "cold_after",
            "high",
            "low",
            "coldest_seen",
            start="time",
            end="next_time",
            hours="step",
            air_before="air",
            air_after="next_air",
        )
        .join(_own_warm_up(timeline), on=unit, how="left", maintain_order="left")
        .pipe(_with_ambient, timeline)
        .with_columns(
            warm_up=pl.coalesce(pl.col("own_warm_up") * WARM_UP_SAFETY, pl.lit(FASTEST_WARM_UP)),
            settling=pl.coalesce(pl.col("own_settling") / WARM_UP_SAFETY, pl.lit(SETTLING)),
            hot=pl.col("hottest_ambient") + SUN,
            cold=pl.col("coldest_seen") - COLDER_THAN_SEEN,
            cold_outside=pl.col("coldest_ambient") - SUN,
        )
    )
    number = {
        name: gaps[name].cast(pl.Float64).fill_null(np.nan).to_numpy()
        for name in (
            *("hours", "warm_before", "warm_after", "cold_before", "cold_after"),
            *("high", "low", "hot", "cold", "cold_outside", "warm_up", "settling"),
        )
    }
    air, at_once = np.full(gaps.height, FASTEST_AIR), np.zeros(gaps.height)
    up = _reach(
        number["hours"],
        (number["warm_before"], number["warm_after"]),
        number["high"],
        (number["hot"], number["warm_up"], number["settling"]),
        (number["cold"], air),
    )
    # The lower side is the upper one upside down: the unit cools, or the cold outside does.
    down, down_outside = (
        _reach(
            number["hours"],
            (-number["cold_before"], -number["cold_after"]),
            -number["low"],
            towards,
            (-number["hot"], air),
        )
        for towards in (
            (-number["cold"], air, at_once),
            (-number["cold_outside"], number["warm_up"], number["settling"]),
        )
    )
    down = down.or_(down_outside)
    both = np.clip(np.minimum(up.last, down.last) - np.maximum(up.first, down.first), 0.0, None)
    return gaps.with_columns(
        warmest_possible=up.furthest,
        coldest_possible=-down.furthest,
        hours_outside_at_most=(up.last - up.first) + (down.last - down.first) - both,
        area_above=up.area,
        area_below=down.area,
        rests_on=_rests_on(),
    ).select(*GAPS.names, "place", "area_above", "area_below")


@dataclass(frozen=True, slots=True)
class _Reach:
    """How far up the air can have been in each gap.

    Attributes
    ----------
    furthest
        [°C]
    first, last
        First and last hour beyond the edge, equal where it stays inside. [h]
    area
        Beyond the edge. [K h]
    """

    furthest: Floats
    first: Floats
    last: Floats
    area: Floats

    def or_(self, other: _Reach) -> _Reach:
        """The worse of two ways."""
        beyond, other_beyond = self.last > self.first, other.last > other.first
        first = np.where(beyond & other_beyond, np.minimum(self.first, other.first), other.first)
        last = np.where(beyond & other_beyond, np.maximum(self.last, other.last), other.last)
        return _Reach(
            np.maximum(self.furthest, other.furthest),
            np.where(beyond & ~other_beyond, self.first, first),
            np.where(beyond & ~other_beyond, self.last, last),
            np.maximum(self.area, other.area),
        )


def _reach(
    hours: Floats,
    ends: tuple[Floats, Floats],
    edge: Floats,
    warming: tuple[Floats, Floats, Floats],
    cooling: tuple[Floats, Floats],
) -> _Reach:
    """Warm up from the first end as fast as can be, cool down to the second as late as can be.

    Parameters
    ----------
    hours
        Length. [h]
    ends
        Air before and after. [°C]
    edge
        Upper edge of the band; nan where there is none. [°C]
    warming
        The temperature it goes towards [°C], the time constant [h], and the rise at the very begin [K] where
        that temperature is warmer at all.
    cooling
        The temperature it goes towards [°C] and the time constant [h].

    Notes
    -----
    T = hot − (hot − settled)·e^(−t/τ) rises, T = cold + (after − cold)·e^((hours − t)/τ) falls with t; below
    both the air stays. They meet at an instant found by halving; everything else is closed.
    """
    before, after = ends
    outer = np.maximum(before, after)
    settled = before + np.where(warming[0] > before, warming[2], 0.0)
    hot = np.maximum(warming[0], np.maximum(settled, after) + _BEYOND)
    cold = np.minimum(cooling[0], np.minimum(before, after) - _BEYOND)
    # Readings that ask for a faster change show one.
    with np.errstate(divide="ignore"):
        up = np.fmin(warming[1], hours / np.log((hot - settled) / (hot - np.maximum(settled, after))))
        down = np.fmin(cooling[1], hours / np.log((outer - cold) / (after - cold)))

    def warmed(at: Floats) -> Floats:
        return np.asarray(hot - (hot - settled) * np.exp(-at / up))

    def to_cool(at: Floats) -> Floats:
        return np.asarray(cold + (after - cold) * np.exp(np.minimum((hours - at) / down, 60.0)))

    low, high = np.zeros_like(hours), hours.copy()
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        rising = warmed(middle) < to_cool(middle)
        low, high = np.where(rising, middle, low), np.where(rising, high, middle)
    meet = (low + high) / 2
    furthest = np.maximum(np.minimum(warmed(meet), to_cool(meet)), outer)
    with np.errstate(divide="ignore", invalid="ignore"):
        first = np.where(settled >= edge, 0.0, up * np.log((hot - settled) / (hot - edge)))
        last = np.where(after >= edge, hours, hours - down * np.log((edge - cold) / (after - cold)))
    beyond = furthest > edge
    first = np.where(beyond, np.clip(first, 0.0, meet), meet)
    last = np.where(beyond, np.clip(last, meet, hours), meet)
    area = (
        (hot - edge) * (meet - first)
        - (hot - settled) * up * (np.exp(-first / up) - np.exp(-meet / up))
        + (cold - edge) * (last - meet)
        + down * (to_cool(meet) - to_cool(last))
    )
    return _Reach(furthest, first, last, np.where(beyond, np.maximum(area, 0.0), 0.0))


def _own_warm_up(timeline: pl.DataFrame) -> pl.DataFrame:
    """Fastest warm-up seen without power, one row a unit: ``own_warm_up`` [h], ``own_settling`` [K].

    As :func:`coldsift.features.box.warm_up_features`, but the fastest that any reading of any stretch shows;
    and how far the air was at ``SETTLING_HOURS`` above that of the last reading with power.
    """
    unit = "container"
    stretch = [unit, "stretch"]
    air, warmest = pl.col("controlling_air"), pl.max_horizontal("controlling_air", "supply_air", "return_air")
    since = (pl.col("time") - pl.col("time").first().over(stretch)).dt.total_seconds() / 3600
    settled_for = pl.col("since") - pl.col("since").first().over(stretch)
    settled, outside = air.first().over(stretch), pl.col("ambient_air").mean().over(stretch)
    shrink = (outside - settled) / (outside - air)
    shows = (settled_for >= LEAST_RISE_HOURS) & (air - settled >= LEAST_RISE) & (outside - air > LEAST_DRIVE)
    return (
        timeline.lazy()
        .with_columns(
            stretch=pl.col("powered").cum_sum().over(unit), last_with_power=warmest.shift(1).over(unit)
        )
        .filter(~pl.col("powered"), air.is_not_null())
        .with_columns(since=since, last_with_power=pl.col("last_with_power").first().over(stretch))
        .filter(pl.col("since") >= SETTLING_HOURS)
        .group_by(unit)
        .agg(
            own_warm_up=(settled_for / shrink.log()).filter(shows).min(),
            own_settling=(settled - pl.col("last_with_power")).max().clip(0.0),
        )
        .filter(pl.col("own_warm_up").is_not_null())
        .collect(engine=IN_MEMORY)
    )


def _with_ambient(gaps: pl.DataFrame, timeline: pl.DataFrame) -> pl.DataFrame:
    """Add the hottest and the coldest ambient of the days of each gap and of one day beside it."""
    unit, ambient = "container", pl.col("ambient_air")
    by_day = (
        timeline.lazy()
        .filter(ambient.is_not_null())
        .group_by(unit, day=pl.col("time").dt.date())
        .agg(hottest=ambient.max(), coldest=ambient.min())
        .collect(engine=IN_MEMORY)
    )
    near = (
        gaps.select(
            unit,
            "place",
            day=pl.date_ranges(
                pl.col("start").dt.date().dt.offset_by("-1d"), pl.col("end").dt.date().dt.offset_by("1d")
            ),
        )
        .explode("day", empty_as_null=False)
        .join(by_day, on=[unit, "day"])
        .group_by("place")
        .agg(pl.col("hottest").max(), pl.col("coldest").min())
    )
    return gaps.join(near, on="place", how="left", maintain_order="left").with_columns(
        ambient_near=pl.col("hottest").is_not_null(),
        hottest_ambient=pl.col("hottest").fill_null(HOTTEST_AMBIENT),
        coldest_ambient=pl.col("coldest").fill_null(COLDEST_AMBIENT),
    )


def _rests_on() -> pl.Expr:
    """Where the fastest warming and cooling come from, in words."""
    warm_up = pl.when(pl.col("own_warm_up").is_not_null()).then(
        pl.lit(f"the fastest that its own log shows without power, made {WARM_UP_SAFETY:g} of it for safety")
    )
    ambient = pl.when("ambient_near").then(pl.lit("the hottest ambient air near it"))
    return pl.format(
        f"Warming: {{}} K at once, time constant {{}} h ({{}}), towards {{}} °C ({{}} and {SUN:g} K for the "
        f"sun). Cooling: time constant {FASTEST_AIR:g} h, towards {{}} °C (the coldest air in its log less "
        f"{COLDER_THAN_SEEN:g} K), or as slowly as it warms, towards {{}} °C outside. {NOT_COVERED}",
        pl.col("settling").round(1),
        pl.col("warm_up").round(1),
        warm_up.otherwise(pl.lit(f"{LARGEST_HEAT_LEAK:g} W/K, the largest of ISO 1496-2, over a light load")),
        pl.col("hot").round(1) + 0.0,
        ambient.otherwise(pl.lit("the hottest ambient air there is")),
        pl.col("cold").round(1) + 0.0,
        pl.col("cold_outside").round(1) + 0.0,
    )
