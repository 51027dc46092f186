"""The stretches of log that a repair is judged by, and the log cut to them."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

BEFORE_HOURS = 24.0
"""Right before a repair: a whole day, so that sun and night weigh the same. Two days, tried on the seeds of
benchmarks/repairs, blur what broke yesterday. [h]"""

SETTLING_HOURS = 6.0
"""Left out after a repair at least: the circuit stood and the box warmed. Common practice, no source. [h]"""

LONGEST_RETURN_HOURS = 72.0
"""A box that is back in its band within this time is judged from then on; one that is not, from
``SETTLING_HOURS`` on. [h]"""

OCCASION_HOURS = 3.0
"""Notes of one container no further apart than this are of one repair. [h]"""

MOST_PEERS = 30
"""Peers that a repair is held against; of more, every n-th in order of their numbers."""

_LONGEST_PAST_DAYS = 30


@dataclass(frozen=True, slots=True)
class Windows:
    """What is to be looked at.

    Attributes
    ----------
    repairs
        One row an occasion: ``repair`` (number), ``container``, ``first`` and ``last`` (notes of it),
        ``before_start``, ``after_start``, ``after_end`` (excluded; UTC), ``log_end`` and ``hours_after`` [h].
        Occasions of containers without a log are missing.
    cut
        ``window`` (id, sorts by repair and kind), ``repair``, ``kind`` (``before``, ``after``, ``past``),
        ``day`` (of the past: 1 is the day that ends where ``before`` begins; else 0), ``own`` (the repaired
        unit, not a peer), ``container``, ``start``, ``end`` (excluded).
    """

    repairs: pl.DataFrame
    cut: pl.DataFrame


def occasions(notes: pl.DataFrame) -> pl.DataFrame:
    """Notes with an action or a part, put together where they are of one repair.

    Parameters
    ----------
    notes
        :data:`coldsift.schema.NOTES`.

    Returns
    -------
    polars.DataFrame
        The notes that tell of a repair, with ``repair``, the number of the occasion from 0.
    """
    apart = pl.col("time") - pl.col("time").shift(1) > pl.duration(minutes=round(OCCASION_HOURS * 60))
    other = pl.col("container") != pl.col("container").shift(1)
    return (
        notes.filter(pl.col("action").is_not_null() | pl.col("part").is_not_null())
        .sort("container", "time", "line")
        .with_columns(repair=(apart | other).fill_null(True).cum_sum().cast(pl.Int64) - 1)
    )


def peers_of(peer_groups: pl.DataFrame, peer_members: pl.DataFrame) -> pl.DataFrame:
    """``container``, ``peer``: the other units of each container's group, ``MOST_PEERS`` of them at most."""
    pairs = (
        peer_groups.select("container", "peer_group")
        .join(peer_members.rename({"container": "peer"}), on="peer_group")
        .filter(pl.col("peer") != pl.col("container"))
        .sort("container", "peer")
    )
    every = (pl.len().over("container") / MOST_PEERS).ceil().cast(pl.Int64)
    place = pl.int_range(pl.len()).over("container")
    return pairs.filter(place % every == 0).select("container", "peer")


def windows_of(done: pl.DataFrame, timeline: pl.DataFrame, peers: pl.DataFrame) -> Windows:
    """Lay the windows of every repair.

    Parameters
    ----------
    done
        From :func:`occasions`.
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    peers
        ``container``, ``peer``: who each container is held against.

    Returns
    -------
    Windows
        Before ends with the first note of an occasion and begins ``BEFORE_HOURS`` earlier, or with the
        repair before; after ends with the next repair or the log. What was done without a part, such as a
        display wiped, does not end what followed a part.
    """
    unit = "container"
    day = pl.duration(minutes=round(BEFORE_HOURS * 60))
    logs = timeline.group_by(unit).agg(log_start=pl.col("time").min(), log_end=pl.col("time").max())
    next_part = pl.when("new_part").then("first").shift(-1).backward_fill().over(unit)
    repairs = (
        done.group_by("repair", unit, maintain_order=True)
        .agg(
            first=pl.col("time").min(), last=pl.col("time").max(), new_part=pl.col("part").is_not_null().any()
        )
        .join(logs, on=unit, how="inner", maintain_order="left")
        .with_columns(
            before_start=pl.max_horizontal(pl.col("first") - day, pl.col("last").shift(1).over(unit)),
            after_end=pl.min_horizontal(
                pl.when("new_part").then(next_part).otherwise(pl.col("first").shift(-1).over(unit)),
                pl.col("log_end") + pl.duration(microseconds=1),
            ),
        )
    )
    back = (
        timeline.lazy()
        .filter(pl.col("in_band"), pl.col("powered"), ~pl.col("defrost"))
        .select(unit, back="time")
        .sort("back")
        .collect()
    )
    repairs = (
        repairs.sort("last")
        .join_asof(
            back,
            left_on="last",
            right_on="back",
            by=unit,
            strategy="forward",
            tolerance=f"{LONGEST_RETURN_HOURS:.0f}h",
            check_sortedness=False,
        )
        .with_columns(
            after_start=pl.max_horizontal(
                pl.col("last") + pl.duration(minutes=round(SETTLING_HOURS * 60)),
                pl.when(pl.col("back") < pl.col("after_end")).then("back"),
            ),
            hours_after=(
                (pl.col("after_end") - pl.max_horizontal("last", "log_start")).dt.total_seconds() / 3600
            ).clip(0.0),
        )
        .sort("repair")
        .drop("back")
    )
    before = repairs.select("repair", unit, kind=pl.lit("before"), start="before_start", end="first")
    after = repairs.select("repair", unit, kind=pl.lit("after"), start="after_start", end="after_end")
    both = pl.concat([before, after]).with_columns(day=pl.lit(0, dtype=pl.Int64))
    past = (
        repairs.select(
            "repair",
            unit,
            "log_start",
            end="before_start",
            kind=pl.lit("past"),
            day=pl.int_ranges(1, _LONGEST_PAST_DAYS + 1),
        )
        .explode("day", empty_as_null=False)
        .with_columns(end=pl.col("end") - (pl.col("day") - 1) * day)
        .with_columns(start=pl.col("end") - day)
        # The first day of a log is no past to be held against: the box is still pulled down.
        .filter(pl.col("start") >= pl.col("log_start") + day)
        .select("repair", unit, "kind", "start", "end", "day")
    )
    others = both.join(peers, on=unit, how="inner", maintain_order="left").with_columns(container="peer")
    cut = pl.concat(
        [
            pl.concat([both, past]).with_columns(own=pl.lit(True)),
            others.select("repair", unit, "kind", "start", "end", "day", own=pl.lit(False)),
        ]
    ).with_columns(
        window=pl.format(
            "{} {} {} {}",
            pl.col("repair").cast(pl.String).str.zfill(6),
            "kind",
            pl.col("day").cast(pl.String).str.zfill(2),
            unit,
        )
    )
    return Windows(repairs, cut.filter(pl.col("end") > pl.col("start")).sort("window"))


def cut_timeline(timeline: pl.DataFrame, cut: pl.DataFrame) -> pl.DataFrame:
    """The readings of every window, as if each window were a container of its own.

    Parameters
    ----------
    timeline
        Sorted by container and time.
    cut
        As :attr:`Windows.cut`.

    Returns
    -------
    polars.DataFrame
        The timeline's columns, ``container`` the window's id; sorted by it and by time. A reading may stand
        in several windows.
    """
    places = timeline.select("container", "time").with_row_index("row").sort("time")
    at = {"right_on": "time", "by": "container", "check_sortedness": False}
    rows = (
        cut.sort("start")
        .join_asof(places.rename({"row": "begin"}), left_on="start", strategy="forward", **at)  # type: ignore[arg-type]
        .sort("end")
        .join_asof(
            places.rename({"row": "finish"}),
            left_on="end",
            strategy="backward",
            allow_exact_matches=False,
            **at,  # type: ignore[arg-type]
        )
        .sort("window")
        .drop_nulls(["begin", "finish"])
        .filter(pl.col("finish") >= pl.col("begin"))
        .select("window", row=pl.int_ranges("begin", pl.col("finish").cast(pl.Int64) + 1))
        .explode("row", empty_as_null=False)
    )
    return timeline[rows["row"]].with_columns(container=rows["window"])


def cut_defrosts(defrosts: pl.DataFrame, cut: pl.DataFrame) -> pl.DataFrame:
    """The defrosts that began in each window, under the window's id."""
    return (
        defrosts.rename({"start": "begun", "end": "ended"})
        .join(cut.select("window", "container", "start", "end"), on="container")
        .filter(pl.col("begun") >= pl.col("start"), pl.col("begun") < pl.col("end"))
        .drop("container", "start", "end")
        .rename({"window": "container", "begun": "start", "ended": "end"})
        .select(defrosts.columns)
        .sort("container", "start")
    )
