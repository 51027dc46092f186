"""Oddness of each unit and what it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from coldsift.features import Feature, View, Worry
from coldsift.peers.forest import FARTHEST, isolation_scores
from coldsift.peers.groups import LEVELS, peer_groups
from coldsift.peers.robust import FEWEST_PEERS, NORMAL_MAD, adjusted, group_statistics
from coldsift.peers.words import rounded
from coldsift.schema import TABLES

ORDINARY = 1.5
"""A robust distance up to this is ordinary among many features, and adds nothing."""

WEIGHTS = (0.5, 0.3, 0.2)
"""How the three strongest contributions add up."""

LIKENESS = dict(zip(LEVELS, (1.0, 1.0, 0.7, 0.5), strict=True))
"""Distance from units that are less alike counts less."""

FOREST_WEIGHT = 0.2

TASKS = ("lift", "lift_shift", "ambient", "ambient_shift")
"""Features that say what is asked of a unit; others are compared after taking out what these explain."""

FEWEST_FOR_FOREST = 12

FEATURES_AT_ONCE = 32
"""Features are compared so many at a time: of a large fleet, all at once would not fit in a laptop."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """What the peers say.

    Attributes
    ----------
    features
        :data:`coldsift.schema.FEATURES`, peers' range and distance filled in.
    contributions
        ``container``, ``feature``, ``contribution`` (distance beyond the ordinary), ``symptom``,
        ``words``; strongest first, one view of each feature.
    distances
        ``container``, ``feature``, ``value``, ``distance`` (robust, with a sign, from peers or, where these
        are too few, from the usual range of good units; null where there is neither) and ``words``.
    oddness
        ``container``, ``oddness``, ``forest`` (isolation score, null in small fleets), ``peer_group``,
        ``level``, ``peers``.
    members
        ``container``, ``peer_group``: every unit in every group it belongs to.
    """

    features: pl.DataFrame
    contributions: pl.DataFrame
    distances: pl.DataFrame
    oddness: pl.DataFrame
    members: pl.DataFrame


def compare(features: pl.DataFrame, traits: pl.DataFrame, catalogue: Mapping[str, Feature]) -> Comparison:
    """Hold every unit against its peers and against its own past.

    Parameters
    ----------
    features
        From :func:`coldsift.features.unit_features`.
    traits
        From :func:`coldsift.regimes.unit_traits`.
    catalogue
        :data:`coldsift.features.FEATURES`.

    Returns
    -------
    Comparison
        Oddness is a weighted sum of the three strongest contributions and of the isolation forest; 0 is
        ordinary.
    """
    groups = peer_groups(traits)
    tasks = features.group_by("container", maintain_order=True).agg(
        pl.col("value").filter(pl.col("feature") == name).first().alias(name) for name in TASKS
    )
    side = traits.select(
        "container",
        "set_point",
        side=pl.format(
            "{} {}", pl.col("regime_class").is_in(["deep_frozen", "frozen"]).cast(pl.String), "cooling"
        ),
    )
    entries = pl.DataFrame(
        {
            "feature": list(catalogue),
            "scale": [entry.scale for entry in catalogue.values()],
            "worry": [entry.worry.value for entry in catalogue.values()],
            "against": pl.Series([entry.against for entry in catalogue.values()], dtype=pl.String),
            "symptom": [entry.symptom for entry in catalogue.values()],
            "words": [(catalogue[entry.base] if entry.base else entry).words for entry in catalogue.values()],
            "view": [entry.view.value for entry in catalogue.values()],
            "recent_hours": [f"{entry.recent_hours:.0f}" for entry in catalogue.values()],
            "base": [entry.base or name for name, entry in catalogue.items()],
            **{
                f"usual_{end}": pl.Series(
                    [entry.usual[place] if entry.usual else None for entry in catalogue.values()],
                    dtype=pl.Float64,
                )
                for place, end in enumerate(("low", "high"))
            },
            "by_peers": [entry.by_peers for entry in catalogue.values()],
        }
    )
    # What takes minutes is seen no better than the log interval, of the unit or of its peers.
    logged = traits.filter(pl.col("container").is_in(features["container"].unique().implode()))
    interval = pl.max_horizontal("interval_minutes", pl.lit(logged["interval_minutes"].median(), pl.Float64))
    task = pl.coalesce(pl.when(pl.col("against") == name).then(name) for name in (*TASKS, "set_point"))
    units = (
        logged.select("container", "interval_minutes")
        .join(side, on="container", how="left", maintain_order="left")
        .join(tasks, on="container", how="left", maintain_order="left")
        .join(
            groups.chosen.select("container", "peer_group", "level"),
            on="container",
            how="left",
            maintain_order="left",
        )
    )
    kept, candidates = [], []
    rows = features.drop("peer_low", "peer_median", "peer_high", "peers", "z").with_row_index("place")
    names = list(catalogue)
    for first in range(0, len(names), FEATURES_AT_ONCE):
        some = names[first : first + FEATURES_AT_ONCE]
        values = (
            rows.filter(pl.col("feature").is_in(some))
            .join(units, on="container", how="left", maintain_order="left")
            .join(entries, on="feature", how="left", maintain_order="left")
            .with_columns(
                task=task,
                scale=pl.when(pl.col("unit") == "min")
                .then(pl.max_horizontal("scale", interval))
                .otherwise("scale"),
            )
        )
        compared = group_statistics(adjusted(values), groups.members).with_columns(statement=_words())
        candidates.append(_candidates(compared))
        kept.append(compared.select("place", *TABLES["features"].names, "z_range", "statement"))
    compared = pl.concat(kept)
    kept.clear()
    compared = compared.sort("place").drop("place")
    contributions = _strongest(pl.concat(candidates))
    compared_by = [name for name, entry in catalogue.items() if entry.worry != Worry.NONE]
    oddness = _oddness(compared.filter(pl.col("feature").is_in(compared_by)), contributions, groups.chosen)
    distances = compared.select("container", "feature", "value", distance="z_range", words="statement")
    return Comparison(TABLES["features"].conform(compared), contributions, distances, oddness, groups.members)


def _candidates(compared: pl.DataFrame) -> pl.DataFrame:
    """Distances beyond the ordinary, on the side that worries."""
    z = pl.col("z_range")
    directed = (
        pl.when(pl.col("worry") == Worry.HIGH)
        .then(z)
        .when(pl.col("worry") == Worry.LOW)
        .then(-z)
        .when(pl.col("worry") == Worry.BOTH)
        .then(z.abs())
    )
    return (
        compared.with_columns(directed=directed)
        .with_columns(contribution=pl.col("directed").clip(0.0, FARTHEST) - ORDINARY)
        .with_columns(contribution=pl.col("contribution") * pl.col("level").replace_strict(LIKENESS))
        .filter(pl.col("contribution") > 0)
        .select("container", "feature", "contribution", "symptom", "base", "directed", words="statement")
    )


def _strongest(candidates: pl.DataFrame) -> pl.DataFrame:
    return (
        candidates.sort("container", "directed", "feature", descending=[False, True, False])
        # The views of one feature are one reason, told by the strongest of them.
        .unique(["container", "base"], keep="first", maintain_order=True)
        .drop("base", "directed")
    )


def _words() -> pl.Expr:
    """For example: split 0.3 K; 41 peers hold 1.9 to 2.8 K."""
    percent = (pl.col("unit") == "") & pl.col("worry").is_not_null()
    unit = pl.when(percent).then(pl.lit("%")).otherwise("unit")
    factor = pl.when(percent).then(100.0).otherwise(1.0)

    def number(name: str) -> pl.Expr:
        value = pl.col(name) * factor
        size = pl.max_horizontal((pl.col("peer_high") * factor).abs(), value.abs())
        return (
            pl.when(value.abs() >= 100)
            .then(rounded(value, 0))
            .when(size < 2)
            .then(rounded(value, 2))
            .otherwise(rounded(value, 1))
        )

    value = pl.format("{} {}", number("value"), unit).str.strip_chars_end()
    recent = pl.format("in the last {} h", "recent_hours")
    own = (
        pl.when(pl.col("view") == View.NOW)
        .then(pl.format("{} {} {}", "words", value, recent))
        .when(pl.col("view") == View.SHIFT)
        .then(pl.format("{} changed by {} {}", "words", value, recent))
        .when(pl.col("view") == View.TREND)
        .then(pl.format("{} drifts by {}", "words", value))
        .otherwise(pl.format("{} {}", "words", value))
    )
    verbs = {View.WHOLE: "hold", View.NOW: "hold", View.SHIFT: "changed by", View.TREND: "drift by"}
    verb = pl.col("view").replace_strict({view.value: verb for view, verb in verbs.items()})
    usual = (
        pl.when(pl.col("usual_low") == pl.col("usual_high"))
        .then(pl.format("{} {}", number("usual_low"), unit))
        .otherwise(pl.format("{} to {} {}", number("usual_low"), number("usual_high"), unit))
        .str.strip_chars_end()
    )
    return (
        pl.when(~pl.col("by_peers"))
        .then(own)
        .when(pl.col("peers") >= FEWEST_PEERS)
        .then(
            pl.format(
                "{}; {} peers {} {} to {} {}",
                *(own, "peers", verb, number("peer_low"), number("peer_high"), unit),
            ).str.strip_chars_end()
        )
        .when(pl.col("usual_low").is_not_null())
        .then(pl.format("{}; {} expected, too few peers to compare", own, usual))
        .otherwise(pl.format("{}; too few peers to compare", own))
    )


def _oddness(compared: pl.DataFrame, contributions: pl.DataFrame, groups: pl.DataFrame) -> pl.DataFrame:
    strongest = (
        contributions.group_by("container", maintain_order=True)
        .agg(pl.col("contribution").head(len(WEIGHTS)))
        .select(
            "container",
            strength=sum(
                (
                    weight * pl.col("contribution").list.get(place, null_on_oob=True).fill_null(0.0)
                    for place, weight in enumerate(WEIGHTS)
                ),
                start=pl.lit(0.0),
            ),
        )
    )
    matrix = compared.pivot("feature", index="container", values="z_range", aggregate_function=None).sort(
        "container"
    )
    table = matrix.drop("container").to_numpy().astype(float)
    units = groups.join(strongest, on="container", how="left", maintain_order="left").with_columns(
        pl.col("strength").fill_null(0.0)
    )
    if len(matrix) < FEWEST_FOR_FOREST:
        return units.with_columns(forest=pl.lit(None, dtype=pl.Float64), oddness="strength").drop("strength")
    scores = isolation_scores(table)
    centre = float(np.median(scores))
    spread = max(NORMAL_MAD * float(np.median(np.abs(scores - centre))), 0.01)
    distance = np.clip((scores - centre) / spread - ORDINARY, 0.0, FARTHEST)
    return (
        units.join(
            matrix.select("container").with_columns(forest=scores, forest_distance=distance),
            on="container",
            how="left",
            maintain_order="left",
        )
        .with_columns(
            oddness=(1 - FOREST_WEIGHT) * pl.col("strength")
            + FOREST_WEIGHT * pl.col("forest_distance").fill_null(0.0)
        )
        .drop("strength", "forest_distance")
    )
