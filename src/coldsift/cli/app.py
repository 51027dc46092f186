"""The commands. Heavy libraries are loaded inside them, so that help answers at once."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from coldsift import __version__
from coldsift.cli.archive import archive_app
from coldsift.cli.options import (
    DateOrder,
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
from coldsift.cli.pre_trip import pretrip

if TYPE_CHECKING:
    from coldsift.engine import Request, Screening, Settings, VoyageFiles

app = typer.Typer(
    help="From a folder of reefer controller logs to a ranked list of containers to inspect.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
layout_app = typer.Typer(
    help="Log layouts: list them, try them on a file, draft a new one.", no_args_is_help=True
)
app.add_typer(layout_app, name="layout")
app.add_typer(archive_app, name="archive")
app.command()(pretrip)

Causes = Annotated[
    Path | None,
    typer.Option("--causes", help="Your own cause catalogue (TOML); what it names replaces or adds to ours."),
]


Band = Annotated[
    float | None,
    typer.Option("--band", min=0.1, max=20, help="Allowed distance from set point in K, for every unit."),
]
Thresholds = Annotated[
    Path | None,
    typer.Option("--thresholds", help="Your own thresholds of the groups (TOML), as tune writes them."),
]
FactsFile = Annotated[
    Path | None,
    typer.Option(
        "--facts",
        help="Cargo, contract limits, treatment ordered and place, by container (TOML); see docs/dossier.md.",
    ),
]
EventsFile = Annotated[
    Path | None,
    typer.Option(
        "--events",
        help="Custody events (CSV: container, time, holder; or EPCIS JSON), to divide excursions by.",
    ),
]
Goods = Annotated[
    Path | None,
    typer.Option("--goods", help="Your own commodities (TOML); what it names replaces or adds to ours."),
]
Protocols = Annotated[
    Path | None,
    typer.Option("--protocols", dir_okay=False, help="Your own cold-treatment protocols (TOML)."),
]


PlanFile = Annotated[
    Path | None, typer.Option("--plan", help="Stowage plan (BAPLIE or CSV: container, position).")
]
BookingsFile = Annotated[
    Path | None, typer.Option("--bookings", help="Bookings (CSV: container, set point with its unit).")
]
NotesFile = Annotated[
    Path | None,
    typer.Option("--notes", help="Work notes (CSV: container, time, observation, action, part)."),
]


class Route(StrEnum):
    """Invented voyages of the simulator."""

    TROPICS = "tropics"
    WINTER = "winter"
    MIXED = "mixed"


def main() -> None:
    """Run the command line."""
    # Windows consoles may still be on a legacy code page; temperatures carry a degree sign.
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, _stop)
    try:
        try:
            app()
        finally:
            sys.stdout.flush()
    except MemoryError:
        _give_up("there is not enough memory. Close other programs, or give fewer logs at a time.")
    except ImportError as error:
        _give_up(f"a library cannot be loaded, for want of memory or because it is damaged: {error}.")
    except OSError as error:
        _give_up(f"{error.filename or 'the output'} cannot be read or written: {error.strerror or error}.")


def _stop(number: int, frame: object) -> NoReturn:
    """End as a shell expects of a program that was told to, with everything put in order on the way."""
    signal.signal(number, signal.SIG_IGN)
    raise SystemExit(128 + number)


def _give_up(why: str) -> NoReturn:
    """End with status 2 and a line, also when nothing can be printed any more."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    say(f"error: {why}")
    raise SystemExit(2)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"coldsift {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """From a folder of reefer controller logs to a ranked list of containers to inspect."""


@app.command()
def screen(
    paths: Annotated[list[str], typer.Argument(help="Log files, folders, zip files or glob patterns.")],
    out: Annotated[
        str | None, typer.Option("--out", help="Folder for report and tables; reports/NAME without it.")
    ] = None,
    parsers: Parsers = None,
    band: Band = None,
    date_order: DateOrderOption = None,
    time_zone: TimeZone = None,
    layout: Layout = None,
    refrigerant: Refrigerants = None,
    facts: FactsFile = None,
    plan: PlanFile = None,
    bookings: BookingsFile = None,
    events: EventsFile = None,
    notes: NotesFile = None,
    spares: Annotated[
        Path | None, typer.Option("--spares", help="Spare parts on board (CSV: part, on board).")
    ] = None,
    goods: Goods = None,
    protocols: Protocols = None,
    causes: Causes = None,
    thresholds: Thresholds = None,
    since: Annotated[
        Path | None, typer.Option("--since", help="Folder of an earlier run, to tell what has changed.")
    ] = None,
    hours: Annotated[
        float | None,
        typer.Option("--hours", min=0.25, max=100, help="Hours there are for the inspection round."),
    ] = None,
    one_file: Annotated[
        bool,
        typer.Option("--one-file", help="One page with everything, to send on, instead of a page a unit."),
    ] = False,
    language: Annotated[
        str, typer.Option("--language", help="Language of the report's pages: en or es. Tables stay English.")
    ] = "en",
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster",
            help="Do the work on a Dask cluster: its scheduler's address (tcp://...), or local; see "
            "docs/speed.md.",
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print a summary for machines.")] = False,
) -> None:
    """Screen logs and write a ranked report."""
    from coldsift.cli.terminal import follow, show
    from coldsift.engine import VoyageFiles, on_cluster, processes, write_outputs
    from coldsift.engine import screen as run
    from coldsift.engine.earlier import MANIFEST
    from coldsift.engine.folders import holding
    from coldsift.engine.write import OWN
    from coldsift.intake.files import is_remote
    from coldsift.report import load_language

    settings = _settings(
        band=band,
        parsers=parsers,
        date_order=date_order,
        time_zone=time_zone,
        layout=layout,
        refrigerant=refrigerant,
        causes=causes,
        thresholds=thresholds,
        voyage=VoyageFiles(
            facts=facts,
            plan=plan,
            bookings=bookings,
            events=events,
            notes=notes,
            spares=spares,
            goods=goods,
            protocols=protocols,
        ),
        since=since,
        round_hours=hours,
    )
    name = Path(paths[0]).resolve().stem or "screening"
    folder = (out if is_remote(out) else str(Path(out))) if out else str(Path("reports") / name)
    with (
        _refusing(),
        holding(folder, MANIFEST, OWN, say),
        follow() as progress,
        on_cluster(cluster) if cluster else processes(folder) as runner,
    ):
        load_language(language)
        again = None if cluster or is_remote(folder) else Path(folder)
        screening = run(list(paths), settings, progress, runner, again)
        page = None
        if not screening.findings.is_empty():
            page = write_outputs(
                screening,
                folder,
                f"Reefer screening: {name}",
                one_file=one_file,
                language=language,
                progress=progress,
            )
    if as_json:
        tell_json(_summary(screening, folder if page else None))
    else:
        show(screening, page)
    raise typer.Exit(int(screening.status))


def _settings(
    *,
    band: float | None,
    parsers: list[Path] | None,
    date_order: DateOrder | None,
    time_zone: str | None,
    layout: str | None,
    refrigerant: list[str] | None,
    causes: Path | None,
    thresholds: Path | None,
    voyage: VoyageFiles,
    since: Path | None = None,
    round_hours: float | None = None,
) -> Settings:
    """The settings as given, every file among them that can be checked without the logs checked."""
    from coldsift.causes import load_catalogue
    from coldsift.engine import Settings
    from coldsift.ranking import load_thresholds
    from coldsift.regimes import Bands

    fluid, fluids = refrigerants_of(refrigerant or [])
    with _refusing():
        load_catalogue(causes)
        load_thresholds(thresholds)
    return Settings(
        bands=Bands() if band is None else Bands.same(band),
        parsers=tuple(parsers or ()),
        date_order=None if date_order is None else date_order.value,
        time_zone=time_zone,
        layout=layout,
        refrigerant=fluid,
        refrigerants=fluids,
        causes=causes,
        thresholds=thresholds,
        voyage=voyage,
        since=since,
        round_hours=round_hours,
    )


@contextmanager
def _refusing() -> Iterator[None]:
    """End with status 2 and the message on anything that was called or given wrongly."""
    from coldsift.cargo import GoodsError
    from coldsift.causes import CatalogueError
    from coldsift.changes import EarlierRunError
    from coldsift.engine import DossierError, OutputError, RunnerError
    from coldsift.intake import WrongCall
    from coldsift.protocols import ProtocolError
    from coldsift.ranking import ThresholdsError
    from coldsift.report import UnknownLanguage
    from coldsift.voyage import FactsError, TableError

    with refusing(
        CatalogueError,
        DossierError,
        EarlierRunError,
        FactsError,
        GoodsError,
        OutputError,
        ProtocolError,
        RunnerError,
        TableError,
        ThresholdsError,
        UnknownLanguage,
        WrongCall,
    ):
        yield


@app.command()
def dossier(
    context: typer.Context,
    arguments: Annotated[
        list[str],
        typer.Argument(
            metavar="CONTAINER PATH...",
            help="The container, and the logs of the whole voyage: the others are what it is compared with. "
            "With --archive only the container, after --verify only the logs.",
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder for page, PDF and bundle; reports/CONTAINER without it."),
    ] = None,
    start: Annotated[
        str | None, typer.Option("--from", help="Begin of the window, such as 2026-01-31T10:00Z.")
    ] = None,
    end: Annotated[str | None, typer.Option("--to", help="End of the window.")] = None,
    events: EventsFile = None,
    notes: NotesFile = None,
    facts: FactsFile = None,
    plan: PlanFile = None,
    bookings: BookingsFile = None,
    goods: Goods = None,
    protocols: Protocols = None,
    parsers: Parsers = None,
    band: Band = None,
    date_order: DateOrderOption = None,
    time_zone: TimeZone = None,
    layout: Layout = None,
    refrigerant: Refrigerants = None,
    causes: Causes = None,
    archive: Annotated[
        Path | None,
        typer.Option("--archive", help="Take the voyage out of this archive, instead of its logs."),
    ] = None,
    voyage: Annotated[
        str | None,
        typer.Option("--voyage", help="Name of the voyage, where the archive has the container on several."),
    ] = None,
    bundle: Annotated[
        Path | None,
        typer.Option(
            "--verify", help="Reckon this bundle again from the logs, and name the first difference."
        ),
    ] = None,
) -> None:
    """Reconstruct what one container went through, or verify an earlier reconstruction."""
    from coldsift.engine.evidence import DossierError

    if bundle is not None:
        _only(
            context,
            ("arguments", "bundle", "parsers"),
            "--verify takes a bundle, its logs and --parsers. Leave out {}: the bundle is reckoned again "
            "with what it holds.",
        )
        _verify(bundle, arguments, parsers or [])
    if archive is not None:
        _only(
            context,
            ("arguments", "out", "start", "end", "date_order", "time_zone", "archive", "voyage"),
            "a voyage out of an archive is told with the papers and settings that it was screened with. "
            "Leave out {}; or screen the logs again so, and add the run with archive add --replace.",
        )
    with _refusing():
        if archive is None and voyage is not None:
            raise DossierError(
                "--voyage chooses one of an archive. Give the archive's folder with --archive."
            )
        if archive is None and len(arguments) < 2:
            raise DossierError(
                "name the container and then its logs: coldsift dossier CONTAINER PATH...; or the archive "
                "that keeps its voyage: coldsift dossier CONTAINER --archive DIR"
            )
        if archive is not None and len(arguments) > 1:
            raise DossierError(
                f"with --archive no logs are read: leave out {', '.join(arguments[1:])}, or --archive."
            )
        request = _request(arguments[0], start, end, time_zone, date_order)
    folder = out or Path("reports") / request.container
    if archive is not None:
        _dossier_from_archive(archive, voyage, request, folder)
    from coldsift.engine import VoyageFiles

    settings = _settings(
        band=band,
        parsers=parsers,
        date_order=date_order,
        time_zone=time_zone,
        layout=layout,
        refrigerant=refrigerant,
        causes=causes,
        thresholds=None,
        voyage=VoyageFiles(
            facts=facts,
            plan=plan,
            bookings=bookings,
            events=events,
            notes=notes,
            goods=goods,
            protocols=protocols,
        ),
    )
    _dossier_from_logs(arguments[1:], settings, request, folder)


def _request(
    container: str, start: str | None, end: str | None, time_zone: str | None, date_order: DateOrder | None
) -> Request:
    from coldsift.engine.reconstructing import Request, instant

    order = None if date_order is None else date_order.value
    times = (
        instant(text, option, time_zone, order) if text else None
        for text, option in ((start, "--from"), (end, "--to"))
    )
    return Request(container, *times)


def _dossier_from_logs(paths: list[str], settings: Settings, request: Request, out: Path) -> NoReturn:
    from coldsift.cli.terminal import follow, show_dossier
    from coldsift.engine import processes, screen, write_dossier
    from coldsift.engine.bundles import MARKER, OWN
    from coldsift.engine.folders import holding

    with (
        _refusing(),
        holding(out, MARKER, OWN, say),
        follow("dossier") as progress,
        processes(out) as runner,
    ):
        screening = screen(paths, settings, progress, runner)
        progress("dossier", 0, 1)
        written = write_dossier(screening, request, out)
    show_dossier(screening.messages, written)
    raise typer.Exit(int(screening.status))


def _dossier_from_archive(archive: Path, voyage: str | None, request: Request, out: Path) -> NoReturn:
    from coldsift.archive import ArchiveError
    from coldsift.cli.terminal import show_dossier
    from coldsift.engine import write_dossier
    from coldsift.engine.bundles import MARKER, OWN
    from coldsift.engine.folders import holding
    from coldsift.engine.recalled import recall

    with (
        _refusing(),
        refusing(ArchiveError),
        holding(out, MARKER, OWN, say),
        recall(archive, request.container, voyage, request.start, request.end) as recalled,
    ):
        written = write_dossier(recalled, request, out)
    show_dossier(recalled.messages, written)
    raise typer.Exit(recalled.status)


def _only(context: typer.Context, taken: tuple[str, ...], words: str) -> None:
    """End with status 2 when another option is given than these; ``words`` have a place for them."""
    given = [
        parameter.opts[0]
        for parameter in context.command.params
        if parameter.name not in taken
        and (source := context.get_parameter_source(str(parameter.name))) is not None
        and source.name == "COMMANDLINE"
    ]
    if given:
        say(f"error: {words.format(', '.join(given))}")
        raise typer.Exit(2)


def _verify(bundle: Path, sources: list[str], parsers: list[Path]) -> None:
    """Reckon a bundle again; status 0 when nothing differs, 1 when something does."""
    from coldsift.cli.terminal import follow
    from coldsift.engine import verify

    with _refusing(), follow("dossier") as progress:
        verdict = verify(bundle, sources, parsers, progress)
    for note in verdict.notes:
        say(f"note: {note}")
    if verdict.difference:
        tell(f"Not the same. First difference: {verdict.difference}.")
        raise typer.Exit(1)
    tell(f"The same: {verdict.values} values reckoned again from the sources, none differs.")
    if verdict.files:
        tell(f"Made again, the same byte for byte: {', '.join(verdict.files)}.")
    raise typer.Exit(0)


def _summary(screening: Screening, folder: str | None) -> dict[str, Any]:
    from coldsift.engine.summary import voyage_summary
    from coldsift.engine.write import manifest

    whole = manifest(screening)
    kept = ("tool", "version", "status", "units", "groups", "rows", "messages")
    return {
        **{key: whole[key] for key in kept},
        "out": folder,
        "findings": screening.findings.to_dicts(),
        "voyage": voyage_summary(screening),
    }


@app.command()
def check(
    container: Annotated[
        str | None, typer.Argument(help="Container of a finished run; leave it out with --reading.")
    ] = None,
    run: Annotated[
        Path | None, typer.Option("--run", help="Folder of the run; the only one under reports without it.")
    ] = None,
    saw: Annotated[
        list[str] | None,
        typer.Option("--saw", help="What was seen: OBSERVATION=yes or =no; may be repeated."),
    ] = None,
    answers: Annotated[
        Path | None, typer.Option("--answers", help="Answers saved from the report's page.")
    ] = None,
    reading: Annotated[
        list[str] | None,
        typer.Option(
            "--reading",
            help="No log, only the display: CHANNEL=VALUE with unit, such as supply_air=-1.5 or "
            "suction_pressure=-0.9bar_g; may be repeated.",
        ),
    ] = None,
    refrigerant: Annotated[
        str | None, typer.Option("--refrigerant", help="Refrigerant of the unit read off; R134a without it.")
    ] = None,
    causes: Causes = None,
    observations: Annotated[
        bool, typer.Option("--observations", help="List what can be seen or measured, and stop.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print for machines.")] = False,
) -> None:
    """Put what you saw to a finished run, or judge a unit by its readings alone; says what to check next."""
    from coldsift.causes import CatalogueError, load_catalogue
    from coldsift.cli.terminal import show_check
    from coldsift.engine import checking
    from coldsift.engine.readings import ReadingError, parse_readings

    try:
        catalogue = load_catalogue(causes)
        if observations:
            for each in catalogue.observations.values():
                tell(f"{each.id:34}  {each.question}")
            return
        if (container is None) == (not reading):
            raise checking.CheckError(
                "name a container of a finished run, or give --reading; one of the two."
            )
        seen = checking.parse_answers(saw or [], catalogue)
        noted: dict[str, bool] = {}
        if container is not None:
            folder = checking.finished_run(run)
            own, evidence = checking.check_run(folder, container)
            noted = checking.noted_in(folder, own["container"][0])
        else:
            own, evidence = checking.check_readings(
                parse_readings(reading or []),
                refrigerants_of([refrigerant] if refrigerant else [])[0],
                catalogue,
            )
        if answers:
            saved = checking.read_answers(answers, own["container"][0], catalogue)
            seen = {**saved, **seen}
        checked = checking.conclude(own, evidence, seen, catalogue, noted)
    except (CatalogueError, checking.CheckError, ReadingError) as error:
        say(f"error: {error}")
        raise typer.Exit(2) from None
    if as_json:
        tell_json(checking.as_json(checked))
    else:
        show_check(checked)


@app.command()
def tune(
    runs: Annotated[list[Path], typer.Argument(help="Folders that screen wrote.")],
    labels: Annotated[
        Path,
        typer.Option(
            "--labels",
            help="CSV with the headings container and found (a cause id, fault, healthy or nothing), and run "
            "(folder name) where a container is in several runs.",
        ),
    ],
    out: Annotated[Path, typer.Option("--out", help="Thresholds file to write, for screen --thresholds.")],
    costs: Annotated[
        Path | None,
        typer.Option(
            "--costs", help="File with costs of your own, as in a thresholds file; ours without it."
        ),
    ] = None,
    causes: Causes = None,
) -> None:
    """Choose the thresholds of the groups by cost, on finished runs whose units you have labelled."""
    from coldsift.causes import CatalogueError, load_catalogue
    from coldsift.cli.terminal import show_history, show_tuned
    from coldsift.engine import labelled
    from coldsift.ranking import ThresholdsError, load_costs
    from coldsift.ranking.thresholds import SHIPPED

    try:
        minutes = load_costs(costs or SHIPPED)
        history = labelled.read_history(runs, labels, load_catalogue(causes))
        show_history(history)
        tuned = labelled.tune(history, minutes)
        labelled.write_thresholds(tuned.thresholds, out)
    except (CatalogueError, ThresholdsError, labelled.LabelError) as error:
        say(f"error: {error}")
        raise typer.Exit(2) from None
    show_tuned(tuned, history, out)


@app.command()
def simulate(
    out: Annotated[Path, typer.Option("--out", help="Folder for the simulated logs; new or empty.")],
    sample: Annotated[
        bool, typer.Option("--sample", help="The invented voyage of sample_logs; other options are ignored.")
    ] = False,
    pre_trip: Annotated[
        bool,
        typer.Option("--pre-trip", help="Invented pre-trip inspections; other options are ignored."),
    ] = False,
    units: Annotated[int, typer.Option(min=1, max=5000, help="Number of containers.")] = 40,
    days: Annotated[float, typer.Option(min=1, max=120, help="Length of the voyage in days.")] = 14,
    seed: Annotated[int, typer.Option(help="Same seed, same bytes.")] = 1,
    begin: Annotated[
        datetime,
        typer.Option(
            formats=["%Y-%m-%d"],
            help="First day. Seeds share container numbers: give each of several voyages its own days.",
        ),
    ] = datetime(2031, 1, 6),
    route: Annotated[Route, typer.Option(help="Weather on the way.")] = Route.MIXED,
    fault_share: Annotated[float, typer.Option(min=0, max=1, help="Share of units with a fault.")] = 0.2,
    log_layout: Annotated[
        str, typer.Option("--layout", help="Layout to write; plain_words is comma-separated trade words.")
    ] = "plain_words",
) -> None:
    """Simulate a voyage with planted faults, truth written beside it in voyage.json."""
    from coldsift.simulate.folder import VoyageError, write_sample, write_voyage
    from coldsift.simulate.pre_trip_folder import write_pre_trip_sample

    try:
        if sample:
            written = write_sample(out)
        elif pre_trip:
            written = write_pre_trip_sample(out)
        else:
            written = write_voyage(
                out,
                units=units,
                days=days,
                seed=seed,
                route=route.value,
                fault_share=fault_share,
                layout=log_layout,
                start=begin.replace(tzinfo=UTC),
            )
    except VoyageError as error:
        say(f"error: {error}")
        raise typer.Exit(2) from None
    tell(f"{len(written)} simulated log files in {out}; what is planted stands in {out / 'voyage.json'}")


@app.command()
def schema(
    table: Annotated[str | None, typer.Argument(help="One table; all without it.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print for machines.")] = False,
) -> None:
    """Print the tables and their columns: units, types, meaning."""
    from coldsift.cli.terminal import show_tables
    from coldsift.schema import SCHEMA_VERSION, TABLES

    if table is not None and table not in TABLES:
        say(f"error: no table {table!r}. There are: {', '.join(TABLES)}.")
        raise typer.Exit(2)
    chosen = {table: TABLES[table]} if table else TABLES
    if as_json:
        tell_json(
            {
                "schema": SCHEMA_VERSION,
                "tables": {
                    name: [
                        {
                            "name": column.name,
                            "type": str(column.dtype),
                            "unit": column.unit,
                            "words": column.words,
                        }
                        for column in entry.columns
                    ]
                    for name, entry in chosen.items()
                },
            }
        )
    else:
        tell(f"Schema {SCHEMA_VERSION}")
        show_tables(chosen)


@layout_app.command("list")
def layout_list(parsers: Parsers = None) -> None:
    """List the log layouts that coldsift knows."""
    from coldsift.intake.layouts import load_layouts

    layouts, messages = load_layouts(parsers or [])
    for entry in layouts:
        tell(f"{entry.name:20}  {entry.about}")
    tell(f"{'generic':20}  any table whose headings are plain trade words with units")
    for message in messages:
        say(f"{message.severity}: {message.file}: {message.what} {message.do}")


@layout_app.command("try")
def layout_try(
    file: Annotated[Path, typer.Argument(help="A log file.")],
    parsers: Parsers = None,
) -> None:
    """Say how well each layout fits a file, and why."""
    from coldsift.intake.layouts import load_layouts, try_layouts

    for message in load_layouts(parsers or [])[1]:
        say(f"{message.severity}: {message.file}: {message.what} {message.do}")
    try:
        ranked = try_layouts(file, parsers or [])
    except ValueError as error:
        say(str(error))
        raise typer.Exit(2) from None
    for entry, score, reasons in ranked:
        tell(f"{score:5.0f}  {entry.name}")
        for reason in reasons:
            tell(f"       {reason}")


@layout_app.command("draft")
def layout_draft(file: Annotated[Path, typer.Argument(help="A log file that no layout fits.")]) -> None:
    """Write a starter layout for a file, guesses marked, to the standard output."""
    from coldsift.intake.layouts import draft_layout

    try:
        typer.echo(draft_layout(file), nl=False)
    except ValueError as error:
        say(str(error))
        raise typer.Exit(2) from None
