"""Defrosts: from the logged state where there is one, else from their signature."""

from __future__ import annotations

import polars as pl

from coldsift.regimes.bands import is_frozen
from coldsift.regimes.numbered import (
    IN_MEMORY,
    MICROSECONDS,
    NUMBER,
    microseconds_of,
    run_number,
    starts,
    with_numbers,
)
from coldsift.schema import DEFROSTS

LONGEST_DEFROST_HOURS = 4.0
"""A warm coil for longer than this is not a defrost but a fault. [h] Common practice, no source."""

COIL_ABOVE_AIR = 4.0
"""How far a coil under defrost stands above the return air at least. [K] Common practice, no source."""

AIR_KICK = 3.0
"""Supply-air rise above its own usual level that marks a defrost where no coil is logged. [K]"""


def in_defrost(timeline: pl.LazyFrame) -> pl.LazyFrame:
    """Add ``defrost`` and ``defrost_from_flag`` to readings.

    Parameters
    ----------
    timeline
        Common log with ``step_hours``, ``usual_hours``, ``hours``, ``gap``, ``powered``, ``running`` and
        ``unit_number``.

    Returns
    -------
    polars.LazyFrame
        The same rows; ``defrost`` is true in a defrost, ``defrost_from_flag`` is true where the unit logs
        a defrost state or names it in its mode, false where the signature was used.

    Notes
    -----
    Signature: unit powered, compressor not known to run, and the coil well above the return air; or, in a
    frozen unit, the heater on; or, without coil and heater, a supply-air kick out of its usual level.
    Runs longer than ``LONGEST_DEFROST_HOURS`` do not count.
    """
    by_mode = pl.col("mode").str.contains_any(["defrost"], ascii_case_insensitive=True)
    flag = pl.coalesce("defrost_state", by_mode)
    logs_flag = (pl.col("defrost_state").is_not_null() | by_mode.fill_null(False)).any().over(NUMBER)
    not_running = ~pl.col("running").fill_null(False)
    coil = pl.col("evaporator_temperature")
    air = pl.coalesce("return_air", "supply_air")
    warm_coil = not_running & (coil - air > COIL_ABOVE_AIR) & ((coil > 0) | ~is_frozen())
    heating = not_running & is_frozen() & pl.col("heater_state")
    blind = (
        ~pl.col("defrost_from_flag")
        & coil.is_null().all().over(NUMBER)
        & pl.col("heater_state").is_null().all().over(NUMBER)
    )
    # A running median is dear: only where nothing else tells.
    supply = pl.when(blind).then("supply_air")
    usual_supply = supply.rolling_median_by("time", window_size="24h").over(NUMBER)
    kick = not_running & (supply - usual_supply > AIR_KICK) & (supply > pl.col("return_air") + 1)
    signature = (warm_coil.fill_null(False) | heating.fill_null(False) | kick.fill_null(False)) & pl.col(
        "powered"
    )
    lasting = microseconds_of(pl.col("hours")).sum().over("run") <= LONGEST_DEFROST_HOURS * MICROSECONDS
    return (
        timeline.with_columns(defrost_from_flag=logs_flag)
        .with_columns(defrost=pl.when("defrost_from_flag").then(flag.fill_null(False)).otherwise(signature))
        .with_columns(run=run_number(starts("defrost")))
        .with_columns(defrost=pl.col("defrost") & (pl.col("defrost_from_flag") | lasting))
        .drop("run")
    )


def find_defrosts(timeline: pl.DataFrame) -> pl.DataFrame:
    """List every defrost.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.DEFROSTS`; times UTC, durations in minutes, temperature in °C.
    """
    rows = with_numbers(timeline.lazy()).with_columns(
        following=pl.col("time").shift(-1).over(NUMBER), run=run_number(starts("defrost"))
    )
    defrosts = (
        rows.filter("defrost")
        .group_by("run", maintain_order=True)
        .agg(
            pl.col("container", NUMBER).first(),
            start=pl.col("time").first(),
            end=pl.coalesce(
                pl.when(~pl.col("gap").last()).then(pl.col("following").last()), pl.col("time").last()
            ),
            termination_temperature=pl.col("evaporator_temperature").max(),
            from_flag=pl.col("defrost_from_flag").first(),
            terminated=pl.col("following").last().is_not_null() & ~pl.col("gap").last(),
        )
        .with_columns(minutes=(pl.col("end") - pl.col("start")).dt.total_seconds() / 60)
        .with_columns(
            terminated=pl.col("terminated") & (pl.col("minutes") <= LONGEST_DEFROST_HOURS * 60),
        )
    )
    settled = rows.filter(pl.col("in_band") & ~pl.col("defrost") & pl.col("powered")).select(
        NUMBER, "time", settled_at="time"
    )
    return DEFROSTS.conform(
        defrosts.join_asof(
            settled, left_on="end", right_on="time", by=NUMBER, strategy="forward", check_sortedness=False
        )
        .with_columns(
            recovery_minutes=pl.when("terminated").then(
                (pl.col("settled_at") - pl.col("end")).dt.total_seconds() / 60
            )
        )
        .collect(engine=IN_MEMORY)
    )
