"""Spare parts on board."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from coldsift.schema import SPARES
from coldsift.voyage.headings import SPARES_WORDS
from coldsift.voyage.tables import read_kept_table, refuse, refuse_pair, with_instants, with_next


def read_spares(path: Path, zone: str | None = None, date_order: str | None = None) -> pl.DataFrame:
    """Read which spare parts there are.

    Parameters
    ----------
    path
        CSV with one line per part: part, on board (how many), and where known place and time of the count.
    zone, date_order
        As for logs.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.SPARES`, in order of part.

    Raises
    ------
    TableError
        When the file cannot be read, a line lacks the part or a whole number of them, or a part is there
        twice.
    """
    table = read_kept_table(path, SPARES_WORDS, ("part", "on_board"))
    refuse(path, table.filter(pl.col("part").is_null()), "no part", "Fill it in.")
    table = table.with_columns(pl.col("part").str.replace_all(r"\s+", " "))
    counted = pl.col("on_board").str.contains(r"^[0-9]{1,6}$")
    refuse(
        path,
        table.filter(~counted.fill_null(False)),
        "on board is no whole number",
        "Write how many there are, 0 when there are none.",
    )
    refuse_pair(
        path,
        with_next(table, pl.col("part").str.to_lowercase()).filter(pl.col("next_line").is_not_null()),
        "name one part",
        "Put them in one line.",
    )
    table = with_instants(path, table, "time", zone, date_order)
    return SPARES.conform(table.sort("part"))
