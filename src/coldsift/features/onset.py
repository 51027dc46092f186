"""How a change came about: within hours, as when a part breaks, or over days, as in a leak or icing."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from coldsift.features.catalogue import OWN, Feature, Worry

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


def onset_values(rows: pl.LazyFrame, base: Sequence[Feature]) -> pl.LazyFrame:
    """Take the onset features.

    Parameters
    ----------
    rows
        Timeline with everything the features' expressions need.
    base
        All features that are not views of others.

    Returns
    -------
    polars.LazyFrame
        ``container``, ``feature``, ``value`` (1 all at once, small slowly), ``samples`` (slots).
    """
    unit = "container"
    chosen = [feature for feature in base if feature.name in ONSET_OF]
    medians: list[pl.Expr] = []
    for feature in chosen:
        assert feature.of is not None and feature.where is not None
        medians.append(feature.of.filter(feature.where).median().alias(f"{feature.name}_abruptness"))
    scales = {f"{feature.name}_abruptness": feature.scale for feature in chosen}
    span = pl.col("value").max() - pl.col("value").min()
    # Across missing slots a slow change would look like a quick one.
    near = pl.col("slot") - pl.col("slot").shift(SLOTS_ACROSS) == pl.duration(hours=ACROSS_HOURS)
    change = (pl.col("value") - pl.col("value").shift(SLOTS_ACROSS)).abs().filter(near).max()
    return (
        rows.filter(OWN & pl.col("settled"))
        .group_by(unit, slot=pl.col("time").dt.truncate(f"{SLOT_HOURS}h"))
        .agg(medians)
        .sort(unit, "slot")
        .unpivot(index=[unit, "slot"], variable_name="feature", value_name="value")
        .drop_nulls("value")
        .sort(unit, "feature", "slot")
        .group_by(unit, "feature", maintain_order=True)
        .agg(span=span, change=change, samples=pl.len().cast(pl.Int64))
        .select(
            unit,
            "feature",
            value=pl.when(
                pl.col("span")
                >= LEAST_CHANGE * pl.col("feature").replace_strict(scales, return_dtype=pl.Float64)
            ).then(pl.min_horizontal(pl.col("change") / pl.col("span"), 1.0)),
            samples="samples",
        )
    )
