"""The chance of each cause, and what speaks for and against it, as tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.causes.catalogue import HEALTHY, SEVERAL, Catalogue
from coldsift.causes.evidence import told
from coldsift.causes.seen import answer, counted, leaf_table, with_answers
from coldsift.causes.weigh import Weighed, weigh
from coldsift.schema import CAUSES, SEEN

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Judgement:
    """What the log, the documents and the notes say of the causes.

    Attributes
    ----------
    causes
        :data:`coldsift.schema.CAUSES`: every hypothesis of every unit; chances of one unit sum to 1.
    evidence
        :data:`coldsift.schema.EVIDENCE`: what speaks for and against the likeliest causes.
    seen
        :data:`coldsift.schema.SEEN`: the answers that the chances hold.
    """

    causes: pl.DataFrame
    evidence: pl.DataFrame
    seen: pl.DataFrame


def judge(
    distances: pl.DataFrame,
    catalogue: Catalogue,
    bases: Mapping[str, str],
    seen: pl.DataFrame | None = None,
) -> Judgement:
    """Judge the causes of every unit.

    Parameters
    ----------
    distances
        ``container``, ``feature``, ``distance``, ``words``, from :class:`coldsift.peers.Comparison`.
    catalogue
        From :func:`coldsift.causes.load_catalogue`.
    bases
        Feature that each feature is a view of, or itself: the views are told as one piece of evidence.
    seen
        Columns of :data:`coldsift.schema.SEEN`: what documents and notes answer. Each observation counts
        once, however many say the same, and not at all where they contradict each other.

    Returns
    -------
    Judgement
        See :func:`coldsift.causes.weigh.weigh` for how the chances come about, and
        :func:`coldsift.causes.after` for what the answers do to them.
    """
    weighed = weigh(distances, catalogue)
    leaves = _leaves(weighed, catalogue)
    causes = _in_order(leaves)
    answers = SEEN.empty() if seen is None else counted(seen, weighed.containers, catalogue)
    if answers.is_empty():
        return Judgement(causes, told(weighed, distances, catalogue, bases), answers)
    answered = answer(causes, answers, catalogue)
    return Judgement(
        _in_order(
            leaves.join(
                leaf_table(answered),
                on=["container", "cause", "kind"],
                how="left",
                nulls_equal=True,
                maintain_order="left",
            ).with_columns(chance=pl.coalesce("answered", "chance"))
        ),
        told(with_answers(weighed, answered), distances, catalogue, bases, answered),
        answers,
    )


def _leaves(weighed: Weighed, catalogue: Catalogue) -> pl.DataFrame:
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
    return pl.concat(
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


def _in_order(leaves: pl.DataFrame) -> pl.DataFrame:
    """The likeliest hypothesis of each unit first."""
    total = pl.col("chance").sum().over("container", "cause")
    follows = pl.col("cause") != pl.col("cause").shift(1)
    return CAUSES.conform(
        leaves.with_columns(cause_chance=total)
        .sort("container", "cause_chance", "cause", "leaf", descending=[False, True, False, False])
        .with_columns(place=follows.fill_null(True).cum_sum().over("container").cast(pl.Int64))
    )
