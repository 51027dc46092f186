"""Custody events: who had the container, from when to when."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from coldsift.schema import CUSTODY
from coldsift.voyage.headings import CUSTODY_WORDS
from coldsift.voyage.tables import (
    TableError,
    as_it_stands,
    read_table,
    refuse,
    with_containers,
    with_instants,
)


def read_custody(path: Path, zone: str | None = None, date_order: str | None = None) -> pl.DataFrame:
    """Read who had each container.

    Parameters
    ----------
    path
        CSV with one line per event: container, time, holder (who has it from then on), and where known event
        (received, plugged in, loaded, discharged, handed over), place, and until (when it was handed on).
    zone, date_order
        As for logs.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.CUSTODY`. Without ``until`` a stretch lasts to the container's next line, the
        last one to an unknown end.

    Raises
    ------
    TableError
        When the file cannot be read, a line lacks what it must name, a line ends before it begins, a
        container's lines are not in order of time, or two of them overlap: both lines are shown.
    """
    table = with_containers(path, read_table(path, CUSTODY_WORDS, ("container", "time", "holder")))
    for column in ("time", "holder"):
        refuse(path, table.filter(pl.col(column).is_null()), f"no {column}", "Fill it in.")
    for column in ("time", "until"):
        table = with_instants(path, table, column, zone, date_order)
    refuse(
        path,
        table.filter(pl.col("until") < pl.col("time")),
        "ends before it begins",
        "Correct one of the two times.",
    )
    pairs = table.with_columns(pl.exclude("container").shift(-1).over("container").name.prefix("next_"))
    _refuse_pair(
        path,
        pairs.filter(pl.col("next_time") < pl.col("time")),
        "run backwards: the second line of this container is earlier than the first",
        "Put the lines in order of time, or correct the time that is wrong.",
    )
    _refuse_pair(
        path,
        pairs.filter(pl.col("next_time") == pl.col("time")),
        "say two things of one instant",
        "Take one out, or correct a time.",
    )
    _refuse_pair(
        path,
        pairs.filter(pl.col("until") > pl.col("next_time")),
        "overlap: the second begins before the first has ended",
        "Correct the end of the first or the begin of the second.",
    )
    return CUSTODY.conform(
        pairs.with_columns(start="time", end=pl.coalesce("until", "next_time")).sort("container", "start")
    )


def _refuse_pair(path: Path, pairs: pl.DataFrame, what: str, do: str) -> None:
    if pairs.is_empty():
        return
    row = pairs.row(0, named=True)
    first = {name: value for name, value in row.items() if not name.startswith("next_")}
    second = {"line": row["next_line"], "container": row["container"]} | {
        name.removeprefix("next_"): value for name, value in row.items() if name.startswith("next_")
    }
    more = f" ({pairs.height - 1} more pairs like this)" if pairs.height > 1 else ""
    raise TableError(f"{path.name}, {as_it_stands(first)} and {as_it_stands(second)} {what}{more}. {do}")
