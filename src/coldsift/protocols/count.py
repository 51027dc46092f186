"""How the days are counted.

Goes in: what some probes read over the instants of a log, the protocol. Comes out: for every step of the
ladder how long it has been held without a break, at every instant.

Every step has a count of its own, and they run beside each other: time at or below 34 °F is time at or
below 35 °F as well. So a reading above 34 °F ends the count of that step alone, and the one of 35 °F has been
running all along; a treatment is complete as soon as one step has its days. Time counts between two readings
that both hold. What lies between one that holds and one that does not counts for nothing: where in it the
pulp warmed up is not known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from coldsift.protocols.declaration import BeyondGap, Protocol, Reset

Array = np.ndarray[Any, np.dtype[Any]]

DAY = 86_400_000_000
MINUTE = 60_000_000
"""In µs, as times are counted here."""

CLOCK_SLACK = MINUTE
"""Loggers are a few seconds early or late: so much more than the interval is still the interval."""

SAME = 1e-6
"""Two ways from °F to °C differ by less than this. [K]"""


@dataclass(frozen=True, slots=True)
class Course:
    """What some probes, taken together, read over the instants of a log.

    Attributes
    ----------
    times
        Instants. [µs]
    warmest
        Warmest of the probes; where one has no reading just then, the warmer of its neighbours. NaN before
        the first reading of all. [°C]
    known
        False where a probe has none, and no gap short enough to bridge.
    unread
        Of the spans between the instants: a probe has no readings for longer than is bridged.
    idle
        Of the spans: a probe has not begun or has ended, but not longer ago than is bridged.
    """

    times: Array
    warmest: Array
    known: Array
    unread: Array
    idle: Array

    def since(self, first: int) -> Course:
        """The course from an instant on."""
        return Course(
            self.times[first:],
            self.warmest[first:],
            self.known[first:],
            self.unread[first:],
            self.idle[first:],
        )


def course(times: Array, readings: Array, protocol: Protocol) -> Course:
    """Probes taken together: as warm as the warmest, as well read as the worst.

    Parameters
    ----------
    times
        Instants, rising. [µs]
    readings
        Shape (instants, probes), NaN where there is none. [°C]
    protocol
        Its interval and gap rules.
    """
    each = [_course_of_one(times, column, protocol) for column in readings.T]
    return Course(
        times,
        np.fmax.reduce([one.warmest for one in each]),
        np.logical_and.reduce([one.known for one in each]),
        np.logical_or.reduce([one.unread for one in each]),
        np.logical_or.reduce([one.idle for one in each]),
    )


def too_long(gaps: Array, protocol: Protocol) -> Array:
    """Which times between readings are not bridged.

    A single reading may be missing; where two intervals in a row are longer than the rule, the readings are
    too sparse.
    """
    over = gaps > protocol.interval_minutes * MINUTE + CLOCK_SLACK
    beside = np.zeros_like(over)
    beside[1:] |= over[:-1]
    beside[:-1] |= over[1:]
    long: Array = gaps > protocol.bridged_minutes * MINUTE + CLOCK_SLACK
    return long | (over & beside)


def _course_of_one(times: Array, readings: Array, protocol: Protocol) -> Course:
    count = len(times)
    own = np.flatnonzero(~np.isnan(readings))
    if len(own) == 0:
        nothing = np.full(max(count - 1, 0), True)
        return Course(times, np.full(count, np.nan), np.full(count, False), nothing, ~nothing)
    long = too_long(np.diff(times[own]), protocol)
    # The reading before each instant and the one after it; itself where it has one.
    before = np.searchsorted(own, np.arange(count), side="right") - 1
    after = np.searchsorted(own, np.arange(count), side="left")
    begun, going_on = before >= 0, after < len(own)
    left, right = own[np.maximum(before, 0)], own[np.minimum(after, len(own) - 1)]
    warmest = np.fmax(np.where(begun, readings[left], np.nan), np.where(going_on, readings[right], np.nan))
    padded = np.append(long, True)
    reads = before == after
    inside = begun & going_on
    known = inside & (reads | ~padded[np.maximum(before, 0)])
    # A span lies in the gap that begins at the last reading up to its left end.
    outside = ~begun[:-1] | (before[:-1] == len(own) - 1)
    short = protocol.bridged_minutes * MINUTE + CLOCK_SLACK
    edge = np.where(begun[:-1], times[-1] - times[own[-1]], times[own[0]] - times[0])
    unread = np.where(outside, edge > short, padded[np.maximum(before[:-1], 0)])
    return Course(times, warmest, known, unread, outside & ~unread)


@dataclass(frozen=True, slots=True)
class Count:
    """The counts of all steps beside each other.

    Attributes
    ----------
    times
        Instants. [µs]
    needed
        Of each step. [µs]
    credited
        Held without a break up to each instant; shape (steps, instants). [µs]
    counts
        Which spans count; shape (steps, spans).
    began
        Index of the instant at which the count that stands began; the instant itself where none stands.
    """

    times: Array
    needed: Array
    credited: Array
    counts: Array
    began: Array

    def at(self, time: int, before: bool = False) -> Array:
        """What is credited on each step at a time, or just before what is read then. [µs]."""
        place = max(int(np.searchsorted(self.times, time, side="left" if before else "right")) - 1, 0)
        credited: Array = self.credited[:, place]
        if place < len(self.times) - 1:
            credited = credited + self.counts[:, place] * max(time - int(self.times[place]), 0)
        return credited

    def nearest(self, time: int, before: bool = False) -> tuple[int, int]:
        """The step that is nearest to its days at a time, and what is credited on it. [µs]."""
        credited = np.minimum(self.at(time, before), self.needed)
        step = int(np.argmin(self.needed - credited))
        return step, int(credited[step])

    def left(self, time: int) -> int:
        """What the nearest step still lacks at a time. [µs]."""
        return int((self.needed - np.minimum(self.at(time), self.needed)).min())

    def completed(self) -> tuple[int, int] | None:
        """The first instant at which a step has its days [µs], and that step; None while none has."""
        done = self.credited >= self.needed[:, None]
        reached = [
            (int(self.times[place] - (self.credited[step, place] - self.needed[step])), step)
            for step, place in enumerate(np.argmax(done, axis=1))
            if done[step, place]
        ]
        return min(reached, default=None)

    def start(self, step: int, time: int) -> int | None:
        """When the count of a step began that stands at a time [µs]; None where none stands."""
        place = int(np.searchsorted(self.times, time, side="right") - 1)
        if self.at(time)[step] <= 0:
            return None
        return int(self.times[self.began[step, place]])


def cold_enough(of: Course, protocol: Protocol) -> Array:
    """At which instants the clock of each step may start; shape (steps, instants)."""
    limits = np.array([step.at_or_below for step in protocol.ladder])
    if protocol.start_at_or_below is not None:
        limits = np.minimum(limits, protocol.start_at_or_below)
    cold: Array = of.known & (of.warmest <= limits[:, None] + SAME)
    return cold


def above(times: Array, warmest: Array, protocol: Protocol) -> Array:
    """Which instants are above each step and not let pass; shape (steps, instants)."""
    limits = np.array([step.at_or_below for step in protocol.ladder])
    over: Array = warmest > limits[:, None] + SAME
    if protocol.tolerance == 0:
        return over
    for step, limit in enumerate(limits):
        for first, last in stretches(over[step]):
            # From the last reading that holds to the next: the stretch cannot have been longer.
            outer = times[min(last + 1, len(times) - 1)] - times[max(first - 1, 0)]
            peak = np.nanmax(warmest[first : last + 1])
            if peak <= limit + protocol.tolerance + SAME and outer <= protocol.longest_above_minutes * MINUTE:
                over[step, first : last + 1] = False
    return over


def rises(over: Array) -> Array:
    """Which instants a step's temperature is passed at, from at or below; of any step."""
    rising = np.zeros(over.shape[1], dtype=bool)
    rising[1:] = (over[:, 1:] & ~over[:, :-1]).any(axis=0)
    return rising


def stretches(flags: Array) -> list[tuple[int, int]]:
    """First and last index of every run of true flags."""
    edges = np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8))
    return list(
        zip(np.flatnonzero(edges == 1).tolist(), (np.flatnonzero(edges == -1) - 1).tolist(), strict=True)
    )


def count(of: Course, protocol: Protocol, trusting: bool = False) -> Count:
    """Count the days of every step.

    Parameters
    ----------
    of
        From the first instant at which the clock may start.
    protocol
        Ladder and rules.
    trusting
        Take it that the pulp held in every gap that cannot be judged: what the treatment comes to at best.
    """
    over = above(of.times, of.warmest, protocol)
    breaks = over[:, :-1] | over[:, 1:]
    if protocol.reset is Reset.RESTART:
        breaks = breaks | rises(over)[1:]
    counts = ~breaks & ~of.idle
    if protocol.beyond_gap is BeyondGap.EXTEND:
        counts &= ~of.unread
    elif protocol.beyond_gap is BeyondGap.BREAK or not trusting:
        counts &= ~of.unread
        breaks = breaks | of.unread
    indices = np.arange(len(of.times))
    cold = np.maximum.accumulate(np.where(cold_enough(of, protocol), indices, -1), axis=1)
    nothing = np.zeros((len(breaks), 1), dtype=np.int64)
    broken = np.maximum.accumulate(np.hstack([nothing, np.where(breaks, indices[1:], 0)]), axis=1)
    # The clock runs once the pulp has been cold enough since the last break.
    counts &= cold[:, :-1] >= broken[:, :-1]
    total = np.hstack([nothing, np.cumsum(np.where(counts, np.diff(of.times), 0), axis=1)])
    base = np.maximum.accumulate(np.hstack([nothing, np.where(breaks, total[:, 1:], 0)]), axis=1)
    credited = total - base
    begins = counts & (credited[:, :-1] == 0)
    began = np.maximum.accumulate(np.hstack([np.where(begins, indices[:-1], 0), nothing]), axis=1)
    return Count(
        of.times,
        np.array([round(step.days * DAY) for step in protocol.ladder]),
        credited,
        counts,
        np.where(credited > 0, began, indices),
    )
