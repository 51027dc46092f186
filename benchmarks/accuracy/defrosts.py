"""Found defrosts against planted ones."""

from __future__ import annotations

import polars as pl


def matched(found: pl.DataFrame, planted: pl.DataFrame) -> pl.DataFrame:
    """How many found and planted intervals overlap one of the other kind.

    Parameters
    ----------
    found, planted
        ``container``, ``start``, ``end``.

    Returns
    -------
    polars.DataFrame
        One row of counts: ``planted``, ``hit`` (of the planted), ``found``, ``true`` (of the found).
    """
    pairs = (
        found.with_row_index("f")
        .join(planted.with_row_index("p"), on="container", suffix="_planted")
        .filter(pl.col("start") < pl.col("end_planted"), pl.col("end") > pl.col("start_planted"))
    )
    return pl.DataFrame(
        {
            "planted": [planted.height],
            "hit": [pairs["p"].n_unique()],
            "found": [found.height],
            "true": [pairs["f"].n_unique()],
        }
    )


def f1(counts: pl.DataFrame) -> float:
    """Harmonic mean of precision and recall, over the sum of all rows of :func:`matched`."""
    planted, hit, found, true = counts.select("planted", "hit", "found", "true").sum().row(0)
    precision, recall = true / max(found, 1), hit / max(planted, 1)
    return 2 * precision * recall / (precision + recall) if hit else 0.0


def seen_in(planted: pl.DataFrame, log: pl.DataFrame) -> pl.DataFrame:
    """Planted intervals in which at least one reading fell: no log can show the others.

    Parameters
    ----------
    planted
        ``container``, ``start``, ``end``.
    log
        Common log.

    Returns
    -------
    polars.DataFrame
        The rows of ``planted`` that were seen.
    """
    readings = log.select("container", "time").sort("time")
    next_reading = planted.sort("start").join_asof(
        readings.with_columns(reading="time"),
        left_on="start",
        right_on="time",
        by="container",
        strategy="forward",
        check_sortedness=False,
    )
    return next_reading.filter(pl.col("reading") < pl.col("end")).select("container", "start", "end")
