"""Options that several commands share, and how a command that was called wrongly ends."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from coldsift.cli.printable import as_json, plain


class DateOrder(StrEnum):
    """Order of day and month where the data cannot settle it."""

    DAY_FIRST = "day_first"
    MONTH_FIRST = "month_first"


Parsers = Annotated[
    list[Path] | None, typer.Option("--parsers", help="Folder with your own log layouts; may be repeated.")
]
DateOrderOption = Annotated[
    DateOrder | None,
    typer.Option("--date-order", help="Order of day and month in dates that leave it open."),
]
TimeZone = Annotated[
    str | None,
    typer.Option("--time-zone", help="Zone of times that name none: UTC, +02:00 or Europe/Amsterdam."),
]
Layout = Annotated[str | None, typer.Option("--layout", help="Read every file with this layout.")]
Refrigerants = Annotated[
    list[str] | None,
    typer.Option(
        "--refrigerant",
        help="Refrigerant of every unit that names none in its log (R134a without this), or CONTAINER=NAME "
        "for one unit; may be repeated.",
    ),
]


def say(text: str) -> None:
    """Print a line to the standard error stream, whatever is in it."""
    typer.echo(plain(text), err=True)


def tell(text: str) -> None:
    """Print a line, whatever is in it."""
    typer.echo(plain(text))


def tell_json(value: Any) -> None:
    """Print for machines, so that a terminal may show it too."""
    typer.echo(as_json(value))


@contextmanager
def refusing(*errors: type[Exception]) -> Iterator[None]:
    """End with status 2 and the message on one of these errors."""
    try:
        yield
    except errors as error:
        # Some messages list one fault a line.
        for line in f"error: {error}".split("\n"):
            say(line)
        raise typer.Exit(2) from None


def refrigerants_of(given: list[str]) -> tuple[str, dict[str, str]]:
    """Refrigerant of all units, and by container; ends with status 2 on a name that is none."""
    from coldsift import container_numbers
    from coldsift.refrigerant import DEFAULT_REFRIGERANT, UnknownRefrigerant, saturation

    every, own = DEFAULT_REFRIGERANT, {}
    for text in given:
        container, separator, name = text.rpartition("=")
        try:
            known = saturation(name.strip()).name
        except UnknownRefrigerant as error:
            say(f"error: --refrigerant {text}: {error}.")
            raise typer.Exit(2) from None
        if separator:
            own[container_numbers.tidy(container)] = known
        else:
            every = known
    return every, own
