"""The whole benchmark in small: one short voyage, screened, replayed and told."""

from functools import partial

import polars as pl
import pytest
from benchmarks.accuracy import treatments as treat
from benchmarks.accuracy.baselines import BASELINES
from benchmarks.accuracy.figures import OURS
from benchmarks.accuracy.pull_downs import pull_down_figures
from benchmarks.accuracy.run import Result, all_figures, screened
from benchmarks.accuracy.voyages import BASE, Condition, Pool

POOL = Pool(
    "small",
    range(2091, 2092),
    {"units": 24, "days": 3.0, "fault_share": 0.25, "severity": (0.9, 1.0), "second_share": 0.5},
    (
        Condition(BASE.section, BASE.name, treat.as_is),
        Condition("channels", "air temperatures and set point only", partial(treat.only, channels=treat.AIR)),
    ),
    replayed=1,
)


@pytest.fixture(scope="module")
def result() -> Result:
    return screened(POOL, 2091, None)


@pytest.fixture(scope="module")
def figures(result: Result) -> pl.DataFrame:
    return all_figures(result)


def value(figures: pl.DataFrame, section: str, measure: str, method: str = OURS) -> float:
    chosen = figures.filter(
        pl.col("section") == section, pl.col("measure") == measure, pl.col("method") == method
    )
    return float(chosen["value"].item())


def test_every_unit_is_judged_once_in_every_condition(result: Result) -> None:
    counted = result.units.group_by("section").agg(pl.len(), pl.col("container").n_unique())
    assert sorted(counted.rows()) == [("base", 24, 24), ("channels", 24, 24)]
    assert result.units.filter("faulty").height == 2 * 6
    assert result.units.null_count().drop("also", "hard_case").sum_horizontal().item() == 0


def test_the_lead_is_that_over_the_best_baseline(figures: pl.DataFrame) -> None:
    ours = value(figures, "base", "average precision")
    assert 0.25 < ours <= 1.0
    for name in BASELINES:
        assert 0.0 < value(figures, "base", "average precision", name) <= 1.0
    lead = figures.filter(pl.col("measure") == "lead over the best baseline", pl.col("section") == "base")
    best = figures.filter(pl.col("measure") == "best baseline", pl.col("section") == "base")
    assert lead["value"].item() == pytest.approx(ours - best["value"].item())
    assert lead["low"].item() <= lead["value"].item() <= lead["high"].item()


def test_the_replay_flags_no_fault_before_it_began(result: Result) -> None:
    assert result.replays["method"].unique().sort().to_list() == ["coldsift", "hours_out"]
    assert result.replays.height == 2 * 6
    hours = result.replays["hours"].drop_nulls()
    assert hours.min() >= 0.0  # type: ignore[operator]
    assert hours.max() <= 72.0  # type: ignore[operator]


def test_planted_defrosts_are_found_where_the_state_is_logged(figures: pl.DataFrame) -> None:
    assert value(figures, "base", "defrost F1") > 0.95
    assert 0.5 < value(figures, "channels", "defrost F1") < value(figures, "base", "defrost F1")


def test_the_time_constant_of_a_planted_pull_down_is_recovered() -> None:
    figures = pull_down_figures(15).rows_by_key("measure", named=True, unique=True)
    assert figures["pull-downs fitted"]["value"] > 0.9
    assert figures["error of τ, median"]["value"] < 0.03
