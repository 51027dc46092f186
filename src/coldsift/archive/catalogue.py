"""The archive as DuckDB sees it: one view a table, over the parts of all voyages kept.

Nothing here reaches for the network: extensions are neither installed nor loaded.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from coldsift.archive.kept import (
    KEPT,
    VOYAGES,
    ArchiveError,
    identifier,
    in_a_line,
    literal,
    part,
    read_voyages,
    readable,
    sql_type,
)
from coldsift.schema import Table

if TYPE_CHECKING:
    import duckdb

CATALOGUE = "catalogue.duckdb"

OFFLINE: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "python_enable_replacements": "false",
}


def write_catalogue(archive: Path, voyages: pl.DataFrame) -> None:
    """Make ``catalogue.duckdb`` anew, for other programs; coldsift itself asks the Parquet.

    Parameters
    ----------
    archive
        Folder, held for writing. A catalogue that another program has open stays as it is.
    voyages
        Those to list.

    Raises
    ------
    ArchiveError
        When a part of one of them cannot be read, or it cannot be written.
    """
    import duckdb

    made = archive / f".{CATALOGUE}"
    for left in (made, made.with_name(f"{made.name}.wal")):
        left.unlink(missing_ok=True)
    try:
        with duckdb.connect(str(made), config=OFFLINE) as connection:
            define_views(connection, archive.absolute(), voyages)
            # Asked for, it says when the disk is full; at the end it would not.
            connection.execute("CHECKPOINT")
    except duckdb.Error as error:
        for left in (made, made.with_name(f"{made.name}.wal")):
            left.unlink(missing_ok=True)
        raise ArchiveError(f"{in_a_line(error)} The next add makes it.") from error
    try:
        made.replace(archive / CATALOGUE)
    except PermissionError:
        made.unlink()


def opened(archive: Path) -> duckdb.DuckDBPyConnection:
    """The archive to be asked: no file outside it, no setting and no extension can be reached from there.

    Raises
    ------
    ArchiveError
        As :func:`coldsift.archive.read_voyages` does, and when a part is missing.
    """
    import duckdb

    archive = archive.absolute()
    voyages = read_voyages(archive)
    connection = duckdb.connect(":memory:", config=OFFLINE)
    define_views(connection, archive, voyages)
    for setting in (
        "TimeZone = 'UTC'",
        "temp_directory = ''",
        f"allowed_directories = [{literal(str(archive))}]",
        "enable_external_access = false",
        "lock_configuration = true",
    ):
        connection.execute(f"SET {setting}")
    return connection


def define_views(connection: duckdb.DuckDBPyConnection, archive: Path, voyages: pl.DataFrame) -> None:
    """Give a database the table ``voyages`` and a view for every other table."""
    import duckdb

    connection.execute("SET parquet_metadata_cache = true")
    connection.register("given", voyages.to_arrow(compat_level=pl.CompatLevel.oldest()))
    connection.execute(f"CREATE TABLE {VOYAGES.name} AS SELECT * FROM given")
    connection.unregister("given")
    for name, table in KEPT.items():
        paths = [
            part(archive, name, voyage, run)
            for voyage, run in voyages.filter(pl.col("tables").list.contains(name))
            .select("voyage", "run")
            .iter_rows()
        ]
        with readable(archive, duckdb.Error):
            connection.execute(f"CREATE VIEW {identifier(name)} AS {_over(connection, table, paths)}")


def _over(connection: duckdb.DuckDBPyConnection, table: Table, paths: list[Path]) -> str:
    """Query over the parts of a table; columns that none of them has yet are null."""
    files = (
        f"read_parquet([{', '.join(literal(str(path)) for path in paths)}], union_by_name = true, "
        "hive_partitioning = true, hive_types = {'voyage': VARCHAR})"
    )
    present = (
        {name for name, *_ in connection.execute(f"DESCRIBE SELECT * FROM {files}").fetchall()}
        if paths
        else set()
    )
    columns = [
        identifier(column.name)
        if column.name in present
        else f"NULL::{sql_type(column.dtype)} AS {identifier(column.name)}"
        for column in table.columns
    ]
    if not paths:
        return f"SELECT NULL::VARCHAR AS voyage, {', '.join(columns)} WHERE false"
    return f"SELECT voyage, {', '.join(columns)} FROM {files}"
