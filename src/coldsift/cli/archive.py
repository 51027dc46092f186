"""The commands on voyages kept. Heavy libraries are loaded inside them, so that help answers at once."""

from __future__ import annotations

import base64
import csv
import io
import itertools
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from coldsift.cli.options import say, tell, tell_json
from coldsift.cli.printable import as_json, plain

if TYPE_CHECKING:
    from coldsift.archive import Answer

archive_app = typer.Typer(
    help="Voyages kept: add finished runs, and ask what came again.", no_args_is_help=True
)

SHOWN_ROWS = 100
"""Rows that a query shows as a table."""

LONGEST_CELL = 60

Archive = Annotated[Path, typer.Option("--archive", help="Folder of the archive.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print for machines.")]
HOME = Path("archive")


@archive_app.command("add")
def archive_add(
    run: Annotated[Path, typer.Argument(help="Folder of a finished run, as screen writes it.")],
    to: Annotated[Path, typer.Option("--to", help="Folder of the archive; made when there is none.")] = HOME,
    voyage: Annotated[
        str | None, typer.Option("--voyage", help="Name of the voyage; the run's folder's without it.")
    ] = None,
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Take this run in place of the one that is kept of the same voyage."),
    ] = False,
) -> None:
    """Keep a finished run. The same one twice changes nothing."""
    with _refusing():
        from coldsift.archive import add_run

        added = add_run(
            run,
            to,
            voyage,
            replace=replace,
            waiting=lambda: say("Another run is being added; waiting for it."),
        )
    if added.outcome == "unchanged":
        tell(f"Kept already as {added.name} ({added.voyage}); nothing was changed.")
    elif added.outcome == "replaced":
        tell(f"Kept as {added.name} ({added.voyage}) in place of {', '.join(added.replaced)}.")
    else:
        tell(f"Kept as {added.name} ({added.voyage}).")


@archive_app.command("list")
def archive_list(archive: Archive = HOME, as_json: AsJson = False) -> None:
    """List the voyages kept."""
    with _refusing():
        from coldsift.archive import read_voyages
        from coldsift.schema import GROUPS

        voyages = read_voyages(archive).to_dicts()
    if as_json:
        tell_json([*map(_for_json, voyages)])
        return
    if not voyages:
        tell("No voyage is kept yet.")
        return
    _table(
        (
            "voyage",
            "name",
            "begin",
            "end",
            "units",
            *(group.replace("_", " ") for group in GROUPS),
            "made by",
        ),
        [
            (
                row["voyage"],
                row["name"] + (" (simulated)" if row["invented"] else ""),
                _day(row["begin"]),
                _day(row["end"]),
                str(row["units"]),
                *(str(row[group]) for group in GROUPS),
                f"coldsift {row['version']}",
            )
            for row in voyages
        ],
    )


@archive_app.command("again")
def archive_again(archive: Archive = HOME, as_json: AsJson = False) -> None:
    """Say what came again: odd units, causes after their repair, numbers that drift from voyage to voyage."""
    with _refusing():
        from coldsift.archive import again

        found = again(archive)
    parts = (
        ("Came back after a repair", "came_back", found.came_back),
        ("Odd on more than one voyage", "odd", found.odd),
        ("Drift from voyage to voyage", "drift", found.drift),
    )
    if as_json:
        told = {key: [*map(_for_json, frame.to_dicts())] for _, key, frame in parts}
        tell_json({"voyages": found.voyages, "invented": found.invented, **told})
        return
    simulated = {0: "", found.voyages: ", all simulated"}.get(
        found.invented, f", {found.invented} of them simulated"
    )
    tell(f"Voyages kept: {found.voyages}{simulated}.")
    for heading, _, frame in parts:
        tell(heading)
        for container, words in frame.select("container", "words").iter_rows():
            tell(f"  {plain(container, LONGEST_CELL)}  {words}")
        if frame.is_empty():
            tell("  none")
    tell("A unit that is not named here is not shown to be sound.")


@archive_app.command("sql")
def archive_sql(
    text: Annotated[str, typer.Argument(metavar="QUERY", help='Such as "SELECT * FROM voyages".')],
    archive: Archive = HOME,
    as_json: AsJson = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print as CSV, for spreadsheets.")] = False,
) -> None:
    """Ask the archive with one SELECT, over the tables of coldsift schema and over voyages."""
    if as_json and as_csv:
        say("error: --json and --csv are two forms of one answer. Give one of them.")
        raise typer.Exit(2)
    with _refusing():
        from coldsift.archive import query

        with query(archive, text) as answer:
            if as_json:
                _refuse_twice(answer.columns)
                _print_json(answer)
            elif as_csv:
                _print_csv(answer)
            else:
                _print_rows(answer)


@archive_app.command("send")
def archive_send(
    address: Annotated[
        str,
        typer.Argument(
            metavar="ADDRESS",
            help="postgresql://USER@HOST/DATABASE. Give the password in PGPASSWORD or in your password file: "
            "others on the machine can read a command's line.",
        ),
    ],
    archive: Archive = HOME,
) -> None:
    """Write all voyages kept into a PostgreSQL database. Twice is the same as once."""
    with _refusing():
        from coldsift.archive import send

        sent = send(archive, address)
    if sent.voyages:
        tell(f"Sent to {sent.where}: {', '.join(sent.voyages)}; {sent.rows} rows.")
    if sent.unchanged:
        tell(f"There already and unchanged: {sent.unchanged}.")
    if sent.left_out:
        tell(f"Left out, since a newer coldsift added them: {', '.join(sent.left_out)}. Update coldsift.")


@contextmanager
def _refusing() -> Iterator[None]:
    """End with status 2 and the message on anything that was called or given wrongly."""
    from coldsift.archive import ArchiveError

    try:
        yield
    except ArchiveError as error:
        say(f"error: {error}")
        raise typer.Exit(2) from None


def _table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Columns one under another; texts may hold anything."""
    cells = [[plain(text, LONGEST_CELL) for text in row] for row in (headings, *rows)]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    for row in cells:
        padded = (text.ljust(width) for text, width in zip(row, widths, strict=True))
        typer.echo("  ".join(padded).rstrip())


def _print_rows(answer: Answer) -> None:
    first = [*itertools.islice(answer.rows, SHOWN_ROWS + 1)]
    _table(answer.columns, [[*map(_shown, row)] for row in first[:SHOWN_ROWS]])
    if len(first) > SHOWN_ROWS:
        tell(f"… the first {SHOWN_ROWS} rows; --csv and --json give all of them")


def _print_json(answer: Answer) -> None:
    """One object a row, as the rows come."""
    between = "[\n"
    for row in answer.rows:
        held = _for_json(dict(zip(answer.columns, row, strict=True)))
        typer.echo(f"{between}{as_json(held, None)}", nl=False)
        between = ",\n"
    typer.echo("[]" if between == "[\n" else "\n]")


def _refuse_twice(columns: Sequence[str]) -> None:
    """An object holds one value of a name: no other is lost without a word."""
    twice = next((name for name in columns if columns.count(name) > 1), None)
    if twice is not None:
        say(f"error: two columns are named {twice}. Name one of them otherwise with AS, or ask for CSV.")
        raise typer.Exit(2)


def _print_csv(answer: Answer) -> None:
    """No text of it is a formula; numbers stay numbers."""
    mark = "\ufeff"  # Spreadsheets look for it.
    for row in itertools.chain([answer.columns], answer.rows):
        line = io.StringIO()
        csv.writer(line, lineterminator="").writerow([*map(_field, row)])
        typer.echo(f"{mark}{line.getvalue()}")
        mark = ""


def _field(value: Any) -> Any:
    from coldsift.engine.spreadsheets import csv_field

    return value if value is None or isinstance(value, int | float | Decimal) else csv_field(_shown(value))


def _shown(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bytes):
        return base64.b64encode(value).decode()
    if isinstance(value, datetime):
        return value.isoformat().replace("+00:00", "Z")
    if isinstance(value, list):
        return "; ".join(map(_shown, value))
    if isinstance(value, float):
        return f"{value:g}"
    return str(value)


def _for_json(row: dict[str, Any]) -> dict[str, Any]:
    return {name: _json_value(value) for name, value in row.items()}


def _json_value(value: Any) -> Any:
    if isinstance(value, Decimal):
        value = float(value)
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, list):
        return [*map(_json_value, value)]
    return _shown(value)


def _day(time: date | None) -> str:
    return time.strftime("%Y-%m-%d") if time else ""
