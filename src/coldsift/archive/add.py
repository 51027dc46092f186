"""A finished run into the archive: whole, or not at all."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import dataframely as dy
import polars as pl

from coldsift.archive.catalogue import CATALOGUE, write_catalogue
from coldsift.archive.kept import (
    FORMAT,
    INPUTS,
    MANIFESTS,
    PARTITION,
    VOYAGES,
    VOYAGES_FILE,
    ArchiveError,
    in_types,
    part,
    read_voyages,
    readable,
)
from coldsift.archive.lock import LOCK_FILE, one_writer
from coldsift.places import disk_faults, is_no_room, no_room
from coldsift.schema import (
    COMMON_LOG,
    FINDINGS,
    GROUPS,
    SCHEMA_VERSION,
    TABLE_METADATA,
    TABLES,
    UNIT_DAYS,
    UNIT_HOURS,
    Table,
    newer_tables,
)

MANIFEST = "manifest.json"
STAGING = ".staging"

SAME_VOYAGE = 0.5
"""Share of the smaller voyage's unit days from which two are taken for one: a later log of a unit may well
hold some days of the voyage before. Judgement, no source."""

NEEDED = (COMMON_LOG.name, FINDINGS.name, UNIT_DAYS.name)
LONGEST_NAME = 200
IN_PARTS: Mapping[str, Table] = {COMMON_LOG.name: COMMON_LOG, UNIT_HOURS.name: UNIT_HOURS}
"""Tables that a run writes in parts, sorted by their keys; too big to be held at once without need."""

_DIGITS = 16
_ROWS_A_GROUP = 16_384
"""Few units share a group of the sorted log, so that one unit is read without the others."""


@dataclass(frozen=True, slots=True)
class Added:
    """What became of a run: the voyage, its name, what was done, and whose place it took, by name."""

    voyage: str
    name: str
    outcome: Literal["added", "replaced", "unchanged"]
    replaced: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Run:
    """A finished run, as far as it is looked at before anything is written."""

    folder: Path
    manifest: str
    version: str
    invented: bool
    sources: tuple[str, ...]
    tables: dict[str, list[Path]]
    inputs: pl.DataFrame | None

    @property
    def voyage(self) -> str:
        return _digest("\n".join(self.sources).encode())

    def id(self) -> str:
        """Made from all that is kept, so that the same tables are the same run, and no others are."""
        whole = hashlib.sha256(self.manifest.encode())
        for name in sorted(self.tables):
            for path in self.tables[name]:
                whole.update(f"\n{name}\n".encode())
                with path.open("rb") as handle:
                    whole.update(hashlib.file_digest(handle, "sha256").digest())
        return whole.hexdigest()[:_DIGITS]


def add_run(
    run: Path,
    archive: Path,
    name: str | None = None,
    *,
    replace: bool = False,
    waiting: Callable[[], None] | None = None,
) -> Added:
    """Keep a finished run as a voyage of the archive.

    Parameters
    ----------
    run
        Folder that a screening wrote.
    archive
        Folder of the archive; made when there is none.
    name
        Name of the voyage; the run's folder's without it.
    replace
        Take this run in place of the one that is kept of the same voyage; the same run is written anew.
    waiting
        Called once when another program is adding at this moment.

    Returns
    -------
    Added
        ``unchanged`` when the archive holds the same run of the same logs already.

    Raises
    ------
    ArchiveError
        When ``run`` is no finished run or changes meanwhile; when the voyage is kept from another run and
        ``replace`` is not given; when the archive cannot be written or is newer than this program.
    """
    taken = _read_run(run)
    called = _name(name if name is not None else run.resolve().name)
    try:
        run_id = taken.id()
        archive.mkdir(parents=True, exist_ok=True)
        with one_writer(archive, waiting), _cleared(archive):
            return _add(taken, run_id, archive, called, name is not None, replace)
    except FileExistsError as error:
        raise ArchiveError(f"{archive} is a file. Name a folder for the archive.") from error
    except OSError as error:
        why = (
            no_room(archive, option="--to")
            if is_no_room(error)
            else f"{error.strerror or error}. Name another with --to."
        )
        raise ArchiveError(
            f"adding {run} to {archive} failed: {why} What was in the archive is untouched."
        ) from error


@contextmanager
def _cleared(archive: Path) -> Iterator[None]:
    """Take away what was written of a run that could not be added: on a full disk it is in the way."""
    try:
        yield
    except BaseException:
        with suppress(OSError, ArchiveError):
            _clear(archive, read_voyages(archive))
        raise


def _add(run: _Run, run_id: str, archive: Path, name: str, named: bool, replace: bool) -> Added:
    kept = _opened(archive)
    _clear(archive, kept)
    known = (
        kept.row(by_predicate=pl.col("voyage") == run.voyage, named=True)
        if (run.voyage in kept["voyage"])
        else None
    )
    if known and not replace and known["run"] == run_id and (not named or known["name"] == name):
        _renew_catalogue(archive, kept)
        return Added(run.voyage, known["name"], "unchanged")
    if known and not replace:
        raise ArchiveError(_kept_already(known, same_run=known["run"] == run_id))
    staging = archive / STAGING
    _stage(run, run_id, staging)
    days = _unit_days(staging, run.voyage, run_id)
    further = _further(archive, kept.filter(pl.col("voyage") != run.voyage), days)
    if further and not replace:
        raise ArchiveError(_further_on(further[0], days))
    row = _row(run, run_id, name, [old["voyage"] for old, _ in further], staging)
    if (run.folder / MANIFEST).read_text(encoding="utf-8") != run.manifest:
        raise ArchiveError(f"{run.folder} changed while it was read. Add it again.")
    gone = [run.voyage, *row["replaces"].item().to_list()]
    now = pl.concat([kept.filter(~pl.col("voyage").is_in(gone)), row]).sort("begin", "voyage")
    _write_synced(now, staging / VOYAGES_FILE)
    for path in sorted(staging.glob(f"*/{PARTITION}*/*.parquet")):
        _put(path, archive / path.relative_to(staging))
    # From here on the voyage is kept.
    _put(staging / VOYAGES_FILE, archive / VOYAGES_FILE)
    _clear(archive, now)
    _renew_catalogue(archive, now)
    replaced = [*([known["name"]] if known else []), *(old["name"] for old, _ in further)]
    return Added(run.voyage, name, "replaced" if replaced else "added", tuple(replaced))


def _read_run(folder: Path) -> _Run:
    wrong = f"{folder} holds no finished run"
    try:
        text = (folder / MANIFEST).read_text(encoding="utf-8")
    except FileNotFoundError:
        raise ArchiveError(f"{wrong}: no {MANIFEST}. Name the folder given to screen --out.") from None
    except (OSError, UnicodeDecodeError) as error:
        raise ArchiveError(f"{folder / MANIFEST} cannot be read: {error}.") from error
    try:
        held: dict[str, Any] = json.loads(text)
        if held["tool"] != "coldsift":
            raise ValueError
        schema = held.get("schema")
        version, invented = str(held["version"]), bool(held["invented"])
        sources = tuple(sorted({str(source["sha256"]) for source in held["sources"] if source["used"] > 0}))
    except (ValueError, KeyError, TypeError):
        raise ArchiveError(f"{wrong}: {MANIFEST} is not one that coldsift wrote.") from None
    if newer := newer_tables(folder, schema):
        raise ArchiveError(newer)
    if not sources:
        raise ArchiveError(f"{wrong}: none of its log files was used.")
    tables = {name: _parts(folder, name) for name in TABLES}
    missing = [name for name in NEEDED if not tables[name]]
    if missing:
        raise ArchiveError(f"{wrong}: its table {missing[0]} is missing. Screen the logs again.")
    return _Run(
        folder,
        text,
        version,
        invented,
        sources,
        {name: paths for name, paths in tables.items() if paths},
        _inputs(folder, held.get("inputs")),
    )


def _inputs(folder: Path, named: Any) -> pl.DataFrame | None:
    """The papers that were given to a run, as its manifest names them; None where it does not say."""
    if named is None:
        return None
    rows = []
    for key, entry in sorted(named.items()):
        path = (folder / entry["file"]).resolve()
        content = path.read_bytes() if path.is_relative_to(folder.resolve()) and path.is_file() else b""
        if hashlib.sha256(content).hexdigest() != entry["sha256"]:
            raise ArchiveError(
                f"{folder}: {entry['file']}, a paper that was given to the run, is missing or not as it was "
                "written. Screen the logs again."
            )
        rows.append((key, path.name, content))
    return INPUTS.conform(pl.DataFrame(rows, schema=INPUTS.names, orient="row") if rows else INPUTS.empty())


def _parts(folder: Path, table: str) -> list[Path]:
    """Files of a table: one, or the parts of a folder in their order."""
    single = folder / f"{table}.parquet"
    return [single] if single.is_file() else sorted((folder / table).glob("*.parquet"))


def _opened(archive: Path) -> pl.DataFrame:
    """The voyages of an archive, which is begun when the folder is empty."""
    if not (archive / VOYAGES_FILE).exists():
        others = sorted(path.name for path in archive.iterdir() if path.name not in (LOCK_FILE, STAGING))
        if any((archive / other).is_dir() and [*(archive / other).glob(f"{PARTITION}*")] for other in others):
            raise ArchiveError(
                f"{archive} holds voyages, but {VOYAGES_FILE}, which says which of them count, is gone. "
                "Put it back from a backup, or add the runs to a new archive."
            )
        if others:
            raise ArchiveError(f"{archive} holds other files, such as {others[0]}. Name an empty or new one.")
        shutil.rmtree(archive / STAGING, ignore_errors=True)
        (archive / STAGING).mkdir()
        _write_synced(VOYAGES.empty(), archive / STAGING / VOYAGES_FILE)
        _put(archive / STAGING / VOYAGES_FILE, archive / VOYAGES_FILE)
    return read_voyages(archive)


def _clear(archive: Path, kept: pl.DataFrame) -> None:
    """Take away what an ended add left, and what no voyage counts any more."""
    shutil.rmtree(archive / STAGING, ignore_errors=True)
    counted = set(kept.select("voyage", "run").iter_rows())
    for path in sorted(archive.glob(f"*/{PARTITION}*/*.parquet")):
        if (path.parent.name.removeprefix(PARTITION), path.stem) not in counted:
            try:
                path.unlink()
                path.parent.rmdir()
                path.parent.parent.rmdir()
            except OSError:
                # The folder holds more, or somebody reads the file on Windows: the next add tries again.
                continue


def _stage(run: _Run, run_id: str, staging: Path) -> None:
    """Write all that is kept of a run beside the archive's tables."""
    for name, paths in run.tables.items():
        target = part(staging, name, run.voyage, run_id)
        target.parent.mkdir(parents=True)
        try:
            table = TABLES[name]
            if name in IN_PARTS:
                rows = in_types(pl.scan_parquet(paths, glob=False), table)
                with disk_faults():
                    rows.sink_parquet(target, row_group_size=_ROWS_A_GROUP, metadata=dict(TABLE_METADATA))
                _sync(target)
                _in_order(target, table)
            else:
                _write_synced(table.conform(pl.read_parquet(paths, glob=False)), target)
        except (pl.exceptions.PolarsError, dy.exc.ValidationError) as error:
            raise ArchiveError(
                f"{run.folder}: the table {name} is not as coldsift writes it "
                f"({str(error).splitlines()[0]}). Screen the logs again."
            ) from error
    beside = {MANIFESTS.name: pl.DataFrame({"text": [run.manifest]})}
    if run.inputs is not None:
        beside[INPUTS.name] = run.inputs
    for name, frame in beside.items():
        target = part(staging, name, run.voyage, run_id)
        target.parent.mkdir(parents=True)
        _write_synced(frame, target)


def _in_order(path: Path, table: Table) -> None:
    """Fail when a table lacks a value that it must have, is not sorted, or has a time twice."""
    needed = [column.name for column in table.columns if not column.nullable]
    container, time = map(pl.col, table.key)
    later = (container > container.shift()) | ((container == container.shift()) & (time > time.shift()))
    sound = pl.scan_parquet(path, glob=False).select(
        later.slice(1).all(ignore_nulls=False) & pl.all_horizontal(pl.col(needed).is_not_null().all())
    )
    if not sound.collect().item():
        raise pl.exceptions.ComputeError("values missing, not sorted by container and time, or some twice")


def _unit_days(home: Path, voyage: str, run: str) -> pl.DataFrame:
    path = part(home, UNIT_DAYS.name, voyage, run)
    return pl.read_parquet(path, columns=["container", "day"], glob=False)


def _renew_catalogue(archive: Path, kept: pl.DataFrame) -> None:
    try:
        write_catalogue(archive, kept)
    except ArchiveError as error:
        raise ArchiveError(f"the voyage is kept, but {CATALOGUE} could not be made anew: {error}") from error


def _row(run: _Run, run_id: str, name: str, replaces: Sequence[str], staging: Path) -> pl.DataFrame:
    """The voyage's row, from its data."""
    log = pl.scan_parquet(part(staging, COMMON_LOG.name, run.voyage, run_id), glob=False)
    findings = pl.read_parquet(part(staging, FINDINGS.name, run.voyage, run_id), glob=False)
    groups = findings["group"].cast(pl.String)
    span = log.select(begin=pl.col("time").min(), end=pl.col("time").max(), readings=pl.len().cast(pl.Int64))
    return VOYAGES.conform(
        span.collect().with_columns(
            voyage=pl.lit(run.voyage),
            run=pl.lit(run_id),
            name=pl.lit(name),
            units=pl.lit(len(groups)),
            **{group: pl.lit((groups == group).sum()) for group in GROUPS},
            files=pl.lit(len(run.sources)),
            version=pl.lit(run.version),
            invented=pl.lit(run.invented),
            tables=pl.lit(
                [*run.tables, MANIFESTS.name, *([] if run.inputs is None else [INPUTS.name])],
                dtype=pl.List(pl.String),
            ),
            replaces=pl.lit(list(replaces), dtype=pl.List(pl.String)),
            format=pl.lit(FORMAT),
            # The rows were brought into this program's tables, whichever wrote them.
            schema=pl.lit(SCHEMA_VERSION),
        )
    )


def _further(
    archive: Path, others: pl.DataFrame, days: pl.DataFrame
) -> list[tuple[dict[str, Any], pl.DataFrame]]:
    """Voyages that share so many unit days that they are the same one, each with the days shared."""
    first, last = days["day"].min(), days["day"].max()
    at_that_time = others.filter(pl.col("begin").dt.date() <= last, pl.col("end").dt.date() >= first)
    found = []
    for voyage in at_that_time.iter_rows(named=True):
        with readable(archive):
            theirs = _unit_days(archive, voyage["voyage"], voyage["run"])
        shared = theirs.join(days, on=["container", "day"], how="semi")
        if shared.height >= SAME_VOYAGE * min(theirs.height, days.height) and not shared.is_empty():
            found.append((voyage, shared))
    return found


def _kept_already(known: dict[str, Any], same_run: bool) -> str:
    from_what = (
        "under that name"
        if same_run
        else f"from another run of the same logs (coldsift {known['version']}; other settings, papers or "
        "version)"
    )
    return (
        f"this voyage is in the archive already as {known['name']!r}, {from_what}. Nothing was changed. "
        "Add it with --replace to keep it as it is now."
    )


def _further_on(further: tuple[dict[str, Any], pl.DataFrame], days: pl.DataFrame) -> str:
    voyage, shared = further
    alike, units = (frame["container"].n_unique() for frame in (shared, days))
    return (
        f"{alike} of the {units} containers have the same days in {voyage['name']!r} "
        f"({voyage['begin']:%Y-%m-%d} to {voyage['end']:%Y-%m-%d}): it is the same voyage with other log "
        "files. Nothing was changed. Add it with --replace to keep this run instead."
    )


def _name(name: str) -> str:
    name = name.strip()
    if not name or len(name) > LONGEST_NAME:
        raise ArchiveError(f"a voyage's name has 1 to {LONGEST_NAME} characters. Give one with --voyage.")
    return name


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:_DIGITS]


def _write_synced(frame: pl.DataFrame, path: Path) -> None:
    with disk_faults():
        frame.rechunk().write_parquet(path, metadata=dict(TABLE_METADATA))
    _sync(path)


def _sync(path: Path) -> None:
    """Have a file on the disk, not only on its way there."""
    with path.open("r+b") as handle:
        os.fsync(handle.fileno())


def _put(source: Path, target: Path) -> None:
    """Put a file in its place in one step, also over another."""
    target.parent.mkdir(parents=True, exist_ok=True)
    for pause in _pauses():
        try:
            source.replace(target)
            break
        except PermissionError:
            # Windows refuses while somebody has the old file open; that is never for long.
            if pause is None:
                raise
            time.sleep(pause)
    if sys.platform != "win32":
        handle = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _pauses() -> Iterable[float | None]:
    return (*(0.1 for _ in range(20)), None) if sys.platform == "win32" else (None,)
