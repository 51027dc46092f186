"""The verdict on one container's cold treatment."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from coldsift.protocols.count import DAY, SAME
from coldsift.protocols.days import Break, find_breaks, tabulate_days
from coldsift.protocols.declaration import Protocol, Standing
from coldsift.protocols.readings import read_probes
from coldsift.protocols.reckoning import ALL, Reckoning, reckon
from coldsift.protocols.words import days_of, instant, label, listed, sentence, told
from coldsift.schema import CHANNELS, TREATMENT_DAYS

AUTHORITY_DECIDES = (
    "Only the plant-health authority of the importing country decides whether a treatment was carried out. "
    "This is a reckoning from the log by the rules as stated here, not a certificate."
)
"""Goes with every verdict."""

PROBES = tuple(name for name in CHANNELS if name.startswith("cargo_probe_"))

COMPLETE, NOT_COMPLETE, CANNOT_JUDGE = "complete", "not_complete", "cannot_judge"

COARSE = 0.15
"""A log that shows the probes in coarser steps than this says so. [K]"""

MOSTLY = 0.5
"""A treatment of whose time a larger share cannot be judged cannot be judged at all."""


@dataclass(frozen=True, slots=True)
class ProbeVerdict:
    """Where one probe stands; ``credited_days`` are those of the step that is nearest to its days."""

    probe: str
    verdict: str
    credited_days: float
    reason: str


@dataclass(frozen=True, slots=True)
class Treatment:
    """A cold treatment as its protocol counts it; :data:`AUTHORITY_DECIDES` goes with it.

    Attributes
    ----------
    protocol
        By whose rules.
    verdict
        ``complete``, ``not_complete`` or ``cannot_judge``.
    reason
        Why, in sentences.
    completed_at
        When every probe had held for the days of a step; None unless the verdict is complete.
    earliest_completion
        When that can be at the earliest, if all goes on within the rules from the last reading on; None when
        it is complete, or cannot be told.
    started
        When the count began that stands, or that completed the treatment; None where none stands.
    probes
        Verdict of each probe that must hold.
    days
        :data:`coldsift.schema.TREATMENT_DAYS`: days of 24 h from the first instant at which the clock could
        start up to completion or the end of the log; ``all`` holds where every probe does.
    breaks
        In order of time.
    assumed
        What was taken for granted, one sentence each.
    """

    protocol: Protocol
    verdict: str
    reason: str
    completed_at: datetime | None
    earliest_completion: datetime | None
    started: datetime | None
    probes: tuple[ProbeVerdict, ...]
    days: pl.DataFrame
    breaks: tuple[Break, ...]
    assumed: tuple[str, ...]


def judge_treatment(
    log: pl.DataFrame,
    protocol: Protocol,
    probes: Sequence[str] = (),
    ice_point: Mapping[str, float] | None = None,
) -> Treatment:
    """Judge a container's log by a protocol.

    Parameters
    ----------
    log
        One container's common log: ``container``, ``time`` and its cargo probes; air, set point, ``source``
        and ``row`` are used where they are there.
    protocol
        Ladder and rules.
    probes
        Channels of the treatment's probes; without it every cargo probe that is logged.
    ice_point
        What each probe read in melting ice, from its calibration record [°C]; where it is not known 0 is
        taken, and said.

    Returns
    -------
    Treatment
        Never complete where a probe is missing, or where completion rests on time that nobody can judge.

    Raises
    ------
    ValueError
        When the log is not that of one container, or a probe is not a cargo probe.
    """
    ice_point = ice_point or {}
    containers = log["container"].unique().to_list()
    if len(containers) != 1:
        raise ValueError(f"A treatment is that of one container; this log has {len(containers)}.")
    unknown = [name for name in (*probes, *ice_point) if name not in PROBES]
    if unknown:
        raise ValueError(f"{listed(unknown)}: no cargo probe. There are: {', '.join(PROBES)}.")
    logged = [name for name in PROBES if name in log.columns and log[name].fill_nan(None).count()]
    asked = [name for name in PROBES if name in probes] if probes else logged
    off = [name for name in asked if abs(ice_point.get(name, 0.0)) > protocol.ice_point_limit + SAME]
    used = [name for name in asked if name in logged and name not in off]
    lacking = tuple(_lacking(protocol, asked, used, off, ice_point))
    if not used:
        return Treatment(
            protocol=protocol,
            verdict=CANNOT_JUDGE,
            reason=sentence(lacking),
            completed_at=None,
            earliest_completion=None,
            started=None,
            probes=tuple(ProbeVerdict(name, CANNOT_JUDGE, 0.0, "no readings to judge") for name in asked),
            days=TREATMENT_DAYS.empty(),
            breaks=(),
            assumed=(),
        )
    read = read_probes(log, used, ice_point)
    reckoning = reckon(read, protocol, enough=not lacking)
    breaks = find_breaks(reckoning)
    verdict, reason, earliest = _verdict(reckoning, breaks, lacking)
    step = reckoning.done[1] if reckoning.done else reckoning.credited(ALL, reckoning.end)[0]
    began = reckoning.certain[ALL].start(step, reckoning.end) if reckoning.started else None
    return Treatment(
        protocol=protocol,
        verdict=verdict,
        reason=" ".join((reason, *(_too_warm(log, protocol) if earliest is not None else ()))),
        completed_at=instant(reckoning.done[0]) if reckoning.done else None,
        earliest_completion=instant(earliest) if earliest is not None else None,
        started=instant(began) if began is not None else None,
        probes=tuple(_probe_verdict(reckoning, breaks, name) for name in asked),
        days=tabulate_days(reckoning, containers[0], lacking),
        breaks=breaks,
        assumed=tuple(_assumed(reckoning, ice_point, read.resolution)),
    )


def _lacking(
    protocol: Protocol,
    asked: Sequence[str],
    used: Sequence[str],
    off: Sequence[str],
    ice_point: Mapping[str, float],
) -> Iterator[str]:
    """Why the probes are not those that the protocol asks for; nothing when they are."""
    for name in off:
        yield (
            f"{label(name)} read {ice_point[name]:+.2f} °C in melting ice; {protocol.ice_point_limit:g} K "
            "from 0 °C is the furthest allowed"
        )
    silent = [label(name) for name in asked if name not in used and name not in off]
    if silent:
        yield f"there is no reading of {listed(silent)}"
    missing = protocol.least_probes - len(used)
    if missing > 0:
        have = listed([label(name) for name in used]) or "none"
        others = ", ".join(label(name) for name in PROBES if name not in used)
        yield (
            f"{protocol.least_probes} pulp probes are asked for, {len(used)} can be used ({have}); "
            f"{missing} more of {others} would be needed"
        )


def _assumed(reckoning: Reckoning, ice_point: Mapping[str, float], resolution: float) -> Iterator[str]:
    protocol = reckoning.protocol
    standings = {step.basis.standing for step in protocol.ladder} - {Standing.READ}
    if standings:
        yield (
            f"Numbers of the ladder are {listed(sorted(standings))}; edition {protocol.edition}. They are to "
            "be held against the authority's present text."
        )
    unknown = [label(name) for name in reckoning.probes if name not in ice_point]
    if unknown:
        yield f"What {listed(unknown)} read in melting ice is not known; a correction of 0 is taken."
    yield "That the probes sat in the pulp, where the protocol wants them, is taken for granted."
    if any(step.printed is not None for step in protocol.ladder):
        yield "Readings are compared with the exact temperature in °F, not with what is printed in °C."
    bridged = sum(reckoning.bridged(name) for name in reckoning.probes)
    if bridged:
        yield f"Single missing readings that were bridged, as the protocol says: {bridged}."
    if resolution > COARSE:
        yield (
            f"The log shows the probes in steps of {resolution:.1f} K; the pulp may have been half a step "
            "warmer than it says."
        )


def _verdict(
    reckoning: Reckoning, breaks: Sequence[Break], lacking: Sequence[str]
) -> tuple[str, str, int | None]:
    """Verdict, why, and the earliest completion. [µs]."""
    if lacking:
        return CANNOT_JUDGE, sentence(lacking), None
    if not reckoning.started:
        return _not_started(reckoning)
    protocol, end = reckoning.protocol, reckoning.end
    if reckoning.done:
        step = protocol.ladder[reckoning.done[1]]
        held = f"Every probe held at or below {step.exactly} for {step.days:g} days without a break."
        return COMPLETE, f"{held} {protocol.after_treatment}".rstrip(), None
    unread = reckoning.unread_share(ALL)
    if unread > MOSTLY:
        worst = max(reckoning.probes, key=reckoning.unread_share)
        return (
            CANNOT_JUDGE,
            f"Readings are missing, too sparse or not believed for {100 * unread:.0f} % of the time; one "
            f"every {protocol.interval_minutes:g} min is asked for. The worst is {label(worst)}.",
            None,
        )
    certain, at_best = reckoning.certain[ALL], reckoning.at_best[ALL]
    earliest, sooner = end + certain.left(end), end + at_best.left(end)
    stands = _stands(reckoning, ALL)
    if at_best.completed():
        return (
            CANNOT_JUDGE,
            f"It is complete only if the pulp held while nobody can tell. Certain: {stands}.",
            earliest,
        )
    reason = " ".join((sentence([stands]), *_passed(reckoning), *_last_break(breaks)))
    if sooner < earliest:
        reason += f" If the authority lets the gaps pass, it can be complete at {told(sooner)}."
    return NOT_COMPLETE, reason, earliest


def _not_started(reckoning: Reckoning) -> tuple[str, str, int | None]:
    protocol = reckoning.protocol
    limit = protocol.ladder[-1].at_or_below
    if protocol.start_at_or_below is not None:
        limit = min(limit, protocol.start_at_or_below)
    read = ~np.isnan(reckoning.readings).all(axis=0)
    coldest = np.full(len(reckoning.probes), np.nan)
    coldest[read] = np.nanmin(reckoning.readings[:, read], axis=0)
    late = [
        f"{label(name)} (coldest {low:.2f} °C)"
        for name, low in zip(reckoning.probes, coldest, strict=True)
        if low > limit + SAME
    ]
    earliest = reckoning.end + reckoning.certain[ALL].left(reckoning.end)
    if late:
        reason = f"The clock has not started: {listed(late)} never came down to {limit:.2f} °C."
        return NOT_COMPLETE, reason, earliest
    if not read.all() or reckoning.unread_share(ALL) > MOSTLY:
        return CANNOT_JUDGE, "At no instant can the readings of all probes be believed.", None
    return (
        NOT_COMPLETE,
        f"The clock has not started: the probes were never at or below {limit:.2f} °C all at once.",
        earliest,
    )


def _stands(reckoning: Reckoning, name: str) -> str:
    place, credited = reckoning.credited(name, reckoning.end)
    step = reckoning.protocol.ladder[place]
    return f"{days_of(credited)} of {step.days:g} days at or below {step.name}"


def _passed(reckoning: Reckoning) -> Iterator[str]:
    """Why it is not a colder step, with fewer days, that is nearest."""
    place, credited = reckoning.credited(ALL, reckoning.end)
    if place == 0 or credited == 0:
        return
    colder = reckoning.protocol.ladder[place - 1]
    over = np.flatnonzero(reckoning.courses[ALL].warmest > colder.at_or_below + SAME)
    if len(over):
        last = over[-1]
        probe = reckoning.probes[int(np.argmax(np.nan_to_num(reckoning.readings[last], nan=-np.inf)))]
        yield f"{colder.name} was last passed at {told(int(reckoning.times[last]))} by {label(probe)}."


def _last_break(breaks: Sequence[Break], name: str | None = None) -> Iterator[str]:
    """The last break of a probe, or of any of them."""
    own = [each for each in breaks if name in (None, each.probe)]
    if own:
        last = max(own, key=lambda each: each.end)
        who = "" if name else f"{label(last.probe)}, "
        yield f"Last break: {who}{last.words}, until {last.end:%Y-%m-%d %H:%M} UTC."


def _probe_verdict(reckoning: Reckoning, breaks: Sequence[Break], name: str) -> ProbeVerdict:
    if name not in reckoning.probes:
        return ProbeVerdict(name, CANNOT_JUDGE, 0.0, "no readings that can be used")
    _, credited = reckoning.credited(name, reckoning.end)
    stands = _stands(reckoning, name)
    unread = reckoning.unread_share(name) > MOSTLY
    if not reckoning.started:
        verdict = CANNOT_JUDGE if unread else NOT_COMPLETE
        return ProbeVerdict(name, verdict, 0.0, "the clock has not started")
    if reckoning.certain[name].left(reckoning.end) == 0:
        return ProbeVerdict(name, COMPLETE, credited / DAY, stands)
    open_ended = unread or reckoning.at_best[name].completed()
    return ProbeVerdict(
        name,
        CANNOT_JUDGE if open_ended else NOT_COMPLETE,
        credited / DAY,
        " ".join((f"{stands}{' for certain' if open_ended else ''}.", *_last_break(breaks, name))),
    )


def _too_warm(log: pl.DataFrame, protocol: Protocol) -> Iterator[str]:
    """Whether the unit is still set to a temperature at which the treatment can go on."""
    if "set_point" in log.columns:
        known = log.sort("time").select(pl.col("set_point").fill_nan(None)).drop_nulls().to_series()
        if known.len() and known[-1] > protocol.ladder[-1].at_or_below + SAME:
            yield f"The last set point, {known[-1]:.1f} °C, is above the warmest step: it cannot go on so."
