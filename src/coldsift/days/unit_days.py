"""What every unit did on every day."""

from __future__ import annotations

import polars as pl

from coldsift.excursions import by_day
from coldsift.intake.times import FAR
from coldsift.regimes.numbered import IN_MEMORY
from coldsift.schema import UNIT_DAYS

_DAY = ["container", "day"]


def unit_days(
    timeline: pl.DataFrame,
    defrosts: pl.DataFrame,
    excursions: pl.DataFrame,
    spans: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Sum up every unit's days.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    defrosts
        From :func:`coldsift.regimes.find_defrosts`.
    excursions
        From :func:`coldsift.excursions.find_excursions`.
    spans
        Of all units of the voyage, from :func:`coldsift.peers.peer_span`, where the timeline has not all of
        them: a day counts as far as it lies within the voyage.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.UNIT_DAYS`; days are UTC. A reading stands for the time to the next one, or for
        one usual log interval before a gap, and what it stands for is cut at midnight. A day without a
        reading has no number but its coverage: nobody knows.
    """
    rows = timeline.lazy().with_columns(day=pl.col("time").dt.date())
    own = excursions.filter(pl.col("kind") == "excursion")
    outside = by_day(timeline, own).rename({"hours": "hours_outside"})
    read = pl.col("readings") > 0
    return UNIT_DAYS.conform(
        _calendar(rows, spans)
        .join(_covered(rows), on=_DAY, how="left")
        .join(_readings(rows), on=_DAY, how="left")
        .join(_alarms(rows), on=_DAY, how="left")
        .join(_defrosts(defrosts.lazy()), on=_DAY, how="left")
        .join(outside.lazy(), on=_DAY, how="left")
        .with_columns(
            pl.when(read).then(
                pl.col("hours_off", "defrosts", "unterminated_defrosts", "alarms").fill_null(0)
            ),
            pl.when("has_band").then(pl.col("hours_outside", "degree_hours").fill_null(0.0)),
            coverage=pl.when(pl.col("hours_aboard") > 0).then(
                (pl.col("hours_read").fill_null(0.0) / pl.col("hours_aboard")).clip(0.0, 1.0)
            ),
        )
        .sort(_DAY)
        .collect(engine=IN_MEMORY)
    )


def _calendar(rows: pl.LazyFrame, spans: pl.DataFrame | None) -> pl.LazyFrame:
    """Every day of every unit, and how many hours of it lie within the voyage. [h]

    The days of a hole of more than a year are of no voyage.
    """
    apart = pl.col("time").diff() > FAR
    units = (
        rows.select("container", "time")
        .with_columns(stretch=apart.fill_null(False).cum_sum().over("container"))
        .group_by("container", "stretch")
        .agg(first=pl.col("time").min(), last=pl.col("time").max())
    )
    voyage = (units if spans is None else spans.lazy()).select(
        voyage_begin=pl.col("first").min(), voyage_end=pl.col("last").max()
    )
    midnight = pl.col("day").cast(pl.Datetime("us", "UTC"))
    until = pl.min_horizontal(midnight + pl.duration(days=1), "voyage_end")
    since = pl.max_horizontal(midnight, "voyage_begin")
    return (
        units.with_columns(day=pl.date_ranges(pl.col("first").dt.date(), pl.col("last").dt.date()))
        .join(voyage, how="cross")
        .explode("day", empty_as_null=False)
        .select(*_DAY, hours_aboard=(until - since).dt.total_microseconds() / 3.6e9)
    )


def _covered(rows: pl.LazyFrame) -> pl.LazyFrame:
    """Hours that readings stand for, and those of them without power. [h]"""
    spans = rows.select(
        *_DAY,
        "powered",
        begin="time",
        end=pl.col("time") + pl.duration(microseconds=(pl.col("hours") * 3.6e9).round().cast(pl.Int64)),
    )
    last_day = (pl.col("end") - pl.duration(microseconds=1)).dt.date()
    midnight = pl.col("day").cast(pl.Datetime("us", "UTC"))
    cut = (
        spans.filter(last_day > pl.col("day"))
        .with_columns(day=pl.date_ranges("day", last_day))
        .explode("day", empty_as_null=False)
        .with_columns(
            begin=pl.max_horizontal("begin", midnight),
            end=pl.min_horizontal("end", midnight + pl.duration(days=1)),
        )
    )
    length = (pl.col("end") - pl.col("begin")).dt.total_microseconds()
    return (
        pl.concat([spans.filter(last_day <= pl.col("day")), cut])
        .group_by(_DAY)
        .agg(hours_read=length.sum() / 3.6e9, hours_off=length.filter(~pl.col("powered")).sum() / 3.6e9)
    )


def _readings(rows: pl.LazyFrame) -> pl.LazyFrame:
    """What the readings of each day show."""
    air = pl.col("controlling_air").filter(~pl.col("defrost") & pl.col("powered"))
    holding = (pl.col("regime") == "hold") & pl.col("running").fill_null(True)
    return rows.group_by(_DAY).agg(
        readings=pl.len(),
        has_band=(pl.col("controlling_air").is_not_null() & pl.col("band_high").is_not_null()).any(),
        air_low=air.quantile(0.1, "linear"),
        air_middle=air.median(),
        air_high=air.quantile(0.9, "linear"),
        split=(pl.col("return_air") - pl.col("supply_air")).filter(holding).median(),
    )


def _alarms(rows: pl.LazyFrame) -> pl.LazyFrame:
    return (
        rows.filter(pl.col("alarms").list.len() > 0)
        .select(*_DAY, "alarms")
        .explode("alarms", empty_as_null=False)
        .group_by(_DAY)
        .agg(alarms=pl.col("alarms").n_unique().cast(pl.Int64))
    )


def _defrosts(defrosts: pl.LazyFrame) -> pl.LazyFrame:
    return defrosts.group_by("container", day=pl.col("start").dt.date()).agg(
        defrosts=pl.len().cast(pl.Int64),
        longest_defrost=pl.col("minutes").max(),
        unterminated_defrosts=(~pl.col("terminated")).sum().cast(pl.Int64),
    )
