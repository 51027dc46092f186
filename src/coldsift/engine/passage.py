"""What each cargo went through: excursions in parts, gaps, rises in defrost, cargo temperature."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from coldsift.cargo import Cargo, cargo_outlook, cargoes_of
from coldsift.engine.papers import Voyage
from coldsift.excursions import divide, find_defrost_rises, find_gaps
from coldsift.voyage import UnitFacts


@dataclass(frozen=True, slots=True)
class Passage:
    """Tables of :mod:`coldsift.schema` on what each cargo went through, and what each cargo is taken for."""

    excursion_parts: pl.DataFrame
    defrost_rises: pl.DataFrame
    gaps: pl.DataFrame
    cargo: pl.DataFrame
    cargoes: tuple[Cargo, ...]


def passage_of(
    timeline: pl.DataFrame, excursions: pl.DataFrame, defrosts: pl.DataFrame, voyage: Voyage
) -> Passage:
    """Reckon what each cargo went through.

    Parameters
    ----------
    timeline, excursions, defrosts
        From the stages before.
    voyage
        What is known beyond the logs.

    Returns
    -------
    Passage
        Sorted as the schema says.
    """
    units: dict[str, UnitFacts] = {
        container: voyage.facts.of(container) for container in timeline["container"].unique().sort()
    }
    cargoes = cargoes_of(timeline, units, voyage.goods)
    return Passage(
        excursion_parts=divide(timeline, excursions, voyage.custody),
        defrost_rises=find_defrost_rises(timeline, defrosts),
        gaps=find_gaps(timeline),
        cargo=cargo_outlook(timeline, cargoes),
        cargoes=cargoes,
    )
