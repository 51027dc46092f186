"""A question of one's own, in SQL: read only."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coldsift.archive.catalogue import opened
from coldsift.archive.kept import ArchiveError, in_a_line, literal

if TYPE_CHECKING:
    import duckdb

_AT_ONCE = 10_000

ONE_SELECT = "one SELECT can be asked, and nothing that writes. Try: SELECT * FROM voyages"


@dataclass(frozen=True, slots=True)
class Answer:
    """Column names, and the rows as they come, each a tuple of Python values."""

    columns: tuple[str, ...]
    rows: Iterator[tuple[Any, ...]]


@contextmanager
def query(archive: Path, text: str) -> Iterator[Answer]:
    """Ask an archive with one ``SELECT``.

    Parameters
    ----------
    archive
        Folder of the archive.
    text
        The query, over the views named as the tables of ``coldsift schema``, and over ``voyages``.

    Yields
    ------
    Answer
        To be read before the context ends.

    Raises
    ------
    ArchiveError
        When the text is anything but one ``SELECT``, reaches outside the archive, or is wrong; also while
        rows are read.
    """
    with opened(archive) as connection, _explained():
        _read_only(connection, text)
        cursor = connection.execute(text)
        columns = tuple(str(column[0]) for column in cursor.description or ())
        yield Answer(columns, _rows(cursor))


def _read_only(connection: duckdb.DuckDBPyConnection, text: str) -> None:
    """Refuse what could write: a copy into the archive's own folder the settings would let pass."""
    import duckdb

    statements = connection.extract_statements(text)
    if [each.type for each in statements] != [duckdb.StatementType.SELECT]:
        raise ArchiveError(ONE_SELECT)
    try:
        # A WITH may hold a COPY or an INSERT and still be a SELECT, but never inside another.
        connection.execute(f"EXPLAIN SELECT * FROM query({literal(text)})")
    except duckdb.BinderException as error:
        if "must be at the top level" in str(error):
            raise ArchiveError(ONE_SELECT) from error
        raise


def _rows(cursor: duckdb.DuckDBPyConnection) -> Iterator[tuple[Any, ...]]:
    while block := cursor.fetchmany(_AT_ONCE):
        yield from block


@contextmanager
def _explained() -> Iterator[None]:
    import duckdb

    try:
        yield
    except duckdb.PermissionException as error:
        raise ArchiveError("a query reaches the archive's tables, no other file and no network.") from error
    except duckdb.Error as error:
        raise ArchiveError(f"the query was not understood, or failed. {in_a_line(error)}") from error
