"""Weather along an invented voyage: latitude, air, sea, sun and the supply on the socket.

Every curve is a smooth invention with the right size, not climate data: the air cools with the square of the
latitude (28.5 °C at the equator, 19 °C at 30°, 2 °C at 50° in winter), common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from coldsift.simulate.refrigerant import Array

ROUTES: dict[str, tuple[tuple[float, float], ...]] = {
    "tropics": ((0.0, 8.0), (0.25, -6.0), (0.6, 2.0), (1.0, 14.0)),
    "winter": ((0.0, 36.0), (0.3, 47.0), (0.7, 52.0), (1.0, 53.0)),
    "mixed": ((0.0, 46.0), (0.25, 24.0), (0.55, -2.0), (0.8, -20.0), (1.0, -32.0)),
}
"""Latitude over the share of the voyage that is done. [° north]"""


@dataclass(frozen=True, slots=True)
class Weather:
    """Weather at every minute of the voyage; every field has one value a minute.

    Attributes
    ----------
    air
        Outside air in the shade. [°C]
    sea
        Sea water. [°C]
    sun
        Sun on a level surface. [W/m²]
    humidity_ratio
        Water in the outside air. [kg/kg]
    in_port
        Plugged into a terminal's 50 Hz supply instead of the ship's 60 Hz one.
    """

    air: Array
    sea: Array
    sun: Array
    humidity_ratio: Array
    in_port: NDArray[np.bool_]


def saturation_humidity_ratio(temperature: Array) -> Array:
    """Water that air can hold at 1.01325 bar. [kg/kg].

    Source: Magnus form of the saturation pressure over water, coefficients from memory.
    """
    pressure = 6.112 * np.exp(17.62 * temperature / (243.12 + temperature))
    return np.asarray(0.622 * pressure / (1013.25 - pressure))


def weather_along(route: str, start: datetime, days: float, seed: int) -> Weather:
    """Weather minute by minute.

    Parameters
    ----------
    route
        One of :data:`ROUTES`.
    start
        First minute, UTC.
    days
        Length of the voyage. [d]
    seed
        Of the day-to-day variation.

    Raises
    ------
    ValueError
        On an unknown route.
    """
    if route not in ROUTES:
        raise ValueError(f"unknown route {route!r}; known: {', '.join(ROUTES)}")
    minutes = np.arange(round(days * 1440))
    hours = minutes / 60.0
    whole = int(np.ceil(days))
    knots = np.array(ROUTES[route])
    latitude = np.interp(hours / (days * 24.0), knots[:, 0], knots[:, 1])
    draw = np.random.default_rng(np.random.SeedSequence([seed, 1_000_003]))
    # A new air mass every day or so: a small random step each day, joined smoothly.
    daily = np.interp(hours, np.arange(whole + 2) * 24.0, draw.normal(0.0, 1.2, whole + 2))
    clock = (start.hour + start.minute / 60.0 + hours) % 24.0
    day_wave = np.cos((clock - 14.0) / 24.0 * 2 * np.pi)
    winter = np.where(latitude > 0, latitude, 0.5 * latitude)
    mean = 28.5 - 0.0105 * winter**2
    air = mean + 2.5 * day_wave + daily
    sea = 28.5 - 0.0080 * winter**2
    height = np.cos(np.radians(latitude)) * np.cos((clock - 12.0) / 24.0 * 2 * np.pi)
    cloud = np.interp(hours, np.arange(whole + 2) * 24.0, draw.uniform(0.55, 1.0, whole + 2))
    sun = 950.0 * np.maximum(height, 0.0) * cloud
    in_port = (hours < 16.0) | (np.abs(hours / (days * 24.0) - 0.55) * days * 24.0 < 9.0)
    return Weather(air, sea, sun, 0.8 * saturation_humidity_ratio(air), in_port)
