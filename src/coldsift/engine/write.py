"""Writing a screening: all of it, or nothing."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

import polars as pl

import coldsift
from coldsift.causes import load_catalogue
from coldsift.engine.earlier import MANIFEST, reading_record
from coldsift.engine.folders import by_units, write_table, write_text, write_whole_anywhere
from coldsift.engine.inputs import INPUTS, copy_inputs, digest
from coldsift.engine.reading import Progress
from coldsift.engine.screening import Screening
from coldsift.engine.spreadsheets import findings_csv, write_workbook
from coldsift.engine.versions import LIBRARIES
from coldsift.features import FEATURES
from coldsift.intake import SourceRecord
from coldsift.peers import unit_hours
from coldsift.report import (
    HANDOVER,
    INDEX,
    FeatureWords,
    Material,
    MessageView,
    Report,
    SourceView,
    UnitPages,
    prepare,
)
from coldsift.schema import COMMON_LOG, SCHEMA_VERSION, TABLES, UNIT_HOURS

OWN = frozenset(
    {
        *("manifest.json", "findings.csv", "findings.xlsx", "*.parquet"),
        *(f"{table.name}/part-*.parquet" for table in (COMMON_LOG, UNIT_HOURS)),
        *(INDEX, HANDOVER, "units/*.html", "units/*.js", f"{INPUTS}/*/*"),
    }
)
"""All that a run's folder holds; one that holds more is somebody's."""


def write_outputs(
    screening: Screening,
    out: Path | str,
    title: str,
    *,
    one_file: bool = False,
    language: str = "en",
    progress: Progress | None = None,
) -> Path | str:
    """Write report, tables and manifest into a folder, replacing an earlier run's whole.

    Parameters
    ----------
    screening
        From :func:`coldsift.screen`.
    out
        Folder to make, on this machine or by its address (``scheme://``) elsewhere. One that exists is
        replaced when it is empty or holds an earlier run.
    title
        Heading of the report.
    one_file
        Everything in one page, instead of a page a unit beside the index.
    language
        Code of the language of the report's pages; the tables stay English.
    progress
        Called as the work goes on.

    Returns
    -------
    pathlib.Path or str
        The report's first page.

    Raises
    ------
    OutputError
        When ``out`` holds other files, or cannot be written. An earlier run in it is then untouched.
    UnknownLanguage
        When the report cannot be had in the language.
    """
    tell = progress or (lambda what, done, total: None)

    def write(staging: Path) -> None:
        tell("report", 0, len(screening.findings))
        report = prepare(material(screening, title), one_file=one_file, language=language)
        cards = {}
        # The tables are written here while the units' pages are made in the runner's processes.
        with ThreadPoolExecutor(1) as beside:
            tables = beside.submit(_write_tables, screening, staging)
            for path, text in _units(screening, report, staging, tell):
                if one_file:
                    cards[path] = text
                else:
                    _write_page(text, staging / path)
            tables.result()
        for path, text in report.rest(cards):
            _write_page(text, staging / path)
        held = manifest(screening)
        held |= {
            "settings": screening.settings.record(),
            "inputs": copy_inputs(screening.settings, staging),
            "reading": _reading(screening, held["sources"], staging),
        }
        write_text(json.dumps(held, indent=1, ensure_ascii=False, sort_keys=True) + "\n", staging / MANIFEST)

    folder = write_whole_anywhere(out, MANIFEST, write, OWN)
    return folder / INDEX if isinstance(folder, Path) else f"{folder}/{INDEX}"


@dataclass(frozen=True, slots=True)
class UnitOutputs:
    """What is written of a batch of units: pages or cards with their places, and parts of tables."""

    pages: tuple[tuple[str, str], ...]
    parts: Mapping[str, bytes]


def unit_outputs(timeline: pl.DataFrame, pages: UnitPages) -> UnitOutputs:
    """Make the outputs of a batch of units from their timeline."""
    return UnitOutputs(
        tuple(pages.pages(timeline)),
        {
            COMMON_LOG.name: by_units(COMMON_LOG.conform(timeline)),
            UNIT_HOURS.name: by_units(unit_hours(timeline)),
        },
    )


def _units(screening: Screening, report: Report, staging: Path, tell: Progress) -> Iterator[tuple[str, str]]:
    """Write the parts of the units' tables, and hand on their pages."""
    batches = screening.analysis.timelines.batches
    tasks = ((batch.timeline, report.units_of(batch.containers)) for batch in batches)
    done = 0
    for part, outputs in enumerate(screening.runner.each(unit_outputs, tasks)):
        for table, content in outputs.parts.items():
            folder = staging / table
            folder.mkdir(exist_ok=True)
            (folder / f"part-{part:05d}.parquet").write_bytes(content)
        yield from outputs.pages
        done += len(outputs.pages)
        tell("report", done, len(screening.findings) + 1)


def _reading(screening: Screening, sources: Sequence[Mapping[str, Any]], folder: Path) -> dict[str, Any]:
    """What a later run of the same files needs to know of this one's reading."""
    parts = {
        path.relative_to(folder).as_posix(): digest(path)
        for path in (folder / "set_aside.parquet", *sorted((folder / COMMON_LOG.name).iterdir()))
    }
    return reading_record(screening.read, screening.settings.reading, sources, parts)


def _write_page(text: str, path: Path) -> None:
    path.parent.mkdir(exist_ok=True)
    write_text(text, path)


def _write_tables(screening: Screening, folder: Path) -> None:
    tables = {
        "findings": screening.findings,
        "causes": screening.causes,
        "evidence": screening.evidence,
        "reasons": screening.reasons,
        "excursions": screening.excursions,
        "excursion_parts": screening.passage.excursion_parts,
        "defrost_rises": screening.passage.defrost_rises,
        "gaps": screening.passage.gaps,
        "cargo": screening.passage.cargo,
        "defrosts": screening.defrosts,
        "unit_days": screening.unit_days,
        "features": screening.features,
        "peer_bands": screening.analysis.peer_bands,
        "voyage_events": screening.analysis.voyage_events,
        "clocks": screening.analysis.clocks,
        "seen": screening.analysis.seen,
        "set_points": screening.analysis.set_points,
        "plan": screening.voyage.plan,
        "bookings": screening.voyage.bookings,
        "custody": screening.voyage.custody,
        "notes": screening.voyage.notes,
        "spares": screening.voyage.spares,
        "round": screening.aboard.round,
        "parts": screening.aboard.parts,
        "parts_wanted": screening.aboard.parts_wanted,
        "possible_repairs": screening.aboard.possible_repairs,
        "repairs": screening.aboard.repairs,
        "unmatched": screening.aboard.unmatched,
        "changes": screening.aboard.changes,
        "set_aside": screening.set_aside,
    }
    for name, frame in tables.items():
        write_table(TABLES[name].conform(frame), folder / f"{name}.parquet")
    write_text(findings_csv(screening.findings), folder / "findings.csv")
    write_workbook(screening, folder / "findings.xlsx")


def material(screening: Screening, title: str) -> Material:
    """Put together what the report is made from.

    Parameters
    ----------
    screening
        From :func:`coldsift.screen`.
    title
        Heading of the report.
    """
    analysis, aboard = screening.analysis, screening.aboard
    return Material(
        findings=screening.findings,
        reasons=screening.reasons,
        features=screening.features,
        excursions=screening.excursions,
        defrosts=screening.defrosts,
        cargo=screening.passage.cargo,
        unit_days=screening.unit_days,
        voyage_events=analysis.voyage_events,
        clocks=analysis.clocks,
        set_aside=screening.set_aside,
        notes=screening.voyage.notes,
        overview=screening.overview,
        peer_groups=analysis.peer_groups,
        peer_members=analysis.peer_members,
        peer_bands=analysis.peer_bands,
        causes=screening.causes,
        evidence=screening.evidence,
        catalogue=load_catalogue(screening.settings.causes),
        sources=tuple(
            SourceView(
                file=source.path,
                layout=source.layout or "none",
                encoding=source.encoding or "",
                time_zone=source.time_zone or "",
                rows=source.rows,
                used=source.used,
                merged=source.merged,
                set_aside=source.set_aside,
                sha256=source.sha256,
                note=source.pressure_reading or "",
                id=source.id,
            )
            for source in screening.sources
        ),
        messages=tuple(
            MessageView(message.severity, message.file, message.line, message.what, message.do)
            for message in screening.messages
        ),
        parameters=screening.settings.in_words(),
        feature_words={
            name: FeatureWords(
                feature.words,
                feature.unit,
                feature.regime,
                feature.formula,
                feature.source,
                feature.look_first,
            )
            for name, feature in FEATURES.items()
        },
        title=title,
        invented=screening.invented,
        seen=analysis.seen,
        set_points=analysis.set_points,
        plan=screening.voyage.plan,
        round=aboard.round,
        parts=aboard.parts,
        parts_wanted=aboard.parts_wanted,
        possible_repairs=aboard.possible_repairs,
        repairs=aboard.repairs,
        unmatched=aboard.unmatched,
        changes=aboard.changes,
        earlier=screening.settings.earlier,
        round_hours=screening.settings.round_hours,
    )


def row_counts(sources: Sequence[SourceRecord]) -> dict[str, int]:
    """What became of the lines and rows of all sources together."""
    counts = ("lines", "heading_lines", "fact_lines", "blank_lines", "rows", "used", "merged", "set_aside")
    return {name: sum(getattr(source, name) for source in sources) for name in counts}


def _parsers(screening: Screening) -> list[dict[str, str]]:
    """Which layouts read something, where each comes from, and the digest of its declaration."""
    used = {source.layout for source in screening.sources}
    return [
        {"name": layout.name, "from": layout.origin, "sha256": layout.sha256}
        for layout in screening.read.layouts
        if layout.name in used
    ]


def manifest(screening: Screening) -> dict[str, Any]:
    """What was read, with what, and what became of every row.

    Parameters
    ----------
    screening
        From :func:`coldsift.screen`.

    Returns
    -------
    dict
        Ready for JSON; holds no clock time, so the same input gives the same bytes.
    """
    return {
        "tool": "coldsift",
        "version": coldsift.__version__,
        "schema": SCHEMA_VERSION,
        "libraries": {name: metadata.version(name) for name in LIBRARIES},
        "parameters": screening.settings.in_words(),
        "invented": screening.invented,
        "status": int(screening.status),
        "rows": row_counts(screening.sources),
        "units": len(screening.findings),
        "groups": {
            str(group): count
            for group, count in screening.findings["group"].value_counts(sort=True).iter_rows()
        },
        "parsers": _parsers(screening),
        "sources": [asdict(source) for source in screening.sources],
        "messages": [asdict(message) for message in screening.messages],
    }
