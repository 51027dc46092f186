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
    kept, left = several.filter(pl.col("rank") == 0).drop("rank"), several.filter(pl.col("rank") > 0)
    repeats = []
    while left.height:
        kept, part, left = _into(kept, left, channels)
        repeats.append(part)
    log = pl.concat([single, kept]).sort("container", "time")
    told = pl.concat(repeats).sort("rank", *KEYS).select(REPEATS.names())
    return Merged(log, pl.concat([nothing, told]))


def _into(
    kept: pl.DataFrame, left: pl.DataFrame, channels: list[str]
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Merge later rows into the kept ones, for each key up to the first that fills a gap of its kept row.

    What comes behind that one meets the row so filled: it is handed back. A clock that stands still gives
    thousands of rows of one instant, but there are no more gaps than channels.

    Returns
    -------
    tuple
        The kept rows; what became of later ones, with ``rank`` and key; the later rows that are left.
    """
    paired = left.join(kept, on=KEYS, how="left", suffix="@", maintain_order="left")
    differs = {
        name: (pl.col(name).is_not_null() & pl.col(f"{name}@").is_not_null() & _differ(name))
        for name in channels
    }
    conflict = pl.concat_str(
        [pl.when(expression).then(pl.lit(name)) for name, expression in differs.items()],
        separator=", ",
        ignore_nulls=True,
    )
    adds = pl.any_horizontal(
        pl.lit(False), *(pl.col(name).is_not_null() & pl.col(f"{name}@").is_null() for name in channels)
    )
    paired = paired.with_columns(conflict=conflict if differs else pl.lit(""))
    paired = paired.with_columns(fills=(pl.col("conflict") == "") & adds)
    first = pl.when("fills").then("rank").min().over(KEYS)
    settled = (pl.col("rank") <= first).fill_null(True)
    paired = paired.with_columns(settled=settled)
    part = paired.filter("settled").select(
        "source",
        "row",
        "lines",
        pl.col("source@").alias("other_source"),
        pl.col("row@").alias("other_row"),
        "conflict",
        "rank",
        *KEYS,
    )
    additions = paired.filter(pl.col("settled") & pl.col("fills")).select(*KEYS, *channels)
    if additions.height:
        joined = kept.join(additions, on=KEYS, how="left", suffix="@", maintain_order="left")
        kept = joined.select(
            pl.coalesce(name, f"{name}@").alias(name) if name in channels else name for name in kept.columns
        )
    return kept, part, paired.filter(~pl.col("settled")).select(left.columns)


def _differ(name: str) -> pl.Expr:
    here, there = pl.col(name), pl.col(f"{name}@")
    if CHANNELS[name].is_state:
        return here != there
    # Two exports of one log may differ after unit conversion, or where one of them keeps 32-bit floats; so
    # little is no conflict: it is finer than what a controller writes.
    return (here - there).abs() > 1e-5 * (1 + there.abs())
