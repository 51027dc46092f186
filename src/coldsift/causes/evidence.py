"""What each feature adds to the odds of a likely cause, for telling."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.causes.catalogue import NAMED_CAUSES, Catalogue
from coldsift.causes.weigh import Weighed
from coldsift.schema import EVIDENCE

Array = NDArray[np.float64]

MOST_FOR, MOST_AGAINST = 6, 4
"""Pieces of evidence told for and against each."""

LEAST_SUPPORT = 0.3
"""Evidence that changes the odds by less than a third is not told. [natural logarithm]"""

_TOLD = {"container": pl.String, "cause": pl.String, "feature": pl.String, "support": pl.Float64}


def told(
    weighed: Weighed, distances: pl.DataFrame, catalogue: Catalogue, bases: Mapping[str, str]
) -> pl.DataFrame:
    """Tell what speaks for and against each unit's likeliest causes.

    Parameters
    ----------
    weighed
        From :func:`coldsift.causes.weigh.weigh`.
    distances, catalogue, bases
        As for :func:`coldsift.causes.judge`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.EVIDENCE`, strongest first within container, cause and side.
    """
    supports = _supports(weighed, list(catalogue.causes))
    side = pl.when(pl.col("support") > 0).then(pl.lit("for")).otherwise(pl.lit("against"))
    most = pl.when(pl.col("side") == "for").then(MOST_FOR).otherwise(MOST_AGAINST)
    by_strength = ("container", "cause", pl.col("support").abs(), "feature")
    falling = [False, False, True, False]
    return EVIDENCE.conform(
        supports.with_columns(base=pl.col("feature").replace_strict(dict(bases), default=pl.col("feature")))
        .sort(*by_strength, descending=falling)
        .group_by("container", "cause", "base", maintain_order=True)
        # The strongest view tells it; together they weigh.
        .agg(pl.col("feature").first(), pl.col("support").sum())
        .filter(pl.col("support").abs() >= LEAST_SUPPORT)
        .with_columns(side=side)
        .sort(*by_strength, descending=falling)
        .filter(pl.int_range(pl.len()).over("container", "cause", "side") < most)
        .join(
            distances.select("container", "feature", "words"),
            on=["container", "feature"],
            how="left",
            maintain_order="left",
        )
        .with_columns(odds=pl.col("support").exp())
    )


def _supports(weighed: Weighed, causes: list[str]) -> pl.DataFrame:
    """What each known feature does to the odds of the likeliest causes. [natural logarithm]

    The odds now over the odds had the feature not been logged; more than one cause is left aside, for the
    cause may be one of them.
    """
    by_cause = np.stack([weighed.chance[:, weighed.of(name)].sum(axis=1) for name in causes], axis=1)
    likeliest = np.argsort(-by_cause, axis=1, kind="stable")[:, :NAMED_CAUSES]
    # Dividing a chance by its likelihood ratio takes the feature back.
    back = np.exp(np.clip(-weighed.evidence, -30, 30))
    healthy = weighed.healthy[:, None]
    frames = [pl.DataFrame(schema=_TOLD)]
    for which, name in enumerate(causes):
        units = np.flatnonzero((likeliest == which).any(axis=1))
        own = weighed.chance[units] * weighed.of(name)
        rest = weighed.chance[units] * ~weighed.of(name)
        now = _odds(own.sum(axis=1)[:, None], rest.sum(axis=1)[:, None] + healthy[units])
        before = _odds(
            np.einsum("ur,uri->ui", own, back[units]),
            np.einsum("ur,uri->ui", rest, back[units]) + healthy[units],
        )
        unit, feature = np.nonzero(np.isfinite(weighed.step[units]))
        frames.append(
            pl.DataFrame(
                {
                    "container": [weighed.containers[units[place]] for place in unit],
                    "cause": [name] * len(unit),
                    "feature": [weighed.features[place] for place in feature],
                    "support": (now - before)[unit, feature],
                },
                schema=_TOLD,
            )
        )
    return pl.concat(frames)


def _odds(own: Array, rest: Array) -> Array:
    """Natural logarithm of odds; of chances that vanish, that of the smallest number there is."""
    least = np.finfo(np.float64).tiny
    odds: Array = np.log(np.maximum(own, least)) - np.log(np.maximum(rest, least))
    return odds
