"""Pages of the documentation that are made from the code, and links from pages to files of the repository.

A hook of mkdocs, named in ``mkdocs.yml``. Goes in: the installed coldsift. Comes out: the pages of ``PAGES``
as Markdown. Nothing on them is typed a second time: commands come from the command line itself, tables from
the schema, features, causes, goods, protocols, layouts and the glossary from what the program reads.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Callable, Iterable, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

import typer.cli
import typer.main
from jinja2 import Environment, PackageLoader
from mkdocs.config.defaults import MkDocsConfig
from mkdocs.structure.files import File, Files
from mkdocs.structure.pages import Page

from coldsift.cargo import load_goods
from coldsift.causes import Catalogue, Cause, load_catalogue
from coldsift.cli.app import app
from coldsift.features import FEATURES, RECENT_HOURS, View
from coldsift.intake.layouts import load_layouts
from coldsift.pre_trip import MEASURES, PHASE_WORDS, load_pass_bands
from coldsift.pre_trip.views import band_words
from coldsift.protocols import load_protocols
from coldsift.report import words
from coldsift.report.glossary import load_glossary
from coldsift.schema import CHANNELS, INSIDE_UNIT, TABLES

ROOT = Path(__file__).resolve().parent.parent
COPIED = "files"
"""Where files of the repository that a page links to stand in the site."""

WIDE = "---\nhide: [toc]\n---"
"""Head of a page whose tables need the room of the contents beside them."""

TOLD_BESIDE = {"SECURITY.md": "security.md", "CHANGELOG.md": "changes.md"}
"""Pages that stand at the top of the repository, where people look for them, and what they are here."""

FOLDERS = {"src/coldsift/protocols/declared": "reference/protocols.md"}
FOLDERS |= {f"{folder}/README.md": page for folder, page in FOLDERS.items()} | TOLD_BESIDE
"""What a link to a folder of the repository shows."""

STAGES = (
    "intake",
    "regimes",
    "features",
    "excursions",
    "days",
    "voyage",
    "cargo",
    "protocols",
    "peers",
    "causes",
    "ranking",
    "report",
    "dossier",
    "pre_trip",
    "refrigerant",
    "simulate",
)


def on_files(files: Files, config: MkDocsConfig) -> Files:
    """Add the pages that are made from the code."""
    for path, page in PAGES.items():
        files.append(File.generated(config, path, content=page()))
    for name, path in TOLD_BESIDE.items():
        files.append(File.generated(config, path, content=_told_beside(name)))
    return files


def on_page_markdown(markdown: str, page: Page, config: MkDocsConfig, files: Files) -> str:
    """Let a link that leaves ``docs/`` lead to a copy of that file, so that the site is whole by itself."""
    here = posixpath.dirname(page.file.src_uri)

    def inside(link: re.Match[str]) -> str:
        target = posixpath.normpath(posixpath.join("docs", here, link["target"]))
        if target.startswith(("docs/", "..")):
            return link[0]
        path = FOLDERS.get(target, f"{COPIED}/{target}")
        if (ROOT / target).is_file() and files.get_file_from_path(path) is None:
            files.append(File.generated(config, path, abs_src_path=str(ROOT / target)))
        return f"]({posixpath.relpath(path, here or '.')}{link['place'] or ''})"

    return re.sub(r"\]\((?P<target>\.\.[^)#\s]*)(?P<place>#[^)\s]*)?\)", inside, markdown)


def _told_beside(name: str) -> str:
    """A page of the top of the repository, its links leading to where the pages are here."""
    text = (ROOT / name).read_text(encoding="utf-8").replace("](docs/", "](")
    for other, path in TOLD_BESIDE.items():
        text = text.replace(f"]({other})", f"]({path})")
    return text


def on_page_content(html: str, page: Page, config: MkDocsConfig, files: Files) -> str:
    """Take the roles off the names in docstrings (``:class:`` and the like), which Markdown does not know."""
    return re.sub(r":(?:attr|class|data|func|meth|mod):(<code>)~?", r"\1", html)


def _cell(value: object) -> str:
    return str(value).replace("|", "\\|").replace("<", "&lt;").replace("*", "\\*").replace("_", "\\_")


def _code(name: str) -> str:
    return f"`{name}`" if name else ""


def _table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [headings, ["---"] * len(headings), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _bullets(told: Iterable[str]) -> str:
    return "\n".join(f"- {_cell(each)}" for each in told)


def _page(*blocks: str) -> str:
    return "\n\n".join(filter(None, blocks)) + "\n"


def commands() -> str:
    """Every command with its arguments and options, as the command line itself tells them."""
    root = typer.main.get_command(app)
    context = typer.Context(root, info_name="coldsift")
    told = typer.cli.get_docs_for_click(obj=root, ctx=context, name="coldsift", title="The command line")
    return _page(
        told.rstrip(),
        "## Exit status",
        "0 when all went well, 1 when it was done but some files could not be used (with `dossier --verify`: "
        "when something differs), 2 when none could be used or the call was wrong.",
    )


def tables() -> str:
    """The channels of the common log, and the columns of every table."""
    channels = (
        (
            _code(each.name),
            _cell(each.label),
            each.unit,
            f"{each.low:g} to {each.high:g}" if each.low is not None and each.high is not None else "",
            _cell(", ".join(each.words)),
        )
        for each in CHANNELS.values()
    )
    written = (
        block
        for table in TABLES.values()
        for block in (
            f"## {table.name}",
            _cell(table.words),
            _table(
                ("column", "type", "unit", "meaning"),
                (
                    (_code(column.name), _code(str(column.dtype)), column.unit, _cell(column.words))
                    for column in table.columns
                ),
            ),
        )
    )
    return _page(
        "# Tables and channels",
        "`coldsift schema` prints the same. Times are UTC, temperatures °C, pressures bar absolute. These "
        "columns are an interface: they stay as they are.",
        "## Channels of the common log",
        "A reading outside its plausible range is set aside as an error of the sensor or of the reading. "
        "Headings of these words, with a unit, need no layout.",
        _table(("channel", "shown as", "unit", "plausible", "headings understood"), channels),
        *written,
    )


def features() -> str:
    """Every feature, by the regime it is taken in."""
    by_regime: dict[str, list[tuple[str, ...]]] = {}
    views: dict[str, list[str]] = {}
    for each in FEATURES.values():
        if each.view is not View.WHOLE:
            views.setdefault(each.base, []).append(each.view)
    for each in FEATURES.values():
        if each.view is View.WHOLE:
            usual = " to ".join(dict.fromkeys(f"{end:g}" for end in each.usual or ()))
            by_regime.setdefault(each.regime, []).append(
                (
                    f"{_cell(each.words)}<br>{_code(each.name)}",
                    _cell(each.unit),
                    _cell(each.formula),
                    _cell(each.source),
                    _cell(each.look_first),
                    usual,
                    ", ".join(views.get(each.name, ())),
                )
            )
    headings = ("feature", "unit", "formula", "source", "look first at", "usual in good units", "also")
    sections = (
        block for regime, rows in by_regime.items() for block in (f"## {regime}", _table(headings, rows))
    )
    return _page(
        WIDE,
        "# Features",
        "A feature is one number about a unit, taken in one regime. Under *also* stand its other views: "
        f"*now* over the last {RECENT_HOURS:g} h alone, *shift* the change from before to these hours, "
        "*trend* the slope by the day. The usual range is wide and common practice, no source; it judges a "
        "unit without enough peers.",
        *sections,
    )


def causes() -> str:
    """Every cause, and everything that can be seen or measured."""
    catalogue = load_catalogue()
    observations = (
        block
        for each in catalogue.observations.values()
        for block in (
            f"### {_cell(each.question)} {{ #{each.id} }}",
            f"{_code(each.id)}, {each.minutes:g} min, risk: {words.plain(each.risk)}",
            _cell(each.how),
        )
    )
    return _page(
        "# Causes and checks",
        "What stands here is the catalogue that the program weighs, printed. Figures in the texts and all "
        "likelihoods of checks are common practice, no source, set by judgement.",
        "## Causes",
        *(_cause(each, catalogue) for each in catalogue.causes.values()),
        "## Checks",
        *observations,
    )


def _cause(cause: Cause, catalogue: Catalogue) -> str:
    checks = (
        f"[{_cell(catalogue.observations[name].question)}](#{catalogue.observations[name].id})"
        for name in cause.first_checks
    )
    kinds = (f"{kind.name}: {kind.repair}" for kind in cause.kinds)
    alike = [catalogue.name(other) for other in cause.alike if other != cause.id]
    told = (
        ("Check, in this order", "\n".join(f"1. {check}" for check in checks)),
        ("Which part, by hand only", _bullets(kinds)),
        ("What can hide it", _bullets(cause.hidden_by)),
        ("Looks the same in a log", _cell(cause.told_apart)),
        ("The log alone does not tell it from", _cell(", ".join(alike))),
        ("If it is left", _cell(cause.if_left)),
        ("Bring", _cell(", ".join((*cause.parts, *cause.tools)))),
        ("Cautions", _bullets(cause.cautions)),
    )
    return _page(
        f"### {cause.name} {{ #{cause.id} }}",
        _code(cause.id),
        _cell(cause.about),
        *(f"**{heading}**\n\n{text}" for heading, text in told if text),
    ).rstrip()


def commodities() -> str:
    """What goods bear, the rules and the packagings."""
    goods = load_goods()

    def number(value: float | None) -> str:
        return "" if value is None else f"{value:g}"

    def span(value: tuple[float, float] | None) -> str:
        return "" if value is None else " to ".join(dict.fromkeys(f"{end:g}" for end in value))

    commodity = (
        (
            f"{_cell(each.name)}<br>{_code(each.id)}",
            span((each.optimum_low, each.optimum_high)),
            number(each.chilling_limit),
            number(each.freezing_point),
            span(each.storage_life_days),
            number(each.q10),
            _cell(each.rule or ""),
            _cell("; ".join(dict.fromkeys(each.sources.values()))),
        )
        for each in goods.commodities.values()
    )
    rule = (
        (
            f"{_cell(each.name)}<br>{_code(each.id)}",
            number(each.limit_low),
            number(each.limit_high),
            _cell(each.about),
            _cell(each.source),
        )
        for each in goods.rules.values()
    )
    packaging = (
        (
            f"{_cell(each.name)}<br>{_code(each.id)}",
            span(each.half_thickness),
            span(each.bulk_density),
            span(each.heat_transfer),
            span(each.conductivity_factor),
        )
        for each in goods.packagings.values()
    )
    return _page(
        WIDE,
        "# Goods, rules and packagings",
        "Temperatures are those of the goods, not of the air: handbook values for sound goods of an average "
        "variety. The shipper’s carriage instruction goes before this page. A facts file names goods by the "
        "name or the id.",
        "## Goods",
        _table(
            (
                "goods",
                "optimum [°C]",
                "chilling limit [°C]",
                "freezing point [°C]",
                "storage life [days]",
                "Q10",
                "rule",
                "sources",
            ),
            commodity,
        ),
        "## Legal limits",
        _table(("rule", "coldest [°C]", "warmest [°C]", "what it says", "source"), rule),
        "## Packagings",
        "All ranges are common practice, no source, set by judgement.",
        _table(
            (
                "packaging",
                "half thickness [m]",
                "bulk density [kg/m³]",
                "heat transfer [W/(m² K)]",
                "conductivity against the goods’",
            ),
            packaging,
        ),
    )


def protocols() -> str:
    """Every declared cold treatment with its rules in sentences, and the keys of a declaration."""
    told = (
        block
        for each in load_protocols().values()
        for block in (
            f"## {_cell(each.name)}",
            f"{_code(each.id)}, edition: {each.edition}",
            _cell(each.about),
            _bullets(each.how_counted),
        )
    )
    keys = (ROOT / "src/coldsift/protocols/declared/README.md").read_text(encoding="utf-8")
    return _page("# Cold treatments", *told, "## A protocol of your own", keys.partition("\n")[2].strip())


def pass_bands() -> str:
    """Every pass band of the pre-trip inspection with its source, and what can be measured."""
    items = load_pass_bands()
    bands = (
        (
            _cell(item.words),
            PHASE_WORDS[item.phase],
            _cell(band_words(item)),
            _cell(item.why),
            _cell(item.source),
        )
        for item in items
    )
    own = (
        (_code(item.id), _code(item.phase), _code(item.measure), item.unit, _cell(item.look_first))
        for item in items
    )
    measures = ((_code(measure.name), measure.unit, _cell(measure.formula)) for measure in MEASURES.values())
    return _page(
        WIDE,
        "# Pass bands of the pre-trip inspection",
        _table(("item", "part of the inspection", "band", "why", "source"), bands),
        "## For a bands file of your own",
        _table(("id", "phase", "measure", "unit", "look at first"), own),
        "## What can be measured",
        "In any phase; the features of a voyage are taken as if the phase were a unit's hold.",
        _table(("measure", "unit", "what is computed"), measures),
    )


def layouts() -> str:
    """How a layout is written, and which ones there are."""
    keys = (ROOT / "parsers/README.md").read_text(encoding="utf-8").strip()
    shipped = ((_code(each.name), _cell(each.about)) for each in load_layouts(())[0])
    return _page(keys, "## Layouts that come with coldsift", _table(("layout", "form"), shipped))


def glossary() -> str:
    """The trade's terms, and the units used inside."""
    terms = (
        f"{_cell(each.term)}{f' [{each.unit}]' if each.unit else ''}\n\n"
        f":   {_cell(each.meaning)}{f' *{_cell(each.source)}.*' if each.source else ''}"
        for each in load_glossary()
    )
    units = ((_cell(name), unit) for name, unit in INSIDE_UNIT.items() if unit)
    return _page(
        "# Units and words",
        "Whatever a log is written in, readings are turned once into these units. The report shows the same "
        "words under Method, and can show °F and ship’s time.",
        _table(("quantity", "unit"), units),
        "Pressure is absolute, time is UTC.",
        "## Words",
        *terms,
    )


def cautions() -> str:
    """The cautions, word for word as in the report."""
    environment = Environment(
        loader=PackageLoader("coldsift.report"), extensions=["jinja2.ext.i18n"], autoescape=True
    )
    environment.install_null_translations(newstyle=True)  # type: ignore[attr-defined]
    told = environment.get_template("cautions.html").render()
    return _page("# Cautions", re.sub(r"<h2.*?</h2>\n", "", told))


def python() -> str:
    """What a program calls."""
    engine = import_module("coldsift.engine")
    return _page(
        "# Python",
        "`coldsift.screen(paths)` does what the command `coldsift screen` does, and returns the tables:",
        "```python\nimport coldsift\n\nscreening = coldsift.screen(['sample_logs'])\n"
        "print(screening.findings.head())\n```",
        _members("coldsift.engine", engine.__all__),
    )


def stages() -> str:
    """What every stage takes and gives."""
    told: list[str] = []
    for stage in STAGES:
        module: Any = import_module(f"coldsift.{stage}")
        told += [f"## {stage}", _members(module.__name__, module.__all__)]
    return _page("# Stages", "What goes into each stage and what comes out of it.", *told)


def _members(module: str, names: Iterable[str]) -> str:
    listed = "\n".join(f"        - {name}" for name in names)
    return f"::: {module}\n    options:\n      members:\n{listed}"


PAGES: dict[str, Callable[[], str]] = {
    "words.md": glossary,
    "cautions.md": cautions,
    "reference/commands.md": commands,
    "reference/tables.md": tables,
    "reference/features.md": features,
    "reference/causes.md": causes,
    "reference/commodities.md": commodities,
    "reference/protocols.md": protocols,
    "reference/pass_bands.md": pass_bands,
    "reference/layouts.md": layouts,
    "reference/python.md": python,
    "reference/stages.md": stages,
}
