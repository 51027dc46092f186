"""Many files to one log: equal rows merged, gaps filled from each other, conflicts set aside.

Goes in: the rows of all sources. Comes out: one row per container and time, and what became of every row.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from coldsift.schema import CHANNELS

KEYS = ["container", "time"]

REPEATS = pl.Schema(
    [
        ("source", pl.String()),
        ("row", pl.Int64()),
        ("lines", pl.Int64()),
        ("other_source", pl.String()),
        ("other_row", pl.Int64()),
        ("conflict", pl.String()),
    ]
)
"""Of rows that went into an earlier one or against it."""


@dataclass(frozen=True, slots=True)
class Merged:
    """The outcome of merging.

    Attributes
    ----------
    log
        Sorted by container and time, unique; columns as found.
    repeats
        Rows that went into an earlier one or against it: ``source, row, lines, other_source, other_row,
        conflict`` (the channel names at odds, empty when merged).
    """

    log: pl.DataFrame
    repeats: pl.DataFrame


def merge(rows: pl.DataFrame) -> Merged:
    """Merge rows of the same container and time.

    Parameters
    ----------
    rows
        ``container, time, source, order, row, lines`` and channels; ``order`` is the place of the source in
        path order and decides, with ``row``, which row comes first.
    """
    nothing = pl.DataFrame(schema=REPEATS)
    rows = rows.sort("container", "time", "order", "row")
    same = (pl.col("container") == pl.col("container").shift()) & (pl.col("time") == pl.col("time").shift())
    again = rows.select(same.fill_null(False)).to_series()
    if not again.any():
        return Merged(rows, nothing)
    touched = again | again.shift(-1, fill_value=False)
    single, several = rows.filter(~touched), rows.filter(touched)
    channels = [name for name in rows.columns if name in CHANNELS]
    several = several.with_columns(rank=pl.int_range(pl.len()).over(KEYS))
    kept = several.filter(pl.col("rank") == 0).drop("rank")
    repeats = []
    highest = several["rank"].max()
    assert isinstance(highest, int)
    for rank in range(1, highest + 1):
        later = several.filter(pl.col("rank") == rank).drop("rank")
        kept, part = _into(kept, later, channels)
        repeats.append(part)
    log = pl.concat([single, kept]).sort("container", "time")
    return Merged(log, pl.concat([nothing, *repeats]))


def _into(kept: pl.DataFrame, later: pl.DataFrame, channels: list[str]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Merge one later row per key into the kept ones."""
    paired = later.join(kept, on=KEYS, how="left", suffix="@", maintain_order="left")
    differs = {
        name: (pl.col(name).is_not_null() & pl.col(f"{name}@").is_not_null() & _differ(name))
        for name in channels
    }
    conflict = pl.concat_str(
        [pl.when(expression).then(pl.lit(name)) for name, expression in differs.items()],
        separator=", ",
        ignore_nulls=True,
    )
    paired = paired.with_columns(conflict=conflict if differs else pl.lit(""))
    part = paired.select(
        "source",
        "row",
        "lines",
        pl.col("source@").alias("other_source"),
        pl.col("row@").alias("other_row"),
        "conflict",
    )
    additions = paired.filter(pl.col("conflict") == "").select(*KEYS, *channels)
    if additions.height:
        joined = kept.join(additions, on=KEYS, how="left", suffix="@", maintain_order="left")
        kept = joined.select(
            pl.coalesce(name, f"{name}@").alias(name) if name in channels else name for name in kept.columns
        )
    return kept, part


def _differ(name: str) -> pl.Expr:
    here, there = pl.col(name), pl.col(f"{name}@")
    if CHANNELS[name].is_state:
        return here != there
    # Two exports of one log may differ in the last bit after unit conversion; that is no conflict.
    return (here - there).abs() > 1e-9 * (1 + there.abs())
