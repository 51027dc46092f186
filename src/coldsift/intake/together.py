"""Sources brought together: ids, one log, and the account of rows that several sources hold.

Goes in: sources as read, wherever their rows are. Comes out: the same sources with ids and with what became
of repeated rows, the common log, and everything set aside.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import replace

import polars as pl

from coldsift.intake.declaration import Layout
from coldsift.intake.merge import Merged, merge
from coldsift.intake.read import ReadOptions, ReadSource, aside_frame, lines_again
from coldsift.intake.records import Message, SourceRecord
from coldsift.schema import SET_ASIDE


def in_path_order(
    batches: Sequence[Sequence[ReadSource]],
) -> tuple[list[ReadSource], list[pl.DataFrame]]:
    """Put the sources of batches of files in the order of their paths, and give ids.

    Returns
    -------
    tuple
        The sources, and for each batch ``number`` (a source's place in it), ``order`` and ``source`` (its
        place among all, and its id).
    """
    places = [(batch, number) for batch, held in enumerate(batches) for number in range(len(held))]
    places.sort(key=lambda place: batches[place[0]][place[1]].record.path)
    sources = _with_ids([batches[batch][number] for batch, number in places])
    names: list[list[tuple[int, int, str]]] = [[] for _ in batches]
    for order, (batch, number) in enumerate(places):
        names[batch].append((number, order, sources[order].record.id))
    columns = {"number": pl.Int64, "order": pl.Int64, "source": pl.String}
    return sources, [pl.DataFrame(held, schema=columns, orient="row") for held in names]


def _with_ids(sources: Sequence[ReadSource]) -> list[ReadSource]:
    """Ids from content and name; equal content under equal names is told apart by the order."""
    seen: dict[str, int] = {}
    named = []
    for source in sources:
        record = source.record
        name = record.path.rsplit("/", 1)[-1]
        identity = hashlib.sha256(f"{record.sha256} {name}".encode()).hexdigest()[:12]
        seen[identity] = seen.get(identity, 0) + 1
        if seen[identity] > 1:
            identity = f"{identity}-{seen[identity]}"
        named.append(replace(source, record=replace(record, id=identity)))
    return named


def merge_rows(parts: Iterable[tuple[pl.DataFrame, pl.DataFrame]]) -> Merged:
    """Make one log of rows of several sources.

    Parameters
    ----------
    parts
        Rows as in :class:`coldsift.intake.read.Read`, each with ``number, order, source``: place in the
        order of all paths and id of each of their sources.
    """
    return merge(
        pl.concat(
            [
                rows.join(names, on="number", how="left", maintain_order="left").drop("number")
                for rows, names in parts
            ],
            how="diagonal",
        )
    )


def account_repeats(
    sources: Sequence[ReadSource], repeats: pl.DataFrame, options: ReadOptions, layouts: Sequence[Layout]
) -> list[ReadSource]:
    """Book rows that met an earlier one: merged or set aside, with a message per pair of sources.

    Parameters
    ----------
    sources
        With their ids, in the order of their paths.
    repeats
        From :func:`merge_rows`, of all units.
    options, layouts
        As the sources were read with.
    """
    booked = {source.record.id: source for source in sources}
    place = {identity: at for at, identity in enumerate(booked)}
    order = repeats.with_columns(
        pl.col("source", "other_source").replace_strict(place, return_dtype=pl.Int64).name.suffix(" place")
    )
    order = order.sort("source place", "other_source place", "row", "other_row")
    for (identity, other), part in order.group_by("source", "other_source", maintain_order=True):
        source, earlier = booked[str(identity)], booked[str(other)]
        record = source.record
        where = "above in this file" if source is earlier else f"of {earlier.record.path}"
        equal, against = part.filter(pl.col("conflict") == ""), part.filter(pl.col("conflict") != "")
        equal_lines, against_lines = int(equal["lines"].sum()), int(against["lines"].sum())
        found, aside = [], source.aside
        if equal_lines:
            what = f"{equal_lines} lines are for the same container and time as lines {where}; merged."
            found.append(Message("note", record.path, equal["row"][0], what, ""))
        if against_lines:
            channels = sorted({name for text in against["conflict"].unique() for name in text.split(", ")})
            aside = pl.concat([aside, _conflicts(source, earlier.record.path, against, options, layouts)])
            found.append(
                Message(
                    "warning",
                    record.path,
                    against["row"][0],
                    f"{against_lines} lines conflict with lines {where} for the same container and time "
                    f"({', '.join(channels[:6])}); the first were kept.",
                    "See set_aside.parquet; find out which file is right.",
                )
            )
        booked[str(identity)] = replace(
            source,
            aside=aside,
            record=replace(
                record,
                used=record.used - equal_lines - against_lines,
                merged=record.merged + equal_lines,
                set_aside=record.set_aside + against_lines,
                messages=(*record.messages, *found),
            ),
        )
    return list(booked.values())


def _conflicts(
    source: ReadSource,
    earlier: str,
    against: pl.DataFrame,
    options: ReadOptions,
    layouts: Sequence[Layout],
) -> pl.DataFrame:
    lines = against.select("row", "other_row")
    if source.lines is not None:
        lines = source.lines.join(lines, on="row", how="inner", maintain_order="left").select(
            row="line", other_row="other_row"
        )
    numbers = lines["row"].to_list()
    texts = lines_again(source, numbers, options, layouts)
    return aside_frame(
        [
            (row, f"conflicts with {earlier} line {other}", text)
            for row, other, text in zip(numbers, lines["other_row"], texts, strict=True)
        ]
    )


def all_set_aside(sources: Iterable[ReadSource]) -> pl.DataFrame:
    """:data:`coldsift.schema.SET_ASIDE` of all sources, in the order of their paths and lines."""
    asides = [
        source.aside.select(
            source=pl.lit(source.record.id),
            file=pl.lit(source.record.path),
            row="row",
            container="container",
            channel="channel",
            reason="reason",
            text="text",
        )
        for source in sources
        if source.aside.height
    ]
    aside = pl.concat(asides) if asides else SET_ASIDE.empty()
    return SET_ASIDE.conform(aside.sort("file", "row", "channel", nulls_last=False, maintain_order=True))


def all_messages(messages: Iterable[Message], sources: Iterable[ReadSource]) -> tuple[Message, ...]:
    """Every message, by file; those of no source come first."""
    every = [*messages, *(message for source in sources for message in source.record.messages)]
    return tuple(sorted(every, key=lambda message: message.file))


def stated_refrigerants(records: Iterable[SourceRecord], pairs: pl.DataFrame) -> dict[str, str]:
    """What files state of their containers; of several files, the last in the order of ids.

    Parameters
    ----------
    records
        Of every source.
    pairs
        ``container, source``: the id of each source that a container is in.
    """
    stated = {record.id: record.refrigerant for record in records if record.refrigerant}
    of_them = pairs.select("container", "source").unique().filter(pl.col("source").is_in(list(stated)))
    return {
        container: stated[source] for container, source in of_them.sort("container", "source").iter_rows()
    }
