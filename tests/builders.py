"""Small hand-made logs for tests; every one of them invented."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from coldsift.regimes import Bands, build_timeline, find_voyage_events, mark_shared, regime_intervals
from coldsift.schema import COMMON_LOG

SMALL_LAYOUT = """
[layout]
name = "small"
[text]
delimiter = ","
[time]
columns = ["When"]
zone = "UTC"
[container]
columns = ["Box"]
[[column]]
heading = "Blown"
channel = "supply_air"
unit = "°C"
[[column]]
heading = "Wanted"
channel = "set_point"
unit = "°C"
"""
"""Declaration of a log layout, for tests that bend it."""

START = datetime(2026, 1, 5, tzinfo=UTC)


def clock(hours: float, minutes: int = 15) -> np.ndarray:
    """Hours of a regular log from 0 up to and without the end."""
    return np.arange(0, hours, minutes / 60)


def log(
    hours: Sequence[float] | np.ndarray,
    container: str = "QXAU0000001",
    start: datetime = START,
    **channels: Any,
) -> pl.DataFrame:
    """A common log of one unit; scalars are repeated."""
    count = len(hours)
    columns: dict[str, Any] = {
        "container": [container] * count,
        "time": [start + timedelta(hours=float(hour)) for hour in hours],
        "source": ["test"] * count,
        "row": range(1, count + 1),
    }
    for name, values in channels.items():
        columns[name] = [values] * count if np.isscalar(values) else list(values)
    return COMMON_LOG.conform(pl.DataFrame(columns, strict=False))


def timeline(*logs: pl.DataFrame, bands: Bands | None = None) -> pl.DataFrame:
    """The timeline of some logs, shared events marked."""
    built = build_timeline(pl.concat(logs).sort("container", "time"), bands)
    return mark_shared(built, find_voyage_events(regime_intervals(built)))
