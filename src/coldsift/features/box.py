"""Features of the box: what leaks in, what the cargo gives off, how fast it warms without power."""

from __future__ import annotations

import polars as pl

from coldsift.features.catalogue import HOLD, RUNNING_HOLD, Feature, Worry
from coldsift.regimes.numbered import IN_MEMORY, NUMBER, run_number, starts

BOX_FEATURES: tuple[Feature, ...] = (
    Feature(
        "humidity_in_hold",
        "%",
        "Relative humidity",
        "hold",
        "median of humidity",
        "Door seals, fresh-air vent, drain",
        needs=("humidity",),
        scale=4.0,
        of=pl.col("humidity"),
        where=HOLD,
        watched=True,
    ),
    Feature(
        "vent_flow",
        "m³/h",
        "Fresh-air vent",
        "hold",
        "median of fresh_air_vent",
        "Fresh-air vent against the order",
        needs=("fresh_air_vent",),
        scale=15.0,
        of=pl.col("fresh_air_vent"),
        where=HOLD,
        watched=True,
    ),
    Feature(
        "cargo_above_supply",
        "K",
        "Cargo above the supply air",
        "hold, compressor running",
        "median of the mean cargo probe − supply_air",
        "Cargo temperature, air path through the stow",
        needs=("cargo_probe_1", "supply_air"),
        scale=0.6,
        worry=Worry.HIGH,
        of=pl.mean_horizontal(f"cargo_probe_{number}" for number in range(1, 5)) - pl.col("supply_air"),
        where=RUNNING_HOLD,
        watched=True,
    ),
    Feature(
        "warm_up_tau",
        "h",
        "Warm-up time constant without power",
        "off",
        "median over stretches without power of −hours / ln((ambient − air at the end) / (ambient − air at "
        "the start)), ambient at its mean; heat leak UA = heat capacity / τ",
        "Door seals, drain, floor",
        source="first-order warm-up, definition",
        needs=("ambient_air",),
        minimum=1,
        scale=60.0,
        worry=Worry.LOW,
    ),
)

LEAST_WARM_UP_HOURS = 1.5
"""A shorter stretch without power shows the air settling, not the box warming. [h]"""

SETTLING_HOURS = 0.5
"""Left out at the start of a stretch without power: the still air settles. [h]"""

LEAST_DRIVE = 5.0
"""Ambient above the air by less than this does not show the leak. [K]"""


def warm_up_features(numbered: pl.DataFrame) -> pl.DataFrame:
    """Fit the warm-up of each stretch without power.

    Parameters
    ----------
    numbered
        The timeline with ``unit_number``.

    Returns
    -------
    polars.DataFrame
        ``unit_number``, ``feature``, ``value`` (τ in h), ``samples`` (stretches). With the box's heat
        capacity C [J/K], the heat leak is UA = C / (3600 τ) [W/K].

    Notes
    -----
    dT/dt = (T_ambient − T)/τ integrates to ln((T_ambient − T0)/(T_ambient − T)) = t/τ. Stretches that the
    whole ship shared count too: a box warms the same in them.
    """
    air = pl.mean_horizontal("return_air", "supply_air")
    start, end = pl.col("air").first(), pl.col("air").last()
    outside = pl.col("ambient_air").mean()
    return (
        numbered.lazy()
        .with_columns(stretch=run_number(starts() | pl.col("powered")))
        .filter(~pl.col("powered"), ~pl.col("gap"))
        .select(NUMBER, "time", "stretch", "ambient_air", air=air)
        .drop_nulls("air")
        .with_columns(
            since=(pl.col("time") - pl.col("time").first().over("stretch")).dt.total_seconds() / 3600
        )
        .filter(pl.col("since") >= SETTLING_HOURS)
        .group_by("stretch", maintain_order=True)
        .agg(
            pl.col(NUMBER).first(),
            hours=pl.col("since").last() - pl.col("since").first(),
            drive=outside - end,
            rise=end - start,
            shrink=((outside - end) / (outside - start)).log(),
        )
        .filter(
            pl.col("hours") >= LEAST_WARM_UP_HOURS - SETTLING_HOURS,
            pl.col("drive") > LEAST_DRIVE,
            pl.col("rise") > 0,
        )
        .group_by(NUMBER, maintain_order=True)
        .agg(value=(-pl.col("hours") / pl.col("shrink")).median(), samples=pl.len().cast(pl.Int64))
        .select(NUMBER, pl.lit("warm_up_tau").alias("feature"), "value", "samples")
        .collect(engine=IN_MEMORY)
    )
