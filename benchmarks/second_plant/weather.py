"""Weather along the voyage: air, sea, sun, moisture, from a ship's track over latitude.

Goes in: route name, start, length, seed. Comes out: :class:`Weather`, one value a minute for the whole ship.
A track of latitudes stands for the route; fronts are sums of slow waves whose size grows with latitude.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from benchmarks.second_plant.refrigerants import Array

TRACKS = {"tropics": (16.0, -6.0), "winter": (54.0, 43.0), "mixed": (47.0, -8.0)}
"""Latitude at the start and at the end of each route, invented. [°N]"""


@dataclass(frozen=True, slots=True)
class Weather:
    """One value a minute.

    Attributes
    ----------
    air
        Over the deck. [°C]
    hold
        Below deck. [°C]
    sea
        [°C]
    roof_sun, side_sun
        On a horizontal and on an upright wall, clouds taken off. [W/m²]
    moisture
        Outside air. [kg/kg]
    """

    air: Array
    hold: Array
    sea: Array
    roof_sun: Array
    side_sun: Array
    moisture: Array


def saturated_moisture(temperature: Array) -> Array:
    """Moisture of saturated air over water, or over ice below 0 °C, at sea level.

    Magnus formula with the coefficients of the WMO guide (from memory).

    Parameters
    ----------
    temperature
        [°C]

    Returns
    -------
    Array
        [kg/kg]
    """
    frozen = temperature < 0.0
    slope, shift = np.where(frozen, 22.46, 17.62), np.where(frozen, 272.62, 243.12)
    pressure = 6.112 * np.exp(slope * temperature / (shift + temperature))
    moist: Array = 0.622 * pressure / (1013.25 - pressure)
    return moist


def sail_through(route: str, start: datetime, minutes: int, seed: int) -> Weather:
    """Weather of a voyage.

    Parameters
    ----------
    route
        Key of :data:`TRACKS`.
    start
        First minute; its date sets the sun.
    minutes
        Length. [min]
    seed
        Of the fleet.

    Returns
    -------
    Weather
        Arrays of length ``minutes``.
    """
    draw = np.random.default_rng(np.random.SeedSequence([seed, 540_540]))
    hours = np.arange(minutes) / 60.0
    first, last = TRACKS[route]
    latitude = first + (last - first) * hours / max(hours[-1], 1.0)
    away = np.abs(latitude)
    waves = [
        draw.uniform(0.5, 1.0) * np.sin(2 * np.pi * (hours / draw.uniform(38.0, 150.0) + draw.random()))
        for _ in range(4)
    ]
    front = sum(waves, np.zeros(minutes)) / 2.0
    sea = 28.6 - 0.0085 * away**2
    day = (hours + start.hour + start.minute / 60.0) % 24.0
    cloud = np.clip(
        0.45 + 0.35 * np.sin(2 * np.pi * hours / draw.uniform(30.0, 70.0)) + 0.2 * front, 0.05, 0.95
    )
    day_of_year = start.timetuple().tm_yday + hours / 24.0
    declination = np.radians(-23.44 * np.cos(2 * np.pi * (day_of_year + 10.0) / 365.25))
    tilt, angle = np.radians(latitude), np.radians(15.0 * (day - 12.0))
    height = np.sin(tilt) * np.sin(declination) + np.cos(tilt) * np.cos(declination) * np.cos(angle)
    up = np.maximum(height, 0.0)
    beam = 950.0 * up**0.3 * (up > 0.0) * (1.0 - 0.75 * cloud)
    diurnal = (1.2 + 1.8 * (1.0 - cloud)) * (
        np.sin(2 * np.pi * (day - 9.0) / 24.0) + 0.25 * np.sin(4 * np.pi * (day - 7.0) / 24.0)
    )
    air = sea - 1.2 - 0.03 * away + front * (0.6 + 0.09 * away) + diurnal
    # Below deck the day is smoothed away and the units' own heat stays.
    slow = np.exp(-1.0 / (12.0 * 60.0))
    hold = np.empty(minutes)
    level = air[: 24 * 60].mean()
    for minute, outside in enumerate(air):
        level = slow * level + (1.0 - slow) * outside
        hold[minute] = level
    return Weather(
        air=air,
        hold=hold + 4.5,
        sea=sea,
        roof_sun=beam * up,
        side_sun=0.35 * beam * np.sqrt(np.maximum(1.0 - up**2, 0.0)),
        moisture=saturated_moisture(air) * np.clip(0.78 - 0.05 * front, 0.5, 0.97),
    )
