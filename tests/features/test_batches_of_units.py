"""Features do not depend on which units are taken together, nor on the number of threads."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from functools import cache

import numpy as np
import polars as pl
from polars.testing import assert_frame_equal
from tests.builders import clock, log, timeline

from coldsift.features import clock_features, clock_marks, unit_features, with_saturation
from coldsift.regimes import (
    build_timeline,
    find_defrosts,
    find_voyage_events,
    mark_shared,
    regime_intervals,
    unit_traits,
    with_coverage,
)

UNITS = 10


@cache
def fleet_log() -> pl.DataFrame:
    """Units that cool down, hold and defrost, each with noise, log interval and length of its own."""
    logs = []
    for number in range(UNITS):
        chance = np.random.default_rng(number)
        hours = clock(120 + 3 * number, (15, 20, 30)[number % 3])
        noise = chance.normal(0, 0.3, (4, len(hours)))
        defrost = (hours % (11 + number % 3) < 0.6) & (hours > 10)
        # Some pull down for so many readings that their sums are split.
        air = -18.0 + 30 * np.exp(-hours / (3 + 2 * number)) + noise[0] + 9 * defrost
        logs.append(
            log(
                hours,
                f"QXAU{number:07}",
                set_point=-18.0,
                supply_air=np.round(air - 1.7, 1),
                return_air=np.round(air, 1),
                ambient_air=np.round(26 + 4 * np.sin(2 * np.pi * hours / 24) + noise[1], 1),
                suction_pressure=np.round(1.2 + 0.2 * noise[2], 2),
                discharge_pressure=np.round(11 + noise[3], 2),
                suction_temperature=np.round(air - 4, 1),
                evaporator_temperature=np.where(defrost, 12.0, np.round(air - 6, 1)),
                compressor_state=~defrost & (chance.random(len(hours)) < 0.8),
                power_state=~((hours >= 60) & (hours < 63)),
                defrost_state=defrost if number % 2 else [None] * len(hours),
            )
        )
    return pl.concat(logs)


def batches(frame: pl.DataFrame, size: int) -> list[pl.DataFrame]:
    units = frame["container"].unique(maintain_order=True)
    return [
        frame.filter(pl.col("container").is_in(units[first : first + size].implode()))
        for first in range(0, len(units), size)
    ]


@cache
def found(size: int) -> pl.DataFrame:
    """Every feature, from batches of so many units."""
    timelines = [build_timeline(batch) for batch in batches(fleet_log(), size)]
    events = find_voyage_events(pl.concat([regime_intervals(one) for one in timelines]))
    assert events["kind"].to_list() == ["power_off"]
    timelines = [with_saturation(mark_shared(one, events)) for one in timelines]
    clocks = clock_features(pl.concat([clock_marks(one) for one in timelines]))
    return pl.concat([unit_features(one, find_defrosts(one), clocks) for one in timelines])


def digest(frame: pl.DataFrame) -> str:
    numbers = frame["value"].drop_nulls().to_numpy().tobytes()
    return hashlib.sha256(
        numbers + frame.select("feature", "samples", "reason").write_csv().encode()
    ).hexdigest()


def test_a_unit_has_the_same_features_in_every_batch() -> None:
    whole = found(UNITS)
    assert whole["value"].is_not_null().sum() > 60 * UNITS
    assert_frame_equal(found(7), whole, check_exact=True)
    assert digest(found(7)) == digest(whole)


def test_the_clocks_of_the_fleet_are_reckoned_where_none_are_given() -> None:
    built = timeline(fleet_log())
    assert_frame_equal(
        unit_features(with_saturation(built), find_defrosts(built)), found(UNITS), check_exact=True
    )


def test_traits_of_batches_put_together_are_those_of_the_fleet() -> None:
    built = timeline(fleet_log())
    parts = pl.concat([unit_traits(batch) for batch in batches(built, 5)])
    assert_frame_equal(with_coverage(parts), unit_traits(built), check_exact=True)
    assert not parts["coverage"].equals(unit_traits(built)["coverage"])


def test_features_are_the_same_on_any_number_of_threads() -> None:
    paths = os.pathsep.join(path for path in sys.path if path)
    runs = [
        subprocess.Popen(
            [sys.executable, __file__],
            env=os.environ | {"POLARS_MAX_THREADS": str(threads), "PYTHONPATH": paths},
            stdout=subprocess.PIPE,
            text=True,
        )
        for threads in (1, 4)
    ]
    said = {run.communicate(timeout=60)[0].strip() for run in runs}
    assert said == {digest(found(UNITS))}


if __name__ == "__main__":
    print(digest(found(UNITS)))
