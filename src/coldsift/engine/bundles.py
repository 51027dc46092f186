"""A dossier on disk, and its machine-readable bundle that can be reckoned again from the sources.

The bundle holds ``dossier.json`` (what was asked, settings, hashes of sources and tables, everything that is
told), one Parquet file a table, and ``inputs`` with the voyage files that were given.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl

from coldsift.dossier.model import Answer, Reconstruction
from coldsift.dossier.page import build_dossier
from coldsift.dossier.pdf import NoBrowser, Paper, print_pdf
from coldsift.engine.analysis import Progress
from coldsift.engine.folders import write_table, write_text, write_whole
from coldsift.engine.papers import VoyageFiles
from coldsift.engine.reconstructing import DossierError, Request, digest, input_files, reconstruct, versions
from coldsift.engine.screening import Screening, screen
from coldsift.engine.settings import Settings
from coldsift.intake.times import given_zone
from coldsift.refrigerant import saturation
from coldsift.regimes import Bands

FORMAT = 1
BUNDLE, RECORD, INPUTS = "bundle", "dossier.json", "inputs"
PAPERS: Mapping[Paper, str] = {"A4": "dossier_a4.pdf", "Letter": "dossier_letter.pdf"}

OWN = frozenset({"index.html", BUNDLE, *PAPERS.values()})
"""All that a dossier's folder holds; one that holds more is somebody's."""

SAME = 1e-9
"""Relative difference up to which two numbers are the same: other machines add in another order."""

_SHAPE: Mapping[Any, Any] = {
    "format": int,
    "request": {"container": str, "from": str | None, "to": str | None},
    "settings": {
        "bands": {"chilled": int | float, "frozen": int | float, "units": {str: [int | float]}},
        "grace_hours": int | float,
        "refrigerant": str,
        "refrigerants": {str: str},
        "date_order": str | None,
        "time_zone": str | None,
        "layout": str | None,
        "parsers": [str],
    },
    "inputs": {str: {"file": str, "sha256": str}},
    "sources": [{"path": str, "sha256": str, "size": int}],
    "tables": {str: {"rows": int, "sha256": str}},
    "told": {str: object},
    "versions": {str: str},
}
"""Parts of the record, and of what kind each is; ``str`` as a key stands for any name."""

_NOT_TOLD = frozenset({"reproduce", "versions", "parameters"})
"""Fields of a reconstruction that may differ without any number being another."""


@dataclass(frozen=True, slots=True)
class Written:
    """A dossier that was written: its page, why there is no PDF where there is none, and its answers."""

    page: Path
    no_pdf: str
    answers: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came of reckoning a bundle again.

    Attributes
    ----------
    difference
        The first difference in words; empty when there is none.
    values
        Values that were compared.
    notes
        What else a reader should know, such as another version of coldsift.
    """

    difference: str
    values: int
    notes: tuple[str, ...]


def write_dossier(screening: Screening, request: Request, out: Path) -> Written:
    """Reconstruct a container and write page, PDF and bundle into a folder, whole or not at all.

    Parameters
    ----------
    screening
        Of all the logs.
    request
        Container, window and notes.
    out
        Folder to make; an earlier dossier in it is replaced.

    Raises
    ------
    DossierError, TableError
        See :func:`coldsift.engine.reconstructing.reconstruct`.
    OutputError
        See :func:`coldsift.engine.folders.write_whole`.
    """
    found = reconstruct(screening, request)
    no_pdf: list[str] = []

    def fill(folder: Path) -> None:
        record = _write_bundle(folder / BUNDLE, screening, request, found)
        told = replace(
            found,
            reproduce=f"coldsift dossier --verify {BUNDLE} SOURCES, the log files as SOURCES; SHA-256 of "
            f"{BUNDLE}/{RECORD}: {record}",
        )
        html = build_dossier(told)
        write_text(html, folder / "index.html")
        for paper, name in PAPERS.items():
            try:
                print_pdf(html, folder / name, paper)
            except NoBrowser as error:
                no_pdf.append(str(error))
                break

    folder = write_whole(out, f"{BUNDLE}/{RECORD}", fill, OWN)
    return Written(folder / "index.html", "".join(no_pdf), found.answers)


def _write_bundle(folder: Path, screening: Screening, request: Request, found: Reconstruction) -> str:
    """Write the bundle; returns the SHA-256 of its record."""
    folder.mkdir()
    tables = dict(_tables(found))
    for name, frame in tables.items():
        write_table(frame, folder / f"{name}.parquet")
    inputs = input_files(screening.settings)
    if inputs:
        (folder / INPUTS).mkdir()
    for key, path in inputs.items():
        (folder / INPUTS / key).mkdir()
        (folder / INPUTS / key / path.name).write_bytes(path.read_bytes())
    record = {
        "format": FORMAT,
        "versions": dict(found.versions),
        "request": {
            "container": found.container,
            "from": _plain(request.start),
            "to": _plain(request.end),
        },
        "settings": _settings(screening.settings),
        "inputs": {
            key: {"file": f"{INPUTS}/{key}/{path.name}", "sha256": digest(path)}
            for key, path in inputs.items()
        },
        "sources": [
            {"path": source.path, "sha256": source.sha256, "size": source.size}
            for source in screening.sources
        ],
        "tables": {
            name: {"rows": frame.height, "sha256": digest(folder / f"{name}.parquet")}
            for name, frame in tables.items()
        },
        "told": _told(found),
    }
    text = json.dumps(record, indent=1, ensure_ascii=False, sort_keys=True) + "\n"
    write_text(text, folder / RECORD)
    return digest(folder / RECORD)


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
        and row, or a sentence.

    Raises
    ------
    DossierError
        When ``bundle`` is no bundle, or its inputs cannot be read any more.
    """
    folder = bundle if (bundle / RECORD).is_file() else bundle / BUNDLE
    record = _read(folder)
    changed = next(_changed_files(folder, record), "")
    if changed:
        return Verdict(changed, 0, ())
    request, settings = _asked(folder, record, parsers)
    screening = screen(sources, settings, progress)
    unread = (str(message) for message in screening.messages if message.severity == "error")
    notes = (*_version_notes(record), *unread)
    moved = next(_moved_sources(record, screening), "")
    if moved:
        return Verdict(moved, 0, notes)
    difference, values = _compared(folder, record, reconstruct(screening, request))
    return Verdict(difference, values, notes)


def _compared(folder: Path, record: Mapping[str, Any], found: Reconstruction) -> tuple[str, int]:
    """The first difference between a bundle and what was reckoned, and how many values were compared."""
    values = 0
    for name, frame in _tables(found):
        difference = _table_difference(folder, record["tables"].get(name), name, frame)
        if difference:
            return difference, values
        values += frame.height * frame.width
    told, again = list(_leaves(record["told"])), list(_leaves(_told(found)))
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


def _tables(found: Reconstruction) -> Iterator[tuple[str, pl.DataFrame]]:
    """Every table of a reconstruction, in the order of its fields."""
    for entry in fields(found):
        value = getattr(found, entry.name)
        if isinstance(value, pl.DataFrame):
            yield entry.name, value
    if found.treatment:
        yield "treatment_days", found.treatment.days


def _told(found: Reconstruction) -> dict[str, Any]:
    """Everything that is told and stands in no table."""
    told = {
        entry.name: _plain(getattr(found, entry.name))
        for entry in fields(found)
        if entry.name not in _NOT_TOLD and not isinstance(getattr(found, entry.name), pl.DataFrame)
    }
    # The same through JSON as from the run, so that both can be compared.
    again: dict[str, Any] = json.loads(json.dumps(told, sort_keys=True))
    return again


def _plain(value: Any) -> Any:
    """A value as JSON knows it; tables inside are left out."""
    if isinstance(value, datetime):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return {
            entry.name: _plain(getattr(value, entry.name))
            for entry in fields(value)
            if not isinstance(getattr(value, entry.name), pl.DataFrame)
        }
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


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


def _settings(settings: Settings) -> dict[str, Any]:
    """What a run needs beside its files."""
    return {
        "bands": _plain(settings.bands),
        "grace_hours": settings.grace_hours,
        "refrigerant": settings.refrigerant,
        "refrigerants": dict(sorted(settings.refrigerants.items())),
        "date_order": settings.date_order,
        "time_zone": settings.time_zone,
        "layout": settings.layout,
        "parsers": [path.name for path in settings.parsers],
    }


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
    _check_part(record, _SHAPE, "")
    within = folder.resolve()
    files = [f"{name}.parquet" for name in record["tables"]]
    files += [entry["file"] for entry in record["inputs"].values()]
    for name in files:
        if not (within / name).resolve().is_relative_to(within):
            raise DossierError(f"{folder / RECORD} names a file outside the bundle: {name}.")


def _check_part(value: Any, shape: Any, where: str) -> None:
    """Raise :class:`ValueError` with the place where a value is not of its shape."""
    if isinstance(shape, dict):
        if not isinstance(value, dict) or (str not in shape and value.keys() != shape.keys()):
            raise ValueError(where or "a part")
        for key, each in value.items():
            _check_part(each, shape.get(key, shape.get(str)), f"{where}.{key}" if where else key)
    elif isinstance(shape, list):
        if not isinstance(value, list):
            raise ValueError(where)
        for place, each in enumerate(value, start=1):
            _check_part(each, shape[0], f"{where} {place}")
    elif not isinstance(value, shape):
        raise ValueError(where)


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
    bands = kept["bands"]
    try:
        start, end = (_instant(asked[key]) for key in ("from", "to"))
        units = {container: (below, above) for container, (below, above) in bands["units"].items()}
        for refrigerant in {kept["refrigerant"], *kept["refrigerants"].values()}:
            saturation(refrigerant)
        given_zone(kept["time_zone"])
    except ValueError as error:
        raise DossierError(
            f"{folder / RECORD} is no record of a dossier: {str(error).rstrip('.')}."
        ) from error
    settings = Settings(
        bands=Bands(chilled=bands["chilled"], frozen=bands["frozen"], units=units),
        grace_hours=kept["grace_hours"],
        parsers=tuple(parsers),
        refrigerant=kept["refrigerant"],
        refrigerants=kept["refrigerants"],
        causes=files.get("causes"),
        thresholds=files.get("thresholds"),
        voyage=VoyageFiles(**{each.name: files.get(each.name) for each in fields(VoyageFiles)}),
        date_order=kept["date_order"],
        time_zone=kept["time_zone"],
        layout=kept["layout"],
    )
    return Request(asked["container"], start, end), settings


def _instant(text: str | None) -> datetime | None:
    if text is None:
        return None
    time = datetime.fromisoformat(text)
    if time.tzinfo is None:
        raise ValueError(f"{text!r} names no time zone")
    return time


def _version_notes(record: Mapping[str, Any]) -> Iterator[str]:
    now = versions()
    for name, version in record["versions"].items():
        if now.get(name) != version:
            yield f"{name} was {version} when the bundle was written and is {now.get(name, 'absent')} here"


def _moved_sources(record: Mapping[str, Any], screening: Screening) -> Iterator[str]:
    then = {source["sha256"]: source["path"] for source in record["sources"]}
    now = {source.sha256: source.path for source in screening.sources}
    for sha256, path in then.items():
        if sha256 not in now:
            yield f"source {path} (SHA-256 {sha256}) is not among the files given, or was changed"
        # A source goes by its content and its name.
        elif now[sha256].rsplit("/", 1)[-1] != path.rsplit("/", 1)[-1]:
            yield f"source {path} is called {now[sha256]} here; give it under its name"
    for sha256, path in now.items():
        if sha256 not in then:
            yield f"source {path} (SHA-256 {sha256}) was not read for this dossier"
