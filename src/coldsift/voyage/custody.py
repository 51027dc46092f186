"""Custody events: who had the container, from when to when."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from coldsift.intake.records import Message
from coldsift.schema import CUSTODY
from coldsift.voyage.epcis import is_epcis, read_epcis
from coldsift.voyage.headings import CUSTODY_WORDS
from coldsift.voyage.tables import (
    read_kept_table,
    read_paper,
    refuse,
    refuse_pair,
    with_containers,
    with_instants,
    with_next,
)


@dataclass(frozen=True, slots=True)
class CustodyEvents:
    """Custody as read.

    Attributes
    ----------
    table
        :data:`coldsift.schema.CUSTODY`.
    messages
        Events that could not be used, and what to do.
    """

    table: pl.DataFrame
    messages: tuple[Message, ...] = ()


def read_custody(path: Path, zone: str | None = None, date_order: str | None = None) -> pl.DataFrame:
    """The table of :func:`read_events`, for whom its messages do not matter."""
    return read_events(path, zone, date_order).table


def read_events(path: Path, zone: str | None = None, date_order: str | None = None) -> CustodyEvents:
    """Read who had each container.

    Parameters
    ----------
    path
        CSV with one line per event: container, time, holder (who has it from then on), and where known event
        (received, plugged in, loaded, discharged, handed over), place, and until (when it was handed on). Or
        events in the JSON form of EPCIS 2.0, see :func:`coldsift.voyage.epcis.read_epcis`.
    zone, date_order
        As for logs.

    Returns
    -------
    CustodyEvents
        Without ``until`` a stretch lasts to the container's next line, the last one to an unknown end.

    Raises
    ------
    TableError
        When the file cannot be read, a line lacks what it must name, a line ends before it begins, a
        container's lines are not in order of time, or two of them overlap: both lines are shown.
    """
    data = read_paper(path)
    messages: tuple[Message, ...] = ()
    if is_epcis(data):
        table, messages = read_epcis(path, data)
    else:
        table = with_containers(path, read_kept_table(path, CUSTODY_WORDS, ("container", "time", "holder")))
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
    pairs = with_next(table)
    refuse_pair(
        path,
        pairs.filter(pl.col("next_time") < pl.col("time")),
        "run backwards: the second line of this container is earlier than the first",
        "Put the lines in order of time, or correct the time that is wrong.",
    )
    refuse_pair(
        path,
        pairs.filter(pl.col("next_time") == pl.col("time")),
        "say two things of one instant",
        "Take one out, or correct a time.",
    )
    refuse_pair(
        path,
        pairs.filter(pl.col("until") > pl.col("next_time")),
        "overlap: the second begins before the first has ended",
        "Correct the end of the first or the begin of the second.",
    )
    stretches = pairs.with_columns(start="time", end=pl.coalesce("until", "next_time"))
    return CustodyEvents(CUSTODY.conform(stretches.sort("container", "start")), messages)
