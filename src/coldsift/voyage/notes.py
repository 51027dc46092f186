"""Work notes: what people saw and did at a container."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from coldsift.schema import NOTES
from coldsift.voyage.headings import NOTES_WORDS
from coldsift.voyage.tables import read_kept_table, refuse, with_containers, with_instants


def read_notes(path: Path, zone: str | None = None, date_order: str | None = None) -> pl.DataFrame:
    """Read what was seen and done.

    Parameters
    ----------
    path
        CSV with one line per note: container, time, and observation, action, part where there is one.
    zone, date_order
        As for logs.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.NOTES`, in order of container, time and line.

    Raises
    ------
    TableError
        When the file cannot be read, or a line has no time or says nothing.
    """
    table = with_containers(path, read_kept_table(path, NOTES_WORDS, ("container", "time")))
    refuse(path, table.filter(pl.col("time").is_null()), "no time", "Fill it in.")
    said = pl.any_horizontal(pl.col(column).is_not_null() for column in ("observation", "action", "part"))
    refuse(path, table.filter(~said), "says nothing", "Fill in observation, action or part.")
    return NOTES.conform(
        with_instants(path, table, "time", zone, date_order).sort("container", "time", "line")
    )
