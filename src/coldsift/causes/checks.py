"""What to look at or measure next: which observation tells most about the cause for its minutes and its risk.

The report's page holds the same table and does the same sums in the browser (``report/templates/checks.js``);
tests hold the two against each other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.causes.catalogue import HEALTHY, OTHER, SEVERAL, Catalogue, Risk

Array = NDArray[np.float64]

RISK_FACTOR: Mapping[Risk, float] = {
    Risk.NONE: 1.0,
    Risk.CARGO: 1.2,
    Risk.MOVING_PARTS: 1.3,
    Risk.HEIGHT: 1.6,
    Risk.MAINS: 1.6,
    Risk.PRESSURE: 2.0,
    Risk.ATMOSPHERE: 2.0,
}
"""How many ordinary minutes a minute at such a risk counts for. Common practice, no source."""

OVERHEAD_MINUTES = 3.0
"""To get at the part and to write down what was seen, for every check: or a row of quick looks that tell
little would always go before the one that settles it. Common practice, no source."""

GOOD = 0
"""Place of the leaf of a good unit, see :class:`CheckTable`."""

CONFIRM_FROM = 0.8
"""A cause at least so likely is confirmed before it is repaired: its own checks go first, in the order of
practice. What little doubt is left would else send the technician to quick looks at something else."""

SETTLED = 0.95
"""Share of what was held for a good unit that goes over to the cause which a yes is; the rest is for papers
and eyes that err. Common practice, no source."""

LEAST_BITS = 0.005
"""An observation that tells less is not proposed. [bit]"""


@dataclass(frozen=True, slots=True)
class CheckTable:
    """Chance of a yes to every observation under every hypothesis.

    Attributes
    ----------
    leaves
        Cause and kind of each hypothesis, the kind empty where there is none; in the order of the catalogue,
        after ``healthy``, ``other_cause`` and ``more_than_one``.
    observations
        Ids.
    yes
        ``(observations, leaves)``; the column of ``more_than_one`` is a unit's own, see :func:`yes_table`.
    cost
        ``OVERHEAD_MINUTES`` and the minutes of work weighted with their risk, one an observation.
    confirming
        By cause, the places of the observations that confirm it, in the order of practice.
    settling
        By place of an observation, the place of the leaf that a yes to it is.
    """

    leaves: tuple[tuple[str, str], ...]
    observations: tuple[str, ...]
    yes: Array
    cost: Array
    confirming: Mapping[str, tuple[int, ...]]
    settling: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class NextCheck:
    """An observation worth making: its id, what it tells [bit], and that for a weighted minute."""

    observation: str
    bits: float
    bits_per_minute: float


def check_table(catalogue: Catalogue) -> CheckTable:
    """Put the catalogue's observations in one table.

    Parameters
    ----------
    catalogue
        From :func:`coldsift.causes.load_catalogue`.

    Returns
    -------
    CheckTable
        Under "none of these" an answer is as likely as over all causes together, by their priors.
    """
    causes = [
        (name, kind, cause.prior * share)
        for name, cause in catalogue.causes.items()
        for kind, share in ([(kind.id, kind.share) for kind in cause.kinds] or [("", 1.0)])
    ]
    weight = np.array([prior for *_, prior in causes])
    rows = []
    for observation in catalogue.observations.values():
        given, otherwise = observation.chance, observation.otherwise
        own = [given.get(f"{name}.{kind}", given.get(name, otherwise)) for name, kind, _ in causes]
        mean = float(np.average(own, weights=weight))
        rows.append([given.get(HEALTHY, otherwise), given.get(OTHER, mean), otherwise, *own])
    places = {name: place for place, name in enumerate(catalogue.observations)}
    leaves = ((HEALTHY, ""), (OTHER, ""), (SEVERAL, ""), *((name, kind) for name, kind, _ in causes))
    return CheckTable(
        leaves=leaves,
        observations=tuple(catalogue.observations),
        yes=np.array(rows).reshape(len(rows), 3 + len(causes)),
        cost=np.array(
            [
                OVERHEAD_MINUTES + each.minutes * RISK_FACTOR[each.risk]
                for each in catalogue.observations.values()
            ]
        ),
        confirming={
            name: tuple(places[each] for each in cause.first_checks if each in places)
            for name, cause in catalogue.causes.items()
        },
        settling={
            places[name]: leaves.index((each.settles, ""))
            for name, each in catalogue.observations.items()
            if each.settles
        },
    )


def leaf_chances(causes: pl.DataFrame, table: CheckTable) -> tuple[list[str], Array, list[tuple[str, ...]]]:
    """Chances of every unit in the order of the table's leaves.

    Parameters
    ----------
    causes
        :data:`coldsift.schema.CAUSES`.
    table
        From :func:`check_table`.

    Returns
    -------
    tuple
        Containers, sorted; ``(units, leaves)``; and each unit's pair of causes behind ``more_than_one``.
    """
    place = pl.DataFrame(
        {
            "cause": [cause for cause, _ in table.leaves],
            "kind": [kind for _, kind in table.leaves],
            "leaf": range(len(table.leaves)),
        }
    )
    containers = causes.select(pl.col("container").unique().sort()).with_row_index("unit")
    known = (
        causes.with_columns(pl.col("kind").fill_null(""))
        .join(place, on=["cause", "kind"])
        .join(containers, on="container")
    )
    units = containers["container"]
    chances = np.zeros((len(units), len(table.leaves)))
    chances[known["unit"].to_numpy(), known["leaf"].to_numpy()] = known["chance"].to_numpy()
    pairs = dict(known.drop_nulls("together").select("container", "together").iter_rows())
    return (
        units.to_list(),
        chances / chances.sum(axis=1, keepdims=True),
        [tuple(filter(None, pairs.get(name, "").split(", "))) for name in units],
    )


def yes_table(table: CheckTable, pair: Sequence[str], chances: Array) -> Array:
    """The table with one unit's own column for more than one cause.

    Parameters
    ----------
    table
        From :func:`check_table`.
    pair
        The two causes; without them, ``more_than_one`` answers as a good unit does.
    chances
        ``(leaves,)``; a cause answers as its kinds do, weighted with their chances.

    Returns
    -------
    numpy.ndarray
        ``(observations, leaves)``. Of two causes, the one whose answer differs more from the ordinary shows.
    """
    names = [cause for cause, _ in table.leaves]
    several = names.index(SEVERAL)
    yes = table.yes.copy()
    ordinary = table.yes[:, several]
    for cause in pair:
        own = np.array([name == cause for name in names])
        weight = chances[own] if chances[own].sum() > 0 else np.ones(int(own.sum()))
        answer = table.yes[:, own] @ (weight / weight.sum())
        # Rounding must not decide between two that differ equally.
        stronger = np.abs(answer - ordinary) > np.abs(yes[:, several] - ordinary) + 1e-9
        yes[:, several] = np.where(stronger, answer, yes[:, several])
    return yes


def after(
    chances: Array, yes: Array, answers: Mapping[int, bool], settling: Mapping[int, int] | None = None
) -> Array:
    """Chances after what was seen, by Bayes' rule.

    Parameters
    ----------
    chances
        ``(leaves,)`` before.
    yes
        ``(observations, leaves)``.
    answers
        Yes or no, by place of the observation.
    settling
        As in :class:`CheckTable`.

    Returns
    -------
    numpy.ndarray
        ``(leaves,)``, summing to 1.

    Notes
    -----
    A yes that is a cause leaves no good unit: what was held for one goes over to that cause
    (:data:`SETTLED`). The other faults keep their chances, for they can be there as well.
    """
    updated = chances.copy()
    for place, seen in sorted(answers.items()):
        updated = updated * (yes[place] if seen else 1 - yes[place])
    updated = updated / updated.sum()
    for leaf in _settled(answers, settling):
        moved = SETTLED * updated[GOOD]
        updated[GOOD] -= moved
        updated[leaf] += moved
    return np.asarray(updated)


def _settled(answers: Mapping[int, bool], settling: Mapping[int, int] | None) -> list[int]:
    return [leaf for place, leaf in (settling or {}).items() if answers.get(place)]


def before(
    chances: Array, yes: Array, answers: Mapping[int, bool], settling: Mapping[int, int] | None = None
) -> Array:
    """Chances as they were before what was seen: takes :func:`after` back, and has its parameters."""
    earlier = chances.copy()
    for leaf in reversed(_settled(answers, settling)):
        whole = earlier[GOOD] / (1 - SETTLED)
        earlier[leaf] -= whole - earlier[GOOD]
        earlier[GOOD] = whole
    # What was nearly all moved comes back with a rounding.
    earlier = earlier.clip(0.0)
    for place, seen in sorted(answers.items()):
        earlier = earlier / (yes[place] if seen else 1 - yes[place])
    return np.asarray(earlier / earlier.sum())


def information(chances: Array, yes: Array) -> Array:
    """Expected information of every observation about the hypotheses. [bit]

    Parameters
    ----------
    chances, yes
        As for :func:`after`.

    Returns
    -------
    numpy.ndarray
        ``(observations,)``: entropy of the answer less its expected entropy once the hypothesis is known.
        Checked against scipy's entropy in tests/outside.
    """
    bits: Array = _binary_entropy(yes @ chances) - _binary_entropy(yes) @ chances
    return np.maximum(bits, 0.0)


def _binary_entropy(chance: Array) -> Array:
    entropy: Array = -(chance * np.log2(chance) + (1 - chance) * np.log2(1 - chance))
    return entropy


def next_checks(
    table: CheckTable,
    chances: Array,
    yes: Array,
    answered: Sequence[int] = (),
    confirm: int | None = None,
) -> list[NextCheck]:
    """Observations worth making, the best first.

    Parameters
    ----------
    table
        From :func:`check_table`.
    chances, yes
        As for :func:`after`.
    answered
        Places of those already made.
    confirm
        Place of one that goes before all others, answered or not, whatever it tells.

    Returns
    -------
    list of NextCheck
        First those that confirm a cause of ``CONFIRM_FROM`` and above, in the order of practice; then by
        information per minute of work, a risky minute counting for more; ties in the catalogue's order.
    """
    bits = information(chances, yes)
    worth = bits / table.cost
    by_worth = np.argsort(-worth, kind="stable").tolist()
    first = () if confirm is None else (confirm,)
    order = dict.fromkeys([*first, *_confirming(table, chances), *by_worth])
    return [
        NextCheck(table.observations[place], float(bits[place]), float(worth[place]))
        for place in order
        if place == confirm or (bits[place] >= LEAST_BITS and place not in set(answered))
    ]


def _confirming(table: CheckTable, chances: Array) -> tuple[int, ...]:
    """Places of the observations that confirm the leading cause, when it is likely enough."""
    for cause, confirming in table.confirming.items():
        own = [leaf for leaf, (name, _) in enumerate(table.leaves) if name == cause]
        if chances[own].sum() >= CONFIRM_FROM:
            return confirming
    return ()


def first_checks(
    causes: pl.DataFrame,
    catalogue: Catalogue,
    seen: pl.DataFrame | None = None,
    confirm: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """The best next check of every unit.

    Parameters
    ----------
    causes
        :data:`coldsift.schema.CAUSES`.
    catalogue
        From :func:`coldsift.causes.load_catalogue`.
    seen
        :data:`coldsift.schema.SEEN`: answered already, and not proposed again.
    confirm
        ``container``, ``observation``: what the papers say of a unit and a person has to confirm there
        before anything else is done, answered or not.

    Returns
    -------
    polars.DataFrame
        ``container``, ``observation`` (id), ``question``, ``minutes`` [min]; units for which nothing tells
        much are left out.
    """
    table = check_table(catalogue)
    containers, chances, pairs = leaf_chances(causes, table)
    answered, first = answered_places(seen, table), places_to_confirm(confirm, table)
    found = []
    for container, own, pair in zip(containers, chances, pairs, strict=True):
        made = list(answered.get(container, ()))
        worth = next_checks(table, own, yes_table(table, pair, own), made, first.get(container))
        if worth:
            best = catalogue.observations[worth[0].observation]
            found.append((container, best.id, best.question, best.minutes))
    schema = {
        "container": pl.String,
        "observation": pl.String,
        "question": pl.String,
        "minutes": pl.Float64,
    }
    return pl.DataFrame(found, schema=schema, orient="row")


def answered_places(seen: pl.DataFrame | None, table: CheckTable) -> dict[str, dict[int, bool]]:
    """By container, the answers of :data:`coldsift.schema.SEEN` by place of the observation."""
    if seen is None:
        return {}
    places = {name: place for place, name in enumerate(table.observations)}
    answers: dict[str, dict[int, bool]] = {}
    for container, observation, answer in seen.select("container", "observation", "answer").iter_rows():
        if observation in places:
            answers.setdefault(container, {})[places[observation]] = answer
    return answers


def places_to_confirm(confirm: pl.DataFrame | None, table: CheckTable) -> dict[str, int]:
    """By container, the place of the observation to confirm; see :func:`first_checks`."""
    if confirm is None:
        return {}
    places = {name: place for place, name in enumerate(table.observations)}
    return {
        container: places[observation]
        for container, observation in confirm.select("container", "observation").iter_rows()
        if observation in places
    }
