"""A voyage out of an archive, as far as one of its containers needs it: no log file is read.

Goes in: an archive and a container. Comes out: a :class:`Recalled`, from which a dossier is made as from a
screening, to the same bytes.
"""

from __future__ import annotations

import difflib
import json
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl

from coldsift.archive.kept import INPUTS, KEPT, MANIFESTS, in_types, part, read_voyages, readable
from coldsift.cargo import GoodsError, UnknownPackaging, cargoes_of, load_goods
from coldsift.engine.evidence import DossierError, Evidence, known, of_a_container, whose
from coldsift.engine.settings import Settings
from coldsift.engine.shapes import check_shape
from coldsift.intake import Message, SourceRecord
from coldsift.regimes import build_timeline, mark_shared
from coldsift.schema import (
    CARGO,
    CAUSES,
    CLOCKS,
    COMMON_LOG,
    CUSTODY,
    DEFROST_RISES,
    DEFROSTS,
    EVIDENCE,
    EXCURSION_PARTS,
    EXCURSIONS,
    FEATURES,
    FINDINGS,
    GAPS,
    NOTES,
    REPAIRS,
    SET_ASIDE,
    SET_POINTS,
    UNIT_HOURS,
    VOYAGE_EVENTS,
    Table,
)
from coldsift.voyage import Facts, FactsError, read_facts

_OWN = (
    EXCURSIONS,
    EXCURSION_PARTS,
    DEFROST_RISES,
    GAPS,
    DEFROSTS,
    CARGO,
    NOTES,
    SET_POINTS,
    REPAIRS,
    CAUSES,
    EVIDENCE,
    FEATURES,
)
"""Tables of which the container's own rows are taken as they are."""

_NEEDED = (*_OWN, COMMON_LOG, CUSTODY, SET_ASIDE, UNIT_HOURS, VOYAGE_EVENTS, INPUTS, MANIFESTS)

_MESSAGE = {"severity": str, "file": str, "line": int | None, "what": str, "do": str}


@dataclass(frozen=True, slots=True)
class Recalled:
    """A voyage of an archive.

    Attributes
    ----------
    archive
        Its folder.
    voyage, run, name
        Ids and name, as :data:`coldsift.archive.VOYAGES` has them.
    settings
        Of its screening, without what is for the work on board alone; the files are copies.
    sources, messages, status, versions, invented
        Of its screening.
    """

    archive: Path
    voyage: str
    run: str
    name: str
    settings: Settings
    sources: tuple[SourceRecord, ...]
    messages: tuple[Message, ...]
    status: int
    versions: Mapping[str, str]
    invented: bool

    def of_container(self, asked: str) -> Evidence:
        """See :class:`coldsift.engine.evidence.ScreenedVoyage`.

        Raises
        ------
        DossierError
            When there is no such container (near ones are named), or a paper cannot be used any more.
        ArchiveError
            When a part of the archive cannot be read.
        """
        with readable(self.archive):
            there = self._rows(FINDINGS).select("container").collect()["container"].sort().to_list()
        container = known(asked, there, f"the voyage {self.name!r}")
        own = pl.col("container") == container
        with readable(self.archive):
            log = self._rows(COMMON_LOG).filter(own).collect()
            tables = {table.name: self._rows(table).filter(own).collect() for table in _OWN}
            custody = self._rows(CUSTODY).collect()
            voyage_events = self._rows(VOYAGE_EVENTS).collect()
            hours = self._rows(UNIT_HOURS).collect()
            # Voyages kept by an earlier version have no such table.
            clocks = self._rows(CLOCKS).filter(own).collect() if self._has(CLOCKS) else CLOCKS.empty()
            set_aside = self._rows(SET_ASIDE).filter(whose(container)).collect()
        timeline = mark_shared(build_timeline(log, self.settings.bands), voyage_events)
        papers = self.settings.voyage
        try:
            facts = (read_facts(papers.facts) if papers.facts else Facts()).of(container)
            cargoes = cargoes_of(timeline, {container: facts}, load_goods(papers.goods))
        except (FactsError, GoodsError, UnknownPackaging) as error:
            raise DossierError(f"{self.archive}, the papers of {self.name!r}: {error}") from error
        return Evidence(
            container=container,
            settings=self.settings,
            facts=facts,
            cargoes=cargoes,
            timeline=timeline,
            hours=hours,
            voyage_events=voyage_events,
            clocks=clocks,
            custody=custody.filter(own),
            custody_given=not custody.is_empty(),
            set_aside=set_aside,
            sources=self.sources,
            versions=self.versions,
            invented=self.invented,
            **tables,
        )

    def _has(self, table: Table) -> bool:
        return part(self.archive, table.name, self.voyage, self.run).is_file()

    def _rows(self, table: Table) -> pl.LazyFrame:
        return _kept(self.archive, table, self.voyage, self.run)


@contextmanager
def recall(
    archive: Path,
    container: str,
    voyage: str | None = None,
    start: datetime | None = None,
    end: datetime | None = None,
) -> Iterator[Recalled]:
    """Take a container's voyage out of an archive.

    Parameters
    ----------
    archive
        Folder of the archive.
    container
        In any spelling.
    voyage
        Name or id; needed where the container is on several.
    start, end
        Window, UTC: settles it too where it lies in one of them alone.

    Yields
    ------
    Recalled
        To be used before the context ends: the papers lie in a temporary folder.

    Raises
    ------
    ArchiveError
        When there is no archive, or a part of it cannot be read.
    DossierError
        When there is no such voyage or container (near ones are named), when the container is on several, or
        when the voyage was kept without what a dossier needs.
    """
    row = _chosen(archive, read_voyages(archive), container, voyage, start, end)
    missing = [table.name for table in _NEEDED if table.name not in row["tables"]]
    with readable(archive):
        manifest = (
            _kept(archive, MANIFESTS, row["voyage"], row["run"]).collect().item() if not missing else "{}"
        )
    if missing or "settings" not in (told := _read(manifest, row["name"])):
        raise DossierError(
            f"{row['name']!r} was kept without what a dossier needs beside its tables (coldsift "
            f"{row['version']}). Screen its logs again and add the run with coldsift archive add --replace, "
            "or make the dossier from the logs."
        )
    with readable(archive):
        inputs = _kept(archive, INPUTS, row["voyage"], row["run"]).collect()
    with tempfile.TemporaryDirectory(prefix="coldsift-") as folder:
        yield _recalled(archive, row, told, _laid_out(inputs, Path(folder)))


def _recalled(
    archive: Path, row: Mapping[str, Any], told: Mapping[str, Any], files: Mapping[str, Path]
) -> Recalled:
    try:
        settings = of_a_container(Settings.of_record(told["settings"], files))
        check_shape(told["messages"], [_MESSAGE], "messages")
        sources = tuple(_source(source) for source in told["sources"])
        return Recalled(
            archive=archive,
            voyage=row["voyage"],
            run=row["run"],
            name=row["name"],
            settings=settings,
            sources=sources,
            messages=tuple(Message(**message) for message in told["messages"]),
            status=int(told["status"]),
            versions={"coldsift": row["version"], **told["libraries"]},
            invented=row["invented"],
        )
    except (ValueError, KeyError, TypeError) as error:
        raise DossierError(_bent(row["name"], error)) from error


def _source(told: Mapping[str, Any]) -> SourceRecord:
    check_shape(told["messages"], [_MESSAGE], "messages of a source")
    return SourceRecord(**{**told, "messages": tuple(Message(**message) for message in told["messages"])})


def _read(manifest: str, name: str) -> dict[str, Any]:
    try:
        return dict(json.loads(manifest))
    except (ValueError, TypeError) as error:
        raise DossierError(_bent(name, error)) from error


def _bent(name: str, error: Exception) -> str:
    return (
        f"the manifest of {name!r} in the archive is not as coldsift wrote it ({str(error).rstrip('.')}). "
        "Screen its logs again and add the run with coldsift archive add --replace."
    )


def _laid_out(inputs: pl.DataFrame, folder: Path) -> dict[str, Path]:
    """The papers as files again, under their names."""
    files = {}
    for key, name, content in inputs.iter_rows():
        files[key] = folder / Path(key).name / Path(name).name
        files[key].parent.mkdir()
        files[key].write_bytes(content)
    return files


def _kept(archive: Path, table: Table, voyage: str, run: str) -> pl.LazyFrame:
    return in_types(pl.scan_parquet(part(archive, table.name, voyage, run), glob=False), KEPT[table.name])


def _chosen(
    archive: Path,
    voyages: pl.DataFrame,
    container: str,
    asked: str | None,
    start: datetime | None,
    end: datetime | None,
) -> dict[str, Any]:
    """The voyage that is meant."""
    if voyages.is_empty():
        raise DossierError(f"{archive} keeps no voyage yet. Add a finished run with coldsift archive add.")
    rows = voyages.to_dicts()
    if asked is not None:
        rows = [row for row in rows if asked in (row["name"], row["voyage"])]
        if not rows:
            names = voyages["name"].to_list()
            near = difflib.get_close_matches(asked, names, n=3, cutoff=0.4) or names[-3:]
            raise DossierError(
                f"no voyage {asked!r} in {archive}. There {'is' if len(near) == 1 else 'are'} "
                f"{', '.join(map(repr, near))}; coldsift archive list names all."
            )
    there = {row["voyage"]: _containers(archive, row) for row in rows}
    everywhere = sorted(set().union(*there.values()))
    where = f"the voyage {rows[0]['name']!r}" if len(rows) == 1 else str(archive)
    number = known(container, everywhere, where)
    rows = [row for row in rows if number in there[row["voyage"]]]
    within = [
        row for row in rows if (end is None or row["begin"] <= end) and (start is None or row["end"] >= start)
    ]
    if len(rows) == 1 or len(within) == 1:
        return (rows if len(rows) == 1 else within)[0]
    raise DossierError(
        f"{number} is on {len(rows)} voyages of {archive}: {_listed(rows)}. Say which with --voyage, or "
        "choose a window in one of them with --from and --to."
    )


def _containers(archive: Path, row: Mapping[str, Any]) -> set[str]:
    with readable(archive):
        found = _kept(archive, FINDINGS, row["voyage"], row["run"]).select("container").collect()
    return set(found["container"])


def _listed(rows: Sequence[Mapping[str, Any]]) -> str:
    """Names with dates, and ids where two have one name."""
    names = [row["name"] for row in rows]
    return ", ".join(
        f"{row['name']!r} ({row['begin']:%Y-%m-%d} to {row['end']:%Y-%m-%d}"
        + (f", {row['voyage']})" if names.count(row["name"]) > 1 else ")")
        for row in rows
    )
