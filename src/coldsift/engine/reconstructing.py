"""One container's reconstruction, put together from a screening of all the logs."""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from importlib import metadata
from pathlib import Path

import polars as pl

import coldsift
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
from coldsift.engine.screening import Screening
from coldsift.engine.settings import Settings
from coldsift.engine.write import LIBRARIES
from coldsift.features import DRAWN_COLUMNS
from coldsift.intake import times
from coldsift.peers import peers_then
from coldsift.protocols import find_protocol, judge_treatment
from coldsift.schema import CUSTODY

MOST_EVIDENCE = 4
"""Pieces of evidence told of each cause, on either side."""


class DossierError(ValueError):
    """A reconstruction that cannot be made: what is wrong, and what to do."""


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


def reconstruct(screening: Screening, request: Request) -> Reconstruction:
    """Put one container's tables together and answer the five questions.

    Parameters
    ----------
    screening
        Of all the logs: the others are what the container is compared with.
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
    container = _known(screening, request.container)
    analysis, passage, settings = screening.analysis, screening.passage, screening.settings

    def own(frame: pl.DataFrame) -> pl.DataFrame:
        return frame.filter(pl.col("container") == container)

    # Bundles keep their columns: earlier ones must still be verified.
    whole = own(analysis.timeline).drop(DRAWN_COLUMNS)
    start, end = _window(whole, container, request)

    def within(frame: pl.DataFrame, begin: str = "start", last: str = "end") -> pl.DataFrame:
        return own(frame).filter(pl.col(begin) <= end, (pl.col(last) >= start).fill_null(True))

    timeline = whole.filter(pl.col("time").is_between(start, end))
    excursions = within(analysis.excursions)
    main = main_excursion(excursions)
    parts = own(passage.excursion_parts).filter(pl.col("excursion").is_in(excursions["start"].implode()))
    custody = within(screening.voyage.custody)
    notes = within(screening.voyage.notes, "time", "time")
    set_points = own(analysis.set_points).filter(
        (pl.col("start") <= end).fill_null(True), (pl.col("end") >= start).fill_null(True)
    )
    repairs = within(screening.aboard.repairs, "time", "time")
    gaps, defrosts = within(passage.gaps), within(analysis.defrosts)
    cargoes = tuple(cargo for cargo in passage.cargoes if cargo.container == container)
    cargo_temperature = cargo_temperatures(whole, cargoes).filter(pl.col("time").is_between(start, end))
    peers = peers_then(analysis.timeline, container, start, end)
    sources = tuple(_sources(screening, timeline))
    treatment = _treatment(screening, container, whole)
    causes = tuple(_causes(screening, container, load_catalogue(settings.causes)))
    left_out = own(analysis.excursions).height - excursions.height
    untold = cannot_tell(timeline, gaps, custody, sources, left_out)
    shifted = sensitivity(whole, main, settings.grace_hours) if main else ()
    told = Findings(
        timeline=timeline,
        excursions=excursions,
        excursion_parts=parts,
        gaps=gaps,
        cargo=own(passage.cargo),
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
        defrost_rises=within(passage.defrost_rises),
        gaps=gaps,
        defrosts=defrosts,
        cargo=told.cargo,
        cargo_temperatures=cargo_temperature,
        cargo_notes=tuple(note for cargo in cargoes for note in cargo_notes(whole, cargo, cargo_temperature)),
        peers=peers,
        custody=custody,
        notes=notes,
        set_points=set_points,
        repairs=repairs,
        set_aside=_set_aside(screening, container, sources),
        main_excursion=main["start"] if main else None,
        sensitivity=shifted,
        causes=causes,
        treatment=treatment,
        events=timeline_events(
            timeline,
            excursions,
            defrosts,
            gaps,
            analysis.voyage_events,
            custody,
            notes,
            set_points,
            repairs,
        ),
        cannot_tell=untold,
        cautions=CAUTIONS,
        sources=sources,
        other_sources=len(screening.sources) - len(sources),
        files=tuple(
            FileNote(INPUTS[key], path.name, digest(path)) for key, path in input_files(settings).items()
        ),
        clock_checks=tuple(_clock_checks(screening, container, sources)),
        parameters=settings.in_words(),
        versions=versions(),
        reproduce="coldsift dossier --verify BUNDLE SOURCES, the log files as SOURCES",
        invented=screening.invented,
    )


def versions() -> dict[str, str]:
    """The versions of coldsift and of the libraries that shape numbers and pages."""
    libraries = (*LIBRARIES, "matplotlib")
    return {"coldsift": coldsift.__version__} | {name: metadata.version(name) for name in libraries}


INPUTS = {
    "facts": "Facts on the containers",
    "plan": "Stowage plan",
    "bookings": "Bookings",
    "events": "Custody events",
    "notes": "Work notes",
    "spares": "Spare parts",
    "goods": "Own commodities",
    "protocols": "Own protocols",
    "causes": "Own cause catalogue",
    "thresholds": "Own thresholds",
}
"""What may be given beside the logs and shapes what is told."""


def input_files(settings: Settings) -> dict[str, Path]:
    """Files that were given beside the logs, by their key in :data:`INPUTS`."""
    given = {
        **asdict(settings.voyage),
        "causes": settings.causes,
        "thresholds": settings.thresholds,
    }
    return {key: given[key] for key in INPUTS if given[key] is not None}


def digest(path: Path) -> str:
    """SHA-256 of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _known(screening: Screening, asked: str) -> str:
    known = screening.log["container"].unique().sort().to_list()
    number = container_numbers.tidy(asked)
    if number in known:
        return str(number)
    near = difflib.get_close_matches(number, known, n=3)
    fault = container_numbers.fault(number)
    told = f" ({fault})" if fault else ""
    hint = (
        f"Near it: {', '.join(near)}."
        if near
        else f"There are {len(known)}, from {known[0]} to {known[-1]}."
        if known
        else "No container could be read."
    )
    raise DossierError(f"no container {asked!r}{told} in these logs. {hint}")


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


def _sources(screening: Screening, timeline: pl.DataFrame) -> Iterator[SourceNote]:
    rows = dict(timeline.group_by("source").len().iter_rows())
    for source in screening.sources:
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


def _set_aside(screening: Screening, container: str, sources: tuple[SourceNote, ...]) -> pl.DataFrame:
    """Rows set aside of the container, and rows of its files of which nobody knows whose they are."""
    of_its_files = pl.col("source").is_in([source.id for source in sources])
    whose = pl.col("container")
    return screening.set_aside.filter((whose == container) | (whose.is_null() & of_its_files))


def _causes(screening: Screening, container: str, catalogue: Catalogue) -> Iterator[CauseNote]:
    own = (
        screening.causes.filter(pl.col("container") == container)
        .unique("cause", keep="first", maintain_order=True)
        .sort("place")
        .filter(pl.col("cause_chance") >= WORTH_NAMING)
        .head(NAMED_CAUSES)
    )
    evidence = screening.evidence.filter(pl.col("container") == container)
    for cause, chance, together in own.select("cause", "cause_chance", "together").iter_rows():
        told = evidence.filter(pl.col("cause") == cause)
        pair = f": {' and '.join(map(catalogue.name, together.split(', ')))}" if together else ""
        sides = {
            side: tuple(told.filter(pl.col("side") == side)["words"].head(MOST_EVIDENCE))
            for side in ("for", "against")
        }
        yield CauseNote(cause, f"{catalogue.name(cause)}{pair}", chance, sides["for"], sides["against"])


def _treatment(screening: Screening, container: str, timeline: pl.DataFrame) -> TreatmentNote | None:
    unit = screening.voyage.facts.of(container)
    if not unit.protocol:
        return None
    protocol = find_protocol(unit.protocol, screening.settings.voyage.protocols)
    judged = judge_treatment(timeline, protocol, unit.probes, unit.ice_point)
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


def _clock_checks(screening: Screening, container: str, sources: tuple[SourceNote, ...]) -> Iterator[str]:
    for source in sources:
        yield f"{source.path}: times were put in UTC by this: {source.clock}."
        for message in source.messages:
            if any(
                word in message for word in ("clock", "out of order", "sorted", "gap in the log", "Dates")
            ):
                yield f"{source.path}: {message}"
    lag = screening.features.filter(pl.col("container") == container, pl.col("feature") == "clock_lag")
    for value, reason in lag.select("value", "reason").iter_rows():
        if value is None:
            yield f"Its clock could not be held against the other units: {reason or 'too little to compare'}."
        else:
            yield f"Against the other units its day and night stand {value:+.1f} h apart (0 is in step)."
    if screening.voyage.custody.equals(CUSTODY.empty()):
        yield "No custody events to hold the log's begin and end against."
