"""What the papers answer of the observations by hand."""

from __future__ import annotations

import polars as pl

from coldsift.schema import SEEN
from coldsift.set_points.compare import NOW_WRONG, wrong_now

DIFFERS = "set_point_differs"
"""The observation of the cause catalogue that booking and plan answer."""


def set_point_answers(set_points: pl.DataFrame) -> pl.DataFrame:
    """Whether the set point is another one than ordered, as if read at the unit's display.

    Parameters
    ----------
    set_points
        From :func:`coldsift.set_points.compare_set_points`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.SEEN`, by container: yes where it differs at the end of the log, no where it
        agreed all along. One that was corrected late is not answered: what is odd in its log may well come
        from the time before.
    """
    kind = pl.col("kind").cast(pl.String)
    return SEEN.conform(
        set_points.with_columns(wrong=kind.is_in(NOW_WRONG))
        .filter(pl.col("wrong") | (kind == "agrees"))
        .select(
            "container",
            observation=pl.lit(DIFFERS),
            answer="wrong",
            source=pl.when(pl.col("source") == "plan")
            .then(pl.lit("stowage plan"))
            .otherwise(pl.lit("booking")),
        )
        .sort("container")
    )


def orders_to_confirm(set_points: pl.DataFrame) -> pl.DataFrame:
    """Containers whose order has to be confirmed by whoever gave it, before anybody touches the unit.

    Parameters
    ----------
    set_points
        From :func:`coldsift.set_points.compare_set_points`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``observation`` (id), for :func:`coldsift.causes.first_checks`.
    """
    return wrong_now(set_points).select("container", observation=pl.lit(DIFFERS))
