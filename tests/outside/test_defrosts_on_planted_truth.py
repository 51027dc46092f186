"""Defrosts found in simulated logs against those that were planted, with and without the logged state.

The truth comes from the simulator's controller, which the regimes stage knows nothing of.
"""

from __future__ import annotations

import polars as pl
import pytest
from benchmarks.accuracy.defrosts import f1, matched, seen_in

from coldsift.regimes import build_timeline, find_defrosts
from coldsift.simulate import Fleet, plan_fleet, simulate


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    return simulate(plan_fleet(units=24, days=4, seed=77, fault_share=0.0, hard_share=0.0))


def test_logged_defrosts_are_found_as_planted(fleet: Fleet) -> None:
    planted = seen_in(fleet.defrosts, fleet.log)
    assert planted.height > 100
    assert f1(matched(find_defrosts(build_timeline(fleet.log)), planted)) > 0.98


def test_defrosts_are_found_without_the_logged_state(fleet: Fleet) -> None:
    silent = fleet.log.with_columns(
        defrost_state=pl.lit(None, dtype=pl.Boolean), mode=pl.lit(None, dtype=pl.String)
    )
    found = find_defrosts(build_timeline(silent))
    assert not found["from_flag"].any()
    assert f1(matched(found, seen_in(fleet.defrosts, fleet.log))) > 0.95


def test_ends_of_defrosts_lie_within_a_log_interval(fleet: Fleet) -> None:
    found = find_defrosts(build_timeline(fleet.log)).filter("terminated")
    pairs = found.join(fleet.defrosts, on="container", suffix="_planted").filter(
        pl.col("start") < pl.col("end_planted"), pl.col("end") > pl.col("start_planted")
    )
    minutes = fleet.truth.select("container", "interval_minutes")
    late = pairs.join(minutes, on="container").select(
        "from_flag",
        start=(pl.col("start") - pl.col("start_planted")).dt.total_minutes() / pl.col("interval_minutes"),
        end=(pl.col("end") - pl.col("end_planted")).dt.total_minutes() / pl.col("interval_minutes"),
    )
    # A logged state shows a start, and an end, only at the next reading; a signature may also miss the last.
    logged, seen = late.filter("from_flag"), late.filter(~pl.col("from_flag"))
    assert logged.height > 50
    assert seen.height > 10
    for edge in ("start", "end"):
        assert logged[edge].is_between(0, 1).all()
        assert seen[edge].is_between(-1, 1).all()
