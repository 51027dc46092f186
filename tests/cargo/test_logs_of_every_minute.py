"""A log that writes every minute tells no more of a cargo than one that writes every five."""

from __future__ import annotations

import numpy as np
import polars as pl
from tests.builders import clock, log

from coldsift.cargo import cargo_temperatures, cargoes_of, load_goods
from coldsift.regimes import build_timeline


def course(minutes: int) -> pl.DataFrame:
    """Two days of chilled fruit whose air swings, fails at noon of the second day, and is defrosted once."""
    hours = clock(48, minutes)
    air = 2.0 + 0.4 * np.sin(2 * np.pi * hours / 1.5) + np.clip(hours - 36, 0, None) * 0.8
    defrost = (hours >= 20) & (hours < 20.5)
    made = log(
        hours,
        set_point=2.0,
        supply_air=np.where(defrost, 9.0, air),
        return_air=air + 0.9,
        defrost_state=defrost,
    )
    timeline = build_timeline(made)
    return cargo_temperatures(timeline, cargoes_of(timeline, {}, load_goods()))


def test_a_cargo_is_the_same_by_minutes_and_by_five_minutes() -> None:
    often, seldom = course(1), course(5)
    both = often.join(seldom, on=["container", "time"], suffix="_seldom")
    assert both.height == seldom.height
    for name in ("surface", "core", "surface_low", "surface_high", "core_low", "core_high"):
        apart = (both[name] - both[f"{name}_seldom"]).abs()
        assert apart.max() < 0.05, f"{name}: {apart.max()} K"  # type: ignore[operator]


def test_every_reading_of_a_minute_has_its_cargo_temperature() -> None:
    often = course(1)
    assert often.height == 48 * 60
    assert often["core"].null_count() == 0
