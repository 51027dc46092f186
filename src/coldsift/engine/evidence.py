"""What is known of one container, from a screening of its voyage or from an archive that keeps one."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import polars as pl

from coldsift import container_numbers
from coldsift.cargo import Cargo
from coldsift.engine.settings import Settings
from coldsift.engine.versions import versions
from coldsift.features import DRAWN_COLUMNS
from coldsift.intake import SourceRecord
from coldsift.peers import unit_hours
from coldsift.voyage import UnitFacts

if TYPE_CHECKING:
    from coldsift.engine.screening import Screening


class DossierError(ValueError):
    """A reconstruction that cannot be made: what is wrong, and what to do."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of one container; the frames are tables of :mod:`coldsift.schema`, its own rows of each.

    Attributes
    ----------
    container
        Its number.
    settings
        Of the screening, without what is for the work on board alone.
    facts, cargoes
        What is known of the container, and what its cargo is taken for.
    timeline
        From :func:`coldsift.regimes.build_timeline`, with ``shared``.
    hours
        ``UNIT_HOURS`` of every unit of the voyage.
    voyage_events
        Of the whole voyage.
    excursions, excursion_parts, defrost_rises, gaps, defrosts, cargo, custody, notes, set_points, repairs, \
causes, evidence, features, clocks
        Tables of these names.
    custody_given
        True when custody events of any container are known.
    set_aside
        ``SET_ASIDE``, also the rows of which nobody knows whose they are.
    sources
        All that were read for the voyage.
    versions
        Of what the screening was made with.
    invented
        True when the logs are made up.
    """

    container: str
    settings: Settings
    facts: UnitFacts
    cargoes: tuple[Cargo, ...]
    timeline: pl.DataFrame
    hours: pl.DataFrame
    voyage_events: pl.DataFrame
    excursions: pl.DataFrame
    excursion_parts: pl.DataFrame
    defrost_rises: pl.DataFrame
    gaps: pl.DataFrame
    defrosts: pl.DataFrame
    cargo: pl.DataFrame
    custody: pl.DataFrame
    custody_given: bool
    notes: pl.DataFrame
    set_points: pl.DataFrame
    repairs: pl.DataFrame
    causes: pl.DataFrame
    evidence: pl.DataFrame
    features: pl.DataFrame
    clocks: pl.DataFrame
    set_aside: pl.DataFrame
    sources: tuple[SourceRecord, ...]
    versions: Mapping[str, str]
    invented: bool


class ScreenedVoyage(Protocol):
    """A voyage that was screened, just now or once."""

    def of_container(self, asked: str) -> Evidence:
        """What is known of a container, whose number may be spelled in any way.

        Raises
        ------
        DossierError
            When there is no such container; near ones are named.
        """


def evidence_of(screening: Screening, asked: str) -> Evidence:
    """What a screening knows of a container.

    Raises
    ------
    DossierError
        When there is no such container; near ones are named.
    """
    analysis, passage = screening.analysis, screening.passage
    units = analysis.timelines.batches
    container = known(asked, sorted(name for batch in units for name in batch.containers), "these logs")

    def own(frame: pl.DataFrame) -> pl.DataFrame:
        return frame.filter(pl.col("container") == container)

    return Evidence(
        container=container,
        settings=of_a_container(screening.settings),
        facts=screening.voyage.facts.of(container),
        cargoes=tuple(cargo for cargo in passage.cargoes if cargo.container == container),
        # Bundles keep their columns: earlier ones must still be verified.
        timeline=analysis.timelines.of([container]).drop(DRAWN_COLUMNS),
        hours=pl.concat(screening.runner.each(unit_hours, ((batch.timeline,) for batch in units))),
        voyage_events=analysis.voyage_events,
        excursions=own(analysis.excursions),
        excursion_parts=own(passage.excursion_parts),
        defrost_rises=own(passage.defrost_rises),
        gaps=own(passage.gaps),
        defrosts=own(analysis.defrosts),
        cargo=own(passage.cargo),
        custody=own(screening.voyage.custody),
        custody_given=not screening.voyage.custody.is_empty(),
        notes=own(screening.voyage.notes),
        set_points=own(analysis.set_points),
        repairs=own(screening.aboard.repairs),
        causes=own(analysis.causes),
        evidence=own(analysis.evidence),
        features=own(analysis.features),
        clocks=own(analysis.clocks),
        set_aside=screening.set_aside.filter(whose(container)),
        sources=screening.sources,
        versions=versions(),
        invented=screening.invented,
    )


def whose(container: str) -> pl.Expr:
    """Rows of a container, and rows of which nobody knows whose they are."""
    return (pl.col("container") == container) | pl.col("container").is_null()


def of_a_container(settings: Settings) -> Settings:
    """The settings without what is for the work on board alone, and says nothing of a container."""
    return replace(settings, since=None, round_hours=None, voyage=replace(settings.voyage, spares=None))


def known(asked: str, there: Sequence[str], where: str) -> str:
    """The container that is asked for.

    Parameters
    ----------
    asked
        In any spelling.
    there
        All there are, sorted.
    where
        In words, as in "no container in these logs".

    Raises
    ------
    DossierError
        When it is none of them; near ones are named.
    """
    number = container_numbers.tidy(asked)
    if number in there:
        return str(number)
    near = difflib.get_close_matches(number, there, n=3)
    fault = container_numbers.fault(number)
    told = f" ({fault})" if fault else ""
    hint = (
        f"Near it: {', '.join(near)}."
        if near
        else f"There are {len(there)}, from {there[0]} to {there[-1]}."
        if there
        else "No container could be read."
    )
    raise DossierError(f"no container {asked!r}{told} in {where}. {hint}")
