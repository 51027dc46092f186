"""The pages of some units, apart from the rest of the report: they can be written in another process.

Goes in: what the report holds of these units, and their readings. Comes out: HTML texts, one a unit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import polars as pl

from coldsift.report.language import load_language
from coldsift.report.model import Heading, LogView, ProbableCause, Row
from coldsift.report.rendering import Look, Pages
from coldsift.report.unit_views import UnitTables, cards

SHARED = "shared.js"
"""The chart library, the table of checks, and what draws and reckons with them: once for all unit pages."""

UNIT_STYLES = ("base.css", "card.css", "charts.css")
UNIT_SCRIPTS = ("base.js", "answers.js", "unit.js")
UNIT_LOOK = Look(UNIT_STYLES, UNIT_SCRIPTS)


@dataclass(frozen=True, slots=True)
class Neighbour:
    """What a unit's page needs to know of the unit before or after it in the list."""

    rank: int
    container: str
    page: str


@dataclass(frozen=True, slots=True)
class UnitPages:
    """What the pages of some units are made from; small, and fit to be sent to another process.

    Attributes
    ----------
    language
        Code of the language of the pages.
    one_file
        Write cards for the one page, instead of pages beside the index.
    heading
        Of the report.
    rows, logs
        The units' lines of the list and of the data quality, in the same order.
    neighbours
        The units before and after each of them in the list.
    probable
        Probable cause by container.
    tables
        Everything else.
    """

    language: str
    one_file: bool
    heading: Heading
    rows: tuple[Row, ...]
    logs: tuple[LogView, ...]
    neighbours: tuple[tuple[Neighbour | None, Neighbour | None], ...]
    probable: Mapping[str, ProbableCause]
    tables: UnitTables

    def pages(self, timeline: pl.DataFrame) -> Iterator[tuple[str, str]]:
        """Write the page of every unit; for the one page, its card.

        Parameters
        ----------
        timeline
            The common log of these units, sorted by container and time, with ``regime``, ``controlling_air``,
            ``band_low``, ``band_high``, ``evaporating``, ``condensing`` [°C] and ``gap`` (true where the next
            reading is missing). Readings of other units are left alone.

        Yields
        ------
        tuple
            The page's path in the report's folder, and its text. In one file: the card's place on the page,
            and its text, which :meth:`coldsift.report.Report.rest` wants to have.
        """
        pages = Pages(load_language(self.language), self.heading)
        told = cards(self.tables, timeline, self.rows, self.logs, self.probable)
        for card, (before, after) in zip(told, self.neighbours, strict=True):
            if self.one_file:
                yield card.row.page, pages.filled("unit_section.html", card=card)
            else:
                yield (
                    card.row.page,
                    pages.page("unit.html", UNIT_LOOK, card=card, before=before, after=after, shared=SHARED),
                )
