"""A dossier's bundle reckoned again from its sources, and the page and the paper beside it made again.

Goes in: a bundle and the logs. Comes out: the first difference between them, if there is one.
"""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl

from coldsift.dossier.model import Reconstruction
from coldsift.dossier.pdf import NoBrowser, print_papers
from coldsift.engine.bundles import BUNDLE, FORMAT, PAGE, PAPERS, RECORD, page_of, tables_of, told_of
from coldsift.engine.evidence import DossierError
from coldsift.engine.inputs import digest
from coldsift.engine.reading import Progress
from coldsift.engine.reconstructing import Request, reconstruct
from coldsift.engine.screening import Screening, screen
from coldsift.engine.settings import RECORD as SETTINGS
from coldsift.engine.settings import Settings
from coldsift.engine.shapes import check_shape
from coldsift.engine.versions import versions

SAME = 1e-9
"""Relative difference up to which two numbers are the same: other machines add in another order."""

_SHAPE: Mapping[Any, Any] = {
    "format": int,
    "request": {"container": str, "from": str | None, "to": str | None},
    "settings": SETTINGS,
    "inputs": {str: {"file": str, "sha256": str}},
    "sources": [{"path": str, "sha256": str, "size": int}],
    "tables": {str: {"rows": int, "sha256": str}},
    "told": {str: object},
    "versions": {str: str},
}
"""Parts of the record, and of what kind each is; ``str`` as a key stands for any name."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came of reckoning a bundle again.

    Attributes
    ----------
    difference
        The first difference in words; empty when there is none.
    values
        Values that were compared.
    files
        Page and papers beside the bundle that were made again and are the same, byte for byte.
    notes
        What else a reader should know, such as another version of coldsift.
    """

    difference: str
    values: int
    files: tuple[str, ...]
    notes: tuple[str, ...]


def verify(
    bundle: Path,
    sources: Sequence[Path | str],
    parsers: Sequence[Path] = (),
    progress: Progress | None = None,
) -> Verdict:
    """Reckon a bundle again from its sources.

    Parameters
    ----------
    bundle
        Folder that :func:`write_dossier` made, or the dossier's own.
    sources
        The log files, all that were read then.
    parsers
        The user's own layout folders, where such were used.
    progress
        Called as the work goes on.

    Returns
    -------
    Verdict
        The first difference: a file of the bundle that was changed, a source that is missing or new, a table
        and row, a sentence, or the page.

    Raises
    ------
    DossierError
        When ``bundle`` is no bundle, or its inputs cannot be read any more.
    """
    folder = bundle if (bundle / RECORD).is_file() else bundle / BUNDLE
    record = _read(folder)
    changed = next(_changed_files(folder, record), "")
    if changed:
        return Verdict(changed, 0, (), ())
    request, settings = _asked(folder, record, parsers)
    screening = screen(sources, settings, progress)
    unread = (str(message) for message in screening.messages if message.severity == "error")
    other_versions = tuple(_version_notes(record))
    notes = (*other_versions, *unread)
    moved = next(_moved_sources(record, screening), "")
    if moved:
        return Verdict(moved, 0, (), notes)
    found = reconstruct(screening, request)
    difference, values = _compared(folder, record, found)
    page = folder.parent / PAGE
    if difference or folder.name != BUNDLE or not page.is_file():
        return Verdict(difference, values, (), notes)
    if other_versions:
        return Verdict("", values, (), (*notes, f"{PAGE} was not made again: other versions made it"))
    html = page_of(found, folder)
    if page.read_bytes() != html.encode():
        difference = f"{PAGE} is not the page that the sources give: it was changed, or its bundle was"
        return Verdict(difference, values, (), notes)
    same, unsure = _papers_again(folder.parent, html)
    return Verdict("", values, (PAGE, *same), (*notes, *unsure))


def _papers_again(folder: Path, html: str) -> tuple[list[str], list[str]]:
    """The printed files that are the same when the page is printed here, and what to say of the others."""
    there = {paper: name for paper, name in PAPERS.items() if (folder / name).is_file()}
    with tempfile.TemporaryDirectory(prefix="coldsift-") as scratch:
        again = {paper: Path(scratch) / name for paper, name in there.items()}
        try:
            print_papers(html, again)
        except NoBrowser as error:
            return [], [f"{' and '.join(there.values())} not printed again. {error}"]
        same = [
            name for paper, name in there.items() if again[paper].read_bytes() == (folder / name).read_bytes()
        ]
    return same, [
        f"{name} is not what this machine prints of {PAGE}: another browser or other fonts printed it, or it "
        f"was changed. Go by {PAGE}, or print that anew"
        for name in there.values()
        if name not in same
    ]


def _compared(folder: Path, record: Mapping[str, Any], found: Reconstruction) -> tuple[str, int]:
    """The first difference between a bundle and what was reckoned, and how many values were compared."""
    values = 0
    for name, frame in tables_of(found):
        difference = _table_difference(folder, record["tables"].get(name), name, frame)
        if difference:
            return difference, values
        values += frame.height * frame.width
    told, again = list(_leaves(record["told"])), list(_leaves(told_of(found)))
    for (where, kept), (there, now) in zip(told, again, strict=False):
        if where != there:
            return f"told: the bundle has {where} where the sources give {there}", values
        if not _same(kept, now):
            return f"told, {where}: the bundle says {kept!r}, the sources give {now!r}", values
    if len(told) != len(again):
        return "told: the bundle says more, or less, than the sources give", values
    return "", values + len(told)


def _table_difference(folder: Path, entry: Mapping[str, Any] | None, name: str, now: pl.DataFrame) -> str:
    if entry is None:
        return f"table {name}: {RECORD} does not name it"
    try:
        kept = pl.read_parquet(folder / f"{name}.parquet")
    except (OSError, pl.exceptions.PolarsError):
        return f"table {name}: {name}.parquet in the bundle cannot be read"
    if kept.height != entry["rows"]:
        return f"table {name}: {RECORD} says {entry['rows']} rows, the bundle has {kept.height}"
    return _first_difference(name, kept, now)


def _leaves(value: Any, where: str = "") -> Iterator[tuple[str, Any]]:
    """Every single value with the place it stands at."""
    if isinstance(value, dict):
        for key in sorted(value):
            yield from _leaves(value[key], f"{where}.{key}" if where else key)
    elif isinstance(value, list):
        yield f"{where}, entries", len(value)
        for place, each in enumerate(value, start=1):
            yield from _leaves(each, f"{where} {place}")
    else:
        yield where, value


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float | int):
        return math.isclose(one, other, rel_tol=SAME, abs_tol=SAME)
    return bool(one == other)


def _first_difference(name: str, kept: pl.DataFrame, now: pl.DataFrame) -> str:
    if kept.columns != now.columns:
        return f"table {name}: the bundle has the columns {kept.columns}, the sources give {now.columns}"
    for column, of in kept.schema.items():
        if of != now.schema[column]:
            return f"table {name}, {column}: the bundle has {of}, the sources give {now.schema[column]}"
    if kept.height != now.height:
        return f"table {name}: the bundle has {kept.height} rows, the sources give {now.height}"
    for column in kept.columns:
        one, other = kept[column], now[column]
        if one.dtype.is_float():
            apart = (one - other).abs() > SAME * one.abs().clip(1.0)
            wrong = apart.fill_null(False) | (one.is_null() != other.is_null())
            wrong |= (one.is_nan() != other.is_nan()).fill_null(False)
        else:
            wrong = one.ne_missing(other)
        if wrong.any():
            row = int(wrong.arg_true()[0])
            place = f"table {name}, row {row + 1}, {column}"
            return f"{place}: the bundle has {one[row]}, the sources give {other[row]}"
    return ""


def _read(folder: Path) -> dict[str, Any]:
    try:
        record = json.loads((folder / RECORD).read_text(encoding="utf-8"))
        if record["format"] != FORMAT:
            raise DossierError(
                f"{folder / RECORD} is of format {record['format']}; this coldsift reads {FORMAT}."
            )
    except OSError as error:
        raise DossierError(
            f"{folder} holds no {RECORD}. Name the bundle folder of a dossier after --verify."
        ) from error
    except DossierError:
        raise
    except (ValueError, KeyError, TypeError) as error:
        raise DossierError(f"{folder / RECORD} is no record of a dossier.") from error
    try:
        _check_shape(folder, record)
    except ValueError as error:
        if isinstance(error, DossierError):
            raise
        raise DossierError(
            f"{folder / RECORD} is no record of a dossier: {error} is missing or not as it was written."
        ) from error
    return dict(record)


def _check_shape(folder: Path, record: Mapping[str, Any]) -> None:
    """Raise when a part is missing or of another kind, or a file lies outside the bundle."""
    check_shape(record, _SHAPE)
    within = folder.resolve()
    files = [f"{name}.parquet" for name in record["tables"]]
    files += [entry["file"] for entry in record["inputs"].values()]
    for name in files:
        if not (within / name).resolve().is_relative_to(within):
            raise DossierError(f"{folder / RECORD} names a file outside the bundle: {name}.")


def _changed_files(folder: Path, record: Mapping[str, Any]) -> Iterator[str]:
    files = {f"{name}.parquet": entry["sha256"] for name, entry in record["tables"].items()}
    files |= {entry["file"]: entry["sha256"] for entry in record["inputs"].values()}
    for name, written in files.items():
        path = folder / name
        if not path.is_file():
            yield f"{name} is missing from the bundle"
        elif digest(path) != written:
            yield f"{name} in the bundle is not as it was written: its SHA-256 is another"


def _asked(folder: Path, record: Mapping[str, Any], parsers: Sequence[Path]) -> tuple[Request, Settings]:
    """The request and the settings of the run that made the bundle."""
    kept, asked = record["settings"], record["request"]
    if len(kept["parsers"]) != len(parsers):
        raise DossierError(
            f"this dossier was made with own layouts, {', '.join(kept['parsers'])}. Give them with --parsers."
            if kept["parsers"]
            else "this dossier was made without own layouts. Leave --parsers out."
        )
    files = {key: folder / entry["file"] for key, entry in record["inputs"].items()}
    try:
        start, end = (_instant(asked[key]) for key in ("from", "to"))
        settings = Settings.of_record(kept, files, parsers)
    except ValueError as error:
        raise DossierError(
            f"{folder / RECORD} is no record of a dossier: {str(error).rstrip('.')}."
        ) from error
    return Request(asked["container"], start, end), settings


def _instant(text: str | None) -> datetime | None:
    if text is None:
        return None
    time = datetime.fromisoformat(text)
    if time.tzinfo is None:
        raise ValueError(f"{text!r} names no time zone")
    return time


def _version_notes(record: Mapping[str, Any]) -> Iterator[str]:
    now = versions("matplotlib")
    for name, version in record["versions"].items():
        if now.get(name) != version:
            yield f"{name} was {version} when the bundle was written and is {now.get(name, 'absent')} here"


def _moved_sources(record: Mapping[str, Any], screening: Screening) -> Iterator[str]:
    then = {source["sha256"]: source for source in record["sources"]}
    now = {source.sha256: source for source in screening.sources}
    for sha256, kept in then.items():
        path = kept["path"]
        if sha256 not in now:
            yield f"source {path} (SHA-256 {sha256}) is not among the files given, or was changed"
        # A source goes by its content and its name.
        elif now[sha256].path.rsplit("/", 1)[-1] != path.rsplit("/", 1)[-1]:
            yield f"source {path} is called {now[sha256].path} here; give it under its name"
        elif now[sha256].size != kept["size"]:
            yield f"source {path} has {now[sha256].size} bytes, {RECORD} says {kept['size']}"
    for sha256, source in now.items():
        if sha256 not in then:
            yield f"source {source.path} (SHA-256 {sha256}) was not read for this dossier"
