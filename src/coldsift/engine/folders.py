"""A folder of outputs: written whole, or not at all."""

from __future__ import annotations

import io
import os
import secrets
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl
from pyarrow import parquet

from coldsift.intake.files import is_remote, remote_faults

_ROWS_A_GROUP = 50_000
_ROWS_A_UNIT_GROUP = 16_384


class OutputError(Exception):
    """The outputs could not be written; says what and what to do. Nothing was left half-written."""


def write_whole_anywhere(out: Path | str, marker: str, fill: Callable[[Path], None]) -> Path | str:
    """The same as :func:`write_whole`, also on another file system.

    There it is filled on this machine first, put beside the earlier output, and renamed: a reader sees the
    earlier one or the new one, as far as that file system can rename a folder in one step.

    Parameters
    ----------
    out, marker, fill
        See :func:`write_whole`; ``out`` may be an address (``scheme://``).

    Returns
    -------
    pathlib.Path or str
        The folder.

    Raises
    ------
    OutputError
        See :func:`write_whole`.
    """
    if not is_remote(out):
        return write_whole(Path(out), marker, fill)
    address = str(out).rstrip("/")
    with tempfile.TemporaryDirectory() as local:
        try:
            system, path, replacing = _remote_place(address, marker)
            fill(Path(local))
            with remote_faults():
                _put_remote(system, local, path, replacing)
        except OSError as error:
            raise OutputError(
                f"Writing {address} failed: {error}. An earlier run there is untouched."
            ) from error
    return address


def check_place(out: Path | str, marker: str) -> None:
    """Refuse a place that outputs cannot go to, before hours are spent on them.

    Parameters
    ----------
    out, marker
        See :func:`write_whole_anywhere`.

    Raises
    ------
    OutputError
        When it holds other files, or cannot be looked at.
    """
    if not is_remote(out):
        _check_local(Path(out).absolute(), marker, frozenset())
        return
    try:
        _remote_place(str(out).rstrip("/"), marker)
    except OSError as error:
        raise OutputError(f"{out} cannot be looked at: {error}. Name another place with --out.") from error


def _remote_place(address: str, marker: str) -> tuple[Any, str, bool]:
    """File system and path of an address, and whether an earlier run is there."""
    with remote_faults():
        import fsspec

        system, path = fsspec.core.url_to_fs(address)
        there = system.ls(path, detail=False) if system.exists(path) else []
        held = [each.rsplit("/", 1)[-1] for each in there]
    if held and marker not in held:
        raise OutputError(
            f"{address} holds files that coldsift did not write. Name an empty or new place with --out."
        )
    return system, path, bool(held)


def _check_local(out: Path, marker: str, own: frozenset[str]) -> None:
    if out.exists() and not out.is_dir():
        raise OutputError(f"{out} is a file. Name another folder with --out.")
    held = {path.name for path in out.iterdir()} if out.is_dir() else set()
    if held and (not (out / marker).is_file() or (own and not held <= own)):
        raise OutputError(
            f"{out} holds files that coldsift did not write. Name an empty or new folder with --out."
        )


def _put_remote(system: Any, local: str, path: str, replacing: bool) -> None:
    folder, slash, name = path.rpartition("/")
    # Names that nobody else has: what is there already may be somebody's.
    part, earlier = (f"{folder}{slash}.{name}.{secrets.token_hex(4)}.{kind}" for kind in ("part", "earlier"))
    try:
        system.put(f"{local}/", f"{part}/", recursive=True)
        if replacing:
            system.mv(path, earlier, recursive=True)
        elif system.exists(path):
            system.rmdir(path)
        system.mv(part, path, recursive=True)
    except BaseException:
        if replacing and system.exists(earlier) and not system.exists(path):
            system.mv(earlier, path, recursive=True)
        if system.exists(part):
            system.rm(part, recursive=True)
        raise
    if replacing:
        system.rm(earlier, recursive=True)


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
    _check_local(out, marker, own)
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


def by_units(frame: pl.DataFrame) -> bytes:
    """A table that is sorted by container as Parquet, whole units in each row group.

    One unit is then read without the others, by the groups' smallest and largest container.
    """
    ends = frame.group_by("container", maintain_order=True).len()["len"].cum_sum().to_list()
    table = frame.to_arrow(compat_level=pl.CompatLevel.oldest())
    content = io.BytesIO()
    with parquet.ParquetWriter(content, table.schema, compression="zstd") as writer:
        begin = 0
        for end in ends:
            if end - begin >= _ROWS_A_UNIT_GROUP or end == frame.height:
                writer.write_table(table.slice(begin, end - begin))
                begin = end
    return content.getvalue()


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
