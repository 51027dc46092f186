"""What a unit is, for the choice of its peers."""

from __future__ import annotations

import polars as pl

from coldsift.regimes.numbered import IN_MEMORY, NUMBER, with_numbers


def unit_traits(timeline: pl.DataFrame) -> pl.DataFrame:
    """One row a unit: what it carries, where, and how well it is logged.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``regime_class`` (the one it spent most readings in), ``set_point`` (last, °C),
        ``ambient`` (median, °C), ``interval_minutes``, ``first_time``, ``last_time`` (UTC), ``log_hours``
        (gaps taken out), ``span_hours`` (from its first reading to its last, at least the fleet's median of
        that), ``coverage`` (share of that span),
        ``has_air``, ``has_set_point``
        and ``cooling`` (of the condenser, air or water).
    """
    return with_coverage(
        with_numbers(timeline.lazy())
        .group_by(NUMBER, maintain_order=True)
        .agg(
            pl.col("container").first(),
            regime_class=pl.col("regime_class").drop_nulls().mode().sort().first(),
            set_point=pl.col("set_point").drop_nulls().last(),
            ambient=pl.col("ambient_air").median(),
            interval_minutes=pl.col("usual_hours").first() * 60,
            first_time=pl.col("time").first(),
            last_time=pl.col("time").last(),
            log_hours=pl.col("hours").sum(),
            cooling=pl.when(
                (pl.col("condenser_cooling").str.to_lowercase() == "water").mean().fill_null(0.0) > 0.5
            )
            .then(pl.lit("water"))
            .otherwise(pl.lit("air")),
            readings=pl.len().cast(pl.Int64),
            has_air=pl.col("controlling_air").is_not_null().any(),
            has_set_point=pl.col("set_point").is_not_null().any(),
        )
        .drop(NUMBER)
        .collect(engine=IN_MEMORY)
    )


def with_coverage(traits: pl.DataFrame) -> pl.DataFrame:
    """How much of the voyage each unit has logged, by the fleet's median span.

    Parameters
    ----------
    traits
        From :func:`unit_traits`. Batches of units put together are reckoned again: now as one fleet.

    Returns
    -------
    polars.DataFrame
        The traits with ``span_hours`` and ``coverage``.
    """
    span = (pl.col("last_time") - pl.col("first_time")).dt.total_seconds() / 3600
    # One unit with a wrong clock must not stretch the voyage of all the others.
    return traits.with_columns(span_hours=pl.max_horizontal(span, span.median())).with_columns(
        coverage=pl.when(pl.col("span_hours") > 0)
        .then((pl.col("log_hours") / pl.col("span_hours")).clip(0.0, 1.0))
        .otherwise(0.0)
    )
