"""A folder of outputs: written whole, or not at all."""

from __future__ import annotations

import io
import os
import secrets
import tempfile
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath
from typing import Any

import polars as pl
from pyarrow import parquet

from coldsift.intake.files import is_record, is_remote, remote_faults
from coldsift.places import OutputError, disk_faults, held, is_no_room, no_room, resolved
from coldsift.schema import TABLE_METADATA

_ROWS_A_GROUP = 50_000
_ROWS_A_UNIT_GROUP = 16_384


_OF_THE_DESKTOP = (".DS_Store", "Thumbs.db", "desktop.ini", "~$*", ".~lock.*#")
"""Files that a desktop puts into any folder it shows."""


@contextmanager
def holding(
    out: Path | str, marker: str, own: Collection[str], told: Callable[[str], None] = lambda words: None
) -> Iterator[None]:
    """Hold a place for outputs from before anything is read until they are there.

    Parameters
    ----------
    out, marker, own
        See :func:`write_whole_anywhere`. A place on another file system is looked at, but cannot be held.
    told
        See :func:`coldsift.places.held`.

    Raises
    ------
    OutputError
        When it holds other files, when another run holds it, or when nothing can be written there.
    """
    check_place(out, marker, own)
    if is_remote(out):
        yield
        return
    with held(Path(out), told):
        yield


def write_whole_anywhere(
    out: Path | str, marker: str, fill: Callable[[Path], None], own: Collection[str] = ()
) -> Path | str:
    """The same as :func:`write_whole`, also on another file system.

    There it is filled on this machine first, put beside the earlier output, and renamed: a reader sees the
    earlier one or the new one, as far as that file system can rename a folder in one step.

    Parameters
    ----------
    out, marker, fill, own
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
        return write_whole(Path(out), marker, fill, own)
    address = str(out).rstrip("/")
    try:
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as local:
            system, path, replacing = _remote_place(address, marker, own)
            fill(Path(local))
            with remote_faults():
                _put_remote(system, local, path, replacing)
    except OSError as error:
        why = no_room(Path(tempfile.gettempdir())) if is_no_room(error) else f"{error}."
        raise OutputError(f"Writing {address} failed: {why} An earlier run there is untouched.") from error
    return address


def check_place(out: Path | str, marker: str, own: Collection[str] = ()) -> None:
    """Refuse a place that outputs cannot go to, before hours are spent on them.

    Parameters
    ----------
    out, marker, own
        See :func:`write_whole_anywhere`.

    Raises
    ------
    OutputError
        When it holds other files, or cannot be looked at.
    """
    try:
        if is_remote(out):
            _remote_place(str(out).rstrip("/"), marker, own)
        else:
            _check_local(Path(out).absolute(), marker, own)
    except OSError as error:
        raise OutputError(f"{out} cannot be looked at: {error}. Name another place with --out.") from error


def _remote_place(address: str, marker: str, own: Collection[str]) -> tuple[Any, str, bool]:
    """File system and path of an address, and whether an earlier run is there."""
    with remote_faults():
        import fsspec

        system, path = fsspec.core.url_to_fs(address)
        there = system.ls(path, detail=False) if system.exists(path) else []
        names = [each.rsplit("/", 1)[-1] for each in there]
        files = [each.removeprefix(path).lstrip("/") for each in system.find(path)] if names else []
        known = marker in files and _is_ours(marker, system.cat_file(f"{path}/{marker}"))
    _refuse_others(address, files or names, known, own)
    return system, path, bool(names)


def _check_local(out: Path, marker: str, own: Collection[str]) -> None:
    if out.exists() and not out.is_dir():
        raise OutputError(f"{out} is a file. Name another folder with --out.")
    if os.path.ismount(out):
        raise OutputError(
            f"{out} is a disk of its own, which cannot be replaced whole. Name a folder inside it with --out."
        )
    if not out.is_dir():
        return
    files, folders = [], [out]
    for path in sorted(out.rglob("*")):
        if path.is_symlink() or not path.is_dir():
            files.append(path.relative_to(out).as_posix())
        else:
            folders.append(path)
    known = marker in files and _is_ours(marker, (out / marker).read_bytes())
    _refuse_others(str(out), files, known, own)
    # Moved away and cleared, which a system refuses where a folder cannot be written.
    if fixed := [folder for folder in folders if not os.access(folder, os.W_OK)]:
        raise OutputError(
            f"{fixed[0]} cannot be written: Permission denied. Make it writable, or name another folder "
            "with --out. Nothing was changed."
        )


def _is_ours(marker: str, content: bytes) -> bool:
    """Whether a marker is one of coldsift, as far as it can tell."""
    return not marker.endswith(".json") or is_record(content)


def _refuse_others(out: str, files: Collection[str], known: bool, own: Collection[str]) -> None:
    """Refuse a folder whose files are not all outputs of this kind; such as may go are passed over."""
    names = [file for file in files if not _matches(file.rsplit("/", 1)[-1], _OF_THE_DESKTOP)]
    others = [file for file in names if own and not _matches(file, own)] if known else names
    if others:
        more = f" and {len(others) - 1} more" if len(others) > 1 else ""
        raise OutputError(
            f"{out} holds files that coldsift did not write: {others[0]}{more}. Name an empty or new place "
            "with --out, or move them. Nothing was changed."
        )


def _matches(path: str, patterns: Collection[str]) -> bool:
    """Whether a path is one of these, each part by itself: a star stands for no slash."""
    parts = PurePosixPath(path).parts
    return any(
        len(parts) == len(wanted) and all(map(fnmatchcase, parts, wanted))
        for wanted in (PurePosixPath(pattern).parts for pattern in patterns)
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


def write_whole(out: Path, marker: str, fill: Callable[[Path], None], own: Collection[str] = ()) -> Path:
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
        Patterns of the files that an earlier output may hold, such as ``units/*.html``; a folder that holds
        others too is left alone. Any, where empty.

    Returns
    -------
    pathlib.Path
        The folder, absolute.

    Raises
    ------
    OutputError
        When ``out`` holds other files, cannot be written, or is being written by another run. An earlier
        output in it is then untouched.
    """
    out = out.absolute()
    check_place(out, marker, own)
    with held(out) as place:
        try:
            staging = place.room("part")
            staging.chmod(0o755)
            fill(staging)
            _settle(staging)
            # Hours may have gone by since the first look.
            _check_local(resolved(out), marker, own)
            place.put(staging)
        except OSError as error:
            why = (
                no_room(out.parent, staging)
                if is_no_room(error)
                else f"{error.strerror or error}. Name another folder with --out."
            )
            raise OutputError(f"Writing {out} failed: {why} An earlier run there is untouched.") from error
    return out


def write_table(frame: pl.DataFrame, path: Path) -> None:
    """Write a table as Parquet, the same frame always as the same bytes."""
    # In one piece: how a frame is chunked in memory varies from run to run and would show in the bytes.
    with disk_faults():
        frame.rechunk().write_parquet(path, row_group_size=_ROWS_A_GROUP, metadata=dict(TABLE_METADATA))


def by_units(frame: pl.DataFrame) -> bytes:
    """A table that is sorted by container as Parquet, whole units in each row group.

    One unit is then read without the others, by the groups' smallest and largest container.
    """
    ends = frame.group_by("container", maintain_order=True).len()["len"].cum_sum().to_list()
    table = frame.to_arrow(compat_level=pl.CompatLevel.oldest()).replace_schema_metadata(dict(TABLE_METADATA))
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
