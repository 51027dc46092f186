"""One writer at a time. The system lets go of the lock when its holder ends, however it ends."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from coldsift.archive.kept import ArchiveError

LOCK_FILE = ".lock"
PATIENCE = 600.0
_PAUSE = 0.05

if sys.platform == "win32":
    import msvcrt

    def _take(handle: IO[bytes]) -> None:
        handle.seek(0)
        msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(handle: IO[bytes]) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


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
        raise ArchiveError(f"{archive} cannot be written: {error.strerror}. Name another folder.") from error
    with handle:
        while True:
            try:
                _take(handle)
                break
            except OSError:
                if time.monotonic() > until:
                    raise ArchiveError(
                        f"{archive} is being written by another coldsift and stayed so for "
                        f"{patience:.0f} s. Try again when that has ended."
                    ) from None
                if waiting and not told:
                    waiting()
                told = True
                time.sleep(_PAUSE)
        yield
