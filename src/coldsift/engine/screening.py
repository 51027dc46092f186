"""From log files to everything a screening finds."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from functools import partial
from importlib import import_module
from pathlib import Path
from threading import Thread

import polars as pl

from coldsift.changes import earlier_findings
from coldsift.engine.aboard import Aboard, aboard_of
from coldsift.engine.analysis import (
    Analysis,
    Timelines,
    UnitsAnalysed,
    WholeVoyage,
    analyse_units,
    judge_voyage,
    whole_voyage,
)
from coldsift.engine.earlier import earlier_reading
from coldsift.engine.evidence import Evidence, evidence_of
from coldsift.engine.inputs import digests_of
from coldsift.engine.papers import Voyage, bands_of, paper_messages, read_voyage
from coldsift.engine.passage import Passage, passage_of
from coldsift.engine.reading import Progress, SourcesRead, UnitBatch, read_sources, read_units, together
from coldsift.engine.running import Here, Runner
from coldsift.engine.settings import Settings
from coldsift.intake import Message, SourceRecord
from coldsift.intake.files import is_remote, read_regular, read_remote
from coldsift.intake.times import given_zone
from coldsift.report import Overview, overview_of
from coldsift.schema import COMMON_LOG


class Status(IntEnum):
    """Exit status of a screening."""

    DONE = 0
    SOME_UNUSABLE = 1
    NOTHING_USABLE = 2


@dataclass(frozen=True, slots=True)
class Screening:
    """Everything a screening found: where every row went, what the stages say, and where more can be done."""

    settings: Settings
    analysis: Analysis
    voyage: Voyage
    passage: Passage
    aboard: Aboard
    overview: Overview
    set_aside: pl.DataFrame
    read: SourcesRead
    sources: tuple[SourceRecord, ...]
    messages: tuple[Message, ...]
    invented: bool
    runner: Runner

    @property
    def log(self) -> pl.DataFrame:
        """The common log of all units at once."""
        return COMMON_LOG.conform(self.analysis.timeline)

    def of_container(self, asked: str) -> Evidence:
        """What is known of one container; see :func:`coldsift.engine.evidence.evidence_of`."""
        return evidence_of(self, asked)

    @property
    def findings(self) -> pl.DataFrame:
        """The ranked units."""
        return self.analysis.findings

    @property
    def reasons(self) -> pl.DataFrame:
        """The sentences behind each finding, strongest first."""
        return self.analysis.reasons

    @property
    def features(self) -> pl.DataFrame:
        """Every feature of every unit, with its peers' range."""
        return self.analysis.features

    @property
    def causes(self) -> pl.DataFrame:
        """The chance of every cause of every unit."""
        return self.analysis.causes

    @property
    def evidence(self) -> pl.DataFrame:
        """What speaks for and against each unit's likeliest causes."""
        return self.analysis.evidence

    @property
    def excursions(self) -> pl.DataFrame:
        """Stretches of controlling air out of its band."""
        return self.analysis.excursions

    @property
    def defrosts(self) -> pl.DataFrame:
        """Every defrost."""
        return self.analysis.defrosts

    @property
    def unit_days(self) -> pl.DataFrame:
        """Every unit day by day."""
        return self.analysis.unit_days

    @property
    def status(self) -> Status:
        """How the run ended."""
        return ended(self.findings, self.messages)


def ended(found: pl.DataFrame, messages: Iterable[Message]) -> Status:
    """How a run ended that found this, with these messages."""
    if found.is_empty():
        return Status.NOTHING_USABLE
    unusable = any(message.severity == "error" for message in messages)
    return Status.SOME_UNUSABLE if unusable else Status.DONE


@dataclass(frozen=True, slots=True)
class UnitsScreened:
    """What a batch of units shows, what their cargoes went through, and what the report's overview needs."""

    analysed: UnitsAnalysed
    passage: Passage
    overview: Overview


def screen(
    paths: Sequence[Path | str],
    settings: Settings | None = None,
    progress: Progress | None = None,
    runner: Runner | None = None,
    again: Path | None = None,
) -> Screening:
    """Screen logs: read them, find out what each unit did, and rank the units.

    Parameters
    ----------
    paths
        Files, folders or glob patterns.
    settings
        Bands, reading options, voyage files.
    progress
        Called as the work goes on.
    runner
        Where the work is done; in this process without it. The outcome is the same wherever that is.
    again
        Folder of an earlier run that may have read the same files: its log is used where none has changed.

    Returns
    -------
    Screening
        Also when some files, or all of them, could not be used: then ``messages`` say why and ``status``
        tells. It can be used for as long as the runner runs.

    Raises
    ------
    FactsError, TableError, GoodsError, ProtocolError
        When a voyage file cannot be used.
    EarlierRunError
        When the earlier run cannot be read.
    WrongCall
        When the time zone is none.
    RunnerError
        When the runner cannot do the work.
    """
    settings = settings or Settings()
    settings = replace(settings, digests=digests_of(settings))
    runner = runner or Here()
    tell = progress or (lambda what, done, total: None)
    zone = given_zone(settings.time_zone)
    voyage = read_voyage(settings.voyage, zone, settings.date_order)
    earlier = earlier_findings(settings.since) if settings.since else None
    known = partial(earlier_reading, again) if again else None
    read = read_sources(paths, settings.reading, runner, tell, known)
    settings = replace(
        settings,
        refrigerants={**read.refrigerants(), **settings.refrigerants},
        bands=bands_of(settings.bands, voyage.facts, read.containers),
    )
    batches, seen, sources = read_units(read, settings.bands, settings.reading, runner, tell)
    whole = whole_voyage(seen)
    timelines, units = _screened(batches, whole, settings, voyage, runner, tell)
    analysis = judge_voyage(timelines, whole, units.analysed, settings, voyage, runner, tell)
    return Screening(
        settings=settings,
        analysis=analysis,
        voyage=voyage,
        passage=units.passage,
        aboard=aboard_of(analysis, voyage, settings, earlier),
        overview=units.overview,
        set_aside=sources.set_aside,
        read=read,
        sources=sources.records,
        messages=(
            *dict.fromkeys(sources.messages),
            *paper_messages(settings.voyage, voyage, read.containers),
            *_of_another_voyage(settings, analysis.findings, earlier),
        ),
        invented=is_invented(paths),
        runner=runner,
    )


def _screened(
    batches: Sequence[UnitBatch],
    whole: WholeVoyage,
    settings: Settings,
    voyage: Voyage,
    runner: Runner,
    progress: Progress,
) -> tuple[Timelines, UnitsScreened]:
    """What all units show, batch by batch."""
    progress("features", 0, len(batches))
    # The comparison's library takes a second to load: here, while others work.
    Thread(target=import_module, args=["sklearn.ensemble"], daemon=True).start()
    held, shown = [], []
    tasks = ((batch.timeline, whole, settings, voyage) for batch in batches)
    for done, (small, timeline) in enumerate(runner.each_kept(screen_units, tasks), start=1):
        held.append(UnitBatch(batches[done - 1].containers, timeline))
        shown.append(small)
        progress("features", done, len(batches))
    return Timelines(tuple(held)), UnitsScreened(
        together([each.analysed for each in shown]),
        together([each.passage for each in shown]),
        Overview.together([each.overview for each in shown]),
    )


def screen_units(
    timeline: pl.DataFrame, whole: WholeVoyage, settings: Settings, voyage: Voyage
) -> tuple[UnitsScreened, pl.DataFrame]:
    """What a batch of units shows by itself, and its timeline as the later stages take it."""
    analysed, timeline = analyse_units(timeline, whole, settings, voyage)
    return (
        UnitsScreened(
            analysed,
            passage_of(timeline, analysed.excursions, analysed.defrosts, voyage),
            overview_of(timeline, whole.voyage_events),
        ),
        timeline,
    )


def _of_another_voyage(
    settings: Settings, now: pl.DataFrame, then: pl.DataFrame | None
) -> tuple[Message, ...]:
    """A warning when the earlier run has none of the containers."""
    if then is None or now.is_empty() or now["container"].is_in(then["container"].implode()).any():
        return ()
    what = "The earlier run has none of these containers: all are told as new, and all of its own as gone."
    do = "Name an earlier run of this voyage, unless that was meant."
    return (Message("warning", settings.earlier or "", None, what, do),)


def is_invented(paths: Sequence[Path | str]) -> bool:
    """True when a folder says of itself, in voyage.json, that its logs are simulated."""
    for path in paths:
        try:
            if is_remote(path):
                note = read_remote(f"{path}/voyage.json").decode()
            else:
                note = read_regular(Path(path) / "voyage.json").decode()
        except (OSError, ValueError):
            continue
        try:
            return bool(json.loads(note)["invented"])
        except (ValueError, KeyError, TypeError):
            return False
    return False
