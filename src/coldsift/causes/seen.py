"""What documents and work notes answer of the observations by hand, weighed on top of the log."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.causes.catalogue import HEALTHY, SEVERAL, Catalogue
from coldsift.causes.checks import (
    CheckTable,
    after,
    answered_places,
    check_table,
    leaf_chances,
    yes_table,
)
from coldsift.causes.weigh import Weighed
from coldsift.schema import SEEN

Array = NDArray[np.float64]

OBSERVED = {"observation": pl.String, "answer": pl.Boolean}


@dataclass(frozen=True, slots=True)
class Answered:
    """Chances after the answers, of the units that have any.

    Attributes
    ----------
    containers
        Sorted.
    chances
        ``(units, leaves)``.
    table
        Leaves, and chances of a yes.
    seen
        The answers, from :func:`counted`.
    """

    containers: list[str]
    chances: Array
    table: CheckTable
    seen: pl.DataFrame


def unanimous(seen: pl.DataFrame) -> pl.DataFrame:
    """One answer an observation, by container and observation; none where several contradict each other."""
    key = ("container", "observation")
    return (
        seen.filter(pl.col("answer").n_unique().over(key) == 1)
        .unique(key, keep="first", maintain_order=True)
        .sort(key)
    )


def counted(seen: pl.DataFrame, containers: list[str], catalogue: Catalogue) -> pl.DataFrame:
    """Answers that count: of these containers and of the catalogue, once each, and not contradicted.

    Parameters
    ----------
    seen
        Columns of :data:`coldsift.schema.SEEN`; several documents may answer one observation.
    containers
        Those that are judged.
    catalogue
        From :func:`coldsift.causes.load_catalogue`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.SEEN`.
    """
    known = pl.col("container").is_in(containers) & pl.col("observation").is_in(list(catalogue.observations))
    return SEEN.conform(unanimous(seen.filter(known).sort("source")))


def answer(causes: pl.DataFrame, seen: pl.DataFrame, catalogue: Catalogue) -> Answered:
    """Put the answers to the chances of the log, as ``coldsift check`` does with what was seen.

    Parameters
    ----------
    causes
        :data:`coldsift.schema.CAUSES` of the log alone.
    seen
        From :func:`counted`.
    catalogue
        From :func:`coldsift.causes.load_catalogue`.

    Returns
    -------
    Answered
        Units without an answer are left out.
    """
    table = check_table(catalogue)
    containers, chances, pairs = leaf_chances(causes.join(seen, on="container", how="semi"), table)
    answers = answered_places(seen, table)
    now = [
        after(own, yes_table(table, pair, own), answers[container], table.settling)
        for container, own, pair in zip(containers, chances, pairs, strict=True)
    ]
    return Answered(containers, np.array(now).reshape(chances.shape), table, seen)


def with_answers(weighed: Weighed, answered: Answered) -> Weighed:
    """The weighed evidence with the chances after the answers."""
    units = np.flatnonzero(np.isin(weighed.containers, answered.containers))
    leaves = answered.table.leaves
    of_row = np.array(
        [
            [cause == row and kind in ("", of_kind) for row, of_kind in leaves]
            for cause, kind in zip(weighed.rows.cause, weighed.rows.kind, strict=True)
        ]
    )
    chance, healthy, several = (part.copy() for part in (weighed.chance, weighed.healthy, weighed.several))
    chance[units] = answered.chances @ of_row.T
    healthy[units] = answered.chances[:, leaves.index((HEALTHY, ""))]
    several[units] = answered.chances[:, leaves.index((SEVERAL, ""))]
    return replace(weighed, chance=chance, healthy=healthy, several=several)


def leaf_table(answered: Answered) -> pl.DataFrame:
    """``container``, ``cause``, ``kind`` and ``answered``, the chance after the answers."""
    units, leaves = answered.chances.shape
    return pl.DataFrame(
        {
            "container": [name for name in answered.containers for _ in range(leaves)],
            "cause": [cause for cause, _ in answered.table.leaves] * units,
            "kind": pl.Series([kind or None for _, kind in answered.table.leaves] * units, dtype=pl.String),
            "answered": answered.chances.ravel(),
        },
        schema_overrides={"container": pl.String},
    )
