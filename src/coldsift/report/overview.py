"""What the report's first page needs to know of the readings, without the readings.

Goes in: the timeline of a batch of units, and the events of the voyage. Comes out: an :class:`Overview`, a
few rows a unit; those of all batches together are the overview of the voyage.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

import polars as pl

from coldsift.intake.times import FAR

POWER_OFF = "power_off"
"""Kind of the events that tell whether a unit's clock is right: nobody misses the ship's own power cut."""


@dataclass(frozen=True, slots=True)
class Overview:
    """What there is to say of the readings of some units, or of all.

    Attributes
    ----------
    spans
        One row a unit, by ``container``: ``first`` and ``last`` reading [UTC], ``readings``, ``longest_step``
        [h].
    files
        ``container``, ``source``: from which files each unit's readings come.
    bystanders
        ``event`` (place among the events by start and kind), ``container``, ``missing``: units whose log
        covers an event and shows nothing of it; ``missing`` when readings are missing then.
    power_cuts
        One row a unit that covers one, by ``container``: ``cuts`` of the whole ship's power that its readings
        cover, ``not_shown`` of these, and ``readings`` in the latter.
    """

    spans: pl.DataFrame
    files: pl.DataFrame
    bystanders: pl.DataFrame
    power_cuts: pl.DataFrame

    @staticmethod
    def together(parts: Sequence[Overview]) -> Overview:
        """One overview of several batches, each of other units; there is at least one."""
        return Overview(
            **{
                each.name: pl.concat([getattr(part, each.name) for part in parts]).sort(
                    "event" if each.name == "bystanders" else "container", "container", maintain_order=True
                )
                for each in fields(Overview)
            }
        )

    @property
    def first(self) -> datetime | None:
        """First reading of all; none without readings. A unit a year from the middle one does not count."""
        middle = pl.col("first").quantile(0.5, "higher")
        first: datetime | None = self.spans.select(
            pl.col("first").filter(pl.col("first") >= middle - FAR).min()
        ).item()
        return first

    @property
    def last(self) -> datetime | None:
        """Last reading of all, in the same way."""
        middle = pl.col("last").quantile(0.5, "higher")
        last: datetime | None = self.spans.select(
            pl.col("last").filter(pl.col("last") <= middle + FAR).max()
        ).item()
        return last


def overview_of(timeline: pl.DataFrame, voyage_events: pl.DataFrame) -> Overview:
    """Condense the readings of a batch of units.

    Parameters
    ----------
    timeline
        The common log of these units, sorted by container and time, with ``regime`` and ``gap``.
    voyage_events
        :data:`coldsift.schema.VOYAGE_EVENTS` of the whole voyage.

    Returns
    -------
    Overview
        Small enough to be kept of every unit, and to be sent from another process.
    """
    log = timeline.lazy()
    by_unit = log.group_by("container", maintain_order=True)
    spans, files = pl.collect_all(
        [
            by_unit.agg(
                first=pl.col("time").min(),
                last=pl.col("time").max(),
                readings=pl.len(),
                longest_step=pl.col("time").diff().max().dt.total_seconds() / 3600,
            ).sort("container"),
            log.select("container", "source").unique().sort("container", "source"),
        ]
    )
    covered = pl.concat([_nothing(), *_during(timeline, voyage_events)])
    return Overview(
        spans=spans,
        files=files,
        bystanders=covered.filter("apart").select("event", "container", "missing"),
        power_cuts=covered.filter(pl.col("kind") == POWER_OFF, ~pl.col("missing") | ~pl.col("apart"))
        .group_by("container")
        .agg(
            cuts=pl.len(),
            not_shown=pl.col("apart").sum(),
            readings=pl.when("apart").then("readings").otherwise(0).sum(),
        )
        .sort("container"),
    )


def in_order(voyage_events: pl.DataFrame) -> Iterator[dict[str, Any]]:
    """The events of the voyage by start and kind: what ``event`` of an overview counts."""
    return voyage_events.sort("start", "kind").iter_rows(named=True)


def _nothing() -> pl.DataFrame:
    return pl.DataFrame(
        schema={
            "event": pl.UInt32,
            "kind": pl.String,
            "container": pl.String,
            "missing": pl.Boolean,
            "apart": pl.Boolean,
            "readings": pl.UInt32,
        }
    )


def _during(timeline: pl.DataFrame, voyage_events: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """For each event, the units whose logs cover it.

    Yields
    ------
    polars.DataFrame
        ``event`` and its ``kind``, ``container``, ``missing`` (readings are missing then), ``apart`` (nothing
        of the event shows) and ``readings`` (in the event).
    """
    if voyage_events.is_empty():
        return
    readings = timeline.select(
        "container",
        "time",
        until=pl.col("time").shift(-1).over("container"),
        off=pl.col("regime") == "off",
        missing=pl.col("gap") | (pl.col("regime") == "unknown"),
    ).lazy()
    for place, event in enumerate(in_order(voyage_events)):
        start, end, kind = event["start"], event["end"], event["kind"]
        yield (
            readings.filter(pl.col("time") < end, pl.col("until") > start)
            .group_by("container")
            .agg(
                missing=pl.col("missing").any(),
                apart=~pl.col("off" if kind == POWER_OFF else "missing").any(),
                readings=pl.col("time").is_between(start, end).sum(),
            )
            .sort("container")
            .select(pl.lit(place, pl.UInt32).alias("event"), pl.lit(kind).alias("kind"), pl.all())
            .collect()
        )
