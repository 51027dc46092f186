"""The timeline: one regime for every reading."""

from __future__ import annotations

import polars as pl

from coldsift.regimes.bands import Bands, band_edges, controlling_air, regime_class
from coldsift.regimes.defrosts import in_defrost
from coldsift.regimes.numbered import IN_MEMORY, NUMBER, run_number, starts, with_numbers
from coldsift.schema import REGIME

GAP_FACTOR = 2.5
"""An interval longer than this many usual log intervals is a gap, not a reading that held."""

SET_POINT_STEP = 0.3
"""Smallest change of set point that counts as one. [K]"""

RECOVERY_HOURS = {"defrost": 3.0, "power": 24.0, "set_point": 24.0}
"""Longest time a unit is called recovering; after it, it is holding, badly. [h]"""

STALL_HOURS = 12.0
STALL_DROP = 0.5
"""A pull-down that gains less than this [K] over these hours [h] has ended, reached or not."""


def build_timeline(log: pl.DataFrame, bands: Bands | None = None) -> pl.DataFrame:
    """Say for every reading what the unit was doing.

    Parameters
    ----------
    log
        Common log: one row per container and time, sorted.
    bands
        Allowed distance of the controlling air from the set point. [K]

    Returns
    -------
    polars.DataFrame
        The log's columns and ``step_hours`` (to the next reading, null at the last), ``usual_hours`` (the
        unit's usual log interval), ``gap`` (the next reading is missing), ``hours`` (time this reading
        stands for: the step, or one usual interval before a gap, 0 at the end), ``controlling_air``,
        ``band_low``, ``band_high`` [°C], ``in_band``, ``powered``, ``running`` (compressor),
        ``defrost``, ``defrost_from_flag``, ``regime_class`` and ``regime``.
    """
    bands = bands or Bands()
    low, high = band_edges(bands)
    frame = (
        with_numbers(log.lazy())
        .with_columns(
            step_hours=(pl.col("time").shift(-1).over(NUMBER) - pl.col("time")).dt.total_seconds() / 3600
        )
        .with_columns(usual_hours=pl.col("step_hours").median().over(NUMBER))
        .with_columns(gap=(pl.col("step_hours") > GAP_FACTOR * pl.col("usual_hours")).fill_null(False))
        .with_columns(
            hours=pl.when(pl.col("gap")).then("usual_hours").otherwise("step_hours").fill_null(0.0),
            controlling_air=controlling_air(),
            band_low=low,
            band_high=high,
            powered=is_powered(),
            running=is_running(),
            regime_class=regime_class(),
        )
        .with_columns(
            in_band=(pl.col("controlling_air") <= pl.col("band_high"))
            & (pl.col("band_low").is_null() | (pl.col("controlling_air") >= pl.col("band_low")))
        )
    )
    return _with_regime(in_defrost(frame)).drop(NUMBER).collect(engine=IN_MEMORY)


def is_powered() -> pl.Expr:
    """False where the log shows the unit without supply; true otherwise.

    The logged state decides; without it, a supply voltage or frequency near zero does.
    """
    return pl.coalesce(
        pl.col("power_state"),
        pl.max_horizontal("voltage_1", "voltage_2", "voltage_3") > 100,
        pl.col("frequency") > 20,
        pl.lit(True),
    )


def is_running() -> pl.Expr:
    """Whether the compressor runs; null where no channel tells."""
    return pl.coalesce(
        pl.col("compressor_state"),
        pl.col("compressor_frequency") > 1,
    )


def _with_regime(frame: pl.LazyFrame) -> pl.LazyFrame:
    before = pl.col("set_point").shift(1).over(NUMBER)
    after_off = ~pl.col("powered").shift(1).over(NUMBER) & pl.col("powered")
    after_defrost = pl.col("defrost").shift(1).over(NUMBER) & ~pl.col("defrost")
    stepped = (pl.col("set_point") - before).abs() > SET_POINT_STEP
    settled = (pl.col("in_band") & pl.col("powered") & ~pl.col("defrost")).fill_null(False)
    # A pull-down that no longer gains has ended: compare with the controlling air half a day before.
    earlier = frame.select(
        NUMBER,
        (pl.col("time") + pl.duration(minutes=round(STALL_HOURS * 60))).alias("time"),
        pl.col("controlling_air").alias("air_earlier"),
    ).drop_nulls()
    return (
        frame.with_columns(
            stepped=stepped.fill_null(False),
            trigger=pl.when(stepped.fill_null(False))
            .then(pl.lit("set_point"))
            .when(after_off.fill_null(False))
            .then(pl.lit("power"))
            .when(after_defrost.fill_null(False) & pl.col("powered"))
            .then(pl.lit("defrost")),
        )
        .join_asof(earlier, on="time", by=NUMBER, strategy="backward", check_sortedness=False)
        # The first pull-down is one episode however many defrosts fall in it.
        .with_columns(
            arrived=settled.cum_max().over(NUMBER),
            stalled=(
                (pl.col("air_earlier") - pl.col("controlling_air") < STALL_DROP)
                & ((pl.col("time") - pl.col("time").first().over(NUMBER)).dt.total_hours() >= STALL_HOURS)
                & pl.col("powered")
                & ~pl.col("defrost")
            )
            .fill_null(False)
            .cum_max()
            .over(NUMBER),
            episode=run_number(starts() | pl.col("trigger").is_not_null()),
        )
        .with_columns(
            since=(pl.col("time") - pl.col("time").first().over("episode")).dt.total_seconds() / 3600,
            cause=pl.col("trigger").first().over("episode"),
            recovered=settled.cum_max().over("episode"),
        )
        .with_columns(
            regime=pl.when(pl.col("controlling_air").is_null() | pl.col("set_point").is_null())
            .then(pl.when(~pl.col("powered")).then(pl.lit("off")).otherwise(pl.lit("unknown")))
            .when(~pl.col("powered"))
            .then(pl.lit("off"))
            .when(pl.col("defrost"))
            .then(pl.lit("defrost"))
            .when(pl.col("stepped"))
            .then(pl.lit("set_point_step"))
            .when(~pl.col("arrived") & ~pl.col("stalled"))
            .then(pl.lit("pull_down"))
            .when(
                ~pl.col("recovered")
                & (pl.col("since") < pl.col("cause").replace_strict(RECOVERY_HOURS, default=0.0))
            )
            .then(pl.lit("recovery"))
            .otherwise(pl.lit("hold"))
            .cast(REGIME)
        )
        .drop("stepped", "trigger", "air_earlier", "arrived", "stalled", "episode", "recovered")
        .rename({"cause": "recovering_from", "since": "hours_since_event"})
    )


def regime_intervals(timeline: pl.DataFrame) -> pl.DataFrame:
    """Stretches of one regime, with gaps as stretches of their own.

    Parameters
    ----------
    timeline
        From :func:`build_timeline`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``start``, ``end`` (UTC), ``regime``: whole, without overlap, from each unit's first
        reading to its last; ``unknown`` where readings are missing.
    """
    following = pl.col("time").shift(-1).over(NUMBER)
    known_until = (
        pl.when(pl.col("gap"))
        .then(pl.col("time") + pl.duration(microseconds=(pl.col("usual_hours") * 3.6e9).cast(pl.Int64)))
        .otherwise(following)
    )
    rows = (
        with_numbers(timeline.lazy())
        .select(
            "container",
            NUMBER,
            "regime",
            start="time",
            end=known_until,
            gap="gap",
            following=following,
        )
        .drop_nulls("end")
    )
    columns = ("container", NUMBER, "start", "end", "regime")
    known = _merged(rows, starts("regime") | pl.col("gap").shift(1))
    missing = rows.filter("gap").with_columns(
        start="end", end="following", regime=pl.lit("unknown").cast(REGIME)
    )
    stretches = pl.concat([known.select(columns), missing.select(columns)]).sort(NUMBER, "start")
    return (
        _merged(stretches, starts("regime"))
        .select("container", "start", "end", "regime")
        .collect(engine=IN_MEMORY)
    )


def _merged(stretches: pl.LazyFrame, begins: pl.Expr) -> pl.LazyFrame:
    """Stretches joined to those before them, unless they begin one."""
    return (
        stretches.group_by(run_number(begins).alias("stretch"), maintain_order=True)
        .agg(pl.col("container", NUMBER, "start").first(), pl.col("end").last(), pl.col("regime").first())
        .drop("stretch")
    )
