"""Invented cold treatments: what the probes of one container read, hour by hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import polars as pl
from tests.builders import START, clock, log

from coldsift.protocols import (
    Basis,
    Protocol,
    Standing,
    Step,
    Treatment,
    find_protocol,
    judge_treatment,
)

MEDFLY = find_protocol("medfly_t107a")
INVENTED = Basis("invented", Standing.COMMON_PRACTICE)


def fahrenheit(value: float) -> float:
    return (value - 32) * 5 / 9


def after(days: float) -> datetime:
    """An instant so many days after the log's first reading."""
    return START + timedelta(days=days)


def held(*stretches: tuple[float, float | None], minutes: int = 60) -> list[float | None]:
    """Readings of a probe that holds (days, °C) one after the other; one more closes the last stretch."""
    values: list[float | None] = []
    for days, temperature in stretches:
        values += [temperature] * round(days * 1440 / minutes)
    return [*values, values[-1]]


def treated(*probes: Sequence[float | None], minutes: int = 60, **channels: object) -> pl.DataFrame:
    """A common log whose probes read so; one course alone stands for three probes."""
    each = probes * 3 if len(probes) == 1 else probes
    hours = clock(len(each[0]) * minutes / 60, minutes)[: len(each[0])]
    named = {f"cargo_probe_{place}": values for place, values in enumerate(each, 1)}
    return log(hours, **named, **channels)


def judged(*probes: Sequence[float | None], protocol: Protocol = MEDFLY, minutes: int = 60) -> Treatment:
    return judge_treatment(treated(*probes, minutes=minutes), protocol)


def ladder(*steps: tuple[float, float], **changed: object) -> Protocol:
    """The protocol with another ladder, (°C, days), and other rules."""
    own = tuple(Step(limit, days, f"{limit:g} °C", None, INVENTED) for limit, days in steps)
    return replace(MEDFLY, ladder=own or MEDFLY.ladder, **changed)  # type: ignore[arg-type]


def day(treatment: Treatment, number: int, probe: str = "all") -> dict[str, object]:
    return treatment.days.filter(pl.col("probe") == probe, pl.col("day") == number).row(0, named=True)
