"""When each unit lost power and got it back, by its own clock, as closely as its readings tell."""

from __future__ import annotations

import polars as pl

from coldsift.regimes.numbered import IN_MEMORY, NUMBER, run_number, starts, with_numbers


def outages(timeline: pl.DataFrame) -> pl.DataFrame:
    """Find the stretches in which a unit had no power, or logged nothing.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`: a batch of units, sorted by container and time.

    Returns
    -------
    polars.DataFrame
        ``container``; power was lost after ``off_after`` and by ``off_by``, and was back after ``on_after``
        and by ``on_by`` (UTC, by the unit's own clock). Only stretches with a reading on either side.

    Notes
    -----
    A unit that logs nothing without power would have logged once more within one usual interval after its
    last reading, and logs again within one after power is back.
    """
    before, after = pl.col("time").shift(1).over(NUMBER), pl.col("time").shift(-1).over(NUMBER)
    usual = pl.duration(microseconds=(pl.col("usual_hours") * 3.6e9).round().cast(pl.Int64))
    readings = (
        with_numbers(timeline.lazy())
        .select("container", NUMBER, "time", "powered", "gap", "usual_hours", before=before, after=after)
        .with_columns(goes_on=pl.col("powered").shift(-1).over(NUMBER))
    )
    dark = (
        readings.with_columns(run=run_number(starts("powered")))
        .filter(~pl.col("powered"))
        .group_by("run", maintain_order=True)
        .agg(
            pl.col("container", NUMBER).first(),
            off_after=pl.col("before").first(),
            off_by=pl.col("time").first(),
            on_after=pl.col("time").last(),
            on_by=pl.col("after").last(),
        )
        .drop("run")
    )
    silent = readings.filter(pl.col("gap") & pl.col("powered") & pl.col("goes_on")).select(
        "container",
        NUMBER,
        off_after="time",
        off_by=pl.col("time") + usual,
        on_after=pl.col("after") - usual,
        on_by="after",
    )
    return (
        pl.concat([dark, silent])
        .drop_nulls()
        .sort(NUMBER, "off_after")
        .drop(NUMBER)
        .collect(engine=IN_MEMORY)
    )
