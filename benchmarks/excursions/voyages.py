"""Excursions, gaps and doubted probes on simulated voyages, against what the simulator knows.

Goes in: seeds below 1000, open to tuning. Comes out: one frame of outcomes a question.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl

from coldsift.excursions import find_excursions, find_gaps
from coldsift.regimes import build_timeline, find_voyage_events, mark_shared, regime_intervals
from coldsift.simulate import Fleet, plan_fleet, simulate

UNITS, DAYS = 60, 10.0

MISLED = (
    "supply_sensor_drift",
    "return_sensor_drift",
    "sensor_stuck",
    "sensors_swapped",
    "clock_wrong",
    "set_point_wrong",
)
"""Causes whose log shows another air, or another time, than there was, or a set point that was not booked."""

NEAR_DEFROST = timedelta(hours=2)
"""The simulator excuses half an hour after a defrost, coldsift an hour and a half."""


def voyage(seed: int) -> Fleet:
    """A voyage with a blackout and many faults."""
    return simulate(plan_fleet(units=UNITS, days=DAYS, seed=seed, fault_share=0.4, blackouts=((90.0, 6.0),)))


def timeline_of(log: pl.DataFrame) -> pl.DataFrame:
    """Timeline of a log, shared events marked."""
    timeline = build_timeline(log)
    return mark_shared(timeline, find_voyage_events(regime_intervals(timeline)))


def excursions(fleet: Fleet) -> pl.DataFrame:
    """Put the true excursions beside those found, units with a misleading log left out.

    Returns
    -------
    polars.DataFrame
        One row a true one that does not begin with the log: ``found``, ``start_inside``, ``end_inside`` (of
        its bounds), ``start_near_defrost``, ``end_near_defrost``. And one row, ``found`` null, for each that
        was found and is not true.
    """
    honest = ~pl.col("container").is_in(
        fleet.truth.filter(pl.col("cause").is_in(MISLED))["container"].to_list()
    )
    found = find_excursions(timeline_of(fleet.log)).filter(honest).with_row_index("piece")
    true = (
        fleet.excursions.filter(honest)
        .rename({"start": "true_start", "end": "true_end"})
        .with_row_index("planted")
    )
    pairs = true.select("planted", "container", "true_start", "true_end", "from_start").join(
        found, on="container"
    )
    pairs = pairs.filter(pl.col("end") > pl.col("true_start"), pl.col("start") < pl.col("true_end"))
    together = (
        pairs.sort("planted", "start")
        .group_by("planted")
        .agg(pl.col("start_earliest", "start_latest").first(), pl.col("end_earliest", "end_latest").last())
    )
    defrosts = fleet.defrosts.select("container", begun="start", done="end")

    def near_defrost(edge: str) -> pl.DataFrame:
        near = (
            true.join(defrosts, on="container")
            .filter(
                pl.col(edge) >= pl.col("begun") - NEAR_DEFROST, pl.col(edge) <= pl.col("done") + NEAR_DEFROST
            )
            .select("planted")
            .unique()
        )
        return near.with_columns(pl.lit(True).alias(f"{edge.removeprefix('true_')}_near_defrost"))

    judged = (
        true.filter(~pl.col("from_start"))
        .join(together, on="planted", how="left", maintain_order="left")
        .join(near_defrost("true_start"), on="planted", how="left", maintain_order="left")
        .join(near_defrost("true_end"), on="planted", how="left", maintain_order="left")
        .select(
            "container",
            pl.col("start_near_defrost", "end_near_defrost").fill_null(False),
            found=pl.col("start_latest").is_not_null(),
            start_inside=pl.col("true_start").is_between("start_earliest", "start_latest"),
            end_inside=pl.col("true_end").is_between("end_earliest", "end_latest"),
        )
    )
    untrue = found.filter(
        pl.col("kind") != "initial_warm_load", ~pl.col("piece").is_in(pairs["piece"].implode())
    )
    return pl.concat([judged, untrue.select("container")], how="diagonal")


def hidden_readings(fleet: Fleet, hours: float, seed: int) -> pl.DataFrame:
    """Hide some hours of each unit, half of them without power, and compare them with the stated range.

    Returns
    -------
    polars.DataFrame
        One row a hidden reading outside a defrost: ``off``, ``too_warm`` and ``too_cold`` against the range
        with the resolution of the log, and ``width`` of the range upwards and downwards, from the warmer and
        the colder end of the gap [K].
    """
    draw = np.random.default_rng(seed)
    whole = build_timeline(fleet.log)
    placed = (
        whole.group_by("container", maintain_order=True)
        .agg(
            first=pl.col("time").first(),
            span=pl.col("time").last() - pl.col("time").first(),
            off=pl.col("time").filter(~pl.col("powered")).first(),
            usual=pl.col("usual_hours").first(),
        )
        .with_columns(share=pl.Series(draw.uniform(0.2, 0.9, whole["container"].n_unique())))
    )
    anywhere = pl.col("first") + pl.duration(
        microseconds=(pl.col("span").dt.total_microseconds() * pl.col("share")).cast(pl.Int64)
    )
    at_power_off = pl.col("off") - pl.duration(microseconds=(pl.col("usual") * 1.8e9).cast(pl.Int64))
    even = pl.int_range(pl.len()) % 2 == 0
    begin = placed.select("container", begin=pl.when(even).then(at_power_off).otherwise(anywhere))
    hidden = whole.join(begin, on="container", maintain_order="left").filter(
        pl.col("time") > pl.col("begin"), pl.col("time") < pl.col("begin") + timedelta(hours=hours)
    )
    kept = fleet.log.join(
        hidden.select("container", "time"), on=["container", "time"], how="anti", maintain_order="left"
    )
    gaps = find_gaps(build_timeline(kept)).rename({"start": "gap_start"})
    recovering = (pl.col("recovering_from") == "defrost") & (pl.col("hours_since_event") <= 1.5)
    air, half = pl.col("controlling_air"), 0.05
    return (
        hidden.filter(air.is_not_null(), ~pl.col("defrost"), ~recovering.fill_null(False))
        .sort("time")
        .join_asof(
            gaps.sort("gap_start"),
            left_on="time",
            right_on="gap_start",
            by="container",
            check_sortedness=False,
        )
        .filter(pl.col("time") < pl.col("end"))
        .select(
            "container",
            "gap_start",
            off=~pl.col("powered"),
            too_warm=air > pl.col("warmest_possible") + half,
            too_cold=air < pl.col("coldest_possible") - half,
            up=pl.col("warmest_possible") - pl.max_horizontal("air_before", "air_after"),
            down=pl.min_horizontal("air_before", "air_after") - pl.col("coldest_possible"),
        )
    )


PROBE_ERRORS = ("jump and stand", "jump and follow", "drift")
"""A reading that jumps and stands still; that jumps by some degrees and moves on; that drifts away."""


def doubts(fleet: Fleet, seed: int) -> pl.DataFrame:
    """Doubt of excursions of the true air, and of such as a wrong reading of the controlling probe makes.

    The wrong readings are planted in the log alone: neither the other probe nor the controller knows of them.

    Returns
    -------
    polars.DataFrame
        ``error`` (empty for true air), ``doubt``.
    """
    draw = np.random.default_rng(seed)
    truth = fleet.excursions.select("container", true_start="start", true_end="end")
    whole = timeline_of(fleet.log)
    found = find_excursions(whole).with_row_index("piece")
    real = found.join(truth, on="container").filter(
        pl.col("end") > pl.col("true_start"), pl.col("start") < pl.col("true_end")
    )
    of_air = found.filter(pl.col("piece").is_in(real["piece"].implode())).select(
        error=pl.lit(""), doubt="sensor_doubt"
    )
    good = fleet.truth.filter(pl.col("cause") == "healthy")["container"].sort()
    planted = pl.concat(
        _misread(whole.filter(pl.col("container") == container), PROBE_ERRORS[number % 3], draw)
        for number, container in enumerate(good)
    )
    wrong = find_excursions(timeline_of(planted.select(fleet.log.columns)))
    errors = planted.group_by("container").agg(pl.col("error").first(), pl.col("from", "until").first())
    of_probe = (
        wrong.join(errors, on="container")
        .filter(pl.col("end") > pl.col("from"), pl.col("start") < pl.col("until"))
        .select("error", doubt="sensor_doubt")
    )
    return pl.concat([of_air, of_probe])


def _misread(unit: pl.DataFrame, error: str, draw: np.random.Generator) -> pl.DataFrame:
    start = unit["time"].item(int(unit.height * draw.uniform(0.4, 0.7)))
    until = start + timedelta(hours=float(draw.uniform(6.0, 18.0)))
    size = draw.uniform(5.0, 12.0)
    # The channel that the controlling air is taken from.
    channel = "return_air" if unit["controlling_air"].equals(unit["return_air"]) else "supply_air"
    share = (pl.col("time") - start) / (until - start)
    at = {
        "jump and stand": pl.col("set_point") + round(size, 1),
        "jump and follow": pl.col(channel) + size,
        "drift": pl.col(channel) + size * share,
    }[error]
    within = pl.col("time").is_between(start, until)
    return unit.with_columns(
        pl.when(within).then(at.round(1)).otherwise(channel).alias(channel),
        error=pl.lit(error),
        **{"from": start, "until": until},
    )
