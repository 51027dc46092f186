"""A dossier on disk, with its machine-readable bundle that can be reckoned again from the sources.

The bundle holds ``dossier.json`` (what was asked, settings, hashes of sources and tables, everything that is
told), one Parquet file a table, and ``inputs`` with the voyage files that were given.
"""

from __future__ import annotations

import errno
import json
import math
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl

from coldsift.dossier.model import Answer, Reconstruction
from coldsift.dossier.page import build_dossier
from coldsift.dossier.pdf import NoBrowser, Paper, print_papers
from coldsift.engine.evidence import Evidence, ScreenedVoyage
from coldsift.engine.folders import write_table, write_text, write_whole
from coldsift.engine.inputs import INPUTS, copy_inputs, digest
from coldsift.engine.reconstructing import Request, reconstruct_from

FORMAT = 1
PAGE, BUNDLE, RECORD = "index.html", "bundle", "dossier.json"
PAPERS: Mapping[Paper, str] = {"A4": "dossier_a4.pdf", "Letter": "dossier_letter.pdf"}

MARKER = f"{BUNDLE}/{RECORD}"
OWN = frozenset({PAGE, MARKER, f"{BUNDLE}/*.parquet", f"{BUNDLE}/{INPUTS}/*/*", *PAPERS.values()})
"""All that a dossier's folder holds; one that holds more is somebody's."""

FOR_PRINTING = 32 * 1024**2
"""Room that a browser may need beside what it prints; with less left, that is why it did not. [byte]"""

_NOT_TOLD = frozenset({"reproduce", "versions", "parameters"})
"""Fields of a reconstruction that may differ without any number being another."""


@dataclass(frozen=True, slots=True)
class Written:
    """A dossier that was written: its page, why there is no PDF where there is none, and its answers."""

    page: Path
    no_pdf: str
    answers: tuple[Answer, ...]


def write_dossier(voyage: ScreenedVoyage, request: Request, out: Path) -> Written:
    """Reconstruct a container and write page, PDF and bundle into a folder, whole or not at all.

    Parameters
    ----------
    voyage
        Screened, with all its units.
    request
        Container and window.
    out
        Folder to make; an earlier dossier in it is replaced.

    Raises
    ------
    DossierError, TableError
        See :func:`coldsift.engine.reconstructing.reconstruct`.
    OutputError
        See :func:`coldsift.engine.folders.write_whole`.
    """
    evidence = voyage.of_container(request.container)
    found = reconstruct_from(evidence, request)
    no_pdf: list[str] = []

    def fill(folder: Path) -> None:
        _write_bundle(folder / BUNDLE, evidence, request, found)
        html = page_of(found, folder / BUNDLE)
        write_text(html, folder / PAGE)
        try:
            print_papers(html, {paper: folder / name for paper, name in PAPERS.items()})
        except NoBrowser as error:
            if shutil.disk_usage(folder).free < FOR_PRINTING:
                raise OSError(errno.ENOSPC, "No space left for printing") from error
            no_pdf.append(str(error))

    folder = write_whole(out, MARKER, fill, OWN)
    return Written(folder / PAGE, "".join(no_pdf), found.answers)


def page_of(found: Reconstruction, bundle: Path) -> str:
    """The page that stands beside a bundle, with the bundle's digest on it."""
    return build_dossier(
        replace(
            found,
            reproduce=f"coldsift dossier --verify {BUNDLE} SOURCES, the log files as SOURCES; SHA-256 of "
            f"{BUNDLE}/{RECORD}: {digest(bundle / RECORD)}",
        )
    )


def _write_bundle(folder: Path, evidence: Evidence, request: Request, found: Reconstruction) -> None:
    folder.mkdir()
    tables = dict(tables_of(found))
    for name, frame in tables.items():
        write_table(frame, folder / f"{name}.parquet")
    record = {
        "format": FORMAT,
        "versions": dict(found.versions),
        "request": {
            "container": found.container,
            "from": _plain(request.start),
            "to": _plain(request.end),
        },
        "settings": evidence.settings.record(),
        "inputs": copy_inputs(evidence.settings, folder),
        "sources": [
            {"path": source.path, "sha256": source.sha256, "size": source.size} for source in evidence.sources
        ],
        "tables": {
            name: {"rows": frame.height, "sha256": digest(folder / f"{name}.parquet")}
            for name, frame in tables.items()
        },
        "told": told_of(found),
    }
    text = json.dumps(record, indent=1, ensure_ascii=False, sort_keys=True) + "\n"
    write_text(text, folder / RECORD)


def tables_of(found: Reconstruction) -> Iterator[tuple[str, pl.DataFrame]]:
    """Every table of a reconstruction, in the order of its fields."""
    for entry in fields(found):
        value = getattr(found, entry.name)
        if isinstance(value, pl.DataFrame):
            yield entry.name, value
    if found.treatment:
        yield "treatment_days", found.treatment.days


def told_of(found: Reconstruction) -> dict[str, Any]:
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
