"""Small catalogues of our own, so that no test rests on the shipped figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl

from coldsift.causes import Catalogue, Cause, Observation, Risk
from coldsift.causes.catalogue import Kind
from coldsift.causes.signs import STEP

Likelihoods = Mapping[str, Mapping[str, tuple[float, float, float]]]


def cause(name: str, prior: float = 1.0, kinds: Mapping[str, float] | None = None) -> Cause:
    """A cause, its kinds by their shares."""
    return Cause(
        id=name,
        name=name.replace("_", " ").capitalize(),
        about="",
        prior=prior,
        first_checks=(),
        parts=(),
        tools=(),
        cautions=(),
        if_left="",
        hidden_by=(),
        told_apart="",
        alike=(),
        kinds=tuple(Kind(kind, kind, share, "", ()) for kind, share in (kinds or {}).items()),
    )


def observation(
    name: str,
    chance: Mapping[str, float],
    otherwise: float = 0.1,
    minutes: float = 1.0,
    risk: Risk = Risk.NONE,
    settles: str = "",
) -> Observation:
    """An observation: chance of a yes by cause, and under all others; the cause that a yes is."""
    return Observation(name, f"{name}?", "yes", "no", "", minutes, risk, otherwise, chance, settles=settles)


def catalogue(
    causes: Sequence[Cause],
    likelihoods: Likelihoods | None = None,
    observations: Sequence[Observation] = (),
    fault_share: float = 0.2,
) -> Catalogue:
    """A catalogue as it is once read."""
    return Catalogue(
        {each.id: each for each in causes},
        {each.id: each for each in observations},
        likelihoods or {},
        fault_share,
    )


def steps_away(steps: float) -> float:
    """Robust distance that makes so many steps."""
    return STEP * float(np.sinh(steps))


def distances(units: Mapping[str, Mapping[str, float | None]]) -> pl.DataFrame:
    """Distances as the peers give them, from steps by unit and feature."""
    rows = [
        (unit, feature, None if steps is None else steps_away(steps), f"{feature} of {unit} in words")
        for unit, features in units.items()
        for feature, steps in features.items()
    ]
    schema = {"container": pl.String, "feature": pl.String, "distance": pl.Float64, "words": pl.String}
    return pl.DataFrame(rows, schema=schema, orient="row")


def chance(causes: pl.DataFrame, name: str, container: str = "unit") -> float:
    """Chance of one hypothesis, its kinds together."""
    rows = causes.filter(pl.col("cause") == name, pl.col("container") == container)
    return float(rows["chance"].sum())
