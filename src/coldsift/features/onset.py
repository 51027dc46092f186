"""How a change came about: within hours, as when a part breaks, or over days, as in a leak or icing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import polars as pl

from coldsift.features.catalogue import Feature, Worry
from coldsift.regimes.numbered import NUMBER, run_number, starts

SLOT_HOURS = 8
SLOTS_ACROSS = 2
ACROSS_HOURS = SLOTS_ACROSS * SLOT_HOURS
"""A change is looked at over as many slots: one that falls within a slot shows whole in the next but one."""

LEAST_SLOTS = 9
"""Three days of slots; fewer do not tell a step from a slope."""

LEAST_CHANGE = 2.0
"""A feature that moves less than this many of its smallest meaningful differences has not changed."""

ONSET_OF = (
    "split",
    "superheat",
    "coil_to_air",
    "condensing_over_ambient",
    "discharge_superheat",
    "valve_opening",
    "compressor_speed",
)
"""Features whose changes tell the cause by their pace."""


def onset_features(base: Sequence[Feature]) -> tuple[Feature, ...]:
    """The onset feature of each of ``ONSET_OF``."""
    return tuple(
        Feature(
            f"{feature.name}_abruptness",
            "",
            f"Share of the change that came within {ACROSS_HOURS} h: "
            f"{feature.words[0].lower()}{feature.words[1:]}",
            feature.regime,
            f"largest change of the {SLOT_HOURS} h medians over {ACROSS_HOURS} h / their range, where that "
            f"is at least {LEAST_CHANGE:g} × {feature.scale:g} {feature.unit}; medians of: {feature.formula}",
            feature.look_first,
            needs=feature.needs,
            minimum=LEAST_SLOTS,
            scale=0.1,
            worry=Worry.NONE,
            usual=(0.5, 0.5),
            by_peers=False,
        )
        for feature in base
        if feature.name in ONSET_OF
    )


def onset_values(slots: pl.DataFrame, base: Iterable[Feature]) -> pl.DataFrame:
    """Take the onset features.

    Parameters
    ----------
    slots
        ``unit_number``, ``feature``, ``slot`` (its start), ``value`` (its median): feature by feature, sorted
        by unit and slot.
    base
        All features that are not views of others.

    Returns
    -------
    polars.DataFrame
        ``unit_number``, ``feature``, ``value`` (1 all at once, small slowly), ``samples`` (slots).
    """
    least = {feature.name: LEAST_CHANGE * feature.scale for feature in base if feature.name in ONSET_OF}
    value, slot = pl.col("value"), pl.col("slot")
    # Across missing slots a slow change would look like a quick one.
    near = slot - slot.shift(SLOTS_ACROSS).over("series") == pl.duration(hours=ACROSS_HOURS)
    change = (value - value.shift(SLOTS_ACROSS).over("series")).abs()
    return (
        slots.with_columns(series=run_number(starts("feature")))
        .with_columns(change=pl.when(near).then(change))
        .group_by("series", maintain_order=True)
        .agg(
            pl.col(NUMBER, "feature").first(),
            span=value.max() - value.min(),
            change=pl.col("change").max(),
            samples=pl.len().cast(pl.Int64),
        )
        .select(
            NUMBER,
            value=pl.when(
                pl.col("span") >= pl.col("feature").replace_strict(least, return_dtype=pl.Float64)
            ).then(pl.min_horizontal(pl.col("change") / pl.col("span"), 1.0)),
            samples="samples",
            feature=pl.format("{}_abruptness", "feature"),
        )
    )
