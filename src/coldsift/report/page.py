"""The report of a voyage: pages of units, batch by batch, and the rest."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import plotly.offline
import polars as pl
from markupsafe import Markup

from coldsift.report.by_unit import ByUnit
from coldsift.report.cause_views import blank_hypotheses, probable_causes, script_table
from coldsift.report.embedded import script_safe
from coldsift.report.handover_views import handover
from coldsift.report.language import Language, load_language
from coldsift.report.material import Material
from coldsift.report.model import Heading, LogView, ProbableCause, Row
from coldsift.report.rendering import Look, Pages, asset
from coldsift.report.ship_views import ship_view
from coldsift.report.unit_pages import SHARED, UNIT_SCRIPTS, UNIT_STYLES, Neighbour, UnitPages
from coldsift.report.unit_views import UnitTables
from coldsift.report.views import build_index, list_rows, log_views, run_of
from coldsift.schema import COMMON_LOG, REGIME
from coldsift.set_points import orders_to_confirm

INDEX = "index.html"
HANDOVER = "handover.html"
UNITS = "units"

SHARED_SCRIPTS = ("chart_data.js", "chart_panels.js", "charts.js", "checks.js")
INDEX_STYLES = ("base.css", "list.css", "ship.css", "fleet.css")
INDEX_SCRIPTS = ("base.js", "list.js", "fleet.js")
ONE_FILE_STYLES = (*INDEX_STYLES, *UNIT_STYLES[1:])
ONE_FILE_SCRIPTS = (*INDEX_SCRIPTS, *SHARED_SCRIPTS, *UNIT_SCRIPTS[1:])
# The one page without scripts: it is for paper.
HANDOVER_LOOK = Look(("base.css", "handover.css"))
INDEX_LOOK = Look(INDEX_STYLES, INDEX_SCRIPTS, library=True)

NO_TIMELINE = COMMON_LOG.empty().with_columns(gap=pl.lit(False), regime=pl.lit(None, REGIME))
"""Of units without any reading."""


@dataclass(frozen=True, slots=True)
class Report:
    """A report that can be written in parts.

    First the pages of the units, any units at a time and in any process: :meth:`units_of`. Then :meth:`rest`.

    Attributes
    ----------
    material
        Everything it is made from, apart from the readings.
    one_file
        The units' cards stand in the index instead of on pages beside it.
    language
        Of the pages.
    rows, logs
        Every unit's line of the list and of the data quality, by rank.
    probable
        Probable cause by container.
    """

    material: Material
    one_file: bool
    language: Language
    rows: tuple[Row, ...]
    logs: tuple[LogView, ...]
    probable: Mapping[str, ProbableCause]
    _places: Mapping[str, int]
    _tables: Mapping[str, ByUnit]

    def units_of(self, containers: Sequence[str]) -> UnitPages:
        """What the pages of these units need; those that the report does not have are left out.

        Parameters
        ----------
        containers
            Numbers as in ``material.findings``.
        """
        places = [self._places[name] for name in containers if name in self._places]
        names = [self.rows[place].container for place in places]
        own = {table: rows.of(names) for table, rows in self._tables.items()}
        groups = own["peer_groups"]["peer_group"].unique()
        bands = self.material.peer_bands
        return UnitPages(
            language=self.language.code,
            one_file=self.one_file,
            heading=self._heading,
            rows=tuple(self.rows[place] for place in places),
            logs=tuple(self.logs[place] for place in places),
            neighbours=tuple((self._neighbour(place - 1), self._neighbour(place + 1)) for place in places),
            probable={name: self.probable[name] for name in names if name in self.probable},
            tables=UnitTables(
                **own,
                peer_bands=bands.filter(pl.col("peer_group").is_in(groups.implode())),
                feature_words=self.material.feature_words,
            ),
        )

    def rest(self, cards: Mapping[str, str] | None = None) -> Iterator[tuple[str, str]]:
        """Write what is not about a single unit.

        Parameters
        ----------
        cards
            Of a report in one file: all that :meth:`UnitPages.pages` yielded.

        Yields
        ------
        tuple
            A file's path in the report's folder, and its text; the index comes last.
        """
        material, pages = self.material, Pages(self.language, self._heading)
        shared = _shared(material, pages) if self.probable else ""
        if not self.one_file:
            scripts = [shared, *map(asset, SHARED_SCRIPTS), plotly.offline.get_plotlyjs()]
            yield f"{UNITS}/{SHARED}", "\n".join(scripts)
        index = build_index(material, self.rows, self.logs)
        ship = ship_view(material, self.rows)
        sheet = handover(material, self.rows, ship)
        yield HANDOVER, pages.page("handover.html", HANDOVER_LOOK, index=index, ship=ship, sheet=sheet)
        look, sections = INDEX_LOOK, None
        if self.one_file:
            look = Look(ONE_FILE_STYLES, ONE_FILE_SCRIPTS, first=shared, library=True)
            written = cards or {}
            sections = [Markup(written[row.page]) for row in self.rows]
        yield INDEX, pages.page("index.html", look, index=index, ship=ship, sections=sections)

    @property
    def _heading(self) -> Heading:
        return Heading(self.material.title, self.material.invented, len(self.rows))

    def _neighbour(self, place: int) -> Neighbour | None:
        if not 0 <= place < len(self.rows):
            return None
        row = self.rows[place]
        return Neighbour(row.rank, row.container, row.page)


def prepare(material: Material, *, one_file: bool = False, language: str = "en") -> Report:
    """Get a report ready to be written.

    Parameters
    ----------
    material
        Everything it is made from, apart from the readings.
    one_file
        Put the units' cards into the index instead of on pages beside it; the hand-over sheet stays beside.
    language
        Code of the language of the pages, one of :func:`coldsift.report.available`.

    Raises
    ------
    UnknownLanguage
        When there is no catalogue of that language.
    """
    probable = probable_causes(
        material.causes,
        material.evidence,
        material.catalogue,
        material.feature_words,
        dict(material.findings.select("container", "group").iter_rows()),
        material.seen,
        orders_to_confirm(material.set_points),
    )
    rows = list_rows(material, probable, _place_on_page if one_file else _page_beside)
    return Report(
        material=material,
        one_file=one_file,
        language=load_language(language),
        rows=rows,
        logs=log_views(material, rows),
        probable=probable,
        _places={row.container: place for place, row in enumerate(rows)},
        _tables={
            "reasons": ByUnit(material.reasons),
            "features": ByUnit(material.features),
            "excursions": ByUnit(material.excursions),
            "defrosts": ByUnit(material.defrosts),
            "notes": ByUnit(material.notes),
            "repairs": ByUnit(material.repairs),
            "cargo": ByUnit(material.cargo),
            "set_points": ByUnit(material.set_points),
            "evidence": ByUnit(material.evidence.select("container", "feature")),
            "peer_groups": ByUnit(material.peer_groups.select("container", "peer_group")),
        },
    )


def build_report(
    material: Material, timelines: Iterable[pl.DataFrame], *, one_file: bool = False, language: str = "en"
) -> Iterator[tuple[str, str]]:
    """Write the report as HTML texts that need no network.

    Parameters
    ----------
    material, one_file, language
        As for :func:`prepare`.
    timelines
        The common log, batch by batch of units, as for :meth:`UnitPages.pages`; a unit is in one of them.

    Yields
    ------
    tuple
        A file's path in the report's folder, and its text; the index comes last. The same input gives the
        same texts.

    Raises
    ------
    UnknownLanguage
        When there is no catalogue of that language.
    """
    report = prepare(material, one_file=one_file, language=language)
    silent = dict.fromkeys(row.container for row in report.rows)
    cards: dict[str, str] = {}
    for timeline in chain(timelines, [NO_TIMELINE]):
        own = timeline["container"].unique(maintain_order=True).to_list() or [*silent]
        for container in own:
            silent.pop(container, None)
        for path, text in report.units_of(own).pages(timeline):
            if one_file:
                cards[path] = text
            else:
                yield path, text
    yield from report.rest(cards)


def _page_beside(anchor: str) -> str:
    return f"{UNITS}/{anchor.removeprefix('unit-')}.html"


def _place_on_page(anchor: str) -> str:
    return f"#{anchor}"


def _shared(material: Material, pages: Pages) -> str:
    """What the checks of every unit need, as a script: the table for the sums, and causes not shown yet."""
    blank = pages.filled("blank_hypotheses.html", hypotheses=blank_hypotheses(material.catalogue))
    table = script_table(material.catalogue, run_of(material.sources), pages.language.translate)
    return f"window.coldsiftCheckTable={table};\nwindow.coldsiftBlankHypotheses={script_safe(blank)};"
