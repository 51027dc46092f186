"""Everything that the verdict, the days and the breaks of one container are read from.

Goes in: the believed readings of its probes, the protocol. Comes out: a :class:`Reckoning`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from coldsift.protocols.count import (
    CLOCK_SLACK,
    MINUTE,
    Array,
    Count,
    Course,
    above,
    cold_enough,
    count,
    course,
    rises,
    too_long,
)
from coldsift.protocols.declaration import BeyondGap, Protocol, Reset
from coldsift.protocols.readings import Readings

ALL = "all"
"""In place of a probe: every probe at once."""


@dataclass(frozen=True, slots=True)
class Gap:
    """Time in which a probe's readings are missing, too sparse or not believed, and not bridged. [µs]."""

    start: int
    end: int
    words: str


@dataclass(frozen=True, slots=True)
class Reckoning:
    """How one container's treatment went.

    Attributes
    ----------
    protocol, probes
        By whose rules, and which probes were counted.
    times, readings
        From the first instant at which the clock may start; shape (instants,) [µs], (instants, probes) [°C].
    offences
        Which readings set the counts of all steps back; shape as readings.
    started
        False when the clock never starts: then the readings run from the first one.
    courses, certain, at_best
        By probe and for ``all``: what was read; what is counted for certain; what at best, if the pulp held
        in every gap that cannot be judged.
    gaps
        By probe.
    done
        First instant at which every probe has held for a step's days [µs], and that step; None while none
        has.
    """

    protocol: Protocol
    probes: tuple[str, ...]
    times: Array
    readings: Array
    offences: Array
    started: bool
    courses: Mapping[str, Course]
    certain: Mapping[str, Count]
    at_best: Mapping[str, Count]
    gaps: Mapping[str, tuple[Gap, ...]]
    done: tuple[int, int] | None

    @property
    def first(self) -> int:
        """Where the days begin. [µs]."""
        return int(self.times[0])

    @property
    def end(self) -> int:
        """Where they end: with completion, or with the log. [µs]."""
        return self.done[0] if self.done else int(self.times[-1])

    def own(self, name: str) -> tuple[Array, Array, Array]:
        """Times [µs], readings [°C] and offences of one probe, up to the end."""
        place = self.probes.index(name)
        read = ~np.isnan(self.readings[:, place]) & (self.times <= self.end)
        return self.times[read], self.readings[read, place], self.offences[read, place]

    def bridged(self, name: str) -> int:
        """How many times a single reading of a probe is missing and bridged."""
        gaps = np.diff(self.own(name)[0])
        over = gaps > self.protocol.interval_minutes * MINUTE + CLOCK_SLACK
        return int((over & ~too_long(gaps, self.protocol)).sum())

    def credited(self, name: str, time: int, before: bool = False) -> tuple[int, int]:
        """The step that is nearest to its days at a time, or just before it; what is certain of it. [µs]."""
        return self.certain[name].nearest(time, before) if self.started else (0, 0)

    def unread_share(self, name: str) -> float:
        """Share of the time, 0 to 1, in which nobody can tell."""
        spans = np.diff(self.times)
        return float(spans[self.courses[name].unread].sum() / max(spans.sum(), 1))


def reckon(read: Readings, protocol: Protocol, enough: bool) -> Reckoning:
    """Count the days.

    Parameters
    ----------
    read
        Readings of the probes.
    protocol
        Its rules.
    enough
        False when the protocol asks for more probes: then nothing can complete it.
    """
    probes = tuple(name for name in read.frame.columns if name != "time")
    times: Array = read.frame["time"].to_numpy()
    readings: Array = read.frame.select(probes).to_numpy()
    together = course(times, readings, protocol)
    cold = np.flatnonzero(cold_enough(together, protocol)[-1])
    first = int(cold[0]) if len(cold) else 0
    alone = (course(times, column[:, None], protocol) for column in readings.T)
    courses = {name: each.since(first) for name, each in zip((ALL, *probes), (together, *alone), strict=True)}
    certain = {name: count(each, protocol) for name, each in courses.items()}
    at_best = certain
    if protocol.beyond_gap is BeyondGap.CANNOT_JUDGE:
        at_best = {name: count(each, protocol, trusting=True) for name, each in courses.items()}
    return Reckoning(
        protocol=protocol,
        probes=probes,
        times=times[first:],
        readings=readings[first:],
        offences=np.column_stack([_offences(times, column, protocol) for column in readings.T])[first:],
        started=len(cold) > 0,
        courses=courses,
        certain=certain,
        at_best=at_best,
        gaps={
            name: tuple(
                gap
                for gap in _gaps(name, times, column, protocol, read)
                if gap.end > times[first] and gap.start < times[-1]
            )
            for name, column in zip(probes, readings.T, strict=True)
        },
        done=certain[ALL].completed() if len(cold) and enough else None,
    )


def _offences(times: Array, readings: Array, protocol: Protocol) -> Array:
    own = np.flatnonzero(~np.isnan(readings))
    over = above(times[own], readings[own], protocol)
    against = np.zeros(len(times), dtype=bool)
    against[own] = over[-1] | rises(over) if protocol.reset is Reset.RESTART else over[-1]
    return against


def _gaps(name: str, times: Array, readings: Array, protocol: Protocol, read: Readings) -> Iterator[Gap]:
    """The gaps of a probe; those that follow on each other for one reason are one."""
    own = times[~np.isnan(readings)]
    marks = np.concatenate([times[:1], own, times[-1:]])
    spans = np.diff(marks)
    long = spans > protocol.bridged_minutes * MINUTE + CLOCK_SLACK
    long[1:-1] |= too_long(np.diff(own), protocol)
    pending: tuple[int, int, int, str] | None = None
    for place in np.flatnonzero(long):
        start, end, length = int(marks[place]), int(marks[place + 1]), int(spans[place])
        why = _why(name, start, end, protocol, read)
        if pending and pending[1] == start and pending[3] == why:
            pending = (pending[0], end, max(pending[2], length), why)
            continue
        if pending:
            yield _gap(*pending)
        pending = (start, end, length, why)
    if pending:
        yield _gap(*pending)


def _why(name: str, start: int, end: int, protocol: Protocol, read: Readings) -> str:
    for each in read.disbelieved:
        if each.probe == name and each.start <= end and each.end >= start:
            return f"readings are not believed: {each.words}"
    if end - start <= protocol.bridged_minutes * MINUTE + CLOCK_SLACK:
        return "too few readings: up to {hours:.1f} h apart"
    return "no readings for {hours:.1f} h"


def _gap(start: int, end: int, length: int, why: str) -> Gap:
    return Gap(start, end, why.format(hours=length / (60 * MINUTE)))
