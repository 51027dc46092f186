"""Voyages kept: finished runs go in; what a unit did on several of them comes out, or all of one of them.

Goes in: the folder of a finished run. Comes out: an archive, a folder of Parquet partitioned by voyage, and
what can be asked of it. No stage reads it; it stands around the engine as the commands do.

The Parquet is the truth, and ``voyages.parquet`` says which of it counts: it is put in place last and in
one step, so that a voyage is kept whole or not at all. ``catalogue.duckdb`` is made from it and can be thrown
away.
"""

from coldsift.archive.add import Added, add_run
from coldsift.archive.again import AGAIN, CAME_BACK, DRIFT, Again, again
from coldsift.archive.catalogue import CATALOGUE, write_catalogue
from coldsift.archive.kept import FORMAT, KEPT, VOYAGES, ArchiveError, part, read_voyages
from coldsift.archive.query import Answer, query
from coldsift.archive.send import Sent, send

__all__ = [
    "AGAIN",
    "CAME_BACK",
    "CATALOGUE",
    "DRIFT",
    "FORMAT",
    "KEPT",
    "VOYAGES",
    "Added",
    "Again",
    "Answer",
    "ArchiveError",
    "Sent",
    "add_run",
    "again",
    "part",
    "query",
    "read_voyages",
    "send",
    "write_catalogue",
]
