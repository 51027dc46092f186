"""Print the table: ``python -m benchmarks.accuracy [--seeds N] [--units N] [--days N]``."""

from __future__ import annotations

import argparse

import numpy as np
import polars as pl

from benchmarks.accuracy.baselines import baseline_scores
from benchmarks.accuracy.measures import average_precision, overlap_f1, precision_at, seen_in
from coldsift.engine.screening import Settings, analyse
from coldsift.simulate import simulate
from coldsift.simulate.plan import plan_fleet

JUDGING_SEEDS = range(1001, 1100)
"""Kept apart: thresholds in coldsift were looked at on seeds below 1000 only."""

METHODS = ("coldsift", "hours_out", "max_deviation", "alarm_readings", "isolation_forest")


def main() -> None:
    """Screen simulated fleets and print how planted faults rank."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seeds", type=int, default=6, help="number of fleets")
    options.add_argument("--units", type=int, default=60)
    options.add_argument("--days", type=float, default=14)
    options.add_argument("--first-seed", type=int, default=JUDGING_SEEDS.start)
    options.add_argument("--misses", action="store_true", help="list faulty units not among the first k")
    chosen = options.parse_args()
    routes = ("tropics", "winter", "mixed")
    rows: list[dict[str, float | str]] = []
    false_flags, healthy_units = 0, 0
    with_flag: list[float] = []
    without_flag: list[float] = []
    misses: list[pl.DataFrame] = []
    for place in range(chosen.seeds):
        seed = chosen.first_seed + place
        route = routes[place % len(routes)]
        fleet = simulate(
            plan_fleet(units=chosen.units, days=chosen.days, seed=seed, route=route, fault_share=0.2)
        )
        result = analyse(fleet.log, Settings())
        scores = (
            fleet.truth.select(
                "container", "cause", "severity", "hard_case", "onset", faulty=pl.col("cause") != "healthy"
            )
            .join(
                result.findings.select("container", "group", "why", coldsift=pl.col("chance_of_fault")),
                on="container",
            )
            .join(baseline_scores(result.timeline), on="container")
            .sort("container")
        )
        faulty = scores["faulty"].to_numpy()
        count = int(faulty.sum())
        for method in METHODS:
            values = scores[method].fill_null(0.0).to_numpy()
            rows.append(
                {
                    "method": method,
                    "average precision": average_precision(faulty, values),
                    "precision at k": precision_at(faulty, values, count),
                    "precision at 5": precision_at(faulty, values, 5),
                }
            )
        healthy = scores.filter(~pl.col("faulty"))
        healthy_units += healthy.height
        false_flags += healthy.filter(pl.col("group").is_in(["go_now", "this_round"])).height
        misses.append(
            scores.sort("coldsift", descending=True)
            .with_row_index("place", offset=1)
            .filter(
                (pl.col("faulty") & (pl.col("place") > count))
                | (~pl.col("faulty") & (pl.col("place") <= count))
            )
            .with_columns(seed=pl.lit(seed))
        )
        with_flag.append(overlap_f1(result.defrosts, seen_in(fleet.defrosts, fleet.log))[0])
        bare = analyse(
            fleet.log.with_columns(defrost_state=pl.lit(None, pl.Boolean), mode=pl.lit(None, pl.String)),
            Settings(),
        )
        without_flag.append(overlap_f1(bare.defrosts, seen_in(fleet.defrosts, fleet.log))[0])
    table = pl.DataFrame(rows).group_by("method", maintain_order=True).agg(pl.all().mean().round(3))
    print(
        f"Simulated fleets: {chosen.seeds} of {chosen.units} units, {chosen.days:g} days, "
        f"seeds from {chosen.first_seed}"
    )
    with pl.Config(
        tbl_rows=-1, tbl_hide_dataframe_shape=True, tbl_hide_column_data_types=True, tbl_width_chars=120
    ):
        print(table)
    print(
        f"False flags: {100 * false_flags / healthy_units:.1f} per 100 healthy units (go now or this round)"
    )
    print(
        f"Defrost F1: {np.nanmean(with_flag):.3f} with the logged state, "
        f"{np.nanmean(without_flag):.3f} without"
    )
    if chosen.misses:
        with pl.Config(tbl_rows=-1, fmt_str_lengths=150, tbl_width_chars=260):
            print(
                pl.concat(misses).select("seed", "place", "cause", "severity", "hard_case", "coldsift", "why")
            )


if __name__ == "__main__":
    main()
