"""Pre-trip inspections end to end: logs read, judged, and the outputs written whole."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from importlib import metadata
from pathlib import Path
from typing import Any

import coldsift
from coldsift.engine.folders import write_table, write_text, write_whole
from coldsift.engine.reading import Progress
from coldsift.engine.screening import Status, ended, is_invented
from coldsift.engine.settings import Settings
from coldsift.engine.spreadsheets import table_csv
from coldsift.engine.write import row_counts
from coldsift.intake import Message, SourceRecord, read_logs
from coldsift.intake.together import stated_refrigerants
from coldsift.pre_trip import Inspection, inspect_log, load_pass_bands
from coldsift.pre_trip.page import Provenance, build_page
from coldsift.pre_trip.phases import LONGEST_HOURS
from coldsift.refrigerant import canonical
from coldsift.schema import PRE_TRIP, PRE_TRIP_VERDICTS

INDEX = "index.html"
MANIFEST = "manifest.json"
TABLE = "pre_trip"
MARKER = f"{TABLE}.parquet"
OWN = frozenset({INDEX, MANIFEST, MARKER, f"{TABLE}.csv"})
"""All that the folder of inspections holds; one that holds more is somebody's."""
LIBRARIES = ("polars", "numpy", "CoolProp", "python-stdnum")
"""Those that shape the numbers."""


@dataclass(frozen=True, slots=True)
class PreTrip:
    """Inspections as read and judged."""

    inspection: Inspection
    settings: Settings
    bands: Path | None
    sources: tuple[SourceRecord, ...]
    messages: tuple[Message, ...]
    invented: bool

    @property
    def status(self) -> Status:
        """How the run ended."""
        return ended(self.inspection.items, self.messages)

    @property
    def parameters(self) -> dict[str, str]:
        """What shaped the numbers, in words."""
        others = sorted(set(map(canonical, self.settings.refrigerants.values())))
        return {
            "pass bands": f"shipped, and {self.bands.name} over them" if self.bands else "shipped",
            "refrigerant": canonical(self.settings.refrigerant)
            + (f", or as given or stated for a box: {', '.join(others)}" if others else ""),
            "date order": self.settings.date_order or "as each file shows",
            "time zone of times without one": self.settings.time_zone or "as each file shows, else UTC",
            "layout": self.settings.layout or "as each file shows",
        }


def inspect_paths(
    paths: Sequence[Path | str],
    settings: Settings | None = None,
    bands: Path | None = None,
    progress: Progress | None = None,
) -> PreTrip:
    """Read logs of pre-trip inspections and judge them.

    Parameters
    ----------
    paths
        Files, folders or glob patterns.
    settings
        Reading options and refrigerants; the rest of them is not used.
    bands
        The user's own pass bands (TOML), over the shipped ones.
    progress
        Called as the work goes on.

    Returns
    -------
    PreTrip
        Also when some files, or all of them, could not be used.

    Raises
    ------
    PassBandsError
        When the bands cannot be used.
    WrongCall
        When the time zone is none.
    """
    settings = settings or Settings()
    items = load_pass_bands(bands)
    intake = read_logs(
        paths,
        parsers=settings.parsers,
        progress=progress,
        date_order=settings.date_order,
        time_zone=settings.time_zone,
        layout=settings.layout,
    )
    stated = stated_refrigerants(intake.sources, intake.log)
    settings = replace(settings, refrigerants={**stated, **settings.refrigerants})
    inspection = inspect_log(intake.log, items, settings.refrigerants, settings.refrigerant)
    return PreTrip(
        inspection=inspection,
        settings=settings,
        bands=bands,
        sources=intake.sources,
        messages=(*dict.fromkeys(intake.messages), *_too_long(inspection)),
        invented=is_invented(paths),
    )


def _too_long(inspection: Inspection) -> Iterator[Message]:
    boxes = inspection.too_long()
    if boxes:
        yield Message(
            "warning",
            boxes[0] + (f" and {len(boxes) - 1} more" if len(boxes) > 1 else ""),
            None,
            f"The log goes on for more than {LONGEST_HOURS:g} h, longer than an inspection lasts.",
            "A loaded box's voyage cannot be held against these bands: use coldsift screen. Of several "
            "inspections give the last one.",
        )


def write_pre_trip(run: PreTrip, out: Path, title: str) -> Path:
    """Write page, table and manifest into a folder, replacing an earlier run's whole.

    Parameters
    ----------
    run
        From :func:`inspect_paths`, with at least one box.
    out
        Folder to make.
    title
        Heading of the page.

    Returns
    -------
    pathlib.Path
        The page.

    Raises
    ------
    OutputError
        When ``out`` holds other files, or cannot be written.
    """
    provenance = Provenance(run.sources, run.messages, tuple(run.parameters.items()), run.invented)

    def write(staging: Path) -> None:
        table = PRE_TRIP.conform(run.inspection.items)
        write_table(table, staging / f"{TABLE}.parquet")
        write_text(table_csv(table, PRE_TRIP), staging / f"{TABLE}.csv")
        write_text(build_page(run.inspection, provenance, title), staging / INDEX)
        text = json.dumps(pre_trip_manifest(run), indent=1, ensure_ascii=False, sort_keys=True)
        write_text(text + "\n", staging / MANIFEST)

    return write_whole(out, MARKER, write, OWN) / INDEX


def pre_trip_manifest(run: PreTrip) -> dict[str, Any]:
    """What was read, with what, and how many items came out how.

    Parameters
    ----------
    run
        From :func:`inspect_paths`.

    Returns
    -------
    dict
        Ready for JSON; holds no clock time, so the same input gives the same bytes.
    """
    items = run.inspection.items
    verdicts = dict(items["verdict"].cast(str).value_counts().iter_rows()) if len(items) else {}
    return {
        "tool": "coldsift",
        "kind": "pre-trip inspections",
        "version": coldsift.__version__,
        "libraries": {name: metadata.version(name) for name in LIBRARIES},
        "parameters": run.parameters,
        "invented": run.invented,
        "status": int(run.status),
        "boxes": items["container"].n_unique(),
        "verdicts": {verdict: verdicts.get(verdict, 0) for verdict in PRE_TRIP_VERDICTS},
        "left_out": dict(run.inspection.left_out.iter_rows()),
        "rows": row_counts(run.sources),
        "sources": [asdict(source) for source in run.sources],
        "messages": [asdict(message) for message in run.messages],
    }
