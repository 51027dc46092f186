"""A place for outputs on this machine: held by one run at a time, and changed in one step.

Goes in: the path of a folder that is to be written. Comes out: a :class:`Place`, with a hidden folder beside
it for what is not finished yet. The system lets go of the place when the run ends, however it ends, and what
a killed run left is taken away by the next.
"""

from __future__ import annotations

import ctypes
import errno
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import polars as pl

if sys.platform == "win32":
    import msvcrt

    def taken(handle: IO[bytes]) -> bool:
        """Lock an open file for this process; False when another has it."""
        try:
            handle.seek(0)
            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno in _HELD_BY_ANOTHER:
                return False
            raise
        return True
else:
    import fcntl

    def taken(handle: IO[bytes]) -> bool:
        """Lock an open file for this process; False when another has it."""
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno in _HELD_BY_ANOTHER:
                return False
            raise
        return True


_HELD_BY_ANOTHER = (errno.EAGAIN, errno.EACCES, errno.EDEADLK)
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT) if hasattr(errno, "EDQUOT") else (errno.ENOSPC,)

LOCK = "lock"
PARTS = ("work", "part", "earlier")
"""Kinds of folders in the hidden one: frames of a run, outputs being written, and outputs taken out."""

_TRIES = 100
_EXCHANGE = 2
"""``RENAME_EXCHANGE`` of Linux."""


class OutputError(Exception):
    """The outputs could not be written; says what and what to do. Nothing was left half-written."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place that this run holds, the hidden folder beside it, and the folders made in that."""

    out: Path
    beside: Path
    rooms: list[Path] = field(default_factory=list)

    def room(self, kind: str) -> Path:
        """Make an empty folder, of one of the kinds :data:`PARTS`, that goes when the place is let go."""
        self.rooms.append(Path(tempfile.mkdtemp(prefix=f"{kind}.", dir=self.beside)))
        return self.rooms[-1]

    def put(self, folder: Path) -> None:
        """Put a finished folder here: whoever looks sees the earlier one or this one.

        Where the system cannot exchange two folders in one step there is none for a moment; a run that is
        killed in it leaves the earlier one to be put back by the next.
        """
        if not self.out.exists():
            folder.rename(self.out)
        elif not _exchanged(folder, self.out):
            earlier = self.room("earlier")
            earlier.rmdir()
            self.out.rename(earlier)
            try:
                folder.rename(self.out)
            except OSError:
                earlier.rename(self.out)
                raise

    def clear(self, rooms: Sequence[Path]) -> bool:
        """Take such folders away; True when one of them was an earlier output, and was put back."""
        back = next((room for room in rooms if room.name.startswith("earlier.") and room.exists()), None)
        put_back = back is not None and not self.out.exists()
        if back and put_back:
            back.rename(self.out)
        for room in rooms:
            shutil.rmtree(room, ignore_errors=True)
        return put_back

    def left(self) -> list[Path]:
        """Such folders as a killed run left."""
        return [path for kind in PARTS for path in sorted(self.beside.glob(f"{kind}.*"))]


_held: dict[Path, Place] = {}
"""Places that this process holds."""


def resolved(out: Path) -> Path:
    """Where a folder really is: what is written to a link goes to where it leads."""
    return Path(os.path.realpath(out))


@contextmanager
def held(out: Path, told: Callable[[str], None] = lambda words: None) -> Iterator[Place]:
    """Hold a place; within one process this may be done again inside.

    Parameters
    ----------
    out
        Folder that is there, or is to be made.
    told
        Called with a sentence on what an ended run had left, and on what stands here when this one is
        stopped by the user or the system.

    Raises
    ------
    OutputError
        When another run holds it, or when nothing can be written there.
    """
    out = resolved(out)
    if out in _held:
        yield _held[out]
        return
    beside = out.parent / f".{out.name}.coldsift"
    try:
        handle, alone = _locked(out, beside)
    except OSError as error:
        raise OutputError(cannot_write(out.parent, error)) from error
    place = _held[out] = Place(out, beside)
    try:
        if alone and (left := place.left()):
            put_back = place.clear(left)
            told(
                f"An earlier run into {out} was ended before it was done. What it left is taken away"
                f"{'; the outputs before it are put back' if put_back else ''}."
            )
        before = _identity(out)
        try:
            yield place
        except (KeyboardInterrupt, SystemExit):
            now = _identity(out)
            told(
                f"Stopped. {out} holds the new outputs, whole."
                if now and now != before
                else f"Stopped. {out} is as it was."
                if now
                else f"Stopped. Nothing was written to {out}."
            )
            raise
    finally:
        with suppress(OSError):
            place.clear(place.rooms)
        del _held[out]
        _let_go(handle, beside)


def cannot_write(folder: Path, error: OSError) -> str:
    """Why nothing can be written in a folder, and what to do."""
    if error.errno in _NO_ROOM:
        return no_room(folder)
    return f"{folder} cannot be written: {error.strerror or error}. Name another with --out."


def no_room(folder: Path, within: Path | None = None, option: str = "--out") -> str:
    """That a disk is full: how much room there is, and how much of the outputs was written when it ended."""
    with suppress(OSError):
        free = f"{shutil.disk_usage(folder).free / 1e6:.1f} MB are free"
        held = sum(path.stat().st_size for path in within.rglob("*") if path.is_file()) if within else 0
        written = f", and {held / 1e6:.1f} MB of the outputs were written" if within else ""
        return (
            f"No space left on device: on the disk of {folder} {free}{written}. Make room, or name a "
            f"folder on another disk with {option}."
        )
    return f"No space left on device: {folder}. Make room, or name one on another disk with {option}."


def is_no_room(error: BaseException) -> bool:
    """Whether this says that a disk is full."""
    return isinstance(error, OSError) and error.errno in _NO_ROOM


@contextmanager
def disk_faults() -> Iterator[None]:
    """What Polars says of a disk, as the OSError that it is."""
    try:
        yield
    except pl.exceptions.PolarsError as error:
        if found := re.search(r"\(os error (\d+)\)", str(error)):
            number = int(found[1])
            raise OSError(number, os.strerror(number)) from error
        raise


def _locked(out: Path, beside: Path) -> tuple[IO[bytes], bool]:
    """The lock's file, and whether no other run can have it; some file systems know no locks."""
    for _ in range(_TRIES):
        beside.mkdir(parents=True, exist_ok=True)
        try:
            handle = (beside / LOCK).open("a+b")
        except FileNotFoundError:
            # Who held it took the folder away at this moment.
            continue
        try:
            mine = taken(handle)
        except OSError:
            return handle, False
        if not mine:
            handle.close()
            raise OutputError(
                f"Another coldsift is writing to {out} at this moment. Wait until it has ended, or name "
                "another folder with --out. Nothing was changed."
            )
        now = os.fstat(handle.fileno())
        if _identity(beside / LOCK) == (now.st_dev, now.st_ino):
            return handle, True
        handle.close()
    raise OutputError(f"{beside} comes and goes. Name another folder with --out.")


def _let_go(handle: IO[bytes], beside: Path) -> None:
    """The lock's file goes while it is still held, so that nobody else's is taken away."""
    with handle:
        if sys.platform != "win32":
            (beside / LOCK).unlink(missing_ok=True)
    with suppress(OSError):
        if sys.platform == "win32":
            # An open file cannot go there; one that somebody else has opened since then cannot either.
            (beside / LOCK).unlink()
        beside.rmdir()


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _exchanged(one: Path, other: Path) -> bool:
    """Exchange two folders in one step; False where the system cannot."""
    if sys.platform != "linux":
        return False
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    here = -100  # AT_FDCWD
    return rename is not None and rename(here, os.fsencode(one), here, os.fsencode(other), _EXCHANGE) == 0
