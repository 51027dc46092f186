"""From log files to everything a screening finds."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from pathlib import Path

import polars as pl

from coldsift.changes import earlier_findings
from coldsift.engine.aboard import Aboard, aboard_of
from coldsift.engine.analysis import Analysis, Progress, analyse
from coldsift.engine.papers import Voyage, bands_of, paper_messages, read_voyage
from coldsift.engine.passage import Passage, passage_of
from coldsift.engine.settings import Settings
from coldsift.intake import Intake, Message, SourceRecord, read_logs
from coldsift.intake.times import given_zone


class Status(IntEnum):
    """Exit status of a screening."""

    DONE = 0
    SOME_UNUSABLE = 1
    NOTHING_USABLE = 2


@dataclass(frozen=True, slots=True)
class Screening:
    """Everything a screening found: the log as read, where every row went, what the stages say."""

    settings: Settings
    log: pl.DataFrame
    analysis: Analysis
    voyage: Voyage
    passage: Passage
    aboard: Aboard
    set_aside: pl.DataFrame
    sources: tuple[SourceRecord, ...]
    messages: tuple[Message, ...]
    invented: bool

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


def screen(
    paths: Sequence[Path | str], settings: Settings | None = None, progress: Progress | None = None
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

    Returns
    -------
    Screening
        Also when some files, or all of them, could not be used: then ``messages`` say why and ``status``
        tells.

    Raises
    ------
    FactsError, TableError, GoodsError, ProtocolError
        When a voyage file cannot be used.
    EarlierRunError
        When the earlier run cannot be read.
    WrongCall
        When the time zone is none.
    """
    settings = settings or Settings()
    voyage = read_voyage(settings.voyage, given_zone(settings.time_zone), settings.date_order)
    earlier = earlier_findings(settings.since) if settings.since else None
    intake, settings = read_as_set(paths, settings, progress)
    settings = replace(settings, bands=bands_of(settings.bands, voyage.facts, intake.log["container"]))
    analysis = analyse(intake.log, settings, progress, voyage)
    if progress:
        progress("cargo", 0, 1)
    passage = passage_of(analysis.timeline, analysis.excursions, analysis.defrosts, voyage)
    return Screening(
        settings=settings,
        log=intake.log,
        analysis=analysis,
        voyage=voyage,
        passage=passage,
        aboard=aboard_of(analysis, voyage, settings, earlier),
        set_aside=intake.set_aside,
        sources=intake.sources,
        messages=(
            *all_messages(intake),
            *paper_messages(settings.voyage, voyage, intake.log["container"]),
            *_of_another_voyage(settings, analysis.findings, earlier),
        ),
        invented=is_invented(paths),
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


def read_as_set(
    paths: Sequence[Path | str], settings: Settings, progress: Progress | None
) -> tuple[Intake, Settings]:
    """Read logs as the settings say; the settings come back with the refrigerants that the files state."""
    intake = read_logs(
        paths,
        parsers=settings.parsers,
        progress=progress,
        date_order=settings.date_order,
        time_zone=settings.time_zone,
        layout=settings.layout,
    )
    return intake, _with_stated_refrigerants(intake, settings)


def _with_stated_refrigerants(intake: Intake, settings: Settings) -> Settings:
    """The settings, with the refrigerants that files state for their containers under those the user gave."""
    stated = {source.id: source.refrigerant for source in intake.sources if source.refrigerant}
    if not stated:
        return settings
    containers = (
        intake.log.select("container", "source")
        .unique()
        .filter(pl.col("source").is_in(list(stated)))
        .sort("container", "source")
    )
    by_container = {container: stated[source] for container, source in containers.iter_rows()}
    return replace(settings, refrigerants={**by_container, **settings.refrigerants})


def all_messages(intake: Intake) -> tuple[Message, ...]:
    """Messages of the whole intake and of each source, each once, in order."""
    messages = dict.fromkeys(intake.messages)
    for source in intake.sources:
        messages.update(dict.fromkeys(source.messages))
    return tuple(messages)


def is_invented(paths: Sequence[Path | str]) -> bool:
    """True when a folder says of itself, in voyage.json, that its logs are simulated."""
    for path in paths:
        note = Path(path) / "voyage.json"
        if note.is_file():
            try:
                return bool(json.loads(note.read_text(encoding="utf-8"))["invented"])
            except (ValueError, KeyError, TypeError):
                return False
    return False
