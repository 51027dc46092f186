"""The steps in order: session, phases, measures, verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from types import MappingProxyType

import polars as pl

from coldsift.features import with_saturation
from coldsift.pre_trip.bands import Item
from coldsift.pre_trip.measures import take_measures
from coldsift.pre_trip.phases import LONGEST_HOURS, find_phases, last_session, with_phases
from coldsift.pre_trip.verdicts import judge_items
from coldsift.refrigerant import DEFAULT_REFRIGERANT
from coldsift.regimes import find_defrosts
from coldsift.schema import PRE_TRIP


@dataclass(frozen=True, slots=True)
class Inspection:
    """What the logs of inspections show.

    Attributes
    ----------
    items
        :data:`coldsift.schema.PRE_TRIP`, boxes with most outside first.
    phases
        See :func:`coldsift.pre_trip.phases.find_phases`.
    timeline
        The readings that were judged, with their ``phase``.
    left_out
        ``container``, ``rows``: readings of earlier occasions, where there are any.
    bands
        The items that were asked for.
    """

    items: pl.DataFrame
    phases: pl.DataFrame
    timeline: pl.DataFrame
    left_out: pl.DataFrame
    bands: tuple[Item, ...]

    def too_long(self) -> list[str]:
        """Boxes whose log goes on for longer than an inspection does."""
        lasted = pl.col("time").max() - pl.col("time").min() > timedelta(hours=LONGEST_HOURS)
        return (
            self.timeline.group_by("container")
            .agg(lasted=lasted)
            .filter("lasted")["container"]
            .sort()
            .to_list()
        )


def inspect_log(
    log: pl.DataFrame,
    bands: Sequence[Item],
    refrigerants: Mapping[str, str] = MappingProxyType({}),
    refrigerant: str = DEFAULT_REFRIGERANT,
) -> Inspection:
    """Judge the last inspection of every box.

    Parameters
    ----------
    log
        Common log, sorted by container and time; pressures in bar absolute.
    bands
        From :func:`coldsift.pre_trip.load_pass_bands`.
    refrigerants, refrigerant
        By container where it is another than that of all others.

    Returns
    -------
    Inspection
        Empty frames for an empty log.
    """
    session = last_session(log)
    timeline = with_phases(session)
    phases = find_phases(timeline)
    defrosts = find_defrosts(timeline)
    timeline = with_saturation(timeline, refrigerants, refrigerant)
    if timeline.is_empty():
        items = PRE_TRIP.empty()
    else:
        items = judge_items(timeline, phases, take_measures(timeline, phases, defrosts), bands)
    kept = session.group_by("container").agg(kept=pl.len())
    left_out = (
        log.group_by("container")
        .agg(rows=pl.len())
        .join(kept, on="container", how="left")
        .select("container", rows=pl.col("rows") - pl.col("kept").fill_null(0))
        .filter(pl.col("rows") > 0)
        .sort("container")
    )
    return Inspection(items, phases, timeline, left_out, tuple(bands))
