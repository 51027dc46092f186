"""The verdict on each repair."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import polars as pl

from coldsift.features import FEATURES, View, Worry, unit_features, with_saturation
from coldsift.features.catalogue import ANY_HOLD, Statistic
from coldsift.peers.forest import FARTHEST
from coldsift.peers.robust import FEWEST_PEERS, LONE_SCALES, NORMAL_RANGE
from coldsift.refrigerant import DEFAULT_REFRIGERANT
from coldsift.regimes import SET_POINT_STEP
from coldsift.repairs.windows import cut_defrosts, cut_timeline, occasions, peers_of, windows_of
from coldsift.repairs.words import sentences
from coldsift.schema import REPAIRS

LEAST_HOURS = 12.0
"""Hours of hold after a repair below which it is too early to judge. [h]"""

LEAST_BEFORE_HOURS = 3.0
"""Hours of hold right before it that show what the trouble was. [h]"""

ODD = 2.0
"""A feature further outside its peers' range than this many spreads is part of the trouble."""

HALFWAY = 0.5
"""Better is at most this share of the distance that there was; worse is as much more of it."""

_GROWING = (Statistic.SUM, Statistic.MAX)
"""Statistics that grow with the length of a stretch: two stretches do not compare by them."""

_OF_DEFROSTS = ("defrost_minutes", "defrost_termination", "defrosts_unfinished")
"""Of the others, these do not grow either."""

_CATALOGUE = pl.DataFrame(
    [
        {
            "feature": name,
            "feature_words": feature.words,
            "feature_unit": feature.unit,
            "scale": feature.scale,
            "symptom": feature.symptom,
            "worry": feature.worry.value,
            "usual_low": feature.usual[0] if feature.usual else None,
            "usual_high": feature.usual[1] if feature.usual else None,
            "by_peers": feature.by_peers,
        }
        for name, feature in FEATURES.items()
        if feature.view is View.WHOLE
        and feature.worry is not Worry.NONE
        and (name in _OF_DEFROSTS or (feature.of is not None and feature.statistic not in _GROWING))
    ],
    schema_overrides={"usual_low": pl.Float64, "usual_high": pl.Float64},
    infer_schema_length=None,
)


def units_needed(notes: pl.DataFrame, peer_groups: pl.DataFrame, peer_members: pl.DataFrame) -> list[str]:
    """Containers whose timelines :func:`judge_repairs` needs: those repaired, and their peers.

    Parameters
    ----------
    notes, peer_groups, peer_members
        As in :func:`judge_repairs`.

    Returns
    -------
    list of str
        Sorted; some may have no log.
    """
    repaired = occasions(notes)["container"].unique()
    peers = peers_of(peer_groups.filter(pl.col("container").is_in(repaired.implode())), peer_members)
    return pl.concat([repaired, peers["peer"]]).unique().sort().to_list()


def judge_repairs(
    timeline: pl.DataFrame,
    defrosts: pl.DataFrame,
    notes: pl.DataFrame,
    peer_groups: pl.DataFrame,
    peer_members: pl.DataFrame,
    refrigerants: Mapping[str, str] = MappingProxyType({}),
    refrigerant: str = DEFAULT_REFRIGERANT,
) -> pl.DataFrame:
    """Say of every noted repair what followed it.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, with ``shared`` from
        :func:`coldsift.regimes.mark_shared`, sorted by container and time. Readings of what the whole ship
        shared count neither before nor after. Of more units than :func:`units_needed` names, the others
        change nothing.
    defrosts
        From :func:`coldsift.regimes.find_defrosts`.
    notes
        :data:`coldsift.schema.NOTES`; those with an action or a part are repairs.
    peer_groups
        ``container``, ``peer_group``: the group that each unit is held against, as
        :attr:`coldsift.peers.Comparison.oddness`.
    peer_members
        ``container``, ``peer_group``: all units of every group.
    refrigerants, refrigerant
        Refrigerant by container where it is not that of all others.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.REPAIRS`, in order of container, time and line.

    Notes
    -----
    A feature is odd when it stood well outside its peers' range right before. It is recovered when it is
    back in their range of the time after, or at the unit's own value from before the trouble, within the
    spread of that range or the smallest meaningful difference; better when at least halfway there, worse when
    half as far again. The verdict is that of most odd features, each weighing by how far out it stood, and
    twice where the unit got there during the log. The row tells the furthest of those that agree.
    """
    done = occasions(notes)
    windows = windows_of(done, timeline, peers_of(peer_groups, peer_members))
    rows = cut_timeline(timeline, windows.cut)
    values, hold = _NO_VALUES, _NO_HOLD
    if not rows.is_empty():
        fluids = windows.cut.select(
            "window", pl.col("container").replace_strict(dict(refrigerants), default=refrigerant)
        )
        rows = with_saturation(rows, dict(fluids.iter_rows()), refrigerant)
        values = unit_features(rows, cut_defrosts(defrosts, windows.cut)).select(
            "feature", "value", window="container"
        )
        hold = rows.group_by(window="container").agg(
            hours=pl.col("hours").filter(ANY_HOLD).sum(),
            set_point=pl.col("set_point").drop_nulls().last(),
            interval=60 * pl.col("usual_hours").first(),
        )
    judged = (
        done.join(
            windows.repairs.select("repair", "hours_after", logged=pl.lit(True)), on="repair", how="left"
        )
        .join(_sides(windows.cut, hold), on="repair", how="left")
        .with_columns(pl.col("before_hours", "after_hours").fill_null(0.0))
        .join(_leading(_distances(values, windows.cut, hold)), on="repair", how="left")
        .with_columns(reason=_reason(), unit="feature_unit", peers_low="after_low", peers_high="after_high")
        .with_columns(
            verdict=pl.coalesce(pl.col("reason").replace_strict(_UNJUDGED, default=None), "verdict")
        )
        .with_columns(words=sentences())
        .with_columns(pl.when(pl.col("verdict") != "cannot_tell").then(pl.col(*_NUMBERS)))
    )
    return REPAIRS.conform(judged.sort("container", "time", "line"))


_UNJUDGED = {
    "no_log": "cannot_tell",
    "no_before": "cannot_tell",
    "set_point": "cannot_tell",
    "nothing_odd": "cannot_tell",
    "not_logged": "cannot_tell",
    "too_early": "too_early",
}
"""Verdict of each reason why no feature decides."""

_NUMBERS = ("feature", "unit", "good", "before", "after", "peers_low", "peers_high")

_NO_VALUES = pl.DataFrame(schema={"feature": pl.String, "value": pl.Float64, "window": pl.String})
_NO_HOLD = pl.DataFrame(
    schema={"window": pl.String, "hours": pl.Float64, "set_point": pl.Float64, "interval": pl.Float64}
)


def _sides(cut: pl.DataFrame, hold: pl.DataFrame) -> pl.DataFrame:
    """One row a repair: hours of hold and last set point, before and after."""
    own = cut.filter("own").join(hold, on="window")
    before, after = (
        own.filter(pl.col("kind") == kind).select(
            "repair", pl.col("hours").alias(f"{kind}_hours"), pl.col("set_point").alias(f"{kind}_set_point")
        )
        for kind in ("before", "after")
    )
    return before.join(after, on="repair", how="full", coalesce=True)


def _distances(measured: pl.DataFrame, cut: pl.DataFrame, hold: pl.DataFrame) -> pl.DataFrame:
    """One row a repair and feature: before, after, good, the ranges, and how far outside they are."""
    key = ["repair", "feature"]
    values = (
        cut.select("window", "repair", "kind", "day", "own")
        .join(measured.drop_nulls("value"), on="window")
        .join(_CATALOGUE.select("feature"), on="feature", how="semi")
    )
    peers = (
        values.filter(~pl.col("own"))
        .group_by("kind", *key)
        .agg(
            low=pl.col("value").quantile(0.1, "linear"),
            high=pl.col("value").quantile(0.9, "linear"),
            count=pl.len().cast(pl.Int64),
        )
    )
    intervals = cut.filter("own").join(hold, on="window").group_by("repair").agg(pl.col("interval").max())
    wide = (
        _CATALOGUE.join(values.filter("own").select(key).unique(), on="feature")
        .join(intervals, on="repair")
        .sort(key)
        # What takes minutes is seen no better than the log interval.
        .with_columns(
            scale=pl.when(pl.col("feature_unit") == "min")
            .then(pl.max_horizontal("scale", "interval"))
            .otherwise("scale")
        )
    )
    for kind in ("before", "after"):
        enough = (pl.col("count").fill_null(0) >= FEWEST_PEERS) & pl.col("by_peers")
        wide = (
            wide.join(
                values.filter(pl.col("own"), pl.col("kind") == kind).select(
                    *key, pl.col("value").alias(kind)
                ),
                on=key,
                how="left",
                maintain_order="left",
            )
            .join(
                peers.filter(pl.col("kind") == kind).drop("kind"), on=key, how="left", maintain_order="left"
            )
            .with_columns(
                pl.when(enough).then("low").otherwise("usual_low").alias(f"{kind}_low"),
                pl.when(enough).then("high").otherwise("usual_high").alias(f"{kind}_high"),
                pl.when(enough).then("count").otherwise(0).alias(f"{kind}_peers"),
            )
            .drop("low", "high", "count")
        )
    wide = wide.with_columns(was_off=_outside("before", "before"))
    past = values.filter(pl.col("kind") == "past").select(*key, "day", past="value")
    days = (
        past.join(wide.select(*key, "worry", "was_off", "before_low", "before_high"), on=key)
        .sort(*key, "day", descending=[False, False, True])
        # From the first day on that was more than halfway out, the trouble was there.
        .with_columns(troubled=(_outside("past", "before") > HALFWAY * pl.col("was_off")).cum_max().over(key))
    )
    good = days.filter(~pl.col("troubled")).group_by(key).agg(good=pl.col("past").median())
    return wide.join(good, on=key, how="left", maintain_order="left").with_columns(
        is_off=pl.min_horizontal(_outside("after", "after"), (pl.col("after") - pl.col("good")).abs())
    )


def _outside(value: str, window: str) -> pl.Expr:
    """How far a value is outside the range, in the direction that worries; 0 inside, null without a range."""
    above = pl.col(value) - pl.col(f"{window}_high")
    below = pl.col(f"{window}_low") - pl.col(value)
    return (
        pl.when(pl.col("worry") == Worry.HIGH)
        .then(above)
        .when(pl.col("worry") == Worry.LOW)
        .then(below)
        .otherwise(pl.max_horizontal(above, below))
        .clip(0.0)
    )


def _leading(distances: pl.DataFrame) -> pl.DataFrame:
    """Of each repair, what most of the odd features say, and the furthest of those that say it."""
    came = pl.min_horizontal((pl.col("before") - pl.col("good")).abs(), "was_off").fill_null(0.0)
    told = (pl.col("was_off") + came) / _spread("before")
    verdict = ["repair", "followed", "verdict"]
    return (
        distances.filter(pl.col("was_off") / _spread("before") >= ODD)
        .with_columns(told=told, followed=pl.col("is_off").is_not_null(), verdict=_verdict())
        .with_columns(weight=pl.col("told").clip(0.0, FARTHEST).sum().over(verdict))
        .sort(
            *("repair", "followed", "weight", "verdict", "symptom", "told", "feature"),
            descending=[False, True, True, False, False, True, False],
        )
        .unique("repair", keep="first", maintain_order=True)
    )


def _spread(window: str) -> pl.Expr:
    """What counts as one spread.

    Of peers as a standard deviation, the smallest meaningful difference at least; beyond the usual range of
    good units, ``LONE_SCALES`` such differences.
    """
    of_peers = (pl.col(f"{window}_high") - pl.col(f"{window}_low")) / NORMAL_RANGE
    return (
        pl.when(pl.col(f"{window}_peers") > 0)
        .then(pl.max_horizontal("scale", of_peers))
        .otherwise(LONE_SCALES * pl.col("scale"))
    )


def _verdict() -> pl.Expr:
    """What one feature says; null where it has no value after."""
    # A range that has widened to take the unit in is no change of the unit.
    moved = (pl.col("after") - pl.col("before")).abs() >= HALFWAY * pl.col("was_off")
    near = moved & (pl.col("is_off") <= HALFWAY * pl.col("was_off"))
    return (
        pl.when(near & (pl.col("is_off") <= _spread("after")))
        .then(pl.lit("recovered"))
        .when(near)
        .then(pl.lit("better"))
        .when(pl.col("is_off") >= (1 + HALFWAY) * pl.col("was_off"))
        .then(pl.lit("worse"))
        .when(pl.col("is_off").is_not_null())
        .then(pl.lit("unchanged"))
    )


def _reason() -> pl.Expr:
    """Why there is no verdict, null where there is one."""
    stepped = (pl.col("after_set_point") - pl.col("before_set_point")).abs() > SET_POINT_STEP
    reasons = (
        (pl.col("logged").is_null(), "no_log"),
        (pl.col("before_hours") < LEAST_BEFORE_HOURS, "no_before"),
        (stepped.fill_null(False), "set_point"),
        (pl.col("feature").is_null(), "nothing_odd"),
        (pl.col("after_hours") < LEAST_HOURS, "too_early"),
        (pl.col("is_off").is_null(), "not_logged"),
    )
    return pl.coalesce(pl.when(holds).then(pl.lit(reason)) for holds, reason in reasons)
