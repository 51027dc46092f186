"""A folder of outputs: written whole, or not at all."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

import polars as pl

_ROWS_A_GROUP = 50_000


class OutputError(Exception):
    """The outputs could not be written; says what and what to do. Nothing was left half-written."""


def write_whole(
    out: Path, marker: str, fill: Callable[[Path], None], own: frozenset[str] = frozenset()
) -> Path:
    """Fill a new folder and put it in place, replacing an earlier one whole.

    Parameters
    ----------
    out
        Folder to make. One that exists is replaced when it is empty or holds ``marker``.
    marker
        File by which an earlier output of the same kind is known.
    fill
        Writes everything into the folder it is given.
    own
        Names that an earlier output may hold; a folder that holds others too is left alone. Any, where empty.

    Returns
    -------
    pathlib.Path
        The folder, absolute.

    Raises
    ------
    OutputError
        When ``out`` holds other files, or cannot be written. An earlier output in it is then untouched.
    """
    out = out.absolute()
    if out.exists() and not out.is_dir():
        raise OutputError(f"{out} is a file. Name another folder with --out.")
    held = {path.name for path in out.iterdir()} if out.is_dir() else set()
    if held and (not (out / marker).is_file() or (own and not held <= own)):
        raise OutputError(
            f"{out} holds files that coldsift did not write. Name an empty or new folder with --out."
        )
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=f".{out.name}.", suffix=".part", dir=out.parent))
    except OSError as error:
        raise OutputError(
            f"{out.parent} cannot be written: {error.strerror}. Name another with --out."
        ) from error
    try:
        staging.chmod(0o755)
        fill(staging)
        _settle(staging)
        _replace(staging, out)
    except OSError as error:
        raise OutputError(
            f"Writing {out} failed: {error.strerror or error}. An earlier run there is untouched."
        ) from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    return out


def write_table(frame: pl.DataFrame, path: Path) -> None:
    """Write a table as Parquet, the same frame always as the same bytes."""
    # In one piece: how a frame is chunked in memory varies from run to run and would show in the bytes.
    frame.rechunk().write_parquet(path, row_group_size=_ROWS_A_GROUP)


def write_text(text: str, path: Path) -> None:
    """Write a text in UTF-8, its line ends as they are."""
    path.write_text(text, encoding="utf-8", newline="")


def _settle(folder: Path) -> None:
    """Put the data on the disk before an old folder goes."""
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            with path.open("r+b") as handle:
                os.fsync(handle.fileno())


def _replace(staging: Path, out: Path) -> None:
    """Put the finished folder in place; an earlier one goes only once the new one stands."""
    if not out.exists():
        staging.rename(out)
        return
    earlier = Path(tempfile.mkdtemp(prefix=f".{out.name}.", suffix=".earlier", dir=out.parent))
    earlier.rmdir()
    out.rename(earlier)
    try:
        staging.rename(out)
    except OSError:
        earlier.rename(out)
        raise
    shutil.rmtree(earlier, ignore_errors=True)
