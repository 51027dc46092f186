"""What an archive holds, and where: its tables, its files, and the list of voyages that counts."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import polars as pl

from coldsift.schema import GROUPS, TABLES, TIME, Column, Table, newer_tables

FORMAT = 1
"""Number of the archive's layout. A program reads this one and all before it."""

VOYAGES_FILE = "voyages.parquet"
PARTITION = "voyage="

VOYAGES = Table(
    "voyages",
    "One row a voyage kept.",
    (
        Column("voyage", pl.String(), "", "Id, made from the content of the log files", False),
        Column("run", pl.String(), "", "Id of the run that is kept of it, made from its tables", False),
        Column("name", pl.String(), "", "Name given, else that of the run's folder", False),
        Column("begin", TIME, "UTC", "First reading"),
        Column("end", TIME, "UTC", "Last reading"),
        Column("units", pl.Int64(), "", "Containers", False),
        *(Column(group, pl.Int64(), "", f"Containers in the group {group}", False) for group in GROUPS),
        Column("readings", pl.Int64(), "", "Rows of the common log", False),
        Column("files", pl.Int64(), "", "Log files used", False),
        Column("version", pl.String(), "", "Version of coldsift that made the run", False),
        Column("invented", pl.Boolean(), "", "True when the logs are simulated", False),
        Column("tables", pl.List(pl.String()), "", "Tables kept of it", False),
        Column("replaces", pl.List(pl.String()), "", "Ids of the voyages that it took the place of", False),
        Column("format", pl.Int64(), "", "Number of the archive's layout when it was added", False),
        Column("schema", pl.String(), "", "Version of the tables' schema; empty before there was one"),
    ),
    key=("voyage",),
)

MANIFESTS = Table(
    "manifests",
    "The run's manifest.json: files with their SHA-256, row accounting, settings, versions.",
    (Column("text", pl.String(), "", "The manifest as JSON", False),),
)

INPUTS = Table(
    "inputs",
    "The papers that were given beside the logs, as they were.",
    (
        Column("key", pl.String(), "", "What it was given as: facts, plan, bookings, notes, ...", False),
        Column("name", pl.String(), "", "Name of the file", False),
        Column("content", pl.Binary(), "", "Its bytes", False),
    ),
    key=("key",),
)

KEPT: Mapping[str, Table] = {**TABLES, MANIFESTS.name: MANIFESTS, INPUTS.name: INPUTS}
"""Every table that an archive keeps a part of for each voyage, by name."""


class ArchiveError(ValueError):
    """Something cannot be done with an archive: what is wrong, and what to do."""


def part(archive: Path, table: str, voyage: str, run: str) -> Path:
    """File of one table of one voyage; named after the run, so that another run never overwrites it."""
    return archive / table / f"{PARTITION}{voyage}" / f"{run}.parquet"


def read_voyages(archive: Path) -> pl.DataFrame:
    """The voyages kept.

    Parameters
    ----------
    archive
        Folder of the archive.

    Returns
    -------
    polars.DataFrame
        :data:`VOYAGES`, by begin and id.

    Raises
    ------
    ArchiveError
        When there is no archive, when it cannot be read, when a newer coldsift wrote it, or when it stands
        in a folder that reads like one of its own.
    """
    path = archive / VOYAGES_FILE
    if any(folder.lower().startswith(PARTITION) for folder in archive.absolute().parts):
        raise ArchiveError(
            f"{archive.absolute()}: no folder above an archive may begin with {PARTITION}, as those in "
            "it do. Move or rename it."
        )
    try:
        # In one go: the file is never held open, and another may take its place at any time.
        held = pl.read_parquet(io.BytesIO(path.read_bytes()))
    except FileNotFoundError:
        raise ArchiveError(
            f"{archive} holds no archive: {VOYAGES_FILE} is not there. Name the archive's folder, or begin "
            "one with coldsift archive add."
        ) from None
    except OSError as error:
        raise ArchiveError(f"{path} cannot be read: {error.strerror or error}.") from error
    except pl.exceptions.PolarsError as error:
        raise ArchiveError(
            f"{path} is damaged and cannot be read. Put it back from a backup; the tables beside it are "
            "whole, but it says which of them count."
        ) from error
    if "format" not in held.columns or not held["format"].dtype.is_integer():
        raise ArchiveError(f"{path} is no list of voyages. Name the archive's folder.")
    newest = held["format"].max()
    if isinstance(newest, int) and newest > FORMAT:
        raise ArchiveError(
            f"{archive} was written by a newer coldsift: it has layout {newest}, this one reads layouts up "
            f"to {FORMAT}. Update coldsift."
        )
    voyages = in_types(held.lazy(), VOYAGES).collect().sort("begin", "voyage", nulls_last=True)
    for version in voyages["schema"].unique().sort():
        if newer := newer_tables(archive, version):
            raise ArchiveError(newer)
    return voyages


@contextmanager
def readable(archive: Path, *errors: type[Exception]) -> Iterator[None]:
    """Say what to do when a part of an archive is missing or damaged, by Polars or one of ``errors``."""
    unreadable: tuple[type[Exception], ...] = (OSError, pl.exceptions.PolarsError, *errors)
    try:
        yield
    except unreadable as error:
        raise ArchiveError(
            f"a part of {archive} cannot be read: {in_a_line(error)} If a run is being added, try again; "
            "else put the file back from a backup, or add its run with --replace."
        ) from error


def in_a_line(error: Exception) -> str:
    """What a library says as one sentence, without the drawing of where."""
    line = " ".join(str(error).split("\n\n")[0].split())
    return line if line.endswith((".", "?", "!")) else f"{line}."


def in_types(frame: pl.LazyFrame, table: Table) -> pl.LazyFrame:
    """A frame's columns in a table's order and types; those that an older one lacks are null."""
    present = set(frame.collect_schema().names())
    return frame.select(
        (pl.col(column.name) if column.name in present else pl.lit(None))
        .cast(column.dtype)
        .alias(column.name)
        for column in table.columns
    )


def sql_type(dtype: pl.DataType) -> str:
    """Name of a column's type, as DuckDB and PostgreSQL both know it."""
    if isinstance(dtype, pl.List):
        return f"{sql_type(pl.String())}[]"
    kinds: dict[type[pl.DataType], str] = {
        pl.String: "VARCHAR",
        pl.Enum: "VARCHAR",
        pl.Float64: "FLOAT8",
        pl.Int64: "INT8",
        pl.Boolean: "BOOLEAN",
        pl.Binary: "BYTEA",
        pl.Date: "DATE",
        pl.Datetime: "TIMESTAMPTZ",
    }
    return kinds[type(dtype)]


def identifier(name: str) -> str:
    """A name of a table or column, quoted for SQL."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """A text, quoted for SQL."""
    return "'" + text.replace("'", "''") + "'"
