"""The papers of the voyage, read and checked against each other and against the logs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from coldsift.cargo import Goods, UnknownCommodity, find_commodity, load_goods
from coldsift.intake import Message
from coldsift.protocols import ProtocolError, find_protocol, load_protocols
from coldsift.regimes import Bands
from coldsift.schema import BOOKINGS, CUSTODY, NOTES, PLAN, SPARES, Table
from coldsift.voyage import (
    CustodyEvents,
    Facts,
    FactsError,
    StowagePlan,
    TableError,
    read_bookings,
    read_events,
    read_facts,
    read_notes,
    read_plan,
    read_spares,
)
from coldsift.voyage.recognise import voyage_table

_Reader = Callable[[Path, str | None, str | None], pl.DataFrame]
"""Reads a table that a person keeps by hand, with the zone and the order of day and month of its times."""

_BEGIN = 65536
"""Bytes from the begin of a file that show what paper it is."""


@dataclass(frozen=True, slots=True)
class VoyageFiles:
    """Files on the voyage that the user gave; all optional.

    Attributes
    ----------
    facts
        Cargo, place on board, contract limits, treatment ordered (TOML).
    plan
        Stowage plan (BAPLIE or CSV).
    bookings
        Booked set points (CSV).
    events
        Custody events (CSV or EPCIS JSON).
    notes
        Work notes (CSV).
    spares
        Spare parts on board (CSV).
    goods
        The user's own commodities (TOML), read over the shipped ones.
    protocols
        The user's own cold-treatment protocols, read over the shipped ones.
    """

    facts: Path | None = None
    plan: Path | None = None
    bookings: Path | None = None
    events: Path | None = None
    notes: Path | None = None
    spares: Path | None = None
    goods: Path | None = None
    protocols: Path | None = None


@dataclass(frozen=True, slots=True)
class Voyage:
    """What the voyage files say, checked against each other; the frames are tables of the schema."""

    facts: Facts = field(default_factory=Facts)
    plan: pl.DataFrame = field(default_factory=PLAN.empty)
    bookings: pl.DataFrame = field(default_factory=BOOKINGS.empty)
    custody: pl.DataFrame = field(default_factory=CUSTODY.empty)
    notes: pl.DataFrame = field(default_factory=NOTES.empty)
    spares: pl.DataFrame = field(default_factory=SPARES.empty)
    goods: Goods = field(default_factory=load_goods)
    messages: tuple[Message, ...] = ()


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
    with _told_apart(files.plan, "--plan"):
        plan = read_plan(files.plan) if files.plan else StowagePlan(PLAN.empty(), ())
    with _told_apart(files.events, "--events"):
        events = (
            read_events(files.events, time_zone, date_order)
            if files.events
            else CustodyEvents(CUSTODY.empty())
        )

    def read(path: Path | None, option: str, reader: _Reader, table: Table) -> pl.DataFrame:
        with _told_apart(path, option):
            return reader(path, time_zone, date_order) if path else table.empty()

    return Voyage(
        facts=facts,
        plan=plan.table,
        bookings=read(files.bookings, "--bookings", read_bookings, BOOKINGS),
        custody=events.table,
        notes=read(files.notes, "--notes", read_notes, NOTES),
        spares=read(files.spares, "--spares", read_spares, SPARES),
        goods=goods,
        messages=(*plan.messages, *events.messages),
    )


@contextmanager
def _told_apart(path: Path | None, option: str) -> Iterator[None]:
    """Where a paper cannot be read with its option and looks like one of another, the refusal says so."""
    try:
        yield
    except TableError as error:
        paper = voyage_table(path.read_bytes()[:_BEGIN]) if path and path.is_file() else None
        if path is None or paper is None or paper[1] == option:
            raise
        raise TableError(f"{error} If these are {paper[0]}, give the file with {paper[1]}.") from error


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


def with_positions(findings: pl.DataFrame, voyage: Voyage) -> pl.DataFrame:
    """Findings with each unit's place on board: by the plan, else by the facts, else null."""
    planned = dict(voyage.plan.select("container", "position").drop_nulls().iter_rows())
    places = {container: unit.position for container, unit in voyage.facts.units.items()} | planned
    return findings.with_columns(
        position=pl.col("container").replace_strict(places, default=None, return_dtype=pl.String)
    )


def paper_messages(files: VoyageFiles, voyage: Voyage, logged: pl.Series) -> tuple[Message, ...]:
    """What there is to say of the papers beside the logs.

    Parameters
    ----------
    files, voyage
        The files given, and what they say.
    logged
        Containers with a log.

    Returns
    -------
    tuple of Message
        What the plan's reader found, containers without a log that a paper names, and places that two papers
        or two containers do not agree on.
    """
    return (
        *voyage.messages,
        *_without_log(files, voyage, set(logged)),
        *_double_places(files, voyage),
        *_two_places(files, voyage),
    )


def _without_log(files: VoyageFiles, voyage: Voyage, logged: set[str]) -> Iterator[Message]:
    named = (
        (files.facts, set(voyage.facts.units)),
        (files.bookings, set(voyage.bookings["container"])),
        (files.events, set(voyage.custody["container"])),
        (files.notes, set(voyage.notes["container"])),
    )
    for path, names in named:
        if path and names - logged:
            yield Message(
                "warning",
                path.name,
                None,
                f"{len(names - logged)} of the containers it names have no log here: "
                f"{', '.join(sorted(names - logged)[:3])}.",
                "Check the numbers; nothing else of the file is affected.",
            )


def _double_places(files: VoyageFiles, voyage: Voyage) -> Iterator[Message]:
    """Places on board that the facts give to more than one container."""
    there: dict[str, list[str]] = {}
    for container, unit in voyage.facts.units.items():
        if unit.position:
            there.setdefault(unit.position, []).append(container)
    for place, containers in there.items():
        if files.facts and len(containers) > 1:
            yield Message(
                "warning",
                files.facts.name,
                None,
                f"{' and '.join(containers)} are given one place on board, {place}.",
                "Correct it, unless one had left before the other came.",
            )


def _two_places(files: VoyageFiles, voyage: Voyage) -> Iterator[Message]:
    """Containers that stand elsewhere by the facts than by the plan."""
    planned = dict(voyage.plan.select("container", "position").drop_nulls().iter_rows())
    apart = [
        f"{container} {unit.position}, not {planned[container]}"
        for container, unit in voyage.facts.units.items()
        if unit.position and planned.get(container, unit.position) != unit.position
    ]
    if files.facts and apart:
        yield Message(
            "warning",
            files.facts.name,
            None,
            f"It gives {len(apart)} containers another place than the stowage plan: {', '.join(apart[:3])}.",
            "The plan's place is shown. Correct the one that is wrong.",
        )
