"""From findings to the stops of a round."""

from __future__ import annotations

import polars as pl

from coldsift.causes.checks import OVERHEAD_MINUTES
from coldsift.rounds.shortest import shortest_order
from coldsift.rounds.walking import deck_level, first_tier, places_of, walking_minutes
from coldsift.schema import ROUND
from coldsift.voyage.stowage import HOW_WRITTEN, cell

CLASSES = ("go_now, outside", "go_now", "this_round", "watch", "cannot_tell")
"""Classes of urgency, in the order in which they are visited: air that is outside its band now goes before
air that will be; a log too poor to judge by is worth a look once all others had theirs."""

LOOK_MINUTES = 2.0
"""Where no check tells much: to read the display and look whether it runs. Common practice, no source."""


def urgency_class() -> pl.Expr:
    """Place in :data:`CLASSES` of each row of the findings; empty for those that are not visited."""
    group = pl.col("group").cast(pl.String)
    outside = pl.when((group == "go_now") & (pl.col("hours_to_limit") == 0)).then(pl.lit(CLASSES[0]))
    return outside.otherwise(group).replace_strict(
        CLASSES, range(len(CLASSES)), default=None, return_dtype=pl.Int64
    )


def plan_round(
    findings: pl.DataFrame, checks: pl.DataFrame, hours: float | None = None, start: str | None = None
) -> pl.DataFrame:
    """Plan the inspection round.

    Parameters
    ----------
    findings
        :data:`coldsift.schema.FINDINGS`, with the places on board.
    checks
        From :func:`coldsift.causes.first_checks`.
    hours
        How long the round may last; without it, as long as it takes. [h]
    start
        Place on board from where it begins, BBBRRTT; without it, on deck at the first bay by number, for
        where the accommodation stands is not known.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.ROUND`, by stop. Units in which nothing was found are not visited. Within a
        class, those whose place is not known come last, by rank. No stop is left out to fit in a later one:
        what the hours do not reach is there, with ``within`` false.

    Raises
    ------
    ValueError
        When ``start`` is no place on board.
    """
    if start is not None and cell(start) is None:
        raise ValueError(f"{start!r} is no place on board; {HOW_WRITTEN}.")
    stops = (
        findings.with_columns(urgency=urgency_class())
        .drop_nulls("urgency")
        .with_columns(**places_of(pl.col("position")))
        .join(checks.select("container", "minutes"), on="container", how="left")
        .sort("urgency", pl.col("bay").is_null(), "rank", "container")
    )
    if stops.is_empty():
        return ROUND.empty()
    first_bay = pl.format("{}00{}", pl.col("bay").min().cast(pl.String).str.zfill(3), first_tier())
    begin = stops.select(**places_of(pl.lit(cell(start)) if start else first_bay))
    minutes = walking_minutes(pl.concat([begin, stops.select(begin.columns)]))
    # Those without a place are a class of their own behind each class; there, all ways are equally long.
    classes = stops.select(2 * pl.col("urgency") + pl.col("bay").is_null().cast(pl.Int64)).to_series()
    order = shortest_order(minutes, [-1, *classes])
    elapsed = pl.col("elapsed_minutes")
    return ROUND.conform(
        stops.with_columns(reach=_reach(), check="first_check")[order[1:] - 1]
        .with_columns(
            stop=pl.int_range(1, pl.len() + 1),
            walk_minutes=pl.Series(minutes[order[:-1], order[1:]]),
            check_minutes=pl.col("minutes").fill_null(LOOK_MINUTES) + OVERHEAD_MINUTES,
        )
        .with_columns(elapsed_minutes=(pl.col("walk_minutes") + pl.col("check_minutes")).cum_sum())
        .with_columns(within=pl.lit(True) if hours is None else elapsed <= 60 * hours)
    )


def _reach() -> pl.Expr:
    """How the machinery end is reached; which end of the bay that is, the plan does not tell."""
    level = deck_level()
    return (
        pl.when(pl.col("tier").is_null())
        .then(None)
        .when(~pl.col("on_deck"))
        .then(
            pl.lit(
                "in the hold: from the platform at its tier, where the hold has one; the rules for entering "
                "a hold come first"
            )
        )
        .when(level == 0)
        .then(pl.lit("on deck, first tier: from the deck"))
        .when(level == 1)
        .then(pl.lit("on deck, second tier: from the lashing bridge, else by ladder with fall protection"))
        .otherwise(
            pl.format(
                "on deck, tier {} up: only from a lashing bridge as high as that; else not by hand at sea",
                level + 1,
            )
        )
    )
