"""Simulated voyages, kept on disk from run to run."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import polars as pl

from coldsift.simulate import Fleet, FleetPlan, simulate

TABLES = ("truth", "defrosts", "excursions", "log")


def kept(plan: FleetPlan, folder: Path | None, simulator: Callable[[FleetPlan], Fleet] = simulate) -> Fleet:
    """Simulate a plan, or take its voyage from the folder where an earlier run left it.

    Parameters
    ----------
    plan
        What is to be simulated.
    folder
        Of this plan and simulator alone: what stands there is taken as it is. Empty it when the simulator
        changes. None keeps nothing.
    simulator
        Makes a fleet of a plan.

    Returns
    -------
    Fleet
        Log and truth.
    """
    if folder is None:
        return simulator(plan)
    paths = {name: folder / f"{name}.parquet" for name in TABLES}
    if not all(path.is_file() for path in paths.values()):
        folder.mkdir(parents=True, exist_ok=True)
        fleet = simulator(plan)
        for name, path in paths.items():
            getattr(fleet, name).write_parquet(path)
    return Fleet(plan=plan, **{name: pl.read_parquet(path) for name, path in paths.items()})
