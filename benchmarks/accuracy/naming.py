"""The causes that were named for each unit, likeliest first."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from coldsift.causes import HEALTHY, Catalogue


def first_of_alike(catalogue: Catalogue) -> Mapping[str, str]:
    """The cause that stands for all which no log tells apart from it."""
    return {name: cause.alike[0] if cause.alike else name for name, cause in catalogue.causes.items()}


def named_causes(causes: pl.DataFrame, alike: Mapping[str, str]) -> pl.DataFrame:
    """What was said to be wrong with each unit.

    Parameters
    ----------
    causes
        :data:`coldsift.schema.CAUSES`.
    alike
        Of :func:`first_of_alike`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``named`` (likeliest cause) and ``chance`` (its own), ``fault`` (chance of any),
        ``three`` (the three likeliest causes), ``groups`` (the same where alike causes count as one).
    """
    return (
        causes.unique(["container", "cause"], keep="first", maintain_order=True)
        .filter(pl.col("cause") != HEALTHY)
        .group_by("container", maintain_order=True)
        .agg(
            named=pl.col("cause").first(),
            chance=pl.col("cause_chance").first(),
            fault=pl.col("cause_chance").sum(),
            three=pl.col("cause").head(3),
            groups=pl.col("cause").replace(alike).unique(maintain_order=True).head(3),
        )
    )
