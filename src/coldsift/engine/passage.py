"""What each cargo went through: excursions in parts, gaps, rises in defrost, cargo temperature."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from coldsift.cargo import (
    Cargo,
    Goods,
    UnknownCommodity,
    cargo_outlook,
    cargoes_of,
    find_commodity,
    load_goods,
)
from coldsift.excursions import divide, find_defrost_rises, find_gaps
from coldsift.protocols import ProtocolError, find_protocol, load_protocols
from coldsift.regimes import Bands
from coldsift.schema import CUSTODY, NOTES
from coldsift.voyage import Facts, FactsError, UnitFacts, read_custody, read_facts, read_notes


@dataclass(frozen=True, slots=True)
class VoyageFiles:
    """Files on the voyage that the user gave; all optional.

    Attributes
    ----------
    facts
        Cargo, place on board, contract limits, treatment ordered (TOML).
    events
        Custody events (CSV).
    notes
        Work notes (CSV).
    goods
        The user's own commodities (TOML), read over the shipped ones.
    protocols
        The user's own cold-treatment protocols, read over the shipped ones.
    """

    facts: Path | None = None
    events: Path | None = None
    notes: Path | None = None
    goods: Path | None = None
    protocols: Path | None = None


@dataclass(frozen=True, slots=True)
class Voyage:
    """What the voyage files say, checked against each other."""

    facts: Facts
    custody: pl.DataFrame
    notes: pl.DataFrame
    goods: Goods


@dataclass(frozen=True, slots=True)
class Passage:
    """Tables of :mod:`coldsift.schema` on what each cargo went through, and what each cargo is taken for."""

    excursion_parts: pl.DataFrame
    defrost_rises: pl.DataFrame
    gaps: pl.DataFrame
    cargo: pl.DataFrame
    cargoes: tuple[Cargo, ...]


def read_voyage(files: VoyageFiles, time_zone: str | None = None, date_order: str | None = None) -> Voyage:
    """Read the voyage files.

    Raises
    ------
    FactsError, TableError, GoodsError, ProtocolError
        When a file cannot be used; a facts file that names a commodity, a packaging or a protocol that there
        is not counts as one.
    """
    goods = load_goods(files.goods)
    load_protocols(files.protocols)
    facts = read_facts(files.facts) if files.facts else Facts()
    faults = []
    for where, unit in (("every_unit", facts.every), *facts.units.items()):
        try:
            if unit.cargo:
                find_commodity(unit.cargo, goods)
            if unit.protocol:
                find_protocol(unit.protocol, files.protocols)
        except (UnknownCommodity, ProtocolError) as error:
            faults.append(f"{where}: {error}")
        if unit.packaging and unit.packaging not in goods.packagings:
            faults.append(
                f"{where}: no packaging {unit.packaging!r}; there are {', '.join(goods.packagings)}"
            )
    if faults and files.facts:
        raise FactsError(f"{files.facts.name}: {' '.join(faults)}")
    custody = read_custody(files.events, time_zone, date_order) if files.events else CUSTODY.empty()
    notes = read_notes(files.notes, time_zone, date_order) if files.notes else NOTES.empty()
    return Voyage(facts, custody, notes, goods)


def bands_of(bands: Bands, facts: Facts, containers: pl.Series) -> Bands:
    """The bands with what the facts say over them: of a unit, and of a class where ``bands`` is as usual."""
    usual = Bands()
    own = {
        container: (unit.band_below, unit.band_above)
        for container in containers.unique().sort()
        if (unit := facts.of(container)) and (unit.band_below, unit.band_above) != (None, None)
    }
    return replace(
        bands,
        chilled=facts.band_chilled or bands.chilled if bands.chilled == usual.chilled else bands.chilled,
        frozen=facts.band_frozen or bands.frozen if bands.frozen == usual.frozen else bands.frozen,
        units={**bands.units, **own},
    )


def with_positions(findings: pl.DataFrame, facts: Facts) -> pl.DataFrame:
    """Findings with each unit's place on board, null where the facts name none."""
    places = {container: unit.position for container, unit in facts.units.items()}
    return findings.with_columns(
        position=pl.col("container").replace_strict(places, default=None, return_dtype=pl.String)
    )


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
