"""What each feature, and what was seen, adds to the odds of a likely cause, for telling."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.causes.catalogue import NAMED_CAUSES, SEVERAL, Catalogue
from coldsift.causes.checks import GOOD, SETTLED
from coldsift.causes.seen import OBSERVED, Answered
from coldsift.causes.weigh import Weighed
from coldsift.schema import EVIDENCE

Array = NDArray[np.float64]

MOST_FOR, MOST_AGAINST = 6, 4
"""Pieces of evidence told for and against each."""

LEAST_SUPPORT = 0.3
"""Evidence that changes the odds by less than a third is not told. [natural logarithm]"""

_TOLD = {"container": pl.String, "cause": pl.String, "feature": pl.String, "support": pl.Float64}


def told(
    weighed: Weighed,
    distances: pl.DataFrame,
    catalogue: Catalogue,
    bases: Mapping[str, str],
    answered: Answered | None = None,
) -> pl.DataFrame:
    """Tell what speaks for and against each unit's likeliest causes.

    Parameters
    ----------
    weighed
        From :func:`coldsift.causes.weigh.weigh`.
    distances, catalogue, bases
        As for :func:`coldsift.causes.judge`.
    answered
        What was seen; the chances of ``weighed`` hold it.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.EVIDENCE`, strongest first within container, cause and side.
    """
    causes = list(catalogue.causes)
    by_cause = np.stack([weighed.chance[:, weighed.of(name)].sum(axis=1) for name in causes], axis=1)
    likeliest = np.argsort(-by_cause, axis=1, kind="stable")[:, :NAMED_CAUSES]
    supports = _supports(weighed, causes, likeliest)
    words = distances.select("container", "feature", "words")
    if answered:
        own = likeliest[np.isin(weighed.containers, answered.containers)]
        supports = pl.concat([supports, _supports_of_seen(answered, causes, own)])
        words = pl.concat([words, _words_of_seen(answered.seen, catalogue)])
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
            words,
            on=["container", "feature"],
            how="left",
            maintain_order="left",
        )
        .with_columns(odds=pl.col("support").exp())
    )


def _supports(weighed: Weighed, causes: list[str], likeliest: NDArray[np.int64]) -> pl.DataFrame:
    """What each known feature does to the odds of the likeliest causes. [natural logarithm]

    The odds now over the odds had the feature not been logged; more than one cause is left aside, for the
    cause may be one of them.
    """
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


def _supports_of_seen(answered: Answered, causes: list[str], likeliest: NDArray[np.int64]) -> pl.DataFrame:
    """What each answer does to the odds of the likeliest causes, reckoned in the same way."""
    table, seen = answered.table, answered.seen
    unit = np.array([answered.containers.index(name) for name in seen["container"]])
    yes = table.yes[[table.observations.index(name) for name in seen["observation"]]]
    now = answered.chances[unit]
    before = now.copy()
    for place, (name, answer) in enumerate(seen.select("observation", "answer").iter_rows()):
        settled = table.settling.get(table.observations.index(name))
        if answer and settled is not None:
            before[place, settled] -= SETTLED / (1 - SETTLED) * now[place, GOOD]
            before[place, GOOD] /= 1 - SETTLED
    before = before.clip(0.0) / np.where(seen["answer"].to_numpy()[:, None], yes, 1 - yes)
    leaf = np.array([cause for cause, _ in table.leaves])
    frames = []
    for which, name in enumerate(causes):
        own, rest = leaf == name, (leaf != name) & (leaf != SEVERAL)
        odds = [_odds(chance[:, own].sum(axis=1), chance[:, rest].sum(axis=1)) for chance in (now, before)]
        frames.append(
            seen.select("container", cause=pl.lit(name), feature="observation")
            .with_columns(support=odds[0] - odds[1])
            .filter((likeliest[unit] == which).any(axis=1))
        )
    return pl.concat(frames)


def _words_of_seen(seen: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """For example: Work note 2031-01-11 00:00 UTC: evaporator coil iced."""
    answers = pl.DataFrame(
        [
            (name, answer, observation.yes if answer else observation.no)
            for name, observation in catalogue.observations.items()
            for answer in (True, False)
        ],
        schema={**OBSERVED, "said": pl.String},
        orient="row",
    )
    source = pl.col("source").str.slice(0, 1).str.to_uppercase() + pl.col("source").str.slice(1)
    return seen.join(answers, on=list(OBSERVED), how="left", maintain_order="left").select(
        "container", feature="observation", words=pl.format("{}: {}", source, "said")
    )


def _odds(own: Array, rest: Array) -> Array:
    """Natural logarithm of odds; of chances that vanish, that of the smallest number there is."""
    least = np.finfo(np.float64).tiny
    odds: Array = np.log(np.maximum(own, least)) - np.log(np.maximum(rest, least))
    return odds
