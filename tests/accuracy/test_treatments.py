"""Conditions differ in what they say, and in nothing else."""

from collections.abc import Callable, Iterator

import polars as pl
import pytest
from benchmarks.accuracy import treatments as treat
from benchmarks.accuracy.voyages import POOLS

from coldsift.simulate import Fleet, plan_fleet, simulate

Treatment = Callable[[Fleet, int], Iterator[Fleet]]


@pytest.fixture(scope="module")
def voyage() -> Fleet:
    return simulate(plan_fleet(units=40, days=2, seed=2090, fault_share=0.5, severity=(0.05, 1.0)))


def faulty(fleet: Fleet) -> pl.DataFrame:
    return fleet.truth.filter(pl.col("cause") != "healthy")


def test_no_seed_of_the_judging_voyages_was_fitted_on() -> None:
    seeds = [seed for pool in POOLS for seed in pool.seeds]
    assert min(seeds) > 2000
    assert len(seeds) == len(set(seeds))


def test_an_hourly_log_keeps_every_fourth_reading(voyage: Fleet) -> None:
    (hourly,) = treat.thinned(voyage, 1, minutes=60)
    steps = hourly.log.filter(pl.col("container") == hourly.log["container"][0])["time"].diff().drop_nulls()
    assert (steps.dt.total_minutes() == 60).all()
    assert hourly.log.join(voyage.log, on=["container", "time"], how="anti").is_empty()


def test_air_alone_means_no_pressure_no_current_no_alarm(voyage: Fleet) -> None:
    (bare,) = treat.only(voyage, 1, channels=treat.AIR)
    logged = {name for name in bare.log.columns if bare.log[name].null_count() < bare.log.height}
    assert logged == {"container", "time", "source", "row", *treat.AIR}


def test_small_fleets_share_out_units_and_faults(voyage: Fleet) -> None:
    parts = list(treat.split(voyage, 1, units=20))
    assert [part.truth.height for part in parts] == [20, 20]
    assert [faulty(part).height for part in parts] == [10, 10]
    together = pl.concat([part.truth["container"] for part in parts])
    assert sorted(together) == sorted(voyage.truth["container"])


def test_the_share_of_faulty_units_is_as_said_and_the_mild_ones_stay_out(voyage: Fleet) -> None:
    (none,) = treat.share(voyage, 1, faulty=0.0)
    assert faulty(none).is_empty()
    for part in treat.share(voyage, 1, faulty=0.1):
        assert faulty(part).height == 2
        assert faulty(part)["severity"].min() >= 0.3  # type: ignore[operator]
    (mild,) = treat.severity(voyage, 1, low=0.05, high=0.3)
    assert 0 < faulty(mild).height < 20
    assert faulty(mild)["severity"].max() < 0.3  # type: ignore[operator]


@pytest.mark.parametrize(
    ("fault", "sign"),
    [
        (treat.with_gaps, lambda log, whole: log.height < 0.95 * whole.height),
        (treat.with_early_ends, lambda log, whole: log.height < 0.95 * whole.height),
        (treat.with_clock_steps, lambda log, whole: not log["time"].equals(whole["time"])),
        (treat.with_impossible_values, lambda log, whole: log.height > 1.02 * whole.height),
    ],
)
def test_a_data_fault_is_drawn_by_the_seed_and_leaves_the_log_readable(
    fault: Callable[[pl.DataFrame, int], pl.DataFrame],
    sign: Callable[[pl.DataFrame, pl.DataFrame], bool],
    voyage: Fleet,
) -> None:
    spoilt = fault(voyage.log, 5)
    assert spoilt.equals(fault(voyage.log, 5))
    assert not spoilt.equals(fault(voyage.log, 6))
    assert sign(spoilt, voyage.log)
    (read,) = treat.spoiled(voyage, 5, fault=fault)
    assert set(read.log["container"]) <= set(voyage.log["container"])
    assert read.log.height > 0.5 * voyage.log.height
    assert read.log["supply_air"].is_between(-60, 60).all()


def test_written_in_every_layout_and_read_again_the_air_is_the_same(voyage: Fleet) -> None:
    (read,) = treat.through_layouts(voyage, 1)
    both = voyage.log.join(read.log, on=["container", "time"], suffix="_read")
    assert both.height > 0.99 * voyage.log.height
    assert (both["supply_air"] - both["supply_air_read"]).abs().max() < 0.06  # type: ignore[operator]


def test_a_lone_unit_has_no_peer_of_its_class(voyage: Fleet) -> None:
    for ship in treat.single_of_its_kind(voyage, 1):
        lone = ship.truth.filter(pl.col("hard_case") == "single_of_its_kind")
        assert lone.height == 1
        assert (ship.truth["set_point"] > -10).sum() == 1


def test_a_new_controller_logs_from_its_own_first_day(voyage: Fleet) -> None:
    healthy = treat.aboard(voyage, voyage.truth.filter(pl.col("cause") == "healthy")["container"].to_list())
    (fleet,) = treat.new_controllers(healthy, 1)
    new = fleet.truth.filter(pl.col("hard_case") == "new_controller")["container"].to_list()
    first = fleet.log.group_by("container").agg(pl.col("time").min())
    late = first.filter(pl.col("time") > voyage.log["time"].min())["container"].to_list()
    assert sorted(late) == sorted(new)
