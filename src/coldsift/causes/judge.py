"""The chance of each cause, and what speaks for and against it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.causes.catalogue import HEALTHY, OTHER, SEVERAL, Catalogue
from coldsift.causes.signs import parts, step_table
from coldsift.schema import CAUSES, EVIDENCE

Array = NDArray[np.float64]

OTHER_SHARE = 0.05
"""Share of faults that are none of the catalogue's. Common practice, no source."""

SECOND_TEMPER = 0.5
"""Evidence that a second cause adds counts so much: the likelihoods were fitted on single faults. Chosen on
fitting seeds 101 to 160 so that single faults are not taken for two."""

MOST_PAIRED = 5
"""More than one: pairs are made of a unit's so many likeliest causes."""

TOLD_CAUSES = 3
"""Evidence is told for a unit's likeliest causes."""

MOST_FOR, MOST_AGAINST = 6, 4
"""Pieces of evidence told for and against each."""

LEAST_SUPPORT = 0.3
"""Evidence that changes the odds by less than a third is not told. [natural logarithm]"""


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


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows that evidence is weighed in: a cause, or a kind of it that leaves a trace of its own.

    Attributes
    ----------
    cause, kind
        Of each row; the kind is empty for a whole cause.
    prior
        Chance before the log is read.
    likelihood
        ``(rows, features, 3)``.
    """

    cause: tuple[str, ...]
    kind: tuple[str, ...]
    prior: Array
    likelihood: Array


def judge(distances: pl.DataFrame, catalogue: Catalogue, bases: Mapping[str, str]) -> Judgement:
    """Weigh every cause for every unit.

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
        Chances by Bayes' rule: prior × product of likelihood ratios, over all hypotheses that compete. A
        feature that is not known leaves the chances as they were.

    Notes
    -----
    The likelihoods were fitted together on simulated fleets, so that features which say the same are not
    counted twice. More than one: for each pair of likely causes the evidence adds up, but what speaks for
    both counts once, and that of the second counts half.
    """
    features = sorted({feature for entry in catalogue.likelihoods.values() for feature in entry})
    containers, step = step_table(distances, features)
    rows = _rows(catalogue, features)
    evidence = np.einsum("uik,rik->uri", parts(step), rows.likelihood)
    healthy = np.log(1 - catalogue.fault_share)
    score = np.log(rows.prior) + evidence.sum(axis=2)
    names = list(dict.fromkeys(rows.cause))
    member = np.array([[cause == name for name in names] for cause in rows.cause])
    by_cause = np.stack([_log_sum(score[:, member[:, place]]) for place in range(len(names))], axis=1)
    pair_score, pairs = _pairs(catalogue, rows, names, member, score, evidence)
    everything = np.concatenate(
        [np.full((len(containers), 1), healthy), pair_score[:, None], by_cause], axis=1
    )
    chance = np.exp(everything - _log_sum(everything)[:, None])
    within = np.exp(score - by_cause[:, [names.index(cause) for cause in rows.cause]])
    hypotheses = [HEALTHY, SEVERAL, *names]
    table = _chances(catalogue, containers, hypotheses, chance, rows, within, pairs)
    return Judgement(
        table,
        _evidence(
            catalogue,
            containers,
            features,
            step,
            hypotheses,
            chance,
            rows,
            within,
            evidence,
            distances,
            bases,
        ),
    )


def _rows(catalogue: Catalogue, features: list[str]) -> _Rows:
    place = {feature: at for at, feature in enumerate(features)}
    priors = {name: cause.prior for name, cause in catalogue.causes.items()}
    whole = sum(priors.values())
    found: list[tuple[str, str, float, Array]] = []
    for name, cause in catalogue.causes.items():
        share = catalogue.fault_share * (1 - OTHER_SHARE) * cause.prior / whole
        own = {kind.id: f"{name}.{kind.id}" for kind in cause.kinds}
        if not any(entry in catalogue.likelihoods for entry in own.values()):
            found.append((name, "", share, _likelihood(catalogue, name, place)))
            continue
        for kind in cause.kinds:
            # A kind without figures of its own goes by those of its cause.
            entry = own[kind.id] if own[kind.id] in catalogue.likelihoods else name
            found.append((name, kind.id, share * kind.share, _likelihood(catalogue, entry, place)))
    found.append((OTHER, "", catalogue.fault_share * OTHER_SHARE, _likelihood(catalogue, OTHER, place)))
    return _Rows(
        tuple(row[0] for row in found),
        tuple(row[1] for row in found),
        np.array([row[2] for row in found]),
        np.stack([row[3] for row in found]),
    )


def _likelihood(catalogue: Catalogue, name: str, place: Mapping[str, int]) -> Array:
    table = np.zeros((len(place), 3))
    for feature, row in catalogue.likelihoods.get(name, {}).items():
        table[place[feature]] = row
    return table


def _log_sum(score: Array) -> Array:
    """Logarithm of the sum of exponentials along the last axis."""
    top = score.max(axis=-1)
    total: Array = top + np.log(np.exp(score - top[..., None]).sum(axis=-1))
    return total


def _pairs(
    catalogue: Catalogue,
    rows: _Rows,
    names: list[str],
    member: NDArray[np.bool_],
    score: Array,
    evidence: Array,
) -> tuple[Array, list[tuple[str, ...]]]:
    """Score of more than one cause, and each unit's likeliest pair; no pair among fewer than two causes."""
    units = np.arange(len(score))
    single = [name for name in names if name != OTHER]
    # Each cause speaks through its likeliest kind.
    best = np.stack(
        [
            np.flatnonzero(member[:, names.index(name)])[
                score[:, member[:, names.index(name)]].argmax(axis=1)
            ]
            for name in single
        ],
        axis=1,
    )
    own = np.stack([rows.prior[member[:, names.index(name)]].sum() for name in single])
    strength = np.take_along_axis(score, best, axis=1)
    likeliest = np.argsort(-strength, axis=1, kind="stable")[:, :MOST_PAIRED]
    scores, chosen = [], []
    for first, second in combinations(range(likeliest.shape[1]), 2):
        one, two = likeliest[:, first], likeliest[:, second]
        said = [evidence[units, best[units, which]] for which in (one, two)]
        added = (said[1] - np.maximum(np.minimum(*said), 0)).sum(axis=1)
        together = said[0].sum(axis=1) + SECOND_TEMPER * added
        # Two faults meet by chance: the product of their chances.
        scores.append(np.log(own[one] * own[two]) + together)
        chosen.append((one, two))
    if not scores:
        return np.full(len(score), -np.inf), [()] * len(score)
    table = np.stack(scores, axis=1)
    winner = table.argmax(axis=1)
    pairs = [tuple(single[chosen[winner[unit]][side][unit]] for side in (0, 1)) for unit in range(len(score))]
    return _log_sum(table), pairs


def _odds(own: Array, rest: Array) -> Array:
    """Natural logarithm of odds; of chances that vanish, that of the smallest number there is."""
    least = np.finfo(np.float64).tiny
    odds: Array = np.log(np.maximum(own, least)) - np.log(np.maximum(rest, least))
    return odds


_TOLD = {"container": pl.String, "cause": pl.String, "feature": pl.String, "support": pl.Float64}


def _chances(
    catalogue: Catalogue,
    containers: list[str],
    hypotheses: list[str],
    chance: Array,
    rows: _Rows,
    within: Array,
    pairs: list[tuple[str, ...]],
) -> pl.DataFrame:
    """One row per unit, hypothesis and kind."""
    leaves: list[tuple[str, str | None, Array]] = []
    for place, name in enumerate(hypotheses):
        own = [at for at, cause in enumerate(rows.cause) if cause == name and rows.kind[at]]
        kinds = catalogue.causes[name].kinds if name in catalogue.causes else ()
        if own:
            leaves += [(name, rows.kind[at], chance[:, place] * within[:, at]) for at in own]
        elif kinds:
            leaves += [(name, kind.id, chance[:, place] * kind.share) for kind in kinds]
        else:
            leaves.append((name, None, chance[:, place]))
    together = [", ".join(pair) or None for pair in pairs]
    table = pl.concat(
        pl.DataFrame(
            {
                "container": containers,
                "cause": name,
                "kind": pl.Series([kind] * len(containers), dtype=pl.String),
                "chance": values,
                "together": pl.Series(
                    together if name == SEVERAL else [None] * len(containers), dtype=pl.String
                ),
                "leaf": at,
            }
        )
        for at, (name, kind, values) in enumerate(leaves)
    )
    total = pl.col("chance").sum().over("container", "cause")
    return CAUSES.conform(
        table.with_columns(cause_chance=total)
        .sort("container", "cause_chance", "cause", "leaf", descending=[False, True, False, False])
        .with_columns(
            place=(pl.col("cause") != pl.col("cause").shift(1))
            .fill_null(True)
            .cum_sum()
            .over("container")
            .cast(pl.Int64)
        )
    )


def _evidence(
    catalogue: Catalogue,
    containers: list[str],
    features: list[str],
    step: Array,
    hypotheses: list[str],
    chance: Array,
    rows: _Rows,
    within: Array,
    evidence: Array,
    distances: pl.DataFrame,
    bases: Mapping[str, str],
) -> pl.DataFrame:
    """What each feature adds to the odds of a likely cause against all that competes with it.

    The odds now over the odds had the feature not been logged; more than one cause is left aside, for the
    cause may be one of them.
    """
    causes = [name for name in hypotheses if name in catalogue.causes]
    at = {name: hypotheses.index(name) for name in hypotheses}
    weight = chance[:, [at[cause] for cause in rows.cause]] * within
    order = np.argsort(-chance[:, [at[name] for name in causes]], axis=1, kind="stable")[:, :TOLD_CAUSES]
    # Dividing a chance by its likelihood ratio takes the feature back.
    back = np.exp(np.clip(-evidence, -30, 30))
    frames = []
    for place in range(order.shape[1]):
        for which, name in enumerate(causes):
            units = np.flatnonzero(order[:, place] == which)
            if not len(units):
                continue
            mine = np.array([cause == name for cause in rows.cause])
            own, rest = weight[units] * mine, weight[units] * ~mine
            healthy = chance[units, at[HEALTHY]][:, None]
            now = _odds(own.sum(axis=1)[:, None], rest.sum(axis=1)[:, None] + healthy)
            before = _odds(
                np.einsum("ur,uri->ui", own, back[units]),
                np.einsum("ur,uri->ui", rest, back[units]) + healthy,
            )
            support = now - before
            known = np.isfinite(step[units])
            unit, feature = np.nonzero(known)
            frames.append(
                pl.DataFrame(
                    {
                        "container": [containers[units[u]] for u in unit],
                        "cause": name,
                        "feature": [features[f] for f in feature],
                        "support": support[unit, feature],
                    },
                    schema=_TOLD,
                )
            )
    if not frames:
        return EVIDENCE.empty()
    told = pl.concat(frames).with_columns(
        base=pl.col("feature").replace_strict(dict(bases), default=pl.col("feature"))
    )
    side = pl.when(pl.col("support") > 0).then(pl.lit("for")).otherwise(pl.lit("against"))
    most = pl.when(pl.col("side") == "for").then(MOST_FOR).otherwise(MOST_AGAINST)
    return EVIDENCE.conform(
        told.sort(
            "container", "cause", pl.col("support").abs(), "feature", descending=[False, False, True, False]
        )
        .group_by("container", "cause", "base", maintain_order=True)
        # The strongest view tells it; together they weigh.
        .agg(pl.col("feature").first(), pl.col("support").sum())
        .filter(pl.col("support").abs() >= LEAST_SUPPORT)
        .with_columns(side=side)
        .sort(
            "container", "cause", pl.col("support").abs(), "feature", descending=[False, False, True, False]
        )
        .filter(pl.int_range(pl.len()).over("container", "cause", "side") < most)
        .join(
            distances.select("container", "feature", "words"),
            on=["container", "feature"],
            how="left",
            maintain_order="left",
        )
        .with_columns(odds=pl.col("support").exp())
    )
