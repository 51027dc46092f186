"""From paths to the timeline of every unit, a batch of files and then a batch of units at a time.

Goes in: paths and settings. Comes out: what was read of every source, then batches of units with their
timelines kept where they were made, and the little that the whole voyage needs of each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, TypeVar

import polars as pl

from coldsift.clocks import outages
from coldsift.engine.running import Kept, Runner
from coldsift.features import clock_marks
from coldsift.intake import Message, ReadOptions, SourceRecord
from coldsift.intake.declaration import Layout
from coldsift.intake.files import Found, gather
from coldsift.intake.layouts import load_layouts
from coldsift.intake.merge import REPEATS
from coldsift.intake.read import ReadSource, read_files
from coldsift.intake.together import (
    account_repeats,
    all_messages,
    all_set_aside,
    in_path_order,
    merge_rows,
    stated_refrigerants,
)
from coldsift.peers import peer_span
from coldsift.regimes import Bands, build_timeline, regime_intervals, shareable
from coldsift.schema import COMMON_LOG

Progress = Callable[[str, int, int], None]
"""Told what is being done, how much of it is done, and out of how much."""

BYTES_A_BATCH = 16 * 1024**2
"""Files are read together up to this size. A file is never divided."""

ROWS_A_BATCH = 300_000
"""Units are analysed together up to so many readings: enough that a step costs more than its beginning, few
enough for a laptop's memory. A unit is never divided."""

Frames = TypeVar("Frames")


def together(parts: Sequence[Frames]) -> Frames:
    """One dataclass of frames and tuples from several of a kind, each field put one behind the other."""
    first = parts[0]

    def joined(name: str) -> Any:
        values = [getattr(part, name) for part in parts]
        return pl.concat(values) if isinstance(values[0], pl.DataFrame) else sum(values, ())

    return type(first)(**{field.name: joined(field.name) for field in fields(first)})  # type: ignore[arg-type]


MOST_CLOCKS = 1000
"""So many logs are plenty for the fleet's day wave; of a larger fleet every second or third unit is taken."""


@dataclass(frozen=True, slots=True)
class FilesRead:
    """Some files read.

    ``units`` has ``container, number, readings`` (number: the source's place); ``digests`` are those of
    :class:`coldsift.intake.read.Read`.
    """

    sources: tuple[ReadSource, ...]
    messages: tuple[Message, ...]
    units: pl.DataFrame
    digests: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class SourcesRead:
    """Every source read, and where its rows are.

    Attributes
    ----------
    sources
        In the order of their paths, with their ids.
    messages
        Of what is no source.
    units
        ``container, batch, order, readings``: in which batch of files, and in which source, a container is.
    rows, names
        Batch by batch: the rows, and for each ``number`` in them the source's ``order`` and id.
    digests
        SHA-256 of every file by the path shown for it; of one that cannot be read, empty.
    around
        Messages on paths and layouts, before any file is read.
    layouts
        By which the files were read.
    """

    sources: tuple[ReadSource, ...]
    messages: tuple[Message, ...]
    units: pl.DataFrame
    rows: tuple[Kept, ...]
    names: tuple[pl.DataFrame, ...]
    digests: Mapping[str, str]
    around: tuple[Message, ...] = ()
    layouts: tuple[Layout, ...] = ()

    @property
    def containers(self) -> pl.Series:
        """Every container read, sorted."""
        return self.units["container"].unique().sort()

    def refrigerants(self) -> dict[str, str]:
        """What the files state of their containers."""
        records = [source.record for source in self.sources]
        ids = pl.Series([record.id for record in records], dtype=pl.String)
        return stated_refrigerants(
            records, self.units.select("container", source=ids.gather(self.units["order"]))
        )


@dataclass(frozen=True, slots=True)
class UnitBatch:
    """Some units and where their timeline is."""

    containers: tuple[str, ...]
    timeline: Kept


@dataclass(frozen=True, slots=True)
class UnitsSeen:
    """What the whole voyage needs of the units of a batch.

    Attributes
    ----------
    intervals
        From :func:`coldsift.regimes.regime_intervals`, those that other units can share.
    marks
        From :func:`coldsift.features.clock_marks`.
    outages
        From :func:`coldsift.clocks.outages`.
    spans
        From :func:`coldsift.peers.peer_span`.
    repeats
        From :func:`coldsift.intake.together.merge_rows`.
    """

    intervals: pl.DataFrame
    marks: pl.DataFrame
    outages: pl.DataFrame
    spans: pl.DataFrame
    repeats: pl.DataFrame


@dataclass(frozen=True, slots=True)
class Sources:
    """The account of every source, with what was set aside and said."""

    records: tuple[SourceRecord, ...]
    set_aside: pl.DataFrame
    messages: tuple[Message, ...]


def read_sources(
    paths: Sequence[Path | str],
    options: ReadOptions,
    runner: Runner,
    progress: Progress,
    earlier: Callable[[Sequence[Found], ReadOptions, Sequence[Layout]], SourcesRead | None] | None = None,
) -> SourcesRead:
    """Read every file.

    Parameters
    ----------
    paths
        Files, folders or glob patterns.
    options
        What the logs themselves do not settle.
    runner
        Where the work is done.
    progress
        Told each file before it is read.
    earlier
        May know the outcome from an earlier run.

    Raises
    ------
    WrongCall
        When the time zone is none.
    """
    # Loaded here alone: all of the run goes by the same layouts, and a plug-in runs once.
    layouts, broken = load_layouts(options.parsers)
    files, missing = gather(paths)
    around = (*broken, *missing)
    if earlier and files and (known := earlier(files, options, layouts)):
        progress("", len(files), len(files))
        return replace(known, around=around, layouts=tuple(layouts))
    batches = list(_by_size(files))
    done, read, rows = 0, [], []
    if files:
        progress(files[0].shown, 0, len(files))
    for batch, (small, kept) in zip(
        batches,
        runner.each_kept(read_batch, ((batch, options, layouts) for batch in batches)),
        strict=True,
    ):
        done += len(batch)
        progress(files[done].shown if done < len(files) else "", done, len(files))
        read.append(small)
        rows.append(kept)
    if not files:
        progress("", 0, 0)
    return replace(_named(read, rows), around=around, layouts=tuple(layouts))


def read_batch(
    files: Sequence[Found], options: ReadOptions, layouts: Sequence[Layout]
) -> tuple[FilesRead, pl.DataFrame]:
    """Read some files: their accounts, and their rows sorted by container."""
    read = read_files(files, options, layouts)
    units = read.rows.group_by("container", "number", maintain_order=True).agg(readings=pl.len())
    return FilesRead(read.sources, read.messages, units, read.digests), read.rows


def _by_size(files: Sequence[Found]) -> Iterator[list[Found]]:
    batch: list[Found] = []
    held = 0
    for found in files:
        if batch and held + found.size > BYTES_A_BATCH:
            yield batch
            batch, held = [], 0
        batch.append(found)
        held += found.size
    if batch:
        yield batch


def _named(read: Sequence[FilesRead], rows: Sequence[Kept]) -> SourcesRead:
    """Put the sources of all batches in the order of their paths, and give ids."""
    sources, names = in_path_order([files.sources for files in read])
    units = [
        files.units.join(named, on="number", maintain_order="left").select(
            "container", "order", "readings", batch=pl.lit(batch, pl.Int64)
        )
        for batch, (files, named) in enumerate(zip(read, names, strict=True))
    ]
    nothing = pl.DataFrame(
        schema={
            "container": pl.String,
            "order": pl.Int64,
            "readings": pl.get_index_type(),
            "batch": pl.Int64,
        }
    )
    return SourcesRead(
        tuple(sources),
        tuple(message for files in read for message in files.messages),
        pl.concat([nothing, *units]),
        tuple(rows),
        tuple(names),
        {shown: digest for files in read for shown, digest in files.digests.items()},
    )


def read_units(
    read: SourcesRead, bands: Bands, options: ReadOptions, runner: Runner, progress: Progress
) -> tuple[tuple[UnitBatch, ...], UnitsSeen, Sources]:
    """Bring the rows of each unit together and find out what it was doing.

    Parameters
    ----------
    read
        From :func:`read_sources`.
    bands
        Allowed distance of the controlling air from the set point. [K]
    options
        As the sources were read with.
    runner
        Where the work is done.
    progress
        Told after each batch of units.

    Returns
    -------
    tuple
        Batches of units in the order of their numbers, each with its timeline; what the voyage needs of all
        of them; and the sources with their final account.
    """
    units = list(_by_rows(read.units))
    every = read.containers.to_list()
    witnesses = every[:: -(-len(every) // MOST_CLOCKS) or 1]
    progress("regimes", 0, len(units))

    def tasks() -> Iterator[tuple[Any, ...]]:
        for containers, batches in units:
            yield (
                containers,
                [read.rows[batch] for batch in batches],
                [read.names[batch] for batch in batches],
                bands,
                witnesses,
            )

    batches, seen = [], []
    for done, (small, timeline) in enumerate(runner.each_kept(bring_together, tasks()), start=1):
        batches.append(UnitBatch(tuple(units[done - 1][0]), timeline))
        seen.append(small)
        progress("regimes", done, len(units))
    whole = together(seen)
    sources = account_repeats(read.sources, whole.repeats, options, read.layouts)
    return (
        tuple(batches),
        whole,
        Sources(
            tuple(source.record for source in sources),
            all_set_aside(sources),
            all_messages((*read.around, *read.messages), sources),
        ),
    )


def bring_together(
    containers: Sequence[str],
    rows: Sequence[pl.DataFrame],
    names: Sequence[pl.DataFrame],
    bands: Bands,
    witnesses: Sequence[str],
) -> tuple[UnitsSeen, pl.DataFrame]:
    """One timeline of the rows that some units have in several batches of files.

    ``witnesses`` are the units whose day wave is needed of the whole voyage; of the others, of its end.
    """
    if not containers:
        return seen_of(COMMON_LOG.empty(), bands, pl.DataFrame(schema=REPEATS))
    own = pl.col("container").is_in(containers)
    merged = merge_rows((part.filter(own), named) for part, named in zip(rows, names, strict=True))
    seen, timeline = seen_of(COMMON_LOG.conform(merged.log), bands, merged.repeats)
    needed = pl.col("recent") | pl.col("container").is_in(witnesses)
    return replace(seen, marks=seen.marks.filter(needed)), timeline


def seen_of(log: pl.DataFrame, bands: Bands, repeats: pl.DataFrame) -> tuple[UnitsSeen, pl.DataFrame]:
    """The timeline of a log, and what the voyage needs of it."""
    timeline = build_timeline(log, bands)
    seen = UnitsSeen(
        intervals=shareable(regime_intervals(timeline)),
        marks=clock_marks(timeline),
        outages=outages(timeline),
        spans=peer_span(timeline),
        repeats=repeats,
    )
    return seen, timeline


def _by_rows(units: pl.DataFrame) -> Iterator[tuple[list[str], list[int]]]:
    """Containers to be analysed together, and the batches of files that they are in; at least once."""
    whole = units.group_by("container").agg(pl.col("readings").sum(), pl.col("batch").unique())
    containers: list[str] = []
    batches: set[int] = set()
    held = 0
    for container, readings, within in whole.sort("container").iter_rows():
        if containers and held + readings > ROWS_A_BATCH:
            yield containers, sorted(batches)
            containers, batches, held = [], set(), 0
        containers.append(container)
        batches.update(within)
        held += readings
    yield containers, sorted(batches)
