"""Make the shipped saturation tables: ``python -m coldsift.refrigerant.make``.

Goes in: CoolProp. Comes out: ``saturation.parquet`` beside this file, one row a refrigerant.
"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import polars as pl

from coldsift.refrigerant.names import KNOWN
from coldsift.refrigerant.saturation import TABLES
from coldsift.refrigerant.tabulate import tabulate


def tables() -> pl.DataFrame:
    """One row for each of :data:`KNOWN`, one column for each field of ``Saturation``."""
    return pl.DataFrame([asdict(tabulate(name)) for name in KNOWN])


def write(made: pl.DataFrame, path: Path) -> None:
    """The same tables give the same bytes."""
    made.write_parquet(path, compression="zstd", statistics=False)


if __name__ == "__main__":
    write(tables(), TABLES)
