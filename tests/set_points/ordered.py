"""Orders and logged set points of invented units."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
from tests.builders import START, clock, log, timeline

from coldsift.schema import BOOKINGS, PLAN
from coldsift.set_points import compare_set_points

UNIT = "QXAU0000001"

Change = tuple[float | None, float]
"""Hour from which a booking holds, None from the beginning, and its set point. [h, °C]"""


def at(hour: float) -> datetime:
    return START + timedelta(hours=hour)


def booked(*changes: Change, container: str = UNIT) -> pl.DataFrame:
    """Bookings of one container."""
    rows = [
        {"container": container, "time": None if hour is None else at(hour), "set_point": value, "line": line}
        for line, (hour, value) in enumerate(changes, start=2)
    ]
    return BOOKINGS.conform(pl.DataFrame(rows, schema_overrides={"time": BOOKINGS.empty()["time"].dtype}))


def planned(temperature: float | None, container: str = UNIT) -> pl.DataFrame:
    """A stowage plan of one container."""
    row = {"container": container, "refrigerated": True, "required_temperature": temperature, "line": 5}
    return PLAN.conform(pl.DataFrame([row]))


def logged(
    *set_points: tuple[float, float | None],
    hours: float = 48,
    minutes: int = 15,
    container: str = UNIT,
    **channels: Any,
) -> pl.DataFrame:
    """Timeline of one unit whose set point is, from each hour on, what is given."""
    clocked = clock(hours, minutes)
    begins = [hour for hour, _ in set_points]
    stands = np.searchsorted(begins, clocked, side="right") - 1
    values = [set_points[place][1] for place in stands]
    return timeline(log(clocked, container, set_point=values, **channels))


def compared(
    built: pl.DataFrame, bookings: pl.DataFrame | None = None, plan: pl.DataFrame | None = None
) -> list[dict[str, Any]]:
    """Rows of the comparison."""
    return compare_set_points(
        built, BOOKINGS.empty() if bookings is None else bookings, PLAN.empty() if plan is None else plan
    ).to_dicts()


def kinds(rows: Sequence[dict[str, Any]]) -> list[str]:
    return [row["kind"] for row in rows]
