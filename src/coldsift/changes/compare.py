"""Two runs, container by container."""

from __future__ import annotations

import polars as pl

from coldsift.causes import NAMES, WORTH_NAMING, Catalogue, load_catalogue
from coldsift.schema import CHANGES

_GROUP_WORDS = {
    "go_now": "go now",
    "this_round": "this round",
    "watch": "watch",
    "nothing_found": "nothing found",
    "cannot_tell": "cannot tell",
}

_ORDER = ("worse", "new_unit", "cause_changed", "better", "gone", "same")
"""Of the rows: what needs eyes first."""

_URGENCY = {"go_now": 3, "this_round": 2, "watch": 1, "nothing_found": 0, "cannot_tell": None}


def compare_runs(now: pl.DataFrame, then: pl.DataFrame, catalogue: Catalogue | None = None) -> pl.DataFrame:
    """Say of each container what changed since an earlier run.

    Parameters
    ----------
    now, then
        :data:`coldsift.schema.FINDINGS` of this run and of the earlier one.
    catalogue
        Whose names the sentences use; the shipped one when None. A cause that it does not know stands by its
        id.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.CHANGES`: worse, new, of another cause, better, gone, the same, in this order;
        within each by this run's rank, then the earlier one's.
    """
    columns = ("group", "cause_1", "chance_1", "hours_to_limit", "rank")
    both = now.select("container", *columns).join(
        then.select("container", *columns), on="container", how="full", coalesce=True, suffix="_then"
    )
    outside_now, outside_then = (
        (pl.col(name) <= 0).fill_null(False) for name in ("hours_to_limit", "hours_to_limit_then")
    )
    return CHANGES.conform(
        both.with_columns(
            urgency=_urgency("group"),
            urgency_then=_urgency("group_then"),
            left_band=outside_now & ~outside_then,
            back_in_band=outside_then & ~outside_now,
        )
        .with_columns(change=_change())
        .with_columns(words=_words(catalogue or load_catalogue()))
        .sort(pl.col("change").cast(pl.Enum(_ORDER)), "rank", "rank_then", "container")
        .rename({"group": "group_now", "cause_1": "cause_now", "cause_1_then": "cause_then"})
    )


def _urgency(group: str) -> pl.Expr:
    return pl.col(group).cast(pl.String).replace_strict(_URGENCY, return_dtype=pl.Int64)


def _change() -> pl.Expr:
    urgency, before = pl.col("urgency"), pl.col("urgency_then")
    # A log that has become too poor hides what was seen; one that no longer is shows what it hides.
    lost, found = urgency.is_null() & before.is_not_null(), urgency.is_not_null() & before.is_null()
    named = (pl.col("chance_1") >= WORTH_NAMING) & (pl.col("chance_1_then") >= WORTH_NAMING)
    other = named & (urgency > 0) & (pl.col("cause_1") != pl.col("cause_1_then"))
    kinds = (
        ("new_unit", pl.col("group_then").is_null()),
        ("gone", pl.col("group").is_null()),
        ("worse", lost | (found & (urgency > 0)) | (urgency > before)),
        ("better", found | (urgency < before)),
        ("worse", pl.col("left_band")),
        ("better", pl.col("back_in_band")),
        ("cause_changed", other),
    )
    return pl.coalesce(*(pl.when(holds).then(pl.lit(kind)) for kind, holds in kinds), pl.lit("same"))


def _words(catalogue: Catalogue) -> pl.Expr:
    """For example: Then: watch; now: this round."""
    names = {**{name: cause.name for name, cause in catalogue.causes.items()}, **NAMES}
    group, before = (
        pl.col(column).cast(pl.String).replace_strict(_GROUP_WORDS) for column in ("group", "group_then")
    )
    cause, cause_before = (pl.col(column).replace(names) for column in ("cause_1", "cause_1_then"))
    moved = pl.format("Then: {}; now: {}.", before, group)
    said = (
        (pl.col("change") == "new_unit", pl.format("Not in the earlier run; {} now.", group)),
        (pl.col("change") == "gone", pl.format("No log in this run; it was {}.", before)),
        (pl.col("group") != pl.col("group_then"), moved),
        (pl.col("left_band"), pl.format("Still {}; its air has left its band since.", group)),
        (pl.col("back_in_band"), pl.format("Still {}; its air is no longer outside its band.", group)),
        (
            pl.col("change") == "cause_changed",
            pl.format("Still {}; first cause then: {}; now: {}.", group, cause_before, cause),
        ),
    )
    return pl.coalesce(*(pl.when(holds).then(words) for holds, words in said), pl.format("Still {}.", group))
