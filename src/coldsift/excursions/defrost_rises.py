"""Air beyond its band in a defrost or soon after it, and the rule that lets it pass."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from coldsift.excursions.readings import AFTER_DEFROST_HOURS, read_air
from coldsift.excursions.straight import share_beyond
from coldsift.regimes.bands import DEEP_FROZEN_SET_POINT, is_frozen
from coldsift.schema import DEFROST_RISES

BRIEF_RISE = 3.0
"""Largest brief rise of frozen food, in a defrost say. [K] ATP Annex 2, paragraph 4."""

PRESCRIBED = {"deep_frozen": -18.0, "frozen": -12.0}
"""Warmest temperature of the load by class of set point: deep-frozen and other frozen food. [°C] ATP Annex 2.
What the cargo is, the log does not say."""

FROZEN_RULE, CHILLED_RULE = "atp_annex_2_para_4", "after_defrost_practice"

DEFROST_RULES: Mapping[str, tuple[str, str]] = {
    FROZEN_RULE: (
        f"A brief rise, as in a defrost, of at most {BRIEF_RISE:g} K above the prescribed temperature at the "
        "surface of part of the load; prescribed are −18 °C for deep-frozen, −12 °C for other frozen food, "
        "here taken by the set point. The log tells the air and not the load: air that rose further is no "
        "breach by itself, for the load follows it slowly; it only means that this rule alone does not let "
        "the rise pass.",
        "ATP, Annex 2, paragraph 4",
    ),
    CHILLED_RULE: (
        f"Warm air in a defrost and up to {AFTER_DEFROST_HOURS:g} h after it is the defrost's own, where the "
        "air then is back in its band.",
        "common practice, no source",
    ),
}
"""Rule id to what it says, and where it comes from."""


def find_defrost_rises(timeline: pl.DataFrame, defrosts: pl.DataFrame) -> pl.DataFrame:
    """List the defrosts in which the air, or soon after which it, was beyond its band.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    defrosts
        Of the same timeline, from :func:`coldsift.regimes.find_defrosts`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.DEFROST_RISES`; times UTC, temperatures °C. A defrost that began with the air
        already out of its band is not among them: that air is an excursion's.

    Notes
    -----
    Within the rule: at frozen set points, the air itself came no higher than the rule lets the surface of
    the load come; else, the first reading after the time that counts as the defrost's is in the band again.
    What each rule says, and does not say, is in :data:`DEFROST_RULES`. Time is that of air straight between
    readings, gaps taken out; below the band counts too.
    """
    unit = "container"
    above, below = pl.col("above"), pl.col("below").fill_null(float("-inf"))
    until = pl.col("until")
    rows = (
        read_air(timeline)
        .with_columns(
            frozen=is_frozen(),
            next_above=pl.col("next_air") - pl.col("band_high"),
            next_below=pl.col("band_low") - pl.col("next_air"),
            beyond=pl.max_horizontal(above, below),
            already_out=(~pl.col("apart") & (pl.col("side") != 0)).shift(1).over(unit).fill_null(False),
            back=(pl.col("side") == 0).shift(-1).over(unit).fill_null(pl.col("side") == 0),
        )
        .filter("apart")
        .sort("time")
        .join_asof(
            defrosts.select(unit, "start", "end", time="start").sort("time"),
            on="time",
            by=unit,
            strategy="backward",
            check_sortedness=False,
        )
        .drop_nulls("start")
        .sort(unit, "time")
        .with_columns(until=pl.col("end") + pl.duration(minutes=round(AFTER_DEFROST_HOURS * 60)))
        .filter(pl.col("time") <= until)
    )
    # The last step may go on beyond the time that counts as the defrost's.
    counted = (
        (pl.min_horizontal("next_time", "until") - pl.col("time")).dt.total_microseconds()
        / 3.6e9
        / pl.col("step")
    )

    def minutes_beyond(first: str, last: str) -> pl.Expr:
        ended = pl.col(first) + counted * (pl.col(last) - pl.col(first))
        return pl.col("step") * counted * share_beyond(pl.col(first), ended) * 60

    beyond = rows.with_columns(
        minutes=pl.when("unseen")
        .then(0.0)
        .otherwise(
            minutes_beyond("above", "next_above") + minutes_beyond("below", "next_below").fill_null(0.0)
        )
    )
    furthest = pl.col("beyond").arg_max()
    rises = beyond.group_by(unit, "start", maintain_order=True).agg(
        end=pl.when(pl.col("unseen").last())
        .then(pl.col("time").last())
        .otherwise(pl.min_horizontal(pl.coalesce("next_time", "time"), "until").last()),
        minutes=pl.col("minutes").sum(),
        peak=pl.col("air").get(furthest),
        above_set_point=(pl.col("air") - pl.col("set_point")).get(furthest),
        furthest=pl.col("beyond").max(),
        frozen=pl.col("frozen").get(furthest),
        set_point=pl.col("set_point").get(furthest),
        prescribed=pl.when(pl.col("set_point").get(furthest) <= DEEP_FROZEN_SET_POINT)
        .then(PRESCRIBED["deep_frozen"])
        .otherwise(PRESCRIBED["frozen"]),
        already_out=pl.col("already_out").first(),
        back=pl.col("back").last(),
    )
    return DEFROST_RISES.conform(
        rises.filter(pl.col("furthest") > 0, ~pl.col("already_out"))
        .with_columns(
            rule=pl.when("frozen").then(pl.lit(FROZEN_RULE)).otherwise(pl.lit(CHILLED_RULE)),
            within_rule=pl.when("frozen")
            .then(pl.col("peak") <= pl.max_horizontal("prescribed", "set_point") + BRIEF_RISE)
            .otherwise("back"),
        )
        .sort(unit, "start")
    )
