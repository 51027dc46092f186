"""A large invented voyage, screened: simulated units, repeated under other numbers."""

from __future__ import annotations

from pathlib import Path

import polars as pl
from stdnum import iso6346

from benchmarks.kept import kept
from coldsift import screen
from coldsift.engine import Screening
from coldsift.schema import COMMON_LOG
from coldsift.simulate import plan_fleet

SIMULATED_UNITS = 100
"""Units that are simulated; the rest of the fleet are these again under other numbers."""

SEED = 4601


def voyage_log(units: int, days: float, cache: Path | None) -> pl.DataFrame:
    """The common log of an invented voyage.

    Parameters
    ----------
    units, days
        Size of the voyage. [d]
    cache
        Folder that keeps the simulated units from run to run.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.COMMON_LOG`, every 15 minutes.
    """
    plan = plan_fleet(units=min(units, SIMULATED_UNITS), days=days, seed=SEED)
    log = kept(plan, cache).log
    names = log["container"].unique(maintain_order=True).to_list()
    copies = [
        log.filter(pl.col("container").is_in(names[: units - SIMULATED_UNITS * copy])).with_columns(
            pl.col("container").replace_strict({name: _other_number(name, copy) for name in names})
        )
        for copy in range(-(-units // SIMULATED_UNITS))
    ]
    return COMMON_LOG.conform(pl.concat(copies).sort("container", "time"))


def screened(log: pl.DataFrame, folder: Path) -> Screening:
    """Screen a log, as a file in a folder."""
    path = folder / "log.parquet"
    log.write_parquet(path)
    return screen([path])


def _other_number(name: str, copy: int) -> str:
    """Another number of the same invented owner, with its right check digit."""
    stem = f"{name[:4]}{(int(name[4:10]) + 100_003 * copy) % 1_000_000:06d}"
    return stem + str(iso6346.calc_check_digit(stem))
