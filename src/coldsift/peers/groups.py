"""Who is compared with whom."""

from __future__ import annotations

import polars as pl

from coldsift.schema import REGIME_CLASSES

SMALLEST_GROUP = 8
"""A group with fewer units falls back to the next wider one."""

AMBIENT_STEP = 10.0
"""Width of the ambient classes of the narrowest groups. [K]"""

LEVELS = ("class, ambient and log interval", "class", "frozen or chilled", "all units")
"""From the narrowest to the widest group."""

_SIDES = dict(zip(REGIME_CLASSES, ("frozen", "frozen", "chilled", "chilled"), strict=True))


def peer_groups(traits: pl.DataFrame) -> pl.DataFrame:
    """Put every unit in the narrowest group that is large enough.

    Parameters
    ----------
    traits
        From :func:`coldsift.regimes.unit_traits`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``peer_group`` (its name), ``level`` (one of ``LEVELS``) and ``peers`` (other units
        in it); sorted by container.
    """
    side = pl.col("regime_class").replace_strict(_SIDES, default="unknown")
    names = (
        pl.format(
            "{}, ambient about {} °C, {} min",
            pl.col("regime_class").fill_null("unknown"),
            ((pl.col("ambient") / AMBIENT_STEP).round() * AMBIENT_STEP)
            .cast(pl.Int64)
            .cast(pl.String)
            .fill_null("?"),
            pl.when(pl.col("interval_minutes") > 20).then(pl.lit("over 20")).otherwise(pl.lit("up to 20")),
        ),
        pl.col("regime_class").fill_null("unknown"),
        side,
        pl.lit("all units"),
    )
    grouped = traits.select(
        "container",
        *(name.alias(f"name_{level}") for level, name in enumerate(names)),
    ).with_columns(
        pl.len().over(f"name_{level}").cast(pl.Int64).alias(f"size_{level}") for level in range(len(LEVELS))
    )
    chosen = pl.coalesce(
        *(
            pl.when(pl.col(f"size_{level}") >= SMALLEST_GROUP).then(pl.lit(level))
            for level in range(len(LEVELS))
        ),
        pl.lit(len(LEVELS) - 1),
    )
    grouped = grouped.with_columns(chosen=chosen)
    pick = {
        column: pl.coalesce(
            *(
                pl.when(pl.col("chosen") == level).then(pl.col(f"{column}_{level}"))
                for level in range(len(LEVELS))
            )
        )
        for column in ("name", "size")
    }
    return grouped.select(
        "container",
        peer_group=pick["name"],
        level=pl.col("chosen").replace_strict(dict(enumerate(LEVELS)), return_dtype=pl.String),
        peers=pick["size"] - 1,
    ).sort("container")
