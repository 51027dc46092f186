"""One writer at a time. The system lets go of the lock when its holder ends, however it ends."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from coldsift.archive.kept import ArchiveError
from coldsift.places import taken

LOCK_FILE = ".lock"
PATIENCE = 600.0
_PAUSE = 0.05


@contextmanager
def one_writer(
    archive: Path, waiting: Callable[[], None] | None = None, patience: float = PATIENCE
) -> Iterator[None]:
    """Hold the archive for writing.

    Parameters
    ----------
    archive
        Folder; it must exist.
    waiting
        Called once when another holds it.
    patience
        How long to wait for it. [s]

    Raises
    ------
    ArchiveError
        When another still holds it after that time, or when it cannot be written.
    """
    until = time.monotonic() + patience
    told = False
    try:
        handle = (archive / LOCK_FILE).open("a+b")
    except OSError as error:
        raise ArchiveError(
            f"{archive} cannot be written: {error.strerror}. Name another with --to."
        ) from error
    with handle:
        while not taken(handle):
            if time.monotonic() > until:
                raise ArchiveError(
                    f"{archive} is being written by another coldsift and stayed so for {patience:.0f} s. Try "
                    "again when that has ended."
                )
            if waiting and not told:
                waiting()
            told = True
            time.sleep(_PAUSE)
        yield
