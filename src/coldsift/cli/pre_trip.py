"""The command that judges pre-trip inspections."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from coldsift.cli.options import (
    DateOrderOption,
    Layout,
    Parsers,
    Refrigerants,
    TimeZone,
    refrigerants_of,
    refusing,
    say,
    tell,
    tell_json,
)
from coldsift.cli.printable import counted

if TYPE_CHECKING:
    from coldsift.engine.pre_trip import PreTrip


def pretrip(
    paths: Annotated[
        list[str],
        typer.Argument(help="Logs of pre-trip inspections: files, folders, zip files or glob patterns."),
    ],
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder for page and table; reports/NAME_pre_trip without it."),
    ] = None,
    bands: Annotated[
        Path | None,
        typer.Option("--bands", help="Your own pass bands (TOML); what it names replaces or adds to ours."),
    ] = None,
    parsers: Parsers = None,
    date_order: DateOrderOption = None,
    time_zone: TimeZone = None,
    layout: Layout = None,
    refrigerant: Refrigerants = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print a summary for machines.")] = False,
) -> None:
    """Hold the logs of pre-trip inspections of empty boxes against pass bands."""
    from coldsift.cli.terminal import follow
    from coldsift.engine import OutputError, Settings
    from coldsift.engine.folders import holding
    from coldsift.engine.pre_trip import MARKER, OWN, inspect_paths, pre_trip_manifest, write_pre_trip
    from coldsift.intake import WrongCall
    from coldsift.pre_trip import PassBandsError

    every, own = refrigerants_of(refrigerant or [])
    settings = Settings(
        parsers=tuple(parsers or ()),
        date_order=None if date_order is None else date_order.value,
        time_zone=time_zone,
        layout=layout,
        refrigerant=every,
        refrigerants=own,
    )
    name = Path(paths[0]).resolve().stem or "boxes"
    folder = out or Path("reports") / f"{name}_pre_trip"
    page = None
    with (
        refusing(OutputError, PassBandsError, WrongCall),
        holding(folder, MARKER, OWN, say),
        follow() as progress,
    ):
        run = inspect_paths(list(paths), settings, bands, progress)
        if not run.inspection.items.is_empty():
            page = write_pre_trip(run, folder, f"Pre-trip inspections: {name}")
    if as_json:
        whole = pre_trip_manifest(run)
        kept = ("tool", "version", "status", "boxes", "verdicts", "rows", "messages")
        items = run.inspection.items.to_dicts()
        summary = {**{key: whole[key] for key in kept}, "out": str(folder) if page else None, "items": items}
        tell_json(summary)
    else:
        _show(run, page)
    raise typer.Exit(int(run.status))


def _show(run: PreTrip, page: Path | None) -> None:
    """Print messages, accounting, a line a box, and where the page is."""
    from coldsift.pre_trip import PHASE_WORDS
    from coldsift.pre_trip.views import overall_words

    for message in run.messages:
        if message.severity != "note":
            tell(str(message))
    rows, used, merged, aside = (
        sum(getattr(source, name) for source in run.sources)
        for name in ("rows", "used", "merged", "set_aside")
    )
    items = run.inspection.items
    tell(
        f"{counted(len(run.sources), 'file')}, {counted(rows, 'row')} = {used} used + {merged} merged + "
        f"{aside} set aside; {counted(items['container'].n_unique(), 'box', 'boxes')}"
    )
    if page is None:
        tell("Nothing could be judged; no page was written.")
        return
    for (container,), own in items.group_by("container", maintain_order=True):
        counts = dict(own["verdict"].cast(str).value_counts().iter_rows())
        tell(f"{container}  {overall_words(counts)}")
        for each in own.iter_rows(named=True):
            if each["verdict"] == "outside":
                phase = PHASE_WORDS[each["phase"]]
                tell(f"    {each['item_words']}, {phase}: {each['words']}")
    tell("Nothing outside its band does not mean safe, or passed.")
    tell(f"Page: {page}")
