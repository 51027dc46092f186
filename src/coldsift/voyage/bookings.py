"""Bookings: the set point that was ordered for each container."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from coldsift.schema import BOOKINGS
from coldsift.voyage.degrees import WITH_UNIT, NoTemperature, celsius
from coldsift.voyage.headings import BOOKINGS_WORDS
from coldsift.voyage.recognise import is_plan_alone
from coldsift.voyage.tables import (
    TableError,
    as_it_stands,
    read_kept_table,
    read_paper,
    refuse,
    refuse_pair,
    with_containers,
    with_instants,
    with_next,
)


def read_bookings(path: Path, zone: str | None = None, date_order: str | None = None) -> pl.DataFrame:
    """Read what was booked.

    Parameters
    ----------
    path
        CSV with one line per container: container, set point with its unit in the heading or in a column of
        its own, and where known cargo and size type. A later change is a further line of the same container
        with the time from which it holds.
    zone, date_order
        As for logs.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.BOOKINGS`, in order of container and time; set points in °C.

    Raises
    ------
    TableError
        When the file cannot be read, a line names no container or no set point that can be understood, or
        the lines of a container are not in order of time.
    """
    if is_plan_alone(read_paper(path)[:4096]):
        raise TableError(
            f"{path.name} is a stowage plan: it names places on board, and no booking. "
            "Give it with --plan, and bookings with the headings container, booked set point (°C)."
        )
    table = with_containers(path, read_kept_table(path, BOOKINGS_WORDS, ("container", "set_point")))
    refuse(path, table.filter(pl.col("set_point").is_null()), "no set point", "Fill it in.")
    set_points = []
    for row in table.iter_rows(named=True):
        try:
            set_points.append(celsius(row["set_point"], row["temperature_unit"]))
        except NoTemperature as trouble:
            raise TableError(f"{path.name}, {as_it_stands(row)}: {trouble}. {WITH_UNIT}") from None
    table = with_instants(path, table, "time", zone, date_order).with_columns(
        set_point=pl.Series(set_points, dtype=pl.Float64)
    )
    pairs = with_next(table)
    refuse_pair(
        path,
        pairs.filter(pl.col("next_line").is_not_null() & pl.col("next_time").is_null()),
        "are of one container, and the second does not say from when it holds",
        "Add a time to the second, or take one out.",
    )
    refuse_pair(
        path,
        pairs.filter(pl.col("next_time") <= pl.col("time")),
        "are not in order of time",
        "Put a container's lines in order of time, or take one out.",
    )
    return BOOKINGS.conform(table.sort("container", "time", "line", nulls_last=False))
