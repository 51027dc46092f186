"""The findings of an earlier run, from its folder."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl

from coldsift.schema import FINDINGS, newer_tables

MANIFEST, TABLE = "manifest.json", "findings.parquet"


class EarlierRunError(ValueError):
    """The folder holds no earlier run that can be compared with; says why and what to do."""


def earlier_findings(run: Path) -> pl.DataFrame:
    """Read the findings that an earlier screening wrote.

    Parameters
    ----------
    run
        Its folder, as named with ``--out``.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.FINDINGS`; columns that it has beyond these are left out, those that an older
        version did not write are empty.

    Raises
    ------
    EarlierRunError
        When the folder holds no run, or one whose table is damaged or has other columns.
    """
    if not run.is_dir():
        raise EarlierRunError(f"{run} is not a folder. Name the folder of an earlier run.")
    missing = [name for name in (MANIFEST, TABLE) if not (run / name).is_file()]
    if missing:
        raise EarlierRunError(
            f"{run} holds no earlier run: {' and '.join(missing)} missing. Name the folder that was given "
            f"with --out."
        )
    version, schema = _version(run)
    if newer := newer_tables(run, schema):
        raise EarlierRunError(newer)
    try:
        table = pl.read_parquet(run / TABLE)
    except (pl.exceptions.PolarsError, OSError) as error:
        raise EarlierRunError(
            f"{run / TABLE} cannot be read: it is damaged, or no Parquet file. Screen the earlier logs again."
        ) from error
    absent = [
        column.name for column in FINDINGS.columns if not column.nullable and column.name not in table.columns
    ]
    if absent:
        raise EarlierRunError(
            f"{run} was written by coldsift {version}, whose findings lack {', '.join(absent)}. Screen the "
            f"earlier logs again with this version."
        )
    try:
        return FINDINGS.conform(table)
    except (pl.exceptions.PolarsError, ValueError) as error:
        raise EarlierRunError(
            f"The findings in {run}, written by coldsift {version}, are not as this version writes them. "
            f"Screen the earlier logs again with this version."
        ) from error


def _version(run: Path) -> tuple[str, object]:
    """Version of coldsift that wrote the run, and of its tables' schema."""
    try:
        manifest = json.loads((run / MANIFEST).read_text(encoding="utf-8"))
        if manifest["tool"] == "coldsift":
            return str(manifest["version"]), manifest.get("schema")
    except (OSError, ValueError, KeyError, TypeError):
        pass
    raise EarlierRunError(
        f"{run / MANIFEST} is not that of a coldsift run. Name the folder that was given with --out."
    )
