"""The chance of each cause, and what speaks for and against it, as tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.causes.catalogue import HEALTHY, SEVERAL, Catalogue
from coldsift.causes.evidence import told
from coldsift.causes.weigh import Weighed, weigh
from coldsift.schema import CAUSES

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Judgement:
    """What the log says of the causes.

    Attributes
    ----------
    causes
        :data:`coldsift.schema.CAUSES`: every hypothesis of every unit; chances of one unit sum to 1.
    evidence
        :data:`coldsift.schema.EVIDENCE`: what speaks for and against the likeliest causes.
    """

    causes: pl.DataFrame
    evidence: pl.DataFrame


def judge(distances: pl.DataFrame, catalogue: Catalogue, bases: Mapping[str, str]) -> Judgement:
    """Judge the causes of every unit.

    Parameters
    ----------
    distances
        ``container``, ``feature``, ``distance``, ``words``, from :class:`coldsift.peers.Comparison`.
    catalogue
        From :func:`coldsift.causes.load_catalogue`.
    bases
        Feature that each feature is a view of, or itself: the views are told as one piece of evidence.

    Returns
    -------
    Judgement
        See :func:`coldsift.causes.weigh.weigh` for how the chances come about.
    """
    weighed = weigh(distances, catalogue)
    return Judgement(_causes(weighed, catalogue), told(weighed, distances, catalogue, bases))


def _causes(weighed: Weighed, catalogue: Catalogue) -> pl.DataFrame:
    """One row per unit, hypothesis and kind."""
    leaves: list[tuple[str, str | None, Array]] = [
        (HEALTHY, None, weighed.healthy),
        (SEVERAL, None, weighed.several),
    ]
    for row, (cause, kind) in enumerate(zip(weighed.rows.cause, weighed.rows.kind, strict=True)):
        chance = weighed.chance[:, row]
        kinds = catalogue.causes[cause].kinds if cause in catalogue.causes and not kind else ()
        # Kinds that the log does not tell apart keep their shares.
        leaves += [(cause, each.id, chance * each.share) for each in kinds] or [(cause, kind or None, chance)]
    together = [", ".join(pair) or None for pair in weighed.pairs]
    nothing: list[str | None] = [None] * len(together)
    table = pl.concat(
        pl.DataFrame(
            {
                "container": weighed.containers,
                "cause": name,
                "kind": pl.Series([kind] * len(together), dtype=pl.String),
                "chance": chance,
                "together": pl.Series(together if name == SEVERAL else nothing, dtype=pl.String),
                "leaf": at,
            }
        )
        for at, (name, kind, chance) in enumerate(leaves)
    )
    total = pl.col("chance").sum().over("container", "cause")
    follows = pl.col("cause") != pl.col("cause").shift(1)
    return CAUSES.conform(
        table.with_columns(cause_chance=total)
        .sort("container", "cause_chance", "cause", "leaf", descending=[False, True, False, False])
        .with_columns(place=follows.fill_null(True).cum_sum().over("container").cast(pl.Int64))
    )
