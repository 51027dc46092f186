"""The archive's tables to PostgreSQL through ADBC: all in one transaction, twice the same as once."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, unquote

import polars as pl

from coldsift.archive.kept import (
    FORMAT,
    KEPT,
    VOYAGES,
    ArchiveError,
    identifier,
    in_types,
    part,
    read_voyages,
    readable,
    sql_type,
)
from coldsift.schema import Table

SCHEMA = "coldsift"

_ROWS_AT_ONCE = 100_000

_ADDRESS = re.compile(
    r"postgres(?:ql)?://"
    r"(?:[^:@/?#\s]*(?::(?P<password>[^:@/?#\s]*))?@)?"
    r"(?P<where>[^@?#\s]*)"
    r"(?:\?(?P<options>[^#\s]*))?"
)


@dataclass(frozen=True, slots=True)
class Sent:
    """What was sent.

    Attributes
    ----------
    voyages
        Names of those sent.
    unchanged
        How many were there already.
    rows
        Rows written.
    where
        Where to, without a password.
    left_out
        Tables of a later version of coldsift, which this one does not know.
    """

    voyages: tuple[str, ...]
    unchanged: int
    rows: int
    where: str
    left_out: tuple[str, ...] = ()


def send(archive: Path, address: str) -> Sent:
    """Write all voyages of an archive into the schema ``coldsift`` of a PostgreSQL database.

    Parameters
    ----------
    archive
        Folder of the archive.
    address
        ``postgresql://USER@HOST/DATABASE``. The password may stand in it; better it comes from the
        environment variable PGPASSWORD or from the user's password file.

    Returns
    -------
    Sent
        Voyages that the database holds from the same run are left as they are.

    Raises
    ------
    ArchiveError
        When the archive cannot be read, the database cannot be reached, or it refuses. It is then as it was.
    """
    matched = _ADDRESS.fullmatch(address)
    if matched is None:
        raise ArchiveError(
            "that is no address of a PostgreSQL database. Write postgresql://USER@HOST/DATABASE, with "
            "special characters of a password as %XX; or leave the password out and give it in PGPASSWORD."
        )
    voyages = read_voyages(archive)
    import adbc_driver_manager
    from adbc_driver_postgresql import dbapi

    try:
        with dbapi.connect(address) as connection, connection.cursor() as cursor:
            return _send(archive, voyages, connection, cursor, matched["where"])
    except adbc_driver_manager.Error as error:
        raise ArchiveError(
            f"sending to {matched['where'] or 'PostgreSQL'} failed: "
            f"{_without(_secrets(matched), str(error))} Nothing was changed there."
        ) from None


def _send(archive: Path, voyages: pl.DataFrame, connection: Any, cursor: Any, where: str) -> Sent:
    import pyarrow as pa

    cursor.execute("SET LOCAL client_min_messages = warning")
    # Two that send at once take turns; the server lets go of it with the transaction.
    cursor.execute("SELECT pg_advisory_xact_lock(hashtext($1))", (SCHEMA,))
    cursor.execute(f"CREATE SCHEMA IF NOT EXISTS {SCHEMA}")
    for table in (VOYAGES, *KEPT.values()):
        for statement in _definition(table):
            cursor.execute(statement)
    cursor.execute(f"SELECT max(format) FROM {SCHEMA}.{VOYAGES.name}")
    newest = cursor.fetchone()[0]
    if newest is not None and newest > FORMAT:
        raise ArchiveError(
            f"{where} was written by a newer coldsift (layout {newest}, this one writes {FORMAT}). Update "
            "coldsift."
        )
    cursor.execute(f"SELECT voyage, run, name FROM {SCHEMA}.{VOYAGES.name}")
    there = set(cursor.fetchall())
    new = voyages.filter([row not in there for row in voyages.select("voyage", "run", "name").iter_rows()])
    gone = {*new["voyage"], *new["replaces"].explode().drop_nulls()}
    for voyage in sorted(gone):
        cursor.execute(f"DELETE FROM {SCHEMA}.{VOYAGES.name} WHERE voyage = $1", (voyage,))
    rows, left_out = 0, set[str]()
    if not new.is_empty():
        _ingest(cursor, VOYAGES.name, new)
    for voyage in new.iter_rows(named=True):
        for name in voyage["tables"]:
            if name not in KEPT:
                left_out.add(name)
                continue
            with readable(archive, pa.ArrowException):
                for block in _blocks(part(archive, name, voyage["voyage"], voyage["run"]), KEPT[name]):
                    rows += block.height
                    _ingest(cursor, name, block.select(pl.lit(voyage["voyage"]).alias("voyage"), pl.all()))
    connection.commit()
    return Sent(tuple(new["name"]), voyages.height - new.height, rows, where, tuple(sorted(left_out)))


def _definition(table: Table) -> Iterator[str]:
    """A table with its keys, and with the columns that an older one lacks."""
    name = f"{SCHEMA}.{identifier(table.name)}"
    own = table is VOYAGES
    key = table.key if own else ("voyage", *table.key)
    columns = [f"{identifier(column.name)} {sql_type(column.dtype)}" for column in table.columns]
    belongs = f"voyage VARCHAR NOT NULL REFERENCES {SCHEMA}.{VOYAGES.name} ON DELETE CASCADE"
    keyed = [f"PRIMARY KEY ({', '.join(map(identifier, key))})"] if table.key else []
    yield f"CREATE TABLE IF NOT EXISTS {name} ({', '.join([*([] if own else [belongs]), *columns, *keyed])})"
    for column in columns:
        yield f"ALTER TABLE {name} ADD COLUMN IF NOT EXISTS {column}"
    if not table.key:
        yield f"CREATE INDEX IF NOT EXISTS {identifier(f'{table.name}_voyage')} ON {name} (voyage)"


def _blocks(path: Path, table: Table) -> Iterator[pl.DataFrame]:
    """A part's rows, not all at once."""
    import pyarrow.parquet as pq

    with pq.ParquetFile(path) as file:
        for batch in file.iter_batches(_ROWS_AT_ONCE):
            yield in_types(pl.DataFrame(pl.from_arrow(batch)).lazy(), table).collect()


def _ingest(cursor: Any, table: str, frame: pl.DataFrame) -> None:
    # PostgreSQL's text holds every character but this one.
    frame = frame.with_columns(
        pl.col(pl.String, pl.Enum).cast(pl.String).str.replace_all("\0", "\ufffd", literal=True),
        pl.col(pl.List(pl.String)).list.eval(pl.element().str.replace_all("\0", "\ufffd", literal=True)),
    )
    cursor.adbc_ingest(
        table, frame.to_arrow(compat_level=pl.CompatLevel.oldest()), mode="append", db_schema_name=SCHEMA
    )


def _secrets(address: re.Match[str]) -> set[str]:
    """What must not be shown, as written and as meant."""
    given = [address["password"] or ""]
    given += [value for key, value in parse_qsl(address["options"] or "") if "password" in key.lower()]
    return {form for text in given for form in (text, unquote(text)) if form}


def _without(secrets: set[str], text: str) -> str:
    if any(secret in text for secret in secrets):
        return "what the driver says repeats the password and is left out."
    line = " ".join(text.split())
    return line if line.endswith((".", "?")) else f"{line}."
