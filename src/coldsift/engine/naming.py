"""Each unit's probable cause in the page's own words, for the spreadsheets and the terminal."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from coldsift.causes import HEALTHY, SEVERAL, WORTH_NAMING, Catalogue, alike_and_likely, to_bring
from coldsift.report.cause_views import hypothesis_name, lead
from coldsift.report.views import TO_VISIT

UNNAMED = ("nothing_found", "cannot_tell")
"""Groups whose units the list shows without a cause."""


@dataclass(frozen=True, slots=True)
class Named:
    """The likeliest cause with those the log does not tell from it, their chance, and what to bring."""

    name: str
    chance: float
    bring: tuple[str, ...]


def probable(findings: pl.DataFrame, causes: pl.DataFrame, catalogue: Catalogue) -> dict[str, Named]:
    """Name the probable cause of every unit that the page's list names one for.

    Parameters
    ----------
    findings, causes
        :data:`coldsift.schema.FINDINGS` and :data:`coldsift.schema.CAUSES`.
    catalogue
        The one they were judged with.

    Returns
    -------
    dict
        By container. Parts and tools only where somebody is sent.
    """
    shown = findings.select("container", group=pl.col("group").cast(pl.String)).filter(
        ~pl.col("group").is_in(UNNAMED)
    )
    faults = (
        causes.filter(pl.col("cause") != HEALTHY)
        .join(shown, on="container")
        .unique(["container", "cause"], keep="first", maintain_order=True)
        .sort("container", "cause_chance", "cause", descending=[False, True, False])
        .rows_by_key("container", named=True)
    )
    named = {}
    for container, rows in faults.items():
        likely = {row["cause"]: row["cause_chance"] for row in rows}
        together = alike_and_likely(rows[0]["cause"], likely, catalogue)
        pair = _pair(next((row["together"] for row in rows if row["cause"] == SEVERAL), None))
        name, chance = lead(together, pair, likely, catalogue)
        if chance >= WORTH_NAMING:
            parts, tools = to_bring(together if rows[0]["group"] in TO_VISIT else (), catalogue)
            named[container] = Named(name, chance, tuple(dict.fromkeys((*parts, *tools))))
    return named


def named_hypotheses(findings: pl.DataFrame, causes: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """Every cause that the findings name, in words.

    Parameters
    ----------
    findings, causes
        :data:`coldsift.schema.FINDINGS` and :data:`coldsift.schema.CAUSES`.
    catalogue
        The one they were judged with.

    Returns
    -------
    polars.DataFrame
        ``rank, container, group, place, cause, chance``, by rank and place; ``cause`` is a name.
    """
    places = [name.removeprefix("cause_") for name in findings.columns if name.startswith("cause_")]
    pairs = causes.filter(pl.col("cause") == SEVERAL).select("container", "together")
    rows = (
        pl.concat(
            findings.select(
                "rank",
                "container",
                "group",
                place=pl.lit(int(place), pl.Int64),
                cause=f"cause_{place}",
                chance=f"chance_{place}",
            )
            for place in places
        )
        .drop_nulls("cause")
        .join(pairs, on="container", how="left")
        .sort("rank", "place")
    )
    names = [
        hypothesis_name(cause, _pair(together), catalogue)
        for cause, together in rows.select("cause", "together").iter_rows()
    ]
    return rows.with_columns(cause=pl.Series(names, dtype=pl.String)).drop("together")


def _pair(together: str | None) -> tuple[str, ...]:
    return tuple(together.split(", ")) if together else ()
