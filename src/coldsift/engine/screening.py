"""The stages in order."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import IntEnum
from pathlib import Path
from typing import Literal

import polars as pl

from coldsift.causes import first_checks, judge, load_catalogue
from coldsift.days import unit_days
from coldsift.engine.passage import (
    Passage,
    Voyage,
    VoyageFiles,
    bands_of,
    passage_of,
    read_voyage,
    with_positions,
)
from coldsift.excursions import GRACE_HOURS, find_excursions
from coldsift.features import BASES, DRAWN_COLUMNS, FEATURES, unit_features, with_saturation
from coldsift.intake import Intake, Message, SourceRecord, read_logs
from coldsift.peers import compare, peer_bands
from coldsift.ranking import load_thresholds, rank
from coldsift.refrigerant import DEFAULT_REFRIGERANT, canonical
from coldsift.regimes import (
    Bands,
    build_timeline,
    find_defrosts,
    find_voyage_events,
    mark_shared,
    regime_intervals,
    unit_traits,
)

Progress = Callable[[str, int, int], None]
"""Told what is being done, how much of it is done, and out of how much."""


class Status(IntEnum):
    """Exit status of a screening."""

    DONE = 0
    SOME_UNUSABLE = 1
    NOTHING_USABLE = 2


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user may set.

    Attributes
    ----------
    bands
        Allowed distance of the controlling air from the set point. [K]
    grace_hours
        Shortest excursion. [h]
    parsers
        Folders with the user's own log layouts.
    refrigerant, refrigerants
        Of every unit, and by container where it is another.
    causes
        The user's own catalogue file, read over the shipped one.
    thresholds
        The user's own thresholds of the groups, instead of the shipped ones.
    voyage
        Files on the voyage: facts, custody events, work notes, own commodities and protocols.
    date_order, time_zone, layout
        What the logs themselves do not settle; see :func:`coldsift.intake.read_logs`.
    """

    bands: Bands = field(default_factory=Bands)
    grace_hours: float = GRACE_HOURS
    parsers: tuple[Path, ...] = ()
    refrigerant: str = DEFAULT_REFRIGERANT
    refrigerants: Mapping[str, str] = field(default_factory=dict)
    causes: Path | None = None
    thresholds: Path | None = None
    voyage: VoyageFiles = field(default_factory=VoyageFiles)
    date_order: Literal["day_first", "month_first"] | None = None
    time_zone: str | None = None
    layout: str | None = None

    def in_words(self) -> dict[str, str]:
        """The settings that shaped the numbers, for the manifest and the report."""
        thresholds = load_thresholds(self.thresholds)
        return {
            "band, chilled and heated": f"{self.bands.chilled:g} K either side of the set point",
            "band, frozen": f"{self.bands.frozen:g} K above the set point",
            **({"units with a band of their own": str(len(self.bands.units))} if self.bands.units else {}),
            "grace time": f"{self.grace_hours:g} h",
            "refrigerant": "; ".join([canonical(self.refrigerant), *self._other_refrigerants()]),
            "cause catalogue": f"shipped, and {self.causes.name} over it" if self.causes else "shipped",
            "thresholds": f"this round from a chance of a fault of {thresholds.this_round:g}, watch from "
            f"{thresholds.watch:g}",
            "thresholds from": f"{self.thresholds.name if self.thresholds else 'shipped'}: "
            f"{thresholds.provenance.in_words()}",
            **self._voyage_files(),
            "date order": self.date_order or "as each file shows",
            "time zone of times without one": self.time_zone or "as each file shows, else UTC",
            "layout": self.layout or "as each file shows",
        }

    def _voyage_files(self) -> dict[str, str]:
        files = {
            "facts file": self.voyage.facts,
            "custody events": self.voyage.events,
            "work notes": self.voyage.notes,
            "commodities": self.voyage.goods,
            "protocols": self.voyage.protocols,
        }
        return {words: path.name for words, path in files.items() if path}

    def _other_refrigerants(self) -> list[str]:
        """For example: R404A in 2 (CSQU3054383, TASU1170000)."""
        others: dict[str, list[str]] = {}
        for container, name in sorted(self.refrigerants.items()):
            if canonical(name) != canonical(self.refrigerant):
                others.setdefault(canonical(name), []).append(container)
        return [f"{name} in {len(units)} ({', '.join(units)})" for name, units in sorted(others.items())]


@dataclass(frozen=True, slots=True)
class Analysis:
    """What the stages after intake found; the frames are the tables of :mod:`coldsift.schema`.

    The timeline has ``evaporating`` and ``condensing`` [°C] beside what
    :func:`coldsift.regimes.build_timeline` gives; peer groups, members and distances are those of
    :class:`coldsift.peers.Comparison`.
    """

    timeline: pl.DataFrame
    voyage_events: pl.DataFrame
    defrosts: pl.DataFrame
    excursions: pl.DataFrame
    unit_days: pl.DataFrame
    features: pl.DataFrame
    peer_groups: pl.DataFrame
    peer_members: pl.DataFrame
    peer_bands: pl.DataFrame
    distances: pl.DataFrame
    causes: pl.DataFrame
    evidence: pl.DataFrame
    findings: pl.DataFrame
    reasons: pl.DataFrame


@dataclass(frozen=True, slots=True)
class Screening:
    """Everything a screening found: the log as read, where every row went, and the analysis."""

    settings: Settings
    log: pl.DataFrame
    analysis: Analysis
    voyage: Voyage
    passage: Passage
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
        if self.findings.is_empty():
            return Status.NOTHING_USABLE
        unusable = any(message.severity == "error" for message in self.messages)
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
    """
    settings = settings or Settings()
    voyage = read_voyage(settings.voyage, settings.time_zone, settings.date_order)
    intake = read_logs(
        paths,
        parsers=settings.parsers,
        progress=progress,
        date_order=settings.date_order,
        time_zone=settings.time_zone,
        layout=settings.layout,
    )
    settings = _with_stated_refrigerants(intake, settings)
    settings = replace(settings, bands=bands_of(settings.bands, voyage.facts, intake.log["container"]))
    analysis = analyse(intake.log, settings, progress)
    analysis = replace(analysis, findings=with_positions(analysis.findings, voyage.facts))
    if progress:
        progress("cargo", 0, 1)
    passage = passage_of(analysis.timeline, analysis.excursions, analysis.defrosts, voyage)
    return Screening(
        settings=settings,
        log=intake.log,
        analysis=analysis,
        voyage=voyage,
        passage=passage,
        set_aside=intake.set_aside,
        sources=intake.sources,
        messages=(
            *_all_messages(intake),
            *_unmatched(settings.voyage, voyage, intake.log["container"]),
            *_double_places(settings.voyage, voyage),
        ),
        invented=_is_invented(paths),
    )


def analyse(log: pl.DataFrame, settings: Settings, progress: Progress | None = None) -> Analysis:
    """Take a common log through every stage after intake.

    Parameters
    ----------
    log
        Common log, sorted by container and time.
    settings
        Bands and grace time.
    progress
        Called as the work goes on.

    Returns
    -------
    Analysis
        The tables of every stage.
    """
    tell = progress or (lambda what, done, total: None)
    stages = ("regimes", "features", "excursions", "peers", "causes", "ranking")

    def at(stage: str) -> None:
        tell(stage, stages.index(stage), len(stages))

    at("regimes")
    timeline = build_timeline(log, settings.bands)
    voyage_events = find_voyage_events(regime_intervals(timeline))
    timeline = mark_shared(timeline, voyage_events)
    defrosts = find_defrosts(timeline)
    traits = unit_traits(timeline)
    at("features")
    kept = [*timeline.columns, *DRAWN_COLUMNS]
    timeline = with_saturation(timeline, settings.refrigerants, settings.refrigerant)
    features = unit_features(timeline, defrosts)
    timeline = timeline.select(kept)
    at("excursions")
    excursions = find_excursions(timeline, settings.grace_hours)
    days = unit_days(timeline, defrosts, excursions)
    at("peers")
    comparison = compare(features, traits, FEATURES)
    bands = peer_bands(timeline, comparison.members, comparison.oddness)
    at("causes")
    catalogue = load_catalogue(settings.causes)
    judgement = judge(comparison.distances, catalogue, BASES)
    checks = first_checks(judgement.causes, catalogue)
    at("ranking")
    ranking = rank(
        comparison,
        traits,
        timeline,
        excursions,
        judgement.causes,
        checks,
        load_thresholds(settings.thresholds),
    )
    tell("ranking", len(stages), len(stages))
    return Analysis(
        timeline=timeline,
        voyage_events=voyage_events,
        defrosts=defrosts,
        excursions=excursions,
        unit_days=days,
        features=comparison.features,
        peer_groups=comparison.oddness,
        peer_members=comparison.members,
        peer_bands=bands,
        distances=comparison.distances,
        causes=judgement.causes,
        evidence=judgement.evidence,
        findings=ranking.findings,
        reasons=ranking.reasons,
    )


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


def _all_messages(intake: Intake) -> tuple[Message, ...]:
    """Messages of the whole intake and of each source, each once, in order."""
    messages = dict.fromkeys(intake.messages)
    for source in intake.sources:
        messages.update(dict.fromkeys(source.messages))
    return tuple(messages)


def _unmatched(files: VoyageFiles, voyage: Voyage, containers: pl.Series) -> list[Message]:
    """A warning for each voyage file that names containers of which there is no log."""
    logged = set(containers)
    named = (
        (files.facts, set(voyage.facts.units)),
        (files.events, set(voyage.custody["container"])),
        (files.notes, set(voyage.notes["container"])),
    )
    return [
        Message(
            "warning",
            path.name,
            None,
            f"{len(names - logged)} of the containers it names have no log here: "
            f"{', '.join(sorted(names - logged)[:3])}.",
            "Check the numbers; nothing else of the file is affected.",
        )
        for path, names in named
        if path and names - logged
    ]


def _double_places(files: VoyageFiles, voyage: Voyage) -> list[Message]:
    """A warning for each place on board that the facts give to more than one container."""
    there: dict[str, list[str]] = {}
    for container, unit in voyage.facts.units.items():
        if unit.position:
            there.setdefault(unit.position, []).append(container)
    return [
        Message(
            "warning",
            files.facts.name,
            None,
            f"{' and '.join(containers)} are given one place on board, {place}.",
            "Correct it, unless one had left before the other came.",
        )
        for place, containers in there.items()
        if files.facts and len(containers) > 1
    ]


def _is_invented(paths: Sequence[Path | str]) -> bool:
    """True when a folder says of itself, in voyage.json, that its logs are simulated."""
    for path in paths:
        note = Path(path) / "voyage.json"
        if note.is_file():
            try:
                return bool(json.loads(note.read_text(encoding="utf-8"))["invented"])
            except (ValueError, KeyError, TypeError):
                return False
    return False
