"""Print what the order of the round saves against other orders of equal urgency: a few seconds."""

from __future__ import annotations

import time

import numpy as np
import polars as pl

from benchmarks.rounds.ship import UNITS, findings
from coldsift.rounds import places_of, plan_round, urgency_class, walking_minutes

SEEDS = range(401, 421)
HOURS = 4.0

ORDERS = {
    "the round": (),
    "list order": ("rank",),
    "bay by bay": ("bay", "on_deck", "tier", "row"),
    "bay by bay, to and fro": ("along", "on_deck", "tier", "across"),
}
"""Orders of the same stops, class by class; to and fro: every other class goes back along the ship, every
other run athwart goes back across it."""


def main() -> None:
    """Measure and print; nothing is stored."""
    rows = [(seed, *each) for seed in SEEDS for each in _voyage(seed)]
    told = pl.DataFrame(rows, ["seed", "order", "walk", "reached", "stops", "seconds"], orient="row")
    own = told.filter(pl.col("order") == "the round")
    fewest, most, longest = own.select(
        fewest=pl.col("stops").min(), most=pl.col("stops").max(), longest=pl.col("seconds").max()
    ).row(0)
    print(
        f"Invented ship of {UNITS} reefers, seeds {SEEDS.start} to {SEEDS.stop - 1}: {fewest} to {most} "
        f"stops, planned in {longest:.2f} s at most.\n"
        "Every order visits the same classes of urgency in turn. Ratio: the round's walk to that order's.\n"
        f"Reached: stops done after {HOURS:g} h, checks included."
    )
    against = told.join(own.select("seed", own="walk"), on="seed").with_columns(
        ratio=pl.col("own") / pl.col("walk")
    )
    columns = ("walk min", "ratio", "from", "to", "reached")
    print("  ".join(("order".rjust(24), *(column.rjust(8) for column in columns))))
    summary = against.group_by("order", maintain_order=True).agg(
        pl.col("walk").mean(),
        pl.col("ratio").mean(),
        low=pl.col("ratio").min(),
        high=pl.col("ratio").max(),
        reached=pl.col("reached").mean(),
    )
    for order, walk, ratio, low, high, reached in summary.iter_rows():
        print(f"{order:>24}  {walk:8.1f}  {ratio:8.2f}  {low:8.2f}  {high:8.2f}  {reached:8.1f}")


def _voyage(seed: int) -> list[tuple[str, float, int, int, float]]:
    """Each order's name, walk [min], stops reached, stops in all, and the time that planning took [s]."""
    found, checks = findings(seed)
    begun = time.perf_counter()
    planned = plan_round(found, checks)
    seconds = time.perf_counter() - begun
    stops = (
        found.with_columns(urgency=urgency_class(), **places_of(pl.col("position")))
        .drop_nulls("urgency")
        .join(planned.select("container", "check_minutes", "stop"), on="container")
        .with_columns(
            athwart=((pl.col("row") + 1) // 2) * (2 * (pl.col("row") % 2) - 1),
            run=pl.struct("bay", "on_deck", "tier").rank("dense").over("urgency"),
        )
        .with_columns(
            along=pl.col("bay") * (1 - 2 * (pl.col("urgency") % 2)),
            across=pl.col("athwart") * (1 - 2 * (pl.col("run") % 2).cast(pl.Int64)),
        )
    )
    # The round begins where it does for plan_round: on deck, at the first bay.
    first_bay = pl.format("{}0082", pl.col("bay").min().cast(pl.String).str.zfill(3))
    begin = stops.select(**places_of(first_bay))
    minutes = walking_minutes(pl.concat([begin, stops.select(begin.columns)]))
    told = []
    for name, by in ORDERS.items():
        order = stops.with_row_index("place", 1).sort("urgency", *(by or ("stop",)), "rank")
        places = order["place"].to_numpy()
        walks = minutes[np.r_[0, places[:-1]], places]
        done = np.cumsum(walks + order["check_minutes"].to_numpy())
        told.append((name, float(walks.sum()), int((done <= 60 * HOURS).sum()), len(places), seconds))
    return told


if __name__ == "__main__":
    main()
