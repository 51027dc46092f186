"""Units followed batch by batch, fitted to their probes where they have any.

Goes in: the timeline and the cargoes. Comes out: :class:`Batch` after :class:`Batch`, each with its
members at the end of the log.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from coldsift.cargo.air import AirCourse, air_course
from coldsift.cargo.cargoes import Cargo
from coldsift.cargo.ensemble import draw, members_of
from coldsift.cargo.follow import Followed, Load, follow, way_at
from coldsift.cargo.probes import fit, probe_readings
from coldsift.cargo.properties import Array

LARGEST_BATCH = 128
"""Units stepped together: enough to spread the cost of a step, few enough for the processor's cache."""

FREEZING_ROOM = 2.0
"""Cargo whose air never came closer to its freezing point than this is followed without a heat curve. [K]"""


@dataclass(frozen=True, slots=True)
class Batch:
    """Some units followed together; ``fit_error`` is nan where no probe was fitted."""

    load: Load
    course: AirCourse
    followed: Followed
    fit_error: Array


def batches(timeline: pl.DataFrame, cargoes: Sequence[Cargo], *, keep_way: bool) -> Iterator[Batch]:
    """Follow every unit that logs air.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    cargoes
        Of its containers.
    keep_way
        Keep the temperatures at every reading.

    Yields
    ------
    Batch
        Units that take the same reckoning: with and without probes, freezing, respiration.
    """
    course = air_course(timeline)
    if not course.containers:
        return
    by_number = {cargo.container: cargo for cargo in cargoes}
    probed = set(probe_readings(course)["unit"].unique())
    kinds: dict[tuple[bool, bool, bool], list[int]] = {}
    coldest = np.min(
        course.supply + np.minimum(course.split, 0.0), axis=0, initial=np.inf, where=course.seconds > 0
    )
    for unit, container in enumerate(course.containers):
        cargo = by_number[container]
        kind = (unit in probed, _may_freeze(cargo, coldest[unit]), bool(cargo.respiration))
        kinds.setdefault(kind, []).append(unit)
    for (has_probes, freezing, _), units in sorted(kinds.items()):
        for first in range(0, len(units), LARGEST_BATCH):
            part = course.of(units[first : first + LARGEST_BATCH])
            own = [by_number[container] for container in part.containers]
            places, error = draw(part.containers), np.full(len(own), np.nan)
            if has_probes:
                places, error = _fit(own, part, freezing)
            load = Load.of(own, members_of(own, part.begin, places), freezing=freezing)
            yield Batch(load, part, follow(load, part, part.rows if keep_way else None), error)


def _may_freeze(cargo: Cargo, coldest_air: float) -> bool:
    """Whether ice plays a part: the cargo is carried frozen, or its air came near its freezing point."""
    near = any(coldest_air < freezing_point + FREEZING_ROOM for _, freezing_point in cargo.foods)
    return bool(cargo.foods) and (cargo.frozen or near)


def _fit(cargoes: Sequence[Cargo], course: AirCourse, freezing: bool) -> tuple[Array, Array]:
    def way(places: Array, rows: pl.DataFrame) -> tuple[Array, Array]:
        load = Load.of(cargoes, members_of(cargoes, course.begin, places), freezing=freezing)
        return way_at(load, follow(load, course, rows).way, rows)

    found = fit(course.containers, probe_readings(course), way)
    return found.places, found.error
