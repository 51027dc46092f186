"""Features from the table of defrosts."""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from coldsift.features.catalogue import Feature, View, Worry
from coldsift.regimes.numbered import IN_MEMORY, NUMBER, run_number, starts

_FROM_TABLE: tuple[Feature, ...] = (
    Feature(
        "defrost_interval",
        "h",
        "Time between defrosts",
        "defrost",
        "median time between starts of defrosts",
        "Coil for ice, defrost setting, humid air coming in",
        minimum=2,
        scale=6.0,
    ),
    Feature(
        "defrost_minutes",
        "min",
        "Length of a defrost",
        "defrost",
        "median length of a defrost",
        "Defrost heaters, coil sensor, coil for ice",
        minimum=1,
        scale=8.0,
    ),
    Feature(
        "defrost_termination",
        "°C",
        "Coil temperature at the end of a defrost",
        "defrost",
        "median of the highest evaporator_temperature in each defrost",
        "Defrost heaters, coil sensor seated",
        needs=("evaporator_temperature",),
        minimum=1,
        scale=5.0,
    ),
    Feature(
        "defrost_recovery",
        "min",
        "Recovery after a defrost",
        "recovery",
        "median time from the end of a defrost until the air is in its band",
        "Capacity: coil, refrigerant",
        minimum=1,
        scale=30.0,
        worry=Worry.HIGH,
    ),
    Feature(
        "defrosts_unfinished",
        "",
        "Share of defrosts that did not terminate",
        "defrost",
        "defrosts ended by their time limit, a gap or the log's end / defrosts",
        "Coil sensor, defrost heaters",
        minimum=4,
        scale=0.2,
        worry=Worry.HIGH,
    ),
)

_WITHOUT_DEFROST = Feature(
    "without_defrost",
    "h",
    "Longest running time without a defrost",
    "hold",
    "longest sum of hours with the compressor running, and the coil below −1 °C where it is logged, between "
    "defrosts or between a defrost and either end of the log",
    "Coil for ice, defrost start and heaters",
    minimum=1,
    scale=12.0,
    worry=Worry.HIGH,
)

FROSTING = -1.0
"""A warmer coil gathers no frost. [°C]"""

_SINCE_DEFROST = replace(
    _WITHOUT_DEFROST,
    name="frosting_since_defrost",
    words="Running time since the last defrost",
    formula="sum of hours with the compressor running, and the coil below −1 °C where it is logged, from the "
    "last defrost to the end of the log",
)

RECENT_DEFROST_HOURS = 96.0
"""What counts as now for defrosts, which come once or twice a day. [h]"""


def _against_before(feature: Feature) -> Feature:
    return replace(
        feature,
        name=f"{feature.name}_shift",
        unit=feature.unit_of_change,
        formula=f"{feature.formula}: over the last {RECENT_DEFROST_HOURS:.0f} h minus over the time before",
        minimum=max(2, feature.minimum),
        scale=feature.scale / 2,
        view=View.SHIFT,
        base=feature.name,
        recent_hours=RECENT_DEFROST_HOURS,
        usual=(0.0, 0.0),
    )


DEFROST_FEATURES: tuple[Feature, ...] = (
    *_FROM_TABLE,
    *(_against_before(feature) for feature in _FROM_TABLE if feature.name != "defrosts_unfinished"),
    _WITHOUT_DEFROST,
    _SINCE_DEFROST,
)


def defrost_features(numbered: pl.DataFrame, defrosts: pl.DataFrame) -> pl.DataFrame:
    """Take the defrost features.

    Parameters
    ----------
    numbered
        The timeline with ``unit_number``.
    defrosts
        From :func:`coldsift.regimes.find_defrosts`.

    Returns
    -------
    polars.DataFrame
        ``unit_number``, ``feature``, ``value``, ``samples``.
    """
    apart = (pl.col("start") - pl.col("start").shift(1).over(NUMBER)).dt.total_seconds() / 3600
    ends = numbered.group_by(NUMBER, maintain_order=True).agg(
        pl.col("container").first(), log_end=pl.col("time").last()
    )
    table = (
        defrosts.join(ends, on="container", maintain_order="left")
        .with_columns(apart=apart)
        .with_columns(recent=pl.col("start") > pl.col("log_end") - pl.duration(hours=RECENT_DEFROST_HOURS))
    )
    whole = _of_table(table)
    now = _of_table(table.filter("recent"))
    before = _of_table(table.filter(~pl.col("recent")))
    shift = now.join(before, on=[NUMBER, "feature"], suffix="_before").select(
        NUMBER,
        pl.format("{}_shift", "feature").alias("feature"),
        value=pl.col("value") - pl.col("value_before"),
        samples=pl.min_horizontal("samples", "samples_before"),
    )
    frosting = (
        pl.col("powered")
        & pl.col("running").fill_null(True)
        & (pl.col("evaporator_temperature") < FROSTING).fill_null(True)
    )
    running_time = (
        numbered.lazy()
        .select(
            NUMBER, stretch=run_number(starts() | pl.col("defrost")), hours=pl.when(frosting).then("hours")
        )
        .group_by("stretch", maintain_order=True)
        .agg(pl.col(NUMBER).first(), pl.col("hours").sum())
        .group_by(NUMBER, maintain_order=True)
        .agg(
            samples=pl.len().cast(pl.Int64),
            without_defrost=pl.col("hours").max(),
            frosting_since_defrost=pl.col("hours").last(),
        )
        .unpivot(index=[NUMBER, "samples"], variable_name="feature", value_name="value")
        .collect(engine=IN_MEMORY)
    )
    columns = [NUMBER, "feature", "value", "samples"]
    return pl.concat(frame.select(columns) for frame in (whole, shift, running_time))


def _of_table(table: pl.DataFrame) -> pl.DataFrame:
    return (
        table.group_by(NUMBER, maintain_order=True)
        .agg(
            defrost_interval=pl.col("apart").median(),
            defrost_minutes=pl.col("minutes").filter("terminated").median(),
            defrost_termination=pl.col("termination_temperature").filter("terminated").median(),
            defrost_recovery=pl.col("recovery_minutes").median(),
            defrosts_unfinished=(~pl.col("terminated")).mean(),
            samples=pl.len().cast(pl.Int64),
        )
        .unpivot(index=[NUMBER, "samples"], variable_name="feature", value_name="value")
    )
