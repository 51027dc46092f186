"""Who is compared with whom."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from coldsift.schema import REGIME_CLASSES

SMALLEST_GROUP = 8
"""A group with fewer units falls back to the next wider one."""

AMBIENT_STEP = 10.0
"""Width of the ambient classes of the narrowest groups. [K]"""

LEVELS = ("class, ambient and log interval", "class", "frozen or chilled", "all units")
"""From the narrowest to the widest group."""

_SIDES = dict(zip(REGIME_CLASSES, ("frozen", "frozen", "chilled", "chilled"), strict=True))


@dataclass(frozen=True, slots=True)
class PeerGroups:
    """Which groups there are, and which one each unit is held against.

    Attributes
    ----------
    members
        ``container``, ``peer_group``: every unit in every group it belongs to, one a level.
    chosen
        ``container``, ``peer_group``, ``level`` (one of ``LEVELS``) and ``peers`` (other units in it):
        each unit's narrowest group that is large enough; sorted by container.
    """

    members: pl.DataFrame
    chosen: pl.DataFrame


def peer_groups(traits: pl.DataFrame) -> PeerGroups:
    """Put every unit in its groups, and choose the narrowest that is large enough.

    Parameters
    ----------
    traits
        From :func:`coldsift.regimes.unit_traits`.

    Returns
    -------
    PeerGroups
        Members of all groups, and each unit's own.
    """
    kind = pl.col("regime_class").fill_null("unknown")
    ambient = (pl.col("ambient") / AMBIENT_STEP).round().cast(pl.Int64) * int(AMBIENT_STEP)
    interval = pl.when(pl.col("interval_minutes") > 20).then(pl.lit("over 20")).otherwise(pl.lit("up to 20"))
    names = (
        pl.format("{}, {} cooled, ambient about {} °C, {} min", kind, "cooling", ambient, interval),
        kind,
        pl.col("regime_class").replace_strict(_SIDES, default="unknown"),
        pl.lit("all units"),
    )
    members = (
        pl.concat(
            traits.select("container", peer_group=name, level=pl.lit(level))
            for level, name in enumerate(names)
        )
        .drop_nulls("peer_group")
        .with_columns(peers=pl.len().over("level", "peer_group").cast(pl.Int64) - 1)
    )
    large = (pl.col("peers") >= SMALLEST_GROUP - 1) | (pl.col("level") == len(LEVELS) - 1)
    chosen = (
        members.filter(large)
        .sort("container", "level")
        .unique("container", keep="first", maintain_order=True)
        .with_columns(pl.col("level").replace_strict(dict(enumerate(LEVELS)), return_dtype=pl.String))
    )
    # A wider group may go by the name of a narrower one; its members are the same then.
    return PeerGroups(
        members.select("container", "peer_group").unique().sort("peer_group", "container"), chosen
    )
