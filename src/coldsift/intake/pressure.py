"""Gauge or absolute, when nothing says so: settled by the readings themselves.

Goes in: pressures as logged (in bar, reference unknown) beside temperatures and states. Comes out: gauge or
absolute, and on what ground. Three grounds, tried in this order:

- A pressure below zero can only be gauge.
- With the compressor off for long, the refrigerant stands at saturation with the place it has settled in: the
  ambient (condenser, receiver) or the box (evaporator). The right reading meets one of the two saturation
  pressures, the wrong one is off by an atmosphere.
- With the compressor running, heat flows one way only: the refrigerant condenses warmer than the ambient and
  evaporates colder than the air it cools. A reading that has it otherwise is the wrong one.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl

from coldsift.intake.units import ATMOSPHERE, Reference
from coldsift.refrigerant import DEFAULT_REFRIGERANT, Saturation, saturation

STANDSTILL = timedelta(hours=2)
"""Off at least this long before pressures count as levelled out (common practice, no source)."""
BELOW_ZERO = -0.05
"""A reading below this is under zero for more than noise. [bar]"""
AGREES = 0.3
"""A pressure this near to saturation agrees with it; less than a third of the atmosphere at stake. [bar]"""
FEWEST = 3
"""Readings needed for a verdict."""
MAJORITY = 0.8
"""Share of the readings that must tell the same."""


def settle(readings: pl.DataFrame, pressures: list[str], refrigerant: str) -> tuple[Reference, str]:
    """Whether pressures are gauge or absolute.

    Parameters
    ----------
    readings
        ``container``, ``time``, the pressures [bar, as logged], and where logged ``compressor_state``,
        ``compressor_frequency`` [Hz], ``power_state``, ``ambient_air``, ``return_air``, ``supply_air``,
        ``evaporator_temperature`` [°C].
    pressures
        Columns that do not say.
    refrigerant
        As the file names it, a known one; empty for R134a.

    Returns
    -------
    tuple
        The reference, and the ground for it in words.
    """
    logged = readings.select(pl.min_horizontal(pressures)).to_series()
    below = int((logged < BELOW_ZERO).sum())
    if below >= FEWEST:
        return Reference.GAUGE, f"gauge: {below} readings are below zero"
    fluid = saturation(refrigerant or DEFAULT_REFRIGERANT)
    return (
        _at_standstill(readings, pressures, fluid)
        or _running(readings, pressures, fluid)
        or (Reference.GAUGE, "gauge assumed: neither the file nor its readings settle it")
    )


def _column(readings: pl.DataFrame, *names: str) -> np.ndarray | None:
    """The first of the columns that is logged."""
    for name in names:
        if name in readings.columns and readings[name].count():
            return readings[name].cast(pl.Float64).to_numpy()
    return None


def _at_standstill(
    readings: pl.DataFrame, pressures: list[str], fluid: Saturation
) -> tuple[Reference, str] | None:
    still = _standstill(readings)
    if still is None:
        return None
    rest = readings.filter(still)
    places = [
        fluid.dew_pressure(temperature)
        for temperature in (
            _column(rest, "ambient_air"),
            _column(rest, "evaporator_temperature", "return_air", "supply_air"),
        )
        if temperature is not None
    ]
    if not places:
        return None
    votes: dict[Reference, int] = {Reference.GAUGE: 0, Reference.ABSOLUTE: 0}
    logged = 0
    for name in pressures:
        value = rest[name].to_numpy()
        absolute, gauge = (
            np.any([np.abs(value + added - place) < AGREES for place in places], axis=0)
            for added in (0.0, ATMOSPHERE)
        )
        logged += int((~np.isnan(value)).sum())
        votes[Reference.GAUGE] += int((gauge & ~absolute).sum())
        votes[Reference.ABSOLUTE] += int((absolute & ~gauge).sum())
    told = sum(votes.values())
    found = max(votes, key=lambda reference: votes[reference])
    if told < FEWEST or 2 * told < logged or votes[found] < MAJORITY * told:
        return None
    return found, (
        f"{found}: with the compressor off for long, {votes[found]} of {logged} readings meet {fluid.name} "
        f"saturation at ambient or box temperature only as {found}"
    )


def _running(readings: pl.DataFrame, pressures: list[str], fluid: Saturation) -> tuple[Reference, str] | None:
    conditions = [
        condition
        for name, condition in (
            ("compressor_state", pl.col("compressor_state")),
            ("compressor_frequency", pl.col("compressor_frequency") > 10),
        )
        if name in readings.columns
    ]
    if not conditions:
        return None
    refused = [pl.col(name) for name in ("defrost_state", "heater_state") if name in readings.columns]
    running = readings.filter(
        pl.all_horizontal(conditions).fill_null(False),
        ~pl.any_horizontal(*refused, pl.lit(False)).fill_null(False),
    )
    ambient, air = _column(running, "ambient_air"), _column(running, "supply_air", "return_air")
    for name, temperature, found, why in (
        ("discharge_pressure", ambient, Reference.GAUGE, "condense colder than the ambient"),
        ("suction_pressure", air, Reference.ABSOLUTE, "evaporate warmer than the air it cools"),
    ):
        if name not in pressures or temperature is None:
            continue
        value, saturated = running[name].to_numpy(), fluid.dew_pressure(temperature)
        known = int((~np.isnan(value - saturated)).sum())
        impossible = (
            value < saturated - AGREES
            if found is Reference.GAUGE
            else value + ATMOSPHERE > saturated + AGREES
        )
        if known >= FEWEST and impossible.sum() >= MAJORITY * known:
            other = Reference.ABSOLUTE if found is Reference.GAUGE else Reference.GAUGE
            return found, (
                f"{found}: as {other}, {fluid.name} would {why} in {int(impossible.sum())} of {known} "
                "running readings"
            )
    return None


def _standstill(readings: pl.DataFrame) -> pl.Series | None:
    """Mask of readings with the compressor off for :data:`STANDSTILL` or longer; None without any state."""
    off = [
        expression
        for name, expression in (
            ("compressor_state", ~pl.col("compressor_state")),
            ("compressor_frequency", pl.col("compressor_frequency") < 1),
            ("power_state", ~pl.col("power_state")),
        )
        if name in readings.columns
    ]
    if not off:
        return None
    return (
        readings.with_row_index("at")
        .sort("container", "time", maintain_order=True)
        .with_columns(off=pl.any_horizontal(off).fill_null(False))
        .with_columns(run=pl.col("off").rle_id().over("container"))
        .with_columns(since=pl.col("time") - pl.col("time").first().over("container", "run"))
        .sort("at")
        .select(pl.col("off") & (pl.col("since") >= STANDSTILL))
        .to_series()
    )
