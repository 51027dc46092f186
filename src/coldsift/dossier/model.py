"""What a dossier is made of: the frames of every stage for one container, in one window of time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from coldsift.protocols import ProbeVerdict


@dataclass(frozen=True, slots=True)
class SourceNote:
    """One log file that holds readings of the container, and what became of its rows.

    ``rows`` = ``used`` + ``merged`` + ``set_aside`` counts the whole file; ``own_rows`` are those of the
    container in the window. ``clock`` says how its times were put in UTC.
    """

    id: str
    path: str
    sha256: str
    size: int
    layout: str
    clock: str
    rows: int
    used: int
    merged: int
    set_aside: int
    own_rows: int
    messages: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FileNote:
    """A file that was given beside the logs, such as the custody events."""

    what: str
    name: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Answer:
    """One line of the first page: the question it answers, the answer, and how sure that is."""

    question: str
    answer: str
    sure: str


@dataclass(frozen=True, slots=True)
class CauseNote:
    """One hypothesis (its id and name) with its chance, what speaks for and against it, in words."""

    id: str
    name: str
    chance: float
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TreatmentNote:
    """A cold treatment as its protocol counts it.

    Attributes
    ----------
    name, edition, source, about
        Of the protocol.
    verdict
        ``complete``, ``not_complete`` or ``cannot_judge``.
    reason
        Why, in words.
    earliest_completion
        When it can be complete at the earliest, if all goes on within the rules; None when it cannot be
        told or is complete.
    probes
        Verdict of each probe.
    how_counted, assumed
        The protocol's rules with their sources, and what was taken for granted, one sentence each.
    days
        :data:`coldsift.schema.TREATMENT_DAYS`.
    """

    name: str
    edition: str
    source: str
    about: str
    verdict: str
    reason: str
    earliest_completion: datetime | None
    probes: tuple[ProbeVerdict, ...]
    how_counted: tuple[str, ...]
    assumed: tuple[str, ...]
    days: pl.DataFrame


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the timeline table: when, what kind of thing, what, and where it is known from."""

    time: datetime
    until: datetime | None
    kind: str
    what: str
    source: str


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """What the main excursion would be, were the probe or the band a little off; ``what`` says how."""

    what: str
    hours: float
    degree_hours: float
    start: datetime | None
    end: datetime | None


@dataclass(frozen=True, slots=True)
class Reconstruction:
    """One container in one window of time; times UTC, frames as in :mod:`coldsift.schema`.

    Attributes
    ----------
    container, number_valid
        Its number, and whether the ISO 6346 check digit is right.
    start, end
        The window.
    answers
        The first page, in its order.
    timeline
        The unit's readings in the window (:func:`coldsift.regimes.build_timeline`).
    excursions, excursion_parts, defrost_rises, gaps, defrosts, cargo, cargo_temperatures, peers, custody, \
notes, set_points, repairs, set_aside
        Tables of the schema, the unit's rows in the window; ``peers`` is ``peers_then``.
    cargo_notes
        What the reckoning of the cargo assumes and how a second model sees it, one sentence each.
    main_excursion
        ``start`` of the excursion that the answers are about; None when there is none.
    sensitivity
        What the main excursion would be with the probe or the band a little off.
    causes
        Likeliest first.
    treatment
        Cold treatment, where one is ordered.
    events
        The timeline table, in order of time.
    cannot_tell
        What the log cannot tell, one sentence each.
    cautions
        Sentences on safety and on what this is not.
    sources, other_sources
        Files with readings of the container; number of other files read for the comparison with peers.
    files
        What was given beside the logs.
    clock_checks
        What was checked of the clock, and what came out, one sentence each.
    parameters, versions
        What shaped the numbers, in words.
    reproduce
        The command that checks the bundle against the sources.
    invented
        True when the data are made up.
    """

    container: str
    number_valid: bool
    start: datetime
    end: datetime
    answers: tuple[Answer, ...]
    timeline: pl.DataFrame
    excursions: pl.DataFrame
    excursion_parts: pl.DataFrame
    defrost_rises: pl.DataFrame
    gaps: pl.DataFrame
    defrosts: pl.DataFrame
    cargo: pl.DataFrame
    cargo_temperatures: pl.DataFrame
    cargo_notes: tuple[str, ...]
    peers: pl.DataFrame
    custody: pl.DataFrame
    notes: pl.DataFrame
    set_points: pl.DataFrame
    repairs: pl.DataFrame
    set_aside: pl.DataFrame
    main_excursion: datetime | None
    sensitivity: tuple[Sensitivity, ...]
    causes: tuple[CauseNote, ...]
    treatment: TreatmentNote | None
    events: tuple[Event, ...]
    cannot_tell: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[SourceNote, ...]
    other_sources: int
    files: tuple[FileNote, ...]
    clock_checks: tuple[str, ...]
    parameters: Mapping[str, str]
    versions: Mapping[str, str]
    reproduce: str
    invented: bool
