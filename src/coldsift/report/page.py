"""From view models to HTML texts."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Sequence
from functools import cache
from importlib import resources
from typing import Any

import plotly.offline
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from coldsift.report.attributes import MachineAttributes
from coldsift.report.cause_views import blank_hypotheses, probable_causes, script_table
from coldsift.report.embedded import script_safe
from coldsift.report.handover_views import handover
from coldsift.report.language import Language, as_logged, load_language
from coldsift.report.material import Material
from coldsift.report.ship_views import ship_view
from coldsift.report.unit_views import cards
from coldsift.report.views import build_index, list_rows, log_views
from coldsift.set_points import orders_to_confirm

INDEX = "index.html"
HANDOVER = "handover.html"
UNITS = "units"
SHARED = "shared.js"
"""The chart library, the table of checks, and what draws and reckons with them: once for all unit pages."""

INDEX_SCRIPTS = ("base.js", "list.js", "fleet.js")
SHARED_SCRIPTS = ("chart_data.js", "chart_panels.js", "charts.js", "checks.js")
UNIT_SCRIPTS = ("base.js", "answers.js", "unit.js")
ONE_FILE_SCRIPTS = ("base.js", "list.js", "fleet.js", *SHARED_SCRIPTS, "answers.js", "unit.js")
INDEX_STYLES = ("base.css", "list.css", "ship.css", "fleet.css")
UNIT_STYLES = ("base.css", "card.css", "charts.css")
ONE_FILE_STYLES = (*INDEX_STYLES, "card.css", "charts.css")
HANDOVER_STYLES = ("base.css", "handover.css")

TEMPLATES = resources.files("coldsift.report") / "templates"


def build_report(
    material: Material, *, one_file: bool = False, language: str = "en"
) -> Iterator[tuple[str, str]]:
    """Write the report as HTML texts that need no network.

    Parameters
    ----------
    material
        Everything it is made from.
    one_file
        Put the units' cards into the index instead of on pages beside it; the hand-over sheet stays beside.
    language
        Code of the language of the pages, one of :func:`coldsift.report.available`.

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
    spoken = load_language(language)
    environment = _environment(spoken)
    groups = dict(material.findings.select("container", "group").iter_rows())
    probable = probable_causes(
        material.causes,
        material.evidence,
        material.catalogue,
        material.feature_words,
        groups,
        material.seen,
        orders_to_confirm(material.set_points),
    )
    rows = list_rows(material, probable, _place_on_page if one_file else _page_beside)
    logs = log_views(material, rows)
    index = build_index(material, rows, logs)
    ship = ship_view(material, rows)
    shared = _shared(environment, material, spoken, index.run) if probable else ""
    told = cards(material, rows, logs, probable)
    common = {
        "index": index,
        "ship": ship,
        "language": spoken.code,
        "texts": script_safe(spoken.script_texts()),
    }
    chart_library = plotly.offline.get_plotlyjs()

    def page(
        template: str, styles: Sequence[str], scripts: Sequence[str], library: str = "", **values: Any
    ) -> str:
        # A page with scripts but without the chart library loads the one that lies beside it.
        return environment.get_template(template).render(
            **common,
            **values,
            policy=_policy([*scripts, library] if library else scripts, beside=bool(scripts) and not library),
            style=Markup("\n".join(map(_asset, styles))),
            scripts=[Markup(script) for script in scripts],
            library=Markup(library),
        )

    sheet = handover(material, rows, ship)
    # The one page without scripts: it is for paper.
    yield HANDOVER, page("handover.html", HANDOVER_STYLES, (), sheet=sheet)
    if one_file:
        scripts = [shared, *map(_asset, ONE_FILE_SCRIPTS)]
        yield INDEX, page("index.html", ONE_FILE_STYLES, scripts, library=chart_library, cards=told)
        return
    yield f"{UNITS}/{SHARED}", "\n".join([shared, *map(_asset, SHARED_SCRIPTS), chart_library])
    scripts = [*map(_asset, UNIT_SCRIPTS)]
    for place, card in enumerate(told):
        yield (
            rows[place].page,
            page(
                "unit.html",
                UNIT_STYLES,
                scripts,
                card=card,
                before=rows[place - 1] if place else None,
                after=rows[place + 1] if place + 1 < len(rows) else None,
                shared=SHARED,
            ),
        )
    scripts = [*map(_asset, INDEX_SCRIPTS)]
    yield INDEX, page("index.html", INDEX_STYLES, scripts, library=chart_library, cards=None)


def _page_beside(anchor: str) -> str:
    return f"{UNITS}/{anchor.removeprefix('unit-')}.html"


def _place_on_page(anchor: str) -> str:
    return f"#{anchor}"


def _environment(language: Language) -> Environment:
    environment = Environment(
        loader=PackageLoader("coldsift.report"),
        extensions=["jinja2.ext.i18n", MachineAttributes],
        autoescape=True,
        finalize=language.printed,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.policies["ext.i18n.trimmed"] = True
    environment.install_gettext_callables(  # type: ignore[attr-defined]
        language.gettext, language.ngettext, newstyle=True
    )
    environment.filters["as_logged"] = as_logged
    return environment


def _shared(environment: Environment, material: Material, language: Language, run: str) -> str:
    """What the checks of every unit need, as a script: the table for the sums, and causes not shown yet."""
    blank = environment.get_template("blank_hypotheses.html").render(
        hypotheses=blank_hypotheses(material.catalogue)
    )
    table = script_table(material.catalogue, run, language.translate)
    return f"window.coldsiftCheckTable={table};\nwindow.coldsiftBlankHypotheses={script_safe(blank)};"


@cache
def _asset(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


def _policy(scripts: Sequence[str], beside: bool) -> str:
    """Content-security policy: nothing is fetched from elsewhere, and only these very scripts run.

    ``beside`` lets a page load the script that lies beside it, too.
    """
    digests = (base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts)
    allowed = (
        " ".join([*(["'self'"] if beside else []), *(f"'sha256-{digest}'" for digest in digests)]) or "'none'"
    )
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
