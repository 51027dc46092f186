"""Each item against its pass band, and against the other boxes of the same day."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from coldsift.peers.robust import NORMAL_MAD
from coldsift.peers.words import rounded
from coldsift.pre_trip.bands import AGAINST, NEAR, Item
from coldsift.pre_trip.measures import MEASURES, WHOLE
from coldsift.schema import PRE_TRIP

FEWEST_OTHERS = 4
"""Fewer other boxes of the day say nothing."""

ODD = 3.5
"""Robust distance from the others of the day from which a value inside its band is watched. Iglewicz and
Hoaglin (1993) take the same for an outlier, from memory."""

PHASE_WORDS = {
    "whole": "whole inspection",
    "fans_only": "fans only",
    "pull_down_chilled": "pull-down to chilled",
    "chilled_hold": "chilled hold",
    "pull_down_frozen": "pull-down to frozen",
    "frozen_hold": "frozen hold",
    "defrost": "defrost",
    "return": "back after the defrost",
    "heating": "heating",
    "warm_hold": "warm hold",
    "off": "off",
}


def judge_items(
    timeline: pl.DataFrame, phases: pl.DataFrame, measures: pl.DataFrame, items: Sequence[Item]
) -> pl.DataFrame:
    """Hold every item of every box against its band.

    Parameters
    ----------
    timeline, phases, measures
        From the modules of this package.
    items
        From :func:`coldsift.pre_trip.load_pass_bands`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.PRE_TRIP`: boxes with most outside first; items in the order of the bands.
    """
    if timeline.is_empty() or not items:
        return PRE_TRIP.empty()
    rows = _rows(timeline, phases, measures, items)
    rows = _with_edges(rows, items)
    rows = _with_others(rows)
    rows = _with_verdicts(rows)
    return PRE_TRIP.conform(_ranked(rows).sort("rank", "place"))


def _rows(
    timeline: pl.DataFrame, phases: pl.DataFrame, measures: pl.DataFrame, items: Sequence[Item]
) -> pl.DataFrame:
    """Every box × item with its value, or the reason why there is none."""
    unit = "container"
    last_step = pl.col("time").last()
    whole = timeline.group_by(unit, maintain_order=True).agg(
        phase=pl.lit(WHOLE),
        start=pl.col("time").first(),
        end=last_step,
        set_point=pl.lit(None, pl.Float64),
        ambient=pl.col("ambient_air").mean(),
        frequency=pl.col("frequency").filter("powered").median(),
        day=pl.col("time").first().dt.date(),
    )
    columns = [unit, "phase", "start", "end", "set_point", "ambient", "frequency"]
    stretches = pl.concat(
        [
            whole.select(columns),
            phases.filter("chosen").with_columns(pl.col("phase").cast(pl.String)).select(columns),
        ]
    )
    wanted = pl.DataFrame(
        {
            "item": [item.id for item in items],
            "item_words": [item.words for item in items],
            "phase": [item.phase for item in items],
            "measure": [item.measure for item in items],
            "unit": [item.unit for item in items],
            "look_first": [item.look_first for item in items],
            "source": [item.source for item in items],
            "against": [item.against for item in items],
            "scale": [MEASURES[item.measure].scale for item in items],
            "place": range(len(items)),
        },
        schema_overrides={"against": pl.String},
    )
    rows = whole.select(unit, "day").join(wanted, how="cross")
    rows = rows.join(stretches, on=[unit, "phase"], how="left", maintain_order="left")
    # The supply is the same all day; a phase without power does not know it.
    rows = rows.join(whole.select(unit, mains="frequency"), on=unit, maintain_order="left").with_columns(
        frequency="mains"
    )
    missing = pl.when(pl.col("start").is_null()).then(
        pl.format("no such phase in the log: {}", pl.col("phase").replace_strict(PHASE_WORDS))
    )
    return rows.join(measures, on=[unit, "phase", "measure"], how="left", maintain_order="left").with_columns(
        absent=missing.is_not_null(),
        reason=pl.coalesce(
            missing,
            "reason",
            pl.when(pl.col("value").is_null()).then(pl.lit("the phase does not give it")),
        ),
        samples=pl.col("samples").fill_null(0),
        open=pl.col("open").fill_null(False),
    )


def _with_edges(rows: pl.DataFrame, items: Sequence[Item]) -> pl.DataFrame:
    """Edges of the band where each box stood, and why there is none."""
    parts = []
    for item in items:
        own = rows.filter(pl.col("item") == item.id)
        edges = {}
        task = own[item.against].cast(pl.Float64).to_numpy() if item.against else np.zeros(len(own))
        for name, values in (("low", item.low), ("high", item.high)):
            given = np.full(len(own), values[0] if len(values) == 1 else np.nan)
            if len(values) > 1:
                given = np.interp(task, item.at, values, left=np.nan, right=np.nan)
            edges[name] = pl.Series(name, given if values else np.full(len(own), np.nan)).fill_nan(None)
        near = item.near
        if near is None:
            near_of = NEAR * (pl.col("high") - pl.col("low")).fill_null(pl.coalesce("high", "low").abs())
        else:
            near_of = pl.lit(near)
        gate: pl.Expr = pl.lit(None, pl.String)
        if item.against:
            what, what_unit = item.against, AGAINST[item.against]
            gate = (
                pl.when(pl.col(what).is_null())
                .then(pl.lit(f"the band depends on the {what}, which is not logged"))
                .when(~pl.col(what).is_between(item.at[0], item.at[-1]))
                .then(
                    pl.format(
                        f"{what} {{}} {what_unit}; the band is given for {item.at[0]:g} to {item.at[-1]:g} "
                        f"{what_unit}",
                        rounded(pl.col(what), 1),
                    )
                )
            )
        if item.set_point:
            low, high = item.set_point
            gate = pl.coalesce(
                gate,
                pl.when(~pl.col("set_point").is_between(low, high)).then(
                    pl.format(
                        f"set point {{}} °C; the band is given for {low:g} to {high:g} °C".replace("-", "−"),
                        rounded(pl.col("set_point"), 1),
                    )
                ),
            )
        parts.append(
            own.with_columns(edges["low"], edges["high"]).with_columns(
                near=near_of.cast(pl.Float64), reason=pl.coalesce("reason", gate)
            )
        )
    return pl.concat(parts)


def _with_others(rows: pl.DataFrame) -> pl.DataFrame:
    """What the other boxes of the day gave, each box against those besides it."""
    group = ["day", "item"]
    known = rows.filter(pl.col("reason").is_null() & ~pl.col("open"))
    pairs = rows.select("container", *group).join(
        known.select("container", *group, other="value"), on=group, suffix="_other"
    )
    others = (
        pairs.filter(pl.col("container") != pl.col("container_other"))
        .group_by("container", "item")
        .agg(
            others=pl.len().cast(pl.Int64),
            middle=pl.col("other").median(),
            spread=NORMAL_MAD * (pl.col("other") - pl.col("other").median()).abs().median(),
        )
    )
    enough = pl.col("others") >= FEWEST_OTHERS
    return rows.join(others, on=["container", "item"], how="left", maintain_order="left").with_columns(
        others=pl.col("others").fill_null(0),
        others_middle=pl.when(enough).then("middle"),
        odd=(
            enough & ((pl.col("value") - pl.col("middle")).abs() > ODD * pl.max_horizontal("spread", "scale"))
        ).fill_null(False),
    )


def _with_verdicts(rows: pl.DataFrame) -> pl.DataFrame:
    value, low, high = pl.col("value"), pl.col("low"), pl.col("high")
    tested = pl.col("reason").is_null()
    above, below = (value > high).fill_null(False), (value < low).fill_null(False)
    near = ((high - value < pl.col("near")) | (value - low < pl.col("near"))).fill_null(False)
    unit = pl.when(pl.col("unit") == "").then(pl.lit("")).otherwise(pl.lit(" ") + pl.col("unit"))
    said = pl.format("{}{}", _shown(value), unit)
    band = (
        pl.when(low.is_null())
        .then(pl.format("at most {}{}", _shown(high), unit))
        .when(high.is_null())
        .then(pl.format("at least {}{}", _shown(low), unit))
        .otherwise(pl.format("{} to {}{}", _shown(low), _shown(high), unit))
    )
    where = (
        pl.when(pl.col("against") == "ambient")
        .then(pl.format(" at {} °C ambient", rounded(pl.col("ambient"), 0)))
        .when(pl.col("against") == "frequency")
        .then(pl.format(" at {} Hz", rounded(pl.col("frequency"), 0)))
        .otherwise(pl.lit(""))
    )
    band = band + where
    # A step that the others of the day went through is told once, at its first item.
    skipped = (
        pl.col("absent")
        & pl.col("others_middle").is_not_null()
        & (pl.col("place") == pl.col("place").min().over("container", "phase"))
    )
    return rows.with_columns(
        verdict=pl.when(skipped)
        .then(pl.lit("watch"))
        .when(~tested)
        .then(pl.lit("not_tested"))
        .when("open")
        .then(pl.when(above).then(pl.lit("outside")).otherwise(pl.lit("not_tested")))
        .when(above | below)
        .then(pl.lit("outside"))
        .when(near | pl.col("odd"))
        .then(pl.lit("watch"))
        .otherwise(pl.lit("within")),
        words=pl.when(skipped)
        .then(
            pl.format(
                "No such phase in this log: {}; {} other boxes of the day have it.",
                pl.col("phase").replace_strict(PHASE_WORDS),
                "others",
            )
        )
        .when(~tested)
        .then(pl.format("Not tested: {}.", "reason"))
        .when(pl.col("open") & above)
        .then(pl.format("Not at set point after {}; the band is {}.", said, band))
        .when("open")
        .then(pl.format("Not tested: given up or cut off after {}, the set point not reached.", said))
        .when(above)
        .then(pl.format("{} is above the band: {}.", said, band))
        .when(below)
        .then(pl.format("{} is below the band: {}.", said, band))
        .when(near)
        .then(pl.format("{} is near the edge of the band: {}.", said, band))
        .when("odd")
        .then(
            pl.format(
                "{} is odd: the {} other boxes of the day are at {}{}; the band is {}.",
                said,
                "others",
                _shown(pl.col("others_middle")),
                unit,
                band,
            )
        )
        .otherwise(pl.format("{}; the band is {}.", said, band)),
        value=pl.when(tested).then(value),
    )


def _shown(value: pl.Expr) -> pl.Expr:
    """To about three figures."""
    size = value.abs()
    return (
        pl.when(size >= 100)
        .then(rounded(value, 0))
        .when(size >= 10)
        .then(rounded(value, 1))
        .otherwise(rounded(value, 2))
    ).str.replace(r"\.0+$", "")


def _ranked(rows: pl.DataFrame) -> pl.DataFrame:
    counts = [
        (pl.col("verdict") == verdict).sum().alias(f"count_{verdict}")
        for verdict in ("outside", "watch", "not_tested")
    ]
    order = (
        rows.group_by("container")
        .agg(counts)
        .sort(
            "count_outside",
            "count_watch",
            "count_not_tested",
            "container",
            descending=[True, True, True, False],
        )
        .select("container", rank=pl.int_range(1, pl.len() + 1, dtype=pl.Int64))
    )
    return rows.join(order, on="container", maintain_order="left")
