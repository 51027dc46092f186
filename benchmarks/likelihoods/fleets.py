"""Simulated fleets as fitting data: steps of every feature, and what was planted."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from benchmarks.kept import kept
from coldsift.causes.catalogue import HEALTHY
from coldsift.engine import Settings
from coldsift.engine.analysis import analyse
from coldsift.features import FEATURES, View
from coldsift.schema import CHANNELS
from coldsift.simulate.plan import FleetPlan, plan_fleet

ROUTES = ("tropics", "winter", "mixed")

UNITS, DAYS, FAULT_SHARE = 200, 14.0, 0.4

FITTING_SEEDS = range(101, 201)
"""Below 1000; accuracy is judged on seeds from 1001 on."""

HARD_SEEDS = range(141, 161)
HARD_CAUSES = (
    *("other_sensor_drift",) * 4,
    *("expansion_valve_not_opening",) * 2,
    *("sensor_stuck",) * 2,
    *("economizer_valve_stuck",) * 2,
    "condenser_fan_failed",
    "condenser_fouled",
    "overcharge_or_air",
    "air_flow_blocked",
    "evaporator_fan_failed",
    "short_cycling",
    "low_refrigerant",
    "compressor_worn",
    "door_or_seal_leak",
    "vent_left_open",
)
"""Fleets with more of the causes that are hard to tell apart, so that there are enough of each kind."""

NOT_SIGNS = ("log_interval", "log_hours", "lift", "hours_to_set_point_predicted")
"""Features that say what is asked of a unit, or of its log, and nothing of a cause."""

ABSENT = 1 / 3
KEPT = ("set_point",)
"""Share of each unit's channels that a poor log lacks, and those that every log has."""

MAKES = 3
APART, OWN = 0.8, 0.6
SHIFT_APART = 0.5
"""Ships with several makes of unit: how far the makes, and the units of one make, stand apart in a feature,
and how much of that its change in the last days shows; all times a spread drawn for each fleet and feature, 1
in the mean. Set by judgement, so that makes differ about as much as the units of one make do."""

KINDS = {
    "evaporator_temperature": "evaporator_coil",
    "suction_pressure": "suction_pressure",
    "suction_temperature": "suction_line",
    "discharge_pressure": "discharge_pressure",
    "ambient_air": "ambient",
    "supply_air": "supply_probe",
    "return_air": "return_probe",
}
"""Kind of a sensor fault by the channel that it struck."""


def sign_features() -> list[str]:
    """Features that can be signs: the last days and the change against before, where there are such views."""
    chosen = []
    for name, feature in FEATURES.items():
        if (feature.base or name) in NOT_SIGNS or feature.view is View.TREND:
            continue
        if feature.view is View.WHOLE and f"{name}_now" in FEATURES:
            continue
        chosen.append(name)
    return chosen


def fleet(seed: int, cache: Path | None = None, poor: bool = False) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Distances and truth of one simulated fleet.

    Parameters
    ----------
    seed
        Of the fleet; also decides the route.
    cache
        Folder in which logs and distances are kept for the next run.
    poor
        With a third of each unit's channels taken out.

    Returns
    -------
    tuple of polars.DataFrame
        ``container, feature, value, distance, words``, and the truth of :class:`coldsift.simulate.Fleet`.
    """
    folder = cache / str(seed) if cache else None
    ready = "poor.parquet" if poor else "features.parquet"
    if folder and (folder / ready).is_file():
        return pl.read_parquet(folder / ready), pl.read_parquet(folder / "truth.parquet")
    voyage = kept(planned(seed), folder)
    log = without_channels(voyage.log, seed) if poor else voyage.log
    distances = analyse(log, Settings()).distances
    if folder:
        distances.write_parquet(folder / ready)
    return distances, voyage.truth


def planned(seed: int) -> FleetPlan:
    """The fleet of a seed; those of :data:`HARD_SEEDS` hold the causes that are hard to tell apart."""
    return plan_fleet(
        units=UNITS,
        days=DAYS,
        seed=seed,
        route=ROUTES[seed % len(ROUTES)],
        fault_share=FAULT_SHARE,
        causes=HARD_CAUSES if seed in HARD_SEEDS else None,
    )


def hypothesis_of(truth: pl.DataFrame) -> list[str]:
    """Cause of each unit, with its kind where the kinds leave traces of their own."""
    names = []
    for row in truth.select("cause", "probe", "cooling", "set_point").iter_rows(named=True):
        cause = row["cause"]
        if cause in ("other_sensor_drift", "sensor_stuck"):
            cause = f"{cause}.{KINDS[row['probe']]}"
        elif cause == "economizer_valve_stuck":
            cause = f"{cause}.{'stuck_shut' if row['set_point'] <= -10 else 'stuck_open'}"
        names.append(cause)
    return names


def without_channels(log: pl.DataFrame, seed: int) -> pl.DataFrame:
    """The log with a third of each unit's channels taken out, drawn unit by unit."""
    draw = np.random.default_rng(seed)
    units = log["container"].unique().sort()
    channels = [name for name in CHANNELS if name not in KEPT and log[name].null_count() < len(log)]
    keeps = draw.random((len(units), len(channels))) >= ABSENT
    place = log["container"].replace_strict(units, range(len(units)), return_dtype=pl.Int64)
    return log.with_columns(
        pl.when(pl.Series(keeps[place.to_numpy(), at])).then(pl.col(name)).alias(name)
        for at, name in enumerate(channels)
    )


def of_several_makes(distances: pl.DataFrame, seed: int) -> pl.DataFrame:
    """The distances as they might be on a ship whose units differ more than those of the simulator.

    Each make of unit, and each unit of a make, stands off in each feature by an amount of its own, which all
    views of the feature share; the peers' spread grows with it. What is learnt from such fleets too leans
    less on the fine play of features that only one simulator has.

    Parameters
    ----------
    distances
        ``container, feature, distance`` of one fleet.
    seed
        Of the fleet.

    Returns
    -------
    polars.DataFrame
        The same rows.
    """
    draw = np.random.default_rng([seed, 9])
    containers = distances["container"].unique().sort()
    make = draw.integers(0, MAKES, len(containers))
    # All views of a feature share what is drawn for it, but for its change, which has a draw of its own.
    drawn_for = {
        name: (FEATURES[name].base or name, FEATURES[name].view is View.SHIFT) for name in sign_features()
    }
    drawn = {}
    for base, is_shift in dict.fromkeys(drawn_for.values()):
        spread = draw.exponential(SHIFT_APART if is_shift else 1.0)
        between, within = draw.normal(0.0, 1.0, MAKES)[make], draw.normal(0.0, 1.0, len(containers))
        drawn[base, is_shift] = spread, APART * between + OWN * within
    moved = pl.concat(
        pl.DataFrame(
            {
                "container": containers,
                "offset": spread * off,
                "wider": np.full(len(containers), np.sqrt(1.0 + spread**2)),
            }
        ).with_columns(feature=pl.lit(name))
        for name, key in drawn_for.items()
        if FEATURES[name].by_peers
        for spread, off in (drawn[key],)
    )
    return (
        distances.join(moved, on=["container", "feature"], how="left", maintain_order="left")
        .with_columns(
            distance=(pl.col("distance") + pl.col("offset").fill_null(0.0)) / pl.col("wider").fill_null(1.0)
        )
        .drop("offset", "wider")
    )


def healthy(names: list[str]) -> NDArray[np.bool_]:
    """Which units are good."""
    return np.array([name == HEALTHY for name in names])
