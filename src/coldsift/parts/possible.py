"""Which repairs can be done with what is on board."""

from __future__ import annotations

import polars as pl

from coldsift.causes import Catalogue
from coldsift.schema import POSSIBLE_REPAIRS

STATES = ("short", "not_listed", "on_board", "no_part")
"""The first of these that one of a repair's parts is in holds for the repair."""


def possible_repairs(wanted: pl.DataFrame, causes: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """Set every repair that a unit's probable cause may take against the parts it would get.

    Parameters
    ----------
    wanted
        :data:`coldsift.schema.PARTS_WANTED`.
    causes
        :data:`coldsift.schema.CAUSES`.
    catalogue
        The one they were judged with: a cause's kinds are its repairs; one without kinds is a single repair.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.POSSIBLE_REPAIRS`, units as in ``wanted``, the likeliest repair first. A repair
        is judged by its parts among ``wanted``; what it takes beside them is named in ``also``. One taking
        only others, such as a compressor, is taken for one whose parts are not listed.
    """
    order = wanted.select("container", "cause").unique(maintain_order=True).with_row_index("turn")
    ways = order.join(causes, on=["container", "cause"], how="inner", maintain_order="left")
    parts = _parts(catalogue)
    states = (
        ways.join(parts, on=["cause", "kind"], how="inner", nulls_equal=True, maintain_order="left_right")
        .join(wanted.select("container", "part", "state"), on=["container", "part"], how="left")
        .with_columns(pl.col("state").cast(pl.String))
    )
    key = ["container", "cause", "kind"]
    judged = states.group_by(key, maintain_order=True).agg(
        state=pl.col("state").replace_strict({name: place for place, name in enumerate(STATES)}).min(),
        parts=pl.col("part").filter(pl.col("state").is_not_null()).str.join("; "),
        also=pl.col("part").filter(pl.col("state").is_null()).str.join("; "),
    )
    return POSSIBLE_REPAIRS.conform(
        ways.join(judged, on=key, how="left", nulls_equal=True, maintain_order="left")
        .join(_names(catalogue), on=["cause", "kind"], how="left", nulls_equal=True, maintain_order="left")
        .with_columns(
            state=pl.when(pl.col("state").is_null() & (pl.col("also") != ""))
            .then(pl.lit("not_listed"))
            .otherwise(pl.col("state").replace_strict(dict(enumerate(STATES)), default="no_part")),
            parts=pl.col("parts").replace("", None),
            also=pl.col("also").replace("", None),
        )
        .sort("turn", "chance", "kind", descending=[False, True, False], nulls_last=True, maintain_order=True)
    )


def _ways(catalogue: Catalogue) -> list[tuple[str, str | None, str, tuple[str, ...]]]:
    """Cause, kind, name and parts of every repair."""
    ways: list[tuple[str, str | None, str, tuple[str, ...]]] = []
    for cause in catalogue.causes.values():
        ways += [(cause.id, kind.id, kind.name, kind.parts) for kind in cause.kinds]
        if not cause.kinds:
            ways.append((cause.id, None, cause.name, cause.parts))
    return ways


def _parts(catalogue: Catalogue) -> pl.DataFrame:
    rows = [(cause, kind, part) for cause, kind, _, parts in _ways(catalogue) for part in parts]
    return pl.DataFrame(rows, schema=dict.fromkeys(("cause", "kind", "part"), pl.String), orient="row")


def _names(catalogue: Catalogue) -> pl.DataFrame:
    rows = [(cause, kind, name) for cause, kind, name, _ in _ways(catalogue)]
    return pl.DataFrame(rows, schema=dict.fromkeys(("cause", "kind", "repair"), pl.String), orient="row")
