"""A hand-made inspection in round numbers, and simulated ones; every one of them invented."""

from __future__ import annotations

import functools
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl

from coldsift.pre_trip import Inspection, inspect_log, load_pass_bands
from coldsift.simulate.faults import HEALTHY
from coldsift.simulate.pre_trip import PreTripPlan, empty_boxes, inspect_boxes
from tests.builders import START, log

MINUTES = 5


def by_hand(container: str = "QXAU0000016", **changed: Any) -> pl.DataFrame:
    """Half an hour of fans, 60 min to 0 °C, an hour there, 90 min to −18 °C, an hour there, then a defrost.

    The defrost takes 20 min, and so does the way back. The air is at 25 °C at first, in the box and outside;
    every reading is what a table on paper would say.
    """
    fans, down, hold, freeze, cold, defrost, back = 6, 12, 12, 18, 12, 4, 5
    chilled, frozen = fans + down + hold, freeze + cold + defrost + back
    count = chilled + frozen
    supply = np.concatenate(
        [
            np.full(fans, 25.5),
            np.linspace(24, 2, down),
            np.full(hold, 0.2),
            np.linspace(-2, -22, freeze),
            np.full(cold, -22.0),
            np.full(defrost, -15.0),
            np.full(back - 1, -22.0),
            [-22.0],
        ]
    )
    back_air = np.concatenate(
        [
            np.full(fans, 25.0),
            np.linspace(25, 8, down),
            np.full(hold, 3.0),
            np.linspace(2, -16.5, freeze),
            np.full(cold, -18.0),
            np.full(defrost, -12.0),
            np.full(back - 1, -15.0),
            [-17.5],
        ]
    )
    running = np.ones(count, dtype=bool)
    running[:fans] = False
    in_defrost = np.zeros(count, dtype=bool)
    begin = chilled + freeze + cold
    in_defrost[begin : begin + defrost] = True
    running[in_defrost] = False
    columns: dict[str, Any] = {
        "set_point": np.where(np.arange(count) < chilled, 0.0, -18.0),
        "supply_air": supply,
        "return_air": back_air,
        "ambient_air": 25.0,
        "compressor_state": running,
        "evaporator_fan_speed": np.where(in_defrost, 0.0, 100.0),
        "heater_state": in_defrost,
        "defrost_state": in_defrost,
        "evaporator_temperature": np.where(in_defrost, 20.0, np.where(running, back_air - 4, back_air)),
        "power_state": True,
        "power": np.where(in_defrost, 3600.0, np.where(running, 6000.0, 600.0)),
        "frequency": 50.0,
        **{f"voltage_{phase}": 400.0 for phase in (1, 2, 3)},
        **changed,
    }
    logged = {name: values for name, values in columns.items() if values is not None}
    return log(np.arange(count) * MINUTES / 60, container, **logged)


def judged(frame: pl.DataFrame) -> Inspection:
    return inspect_log(frame, load_pass_bands())


def verdicts(inspection: Inspection, container: str | None = None) -> dict[str, str]:
    """Verdict by item of one box."""
    own = inspection.items
    if container is not None:
        own = own.filter(pl.col("container") == container)
    return dict(own.select("item", pl.col("verdict").cast(pl.String)).iter_rows())


def words(inspection: Inspection, item: str) -> str:
    return str(inspection.items.filter(pl.col("item") == item)["words"][0])


def later(frame: pl.DataFrame, hours: float) -> pl.DataFrame:
    return frame.with_columns(pl.col("time") + timedelta(hours=hours))


@functools.cache
def simulated(
    causes: tuple[tuple[int, str, float], ...] = (), boxes: int = 6, ambient: float = 24.0, seed: int = 611
) -> tuple[Inspection, pl.DataFrame]:
    """Simulated boxes as judged, and what was planted."""
    logs = inspect_boxes(PreTripPlan(empty_boxes(boxes, causes), ambient=ambient, seed=seed))
    return judged(logs.log), logs.truth


def planted(truth: pl.DataFrame) -> list[str]:
    return truth.filter(pl.col("cause") != HEALTHY)["container"].to_list()


__all__ = ["MINUTES", "START", "by_hand", "judged", "later", "planted", "simulated", "verdicts", "words"]
