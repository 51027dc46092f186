"""How soon a fault is flagged: the same voyage screened again and again as its logs grow.

Goes in: a voyage with its truth. Comes out: one row a faulty unit: hours from the onset until the first
screening that flags it, and how far that was ahead of the air leaving its band.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from benchmarks.accuracy.baselines import simple_scores
from benchmarks.accuracy.rankings import FLAGGED, settings_of
from coldsift.causes import HEALTHY
from coldsift.engine.analysis import analyse
from coldsift.simulate import Fleet

EVERY_HOURS = 12.0
"""Between screenings: what is flagged in between is flagged at the next one. [h]"""

FIRST_HOURS = 36.0
"""First screening. [h]"""

ALONE = "hours_out"
"""The rule it is compared with: more than an hour outside set point ± 2 °C after the first day."""


def replayed(fleet: Fleet) -> pl.DataFrame:
    """Screen a voyage every 12 hours and see when each fault is flagged.

    Parameters
    ----------
    fleet
        Every fault of it counts from its onset, or from the first screening when it began before.

    Returns
    -------
    polars.DataFrame
        One row a faulty unit: ``container``, ``cause``, ``severity``, ``band_left`` (hours from the onset
        until the true air leaves its band, null if it never does), and for each ``method`` the ``hours``
        from the onset until the flag, null if never.
    """
    start, end = fleet.log["time"].min(), fleet.log["time"].max()
    assert isinstance(start, datetime)
    assert isinstance(end, datetime)
    settings = settings_of(fleet.truth)
    flags = []
    at = start + timedelta(hours=FIRST_HOURS)
    while at <= end:
        analysis = analyse(fleet.log.filter(pl.col("time") <= at), settings)
        flagged = analysis.findings.filter(pl.col("group").cast(pl.String).is_in(FLAGGED))["container"]
        out = simple_scores(analysis.timeline).filter(pl.col(ALONE) > 1.0)["container"]
        for method, containers in (("coldsift", flagged), (ALONE, out)):
            flags.append(pl.DataFrame({"container": containers}).with_columns(method=pl.lit(method), at=at))
        at += timedelta(hours=EVERY_HOURS)
    faults = fleet.truth.filter(pl.col("cause") != HEALTHY).select(
        "container", "cause", "severity", since=pl.max_horizontal("onset", pl.lit(start))
    )
    left = (
        fleet.excursions.filter(~pl.col("from_start"))
        .join(faults.select("container", "since"), on="container")
        .filter(pl.col("start") >= pl.col("since"))
        .group_by("container")
        .agg(left=pl.col("start").min())
    )
    first = (
        pl.concat(flags)
        .join(faults.select("container", "since"), on="container")
        .filter(pl.col("at") >= pl.col("since"))
        .group_by("container", "method")
        .agg(flagged=pl.col("at").min())
    )
    methods = pl.DataFrame({"method": ["coldsift", ALONE]})
    return (
        faults.join(methods, how="cross")
        .join(left, on="container", how="left")
        .join(first, on=["container", "method"], how="left")
        .select(
            "container",
            "cause",
            "severity",
            "method",
            band_left=(pl.col("left") - pl.col("since")).dt.total_seconds() / 3600,
            hours=(pl.col("flagged") - pl.col("since")).dt.total_seconds() / 3600,
        )
        .sort("container", "method")
    )


def replay_figures(faults: pl.DataFrame) -> pl.DataFrame:
    """Shares and medians of the hours from onset to flag and ahead of the band's edge.

    Parameters
    ----------
    faults
        Of :func:`replayed`, one or several voyages.

    Returns
    -------
    polars.DataFrame
        ``method``, ``measure``, ``value``; a median counts faults never flagged as later than all others.
    """
    never = float("inf")
    leaves = pl.col("band_left").is_not_null()
    ahead = pl.col("band_left") - pl.col("hours")
    return (
        faults.group_by("method", maintain_order=True)
        .agg(
            pl.col("hours").is_not_null().mean().alias("flagged by the end"),
            (pl.col("hours") <= 24).fill_null(False).mean().alias("flagged within 24 h of the onset"),
            (pl.col("hours") <= 72).fill_null(False).mean().alias("flagged within 72 h of the onset"),
            pl.col("hours").fill_null(never).median().alias("hours from onset to flag, median"),
            leaves.sum().cast(pl.Float64).alias("faults that take the air out of its band"),
            (ahead > 0).filter(leaves).fill_null(False).mean().alias("of these flagged before it leaves"),
            ahead.filter(leaves & (ahead > 0)).median().alias("hours ahead when so, median"),
            (ahead > -24)
            .filter(leaves)
            .fill_null(False)
            .mean()
            .alias("of these flagged at most a day after"),
        )
        .unpivot(index="method", variable_name="measure")
        .with_columns(low=pl.lit(None, pl.Float64), high=pl.lit(None, pl.Float64))
    )
