"""A question of one's own, in SQL: read only."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from coldsift.archive.catalogue import opened
from coldsift.archive.kept import ArchiveError, in_a_line

_AT_ONCE = 10_000


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
        kinds = [statement.type for statement in connection.extract_statements(text)]
        # A copy into the archive's own folder is the one thing that the settings would let pass.
        if kinds != [duckdb.StatementType.SELECT]:
            raise ArchiveError("one SELECT can be asked, and nothing that writes. Try: SELECT * FROM voyages")
        cursor = connection.execute(text)
        columns = tuple(str(column[0]) for column in cursor.description or ())
        yield Answer(columns, _rows(cursor))


def _rows(cursor: duckdb.DuckDBPyConnection) -> Iterator[tuple[Any, ...]]:
    while block := cursor.fetchmany(_AT_ONCE):
        yield from block


@contextmanager
def _explained() -> Iterator[None]:
    try:
        yield
    except duckdb.PermissionException as error:
        raise ArchiveError("a query reaches the archive's tables, no other file and no network.") from error
    except duckdb.Error as error:
        raise ArchiveError(f"the query was not understood, or failed. {in_a_line(error)}.") from error
