"""The chance of every hypothesis for every unit, by Bayes' rule over all that is known of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.causes.catalogue import OTHER, Catalogue
from coldsift.causes.signs import parts, step_table

Array = NDArray[np.float64]

OTHER_SHARE = 0.05
"""Share of faults that are none of the catalogue's. Common practice, no source."""

SECOND_TEMPER = 0.5
"""Evidence that a second cause adds counts so much: the likelihoods were fitted on single faults. Chosen on
fitting seeds so that single faults are not taken for two."""

MOST_PAIRED = 5
"""More than one: pairs are made of a unit's so many likeliest causes."""


@dataclass(frozen=True, slots=True)
class Rows:
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


@dataclass(frozen=True, slots=True)
class Weighed:
    """What the evidence makes of the hypotheses; the chances of a unit sum to 1.

    Attributes
    ----------
    containers, features
        Units, sorted, and the features that any likelihood names.
    step
        ``(units, features)``, NaN where a feature is not known.
    rows
        Causes and kinds, "none of these" last.
    evidence
        Natural logarithm of the likelihood against a good unit, ``(units, rows, features)``.
    chance
        Of each row, ``(units, rows)``.
    healthy, several
        Chances of nothing wrong and of more than one cause, ``(units,)``.
    pairs
        Each unit's likeliest pair behind ``several``.
    """

    containers: list[str]
    features: list[str]
    step: Array
    rows: Rows
    evidence: Array
    chance: Array
    healthy: Array
    several: Array
    pairs: list[tuple[str, ...]]

    def of(self, cause: str) -> NDArray[np.bool_]:
        """Which rows are those of a cause."""
        return np.array([name == cause for name in self.rows.cause])


def weigh(distances: pl.DataFrame, catalogue: Catalogue) -> Weighed:
    """Weigh every hypothesis for every unit.

    Parameters
    ----------
    distances
        ``container``, ``feature``, ``distance``, from :class:`coldsift.peers.Comparison`.
    catalogue
        From :func:`coldsift.causes.load_catalogue`.

    Returns
    -------
    Weighed
        Prior × product of likelihood ratios, over all that compete. A feature that is not known leaves the
        chances as they were.

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
    score = np.log(rows.prior) + evidence.sum(axis=2)
    several, pairs = _pairs(rows, score, evidence)
    healthy = np.full(len(containers), np.log(1 - catalogue.fault_share))
    whole = _log_sum(np.column_stack([healthy, several, score]))
    return Weighed(
        containers,
        features,
        step,
        rows,
        evidence,
        np.exp(score - whole[:, None]),
        np.exp(healthy - whole),
        np.exp(several - whole),
        pairs,
    )


def _rows(catalogue: Catalogue, features: list[str]) -> Rows:
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
    return Rows(
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


def _pairs(rows: Rows, score: Array, evidence: Array) -> tuple[Array, list[tuple[str, ...]]]:
    """Score of more than one cause, and each unit's likeliest pair; no pair among fewer than two causes."""
    units = np.arange(len(score))
    single = [name for name in dict.fromkeys(rows.cause) if name != OTHER]
    own = [np.flatnonzero([cause == name for cause in rows.cause]) for name in single]
    # Each cause speaks through its likeliest kind.
    best = np.stack([kinds[score[:, kinds].argmax(axis=1)] for kinds in own], axis=1)
    prior = np.array([rows.prior[kinds].sum() for kinds in own])
    strength = np.take_along_axis(score, best, axis=1)
    likeliest = np.argsort(-strength, axis=1, kind="stable")[:, :MOST_PAIRED]
    scores, chosen = [], []
    for first, second in combinations(range(likeliest.shape[1]), 2):
        one, two = likeliest[:, first], likeliest[:, second]
        said = [evidence[units, best[units, which]] for which in (one, two)]
        added = (said[1] - np.maximum(np.minimum(*said), 0)).sum(axis=1)
        together = said[0].sum(axis=1) + SECOND_TEMPER * added
        # Two faults meet by chance: the product of their chances.
        scores.append(np.log(prior[one] * prior[two]) + together)
        chosen.append((one, two))
    if not scores:
        return np.full(len(score), -np.inf), [()] * len(score)
    table = np.stack(scores, axis=1)
    winner = table.argmax(axis=1)
    pairs = [tuple(single[chosen[winner[unit]][side][unit]] for side in (0, 1)) for unit in units]
    return _log_sum(table), pairs
