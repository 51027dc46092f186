"""Spares against what the units may want."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import polars as pl

from coldsift.causes import HEALTHY, WORTH_NAMING, Catalogue, alike_and_likely, to_bring
from coldsift.parts.names import Vocabulary, noted_parts
from coldsift.schema import PARTS, PARTS_WANTED

WANTING = ("go_now", "this_round")
"""Ranking groups whose units may want a part: those that somebody is to go to, as for what to bring."""


@dataclass(frozen=True, slots=True)
class Parts:
    """Totals and wants.

    Attributes
    ----------
    parts
        :data:`coldsift.schema.PARTS`, by name: every part that is on the spares list, used or wanted.
    wanted
        :data:`coldsift.schema.PARTS_WANTED`, by rank, then as the catalogue lists the parts.
    """

    parts: pl.DataFrame
    wanted: pl.DataFrame


def weigh_parts(
    causes: pl.DataFrame,
    findings: pl.DataFrame,
    notes: pl.DataFrame,
    spares: pl.DataFrame,
    catalogue: Catalogue,
) -> Parts:
    """Set the parts that units may want against the spares.

    Parameters
    ----------
    causes, findings, notes, spares
        Tables as in :mod:`coldsift.schema`.
    catalogue
        The one the causes were judged with.

    Returns
    -------
    Parts
        A unit may want what the report tells to bring for its probable cause, one of each. The first by rank
        takes first from what is left of the count after the notes written since.
    """
    vocabulary = Vocabulary(tuple(dict.fromkeys(_part_names(catalogue))))
    wanted = _wanted(causes, findings, catalogue).with_columns(kind=_found("part", vocabulary))
    stock = spares.with_columns(kind=_found("part", vocabulary))
    used = _used(notes, stock, vocabulary)
    left = (
        stock.join(used, on="part", how="left")
        .with_columns(pl.col("used").fill_null(0))
        .with_columns(left=(pl.col("on_board") - pl.col("used")).clip(lower_bound=0))
    )
    wanted = _taken(wanted, left)
    return Parts(
        _totals(wanted, left, used),
        PARTS_WANTED.conform(wanted.with_columns(pl.col("state").fill_null("not_listed"))),
    )


def _part_names(catalogue: Catalogue) -> list[str]:
    return [
        part
        for cause in catalogue.causes.values()
        for parts in (cause.parts, *(kind.parts for kind in cause.kinds))
        for part in parts
    ]


def _found(column: str, vocabulary: Vocabulary) -> pl.Expr:
    """The catalogue's name of a part; empty where it has none."""
    return pl.col(column).map_elements(vocabulary.find, return_dtype=pl.String)


def _wanted(causes: pl.DataFrame, findings: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """``container, cause, part, chance`` in the order in which they take: rank, likelier cause, catalogue."""
    units = findings.filter(pl.col("group").cast(pl.String).is_in(WANTING)).select("container", "rank")
    faults = (
        causes.filter(pl.col("cause") != HEALTHY)
        .unique(["container", "cause"], keep="first", maintain_order=True)
        .join(units, on="container")
        .sort("rank", "cause_chance", "cause", descending=[False, True, False])
        .rows_by_key("container", named=True)
    )
    chosen = []
    for container, rows in faults.items():
        likely = {row["cause"]: row["cause_chance"] for row in rows}
        together = alike_and_likely(rows[0]["cause"], likely, catalogue)
        if sum(likely[each] for each in together) >= WORTH_NAMING:
            parts, _ = to_bring(together, catalogue)
            chosen += [(container, cause, part) for part in parts for cause in together]
    schema = {"container": pl.String, "cause": pl.String, "part": pl.String}
    return (
        pl.DataFrame(chosen, schema=schema, orient="row")
        .join(_uses(catalogue), on=["cause", "part"], maintain_order="left")
        .join(
            causes.select("container", "cause", "kind", own="chance"),
            on=["container", "cause", "kind"],
            nulls_equal=True,
            maintain_order="left",
        )
        .group_by("container", "part", maintain_order=True)
        .agg(pl.col("cause").first(), chance=pl.col("own").sum().clip(upper_bound=1.0))
    )


def _uses(catalogue: Catalogue) -> pl.DataFrame:
    """``cause, part, kind``: the kinds that want a part of their cause; all of them where none names it."""
    rows = []
    for name, cause in catalogue.causes.items():
        for part in cause.parts:
            naming = [kind.id for kind in cause.kinds if part in kind.parts]
            all_kinds: list[str | None] = [kind.id for kind in cause.kinds] or [None]
            rows += [(name, part, kind) for kind in naming or all_kinds]
    return pl.DataFrame(rows, schema=dict.fromkeys(("cause", "part", "kind"), pl.String), orient="row")


def _used(notes: pl.DataFrame, stock: pl.DataFrame, vocabulary: Vocabulary) -> pl.DataFrame:
    """``part, used``: how many the notes used since the count, in the words of the spares list if it can."""
    listed = Vocabulary(tuple(stock["part"]))
    known = Vocabulary((*listed.names, *vocabulary.names))
    counted = dict(stock.select("part", "time").iter_rows())
    first = dict(_first_of_kind(stock).iter_rows())
    totals: Counter[str] = Counter()
    unknown: dict[str, str] = {}
    for time, written in notes.drop_nulls("part").select("time", "part").iter_rows():
        for name, number in noted_parts(written, known):
            kind = vocabulary.find(name)
            spare = listed.find(name) or first.get(kind or "")
            if spare is None:
                totals[kind or unknown.setdefault(name.casefold(), name)] += number
            elif counted[spare] is None or time >= counted[spare]:
                totals[spare] += number
    return pl.DataFrame(list(totals.items()), schema={"part": pl.String, "used": pl.Int64}, orient="row")


def _first_of_kind(stock: pl.DataFrame) -> pl.DataFrame:
    """``kind, listed``: of spares that are the same part, the one that stands first."""
    first = stock.drop_nulls("kind").unique("kind", keep="first", maintain_order=True)
    return first.select("kind", listed="part")


def _taken(wanted: pl.DataFrame, left: pl.DataFrame) -> pl.DataFrame:
    """The wants with ``spare`` and ``state``: the n-th want of a kind takes the n-th piece that is left."""
    pieces = (
        left.filter(pl.col("left") > 0)
        .select("kind", spare="part", turn=pl.int_ranges(1, pl.col("left") + 1))
        .explode("turn")
        .with_columns(turn=pl.col("turn").cum_count().over("kind").cast(pl.Int64))
    )
    return (
        wanted.with_columns(turn=pl.col("part").cum_count().over("kind").cast(pl.Int64))
        .join(pieces, on=["kind", "turn"], how="left", maintain_order="left")
        .join(_first_of_kind(left), on="kind", how="left", maintain_order="left")
        .with_columns(
            state=pl.when(pl.col("spare").is_not_null())
            .then(pl.lit("on_board"))
            .when(pl.col("listed").is_not_null())
            .then(pl.lit("short")),
            spare=pl.coalesce("spare", "listed"),
        )
    )


def _totals(wanted: pl.DataFrame, left: pl.DataFrame, used: pl.DataFrame) -> pl.DataFrame:
    """Every part once, by name."""
    wants = wanted.group_by(part=pl.coalesce("spare", "kind")).agg(wanted=pl.len())
    short = (pl.col("wanted") - pl.col("left")).clip(lower_bound=0)
    names = pl.concat(frame.select("part") for frame in (left, used, wants)).unique()
    return PARTS.conform(
        names.join(left.select("part", "on_board", "left"), on="part", how="left")
        .join(used, on="part", how="left")
        .join(wants, on="part", how="left")
        .with_columns(pl.col("used", "wanted").fill_null(0).cast(pl.Int64))
        .with_columns(short=short)
        .sort("part")
    )
