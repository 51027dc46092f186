"""One container's reconstruction, put together from what a screening of all the logs knows of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from coldsift import container_numbers
from coldsift.cargo import cargo_notes, cargo_temperatures
from coldsift.causes import NAMED_CAUSES, WORTH_NAMING, Catalogue, load_catalogue
from coldsift.dossier.answers import Findings, answers, main_excursion
from coldsift.dossier.events import timeline_events
from coldsift.dossier.model import (
    CauseNote,
    FileNote,
    Reconstruction,
    SourceNote,
    TreatmentNote,
)
from coldsift.dossier.sensitivity import sensitivity
from coldsift.dossier.untold import CAUTIONS, cannot_tell
from coldsift.engine.evidence import DossierError, Evidence, ScreenedVoyage
from coldsift.engine.inputs import WORDS, digest
from coldsift.engine.versions import versions
from coldsift.intake import SourceRecord, times
from coldsift.peers import peers_then
from coldsift.protocols import find_protocol, judge_treatment

MOST_EVIDENCE = 4
"""Pieces of evidence told of each cause, on either side."""


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked for.

    Attributes
    ----------
    container
        As written.
    start, end
        Window, UTC; from the container's first reading and to its last where None.
    """

    container: str
    start: datetime | None = None
    end: datetime | None = None


def instant(text: str, option: str, zone: str | None, date_order: str | None) -> datetime:
    """A time as the user writes it, in UTC.

    Raises
    ------
    DossierError
        When it is no time, or can be read in two ways.
    WrongCall
        When ``zone`` is no time zone.
    """
    column = pl.Series([text.strip()])
    try:
        parsed = times.parse(column, None, date_order)
    except times.AmbiguousDateOrder:
        raise DossierError(
            f"{option} {text!r} can be day or month first. Write it as 2026-01-31, or give --date-order."
        ) from None
    known = parsed.instant.dt.replace_time_zone("UTC")[0]
    found: datetime | None = (
        known or times.to_utc(parsed.naive, times.given_zone(zone) or "UTC", column).instant[0]
    )
    if found is None:
        raise DossierError(f"{option} {text!r} is no time. Write it as 2026-01-31 or 2026-01-31T10:00Z.")
    return found


def reconstruct(voyage: ScreenedVoyage, request: Request) -> Reconstruction:
    """Put one container's tables together and answer the five questions.

    Parameters
    ----------
    voyage
        Screened, with all its units: the others are what the container is compared with.
    request
        Container and window.

    Returns
    -------
    Reconstruction
        Tables hold what overlaps the window; excursions are not cut at its edges.

    Raises
    ------
    DossierError
        When there is no such container (near ones are named), or no reading in the window.
    """
    return reconstruct_from(voyage.of_container(request.container), request)


def reconstruct_from(evidence: Evidence, request: Request) -> Reconstruction:
    """The same from the evidence of the container."""
    container, settings, whole = evidence.container, evidence.settings, evidence.timeline
    start, end = _window(whole, container, request)

    def within(frame: pl.DataFrame, begin: str = "start", last: str = "end") -> pl.DataFrame:
        return frame.filter(pl.col(begin) <= end, (pl.col(last) >= start).fill_null(True))

    timeline = whole.filter(pl.col("time").is_between(start, end))
    excursions = within(evidence.excursions)
    main = main_excursion(excursions)
    parts = evidence.excursion_parts.filter(pl.col("excursion").is_in(excursions["start"].implode()))
    custody = within(evidence.custody)
    notes = within(evidence.notes, "time", "time")
    set_points = evidence.set_points.filter(
        (pl.col("start") <= end).fill_null(True), (pl.col("end") >= start).fill_null(True)
    )
    repairs = within(evidence.repairs, "time", "time")
    gaps, defrosts = within(evidence.gaps), within(evidence.defrosts)
    cargo_temperature = cargo_temperatures(whole, evidence.cargoes).filter(
        pl.col("time").is_between(start, end)
    )
    peers = peers_then(evidence.hours, container, start, end)
    sources = tuple(_sources(evidence.sources, timeline))
    treatment = _treatment(evidence)
    causes = tuple(_causes(evidence, load_catalogue(settings.causes)))
    left_out = evidence.excursions.height - excursions.height
    untold = (*cannot_tell(timeline, gaps, custody, sources, left_out), *_clock_apart(evidence))
    shifted = sensitivity(whole, main, settings.grace_hours) if main else ()
    told = Findings(
        timeline=timeline,
        excursions=excursions,
        excursion_parts=parts,
        gaps=gaps,
        cargo=evidence.cargo,
        cargo_temperatures=cargo_temperature,
        peers=peers,
        custody=custody,
        set_points=set_points,
        causes=causes,
        sensitivity=shifted,
        treatment=treatment,
        cannot_tell=untold,
    )
    return Reconstruction(
        container=container,
        number_valid=container_numbers.is_valid(container),
        start=start,
        end=end,
        answers=answers(told),
        timeline=timeline,
        excursions=excursions,
        excursion_parts=parts,
        defrost_rises=within(evidence.defrost_rises),
        gaps=gaps,
        defrosts=defrosts,
        cargo=told.cargo,
        cargo_temperatures=cargo_temperature,
        cargo_notes=tuple(
            note for cargo in evidence.cargoes for note in cargo_notes(whole, cargo, cargo_temperature)
        ),
        peers=peers,
        custody=custody,
        notes=notes,
        set_points=set_points,
        repairs=repairs,
        set_aside=_set_aside(evidence, sources),
        main_excursion=main["start"] if main else None,
        sensitivity=shifted,
        causes=causes,
        treatment=treatment,
        events=timeline_events(
            timeline,
            excursions,
            defrosts,
            gaps,
            evidence.voyage_events,
            custody,
            notes,
            set_points,
            repairs,
        ),
        cannot_tell=untold,
        cautions=CAUTIONS,
        sources=sources,
        other_sources=len(evidence.sources) - len(sources),
        files=tuple(FileNote(WORDS[key], path.name, digest(path)) for key, path in settings.files().items()),
        clock_checks=tuple(_clock_checks(evidence, sources)),
        parameters=settings.in_words(),
        versions=_versions(evidence),
        reproduce="coldsift dossier --verify BUNDLE SOURCES, the log files as SOURCES",
        invented=evidence.invented,
    )


def _versions(evidence: Evidence) -> dict[str, str]:
    """Of the screening and of this program, where they are not the same."""
    here = versions("matplotlib")
    return {
        name: version
        if evidence.versions.get(name, version) == version
        else f"{evidence.versions[name]} for the screening, {version} for the dossier"
        for name, version in here.items()
    }


def _window(timeline: pl.DataFrame, container: str, request: Request) -> tuple[datetime, datetime]:
    first, last = timeline["time"][0], timeline["time"][-1]
    start, end = request.start or first, request.end or last
    if start > end:
        raise DossierError(
            f"the window ends at {end:%Y-%m-%d %H:%M} UTC, before it begins at {start:%Y-%m-%d %H:%M} UTC. "
            "Correct --from or --to."
        )
    if timeline.filter(pl.col("time").is_between(start, end)).is_empty():
        raise DossierError(
            f"{container} has no reading from {start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M} UTC. Its log "
            f"runs from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC; correct --from or --to."
        )
    return max(start, first), min(end, last)


def _sources(sources: Sequence[SourceRecord], timeline: pl.DataFrame) -> Iterator[SourceNote]:
    rows = dict(timeline.group_by("source").len().iter_rows())
    for source in sources:
        if source.id in rows:
            yield SourceNote(
                id=source.id,
                path=source.path,
                sha256=source.sha256,
                size=source.size,
                layout=source.layout or "none",
                clock=source.time_zone or "UTC",
                rows=source.rows,
                used=source.used,
                merged=source.merged,
                set_aside=source.set_aside,
                own_rows=int(rows[source.id]),
                messages=tuple(
                    f"{message.severity}: {message.what} {message.do}".rstrip() for message in source.messages
                ),
            )


def _set_aside(evidence: Evidence, sources: tuple[SourceNote, ...]) -> pl.DataFrame:
    """Rows set aside of the container, and rows of its files of which nobody knows whose they are."""
    of_its_files = pl.col("source").is_in([source.id for source in sources])
    return evidence.set_aside.filter(pl.col("container").is_not_null() | of_its_files)


def _causes(evidence: Evidence, catalogue: Catalogue) -> Iterator[CauseNote]:
    own = (
        evidence.causes.unique("cause", keep="first", maintain_order=True)
        .sort("place")
        .filter(pl.col("cause_chance") >= WORTH_NAMING)
        .head(NAMED_CAUSES)
    )
    for cause, chance, together in own.select("cause", "cause_chance", "together").iter_rows():
        told = evidence.evidence.filter(pl.col("cause") == cause)
        pair = f": {' and '.join(map(catalogue.name, together.split(', ')))}" if together else ""
        sides = {
            side: tuple(told.filter(pl.col("side") == side)["words"].head(MOST_EVIDENCE))
            for side in ("for", "against")
        }
        yield CauseNote(cause, f"{catalogue.name(cause)}{pair}", chance, sides["for"], sides["against"])


def _treatment(evidence: Evidence) -> TreatmentNote | None:
    unit = evidence.facts
    if not unit.protocol:
        return None
    protocol = find_protocol(unit.protocol, evidence.settings.voyage.protocols)
    judged = judge_treatment(evidence.timeline, protocol, unit.probes, unit.ice_point)
    return TreatmentNote(
        name=protocol.name,
        edition=protocol.edition,
        source=f"{protocol.basis.source} ({protocol.basis.standing})",
        about=protocol.about,
        verdict=judged.verdict,
        reason=judged.reason,
        earliest_completion=judged.earliest_completion,
        probes=judged.probes,
        how_counted=protocol.how_counted,
        assumed=judged.assumed,
        days=judged.days,
    )


def _clock_apart(evidence: Evidence) -> Iterator[str]:
    for told in evidence.clocks.filter("apart")["words"]:
        yield f"Its times are those of its own clock, and none is corrected. Against the other units: {told}."


def _clock_checks(evidence: Evidence, sources: tuple[SourceNote, ...]) -> Iterator[str]:
    for source in sources:
        yield f"{source.path}: times were put in UTC by this: {source.clock}."
        for message in source.messages:
            if any(
                word in message for word in ("clock", "out of order", "sorted", "gap in the log", "Dates")
            ):
                yield f"{source.path}: {message}"
    for told in evidence.clocks["words"]:
        yield f"Its clock against those of the other units: {told}."
    # Of a voyage that an earlier version kept, whole hours are all there is.
    lag = evidence.features.filter(pl.col("feature") == "clock_lag", evidence.clocks.is_empty())
    for value, reason in lag.select("value", "reason").iter_rows():
        if value is None:
            yield f"Its clock could not be held against the other units: {reason or 'too little to compare'}."
        else:
            yield f"Against the other units its day and night stand {value:+.1f} h apart (0 is in step)."
    if not evidence.custody_given:
        yield "No custody events to hold the log's begin and end against."
