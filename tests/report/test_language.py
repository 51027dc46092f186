"""The report in another language: all that is ours is translated, nothing that logs and people wrote."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator, Sequence
from html.parser import HTMLParser
from pathlib import Path

import polars as pl
import pytest
from jinja2 import Environment
from markupsafe import Markup
from tests.report.fleet import HOSTILE, report_arguments, report_of

from coldsift import schema, screen
from coldsift.cargo import load_goods
from coldsift.changes import compare_runs
from coldsift.engine import Screening, Settings
from coldsift.engine.papers import VoyageFiles
from coldsift.engine.write import material
from coldsift.report import UnknownLanguage, available, build_report, load_language, texts, words
from coldsift.report.attributes import READ_BY_PEOPLE, MachineAttributes
from coldsift.report.language import LONGEST, SENTENCES, AsLogged, Language, as_logged, untranslated
from coldsift.report.rendering import environment

SAMPLE = Path(__file__).parents[2] / "sample_logs"
SPANISH = load_language("es")
CATALOGUE = texts.SOURCE / texts.LANGUAGES / "es.po"

INVENTED = Language(
    "xx",
    texts={
        "Watch": "Vigilar",
        "set point": "consigna",
        "CO2 high": "CO2 alto",
        "power off": "sin corriente",
        "alarm": "alarma",
        "Return air": "Aire de retorno",
    },
    sentences={
        "{air} leaves in about {hours:number} h": "en unas {hours} h sale el {air}",
        "{air} leaves in about {hours:number} h or never": "en unas {hours} h, o nunca, sale el {air}",
        "{value:quantity} of {what}": "{what}: {value}",
        "file {file:logged} is damaged": "el archivo {file} está dañado",
        "{days:number} days": "{days} días",
    },
)


# ------------------------------------------------------------ how a text is told


def test_a_text_of_the_catalogue_is_translated_whole() -> None:
    assert INVENTED.translate("Watch") == "Vigilar"


def test_the_first_letter_stays_large_or_small() -> None:
    assert INVENTED.translate("return air") == "aire de retorno"
    assert INVENTED.translate("Set point") == "Consigna"
    assert INVENTED.translate("cO2 high") == "CO2 alto"


def test_what_a_sentence_is_made_of_is_translated_too_and_numbers_stay() -> None:
    assert INVENTED.translate("return air leaves in about 12 h") == "en unas 12 h sale el aire de retorno"
    assert INVENTED.translate("−1.5\u00a0K of set point") == "consigna: −1.5\u00a0K"
    assert INVENTED.translate("3 days of alarm") == "alarma: 3 días"


def test_the_sentence_that_says_most_itself_is_taken() -> None:
    text = "return air leaves in about 12 h or never"
    assert INVENTED.translate(text) == "en unas 12 h, o nunca, sale el aire de retorno"


def test_a_number_is_asked_for_where_a_number_belongs() -> None:
    assert INVENTED.translate("return air leaves in about some h") == "return air leaves in about some h"


def test_several_texts_joined_are_translated_one_by_one() -> None:
    assert INVENTED.translate("power off, alarm") == "sin corriente, alarma"
    assert INVENTED.translate("Watch. 2 days; 3 days of alarm") == "Vigilar. 2 días; alarma: 3 días"


def test_numbers_units_and_names_with_figures_need_no_translation() -> None:
    for text in (
        "−18.0\u00a0°C",
        "2031-03-01 12:00 UTC",
        "–",
        "QXAU0000016",
        "R134a",
        "1\u202f200\u00a0W",
        "",
    ):
        assert INVENTED.translate(text) == text
        assert INVENTED.untranslated(text) == ()


def test_what_no_catalogue_has_stays_and_can_be_asked_for() -> None:
    assert INVENTED.translate("frost leaves in about 12 h") == "en unas 12 h sale el frost"
    assert INVENTED.untranslated("frost leaves in about 12 h") == ("frost",)
    assert INVENTED.untranslated("alarm, frost") == ("alarm, frost",)


def test_english_is_left_alone_and_costs_nothing() -> None:
    english = load_language("en")
    assert english.translate("Watch") == "Watch"
    assert english.untranslated("no such words") == ()
    assert english.script_texts() == {}
    assert (english.ngettext("one", "many", 1), english.ngettext("one", "many", 0)) == ("one", "many")
    code = "import sys, coldsift.report; coldsift.report.load_language('en'); print('babel' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"


def test_an_unknown_language_is_told_with_those_there_are() -> None:
    assert available() == ("en", "es")
    with pytest.raises(UnknownLanguage, match=r"'tlh'.*en, es"):
        load_language("tlh")


# ------------------------------------------------------------ text of logs


def test_text_of_logs_is_not_translated_even_where_it_reads_like_ours() -> None:
    assert SPANISH.printed("Watch") == "Vigilar"
    assert SPANISH.printed(as_logged("Watch")) == "Watch"
    assert SPANISH.printed(Markup("Watch")) == "Watch"
    assert SPANISH.translate("The container number Watch is taken from the file's name.").count("Watch") == 1


def test_hidden_characters_show_in_either_language_and_either_way() -> None:
    hidden = "ab\u202ecd"
    for language in (load_language("en"), SPANISH):
        assert language.printed(hidden) == language.printed(as_logged(hidden)) == "ab‹U+202E›cd"
    assert isinstance(as_logged(hidden), AsLogged)
    assert as_logged(None) is None


def test_hostile_text_stays_as_it_is() -> None:
    for text in (
        HOSTILE,
        "{file:logged}",
        "%(count)s",
        "\\1 \\g<file>",
        "{0.__class__}",
        "\0",
        "a" * 10 * LONGEST,
    ):
        assert SPANISH.translate(text) == text
        assert INVENTED.translate(f"file {text[:900]} is damaged") == f"el archivo {text[:900]} está dañado"


@pytest.mark.parametrize(
    "piece",
    [
        ", ",
        "; ",
        ", or ",
        "(",
        "1,",
        "–",
        "a ",
        "in the last 48 h ",
        "; too few peers to compare",
        "power off, ",
    ],
)
def test_no_text_takes_long_to_refuse(piece: str) -> None:
    text = (piece * LONGEST)[:LONGEST]
    began = time.process_time()
    SPANISH.translate(text)
    assert time.process_time() - began < 0.5


def test_thirty_thousand_sentences_are_translated_within_seconds() -> None:
    told = [
        sentence
        for unit in range(100)
        for turn in range(75)
        for sentence in (
            f"Split (return minus supply) {unit / 10:.1f} K; {turn} peers hold 1.9 to 2.8",
            f"Superheat changed by {turn} K in the last 48 h; {unit} peers changed by −0.1 to 0.2",
            f"likely ({turn}\u00a0%)",
            "0 of at least 8 readings in: hold, compressor running",
        )
    ]
    language = load_language("es")
    began = time.process_time()
    for sentence in told:
        language.translate(sentence)
    assert time.process_time() - began < 3


# ------------------------------------------------------------ the catalogue


def test_every_text_is_translated_with_the_same_placeholders_and_tags() -> None:
    assert [str(fault) for fault in texts.faults("es", CATALOGUE.read_text(encoding="utf-8"))] == []


def test_every_figure_of_a_text_stands_in_its_translation() -> None:
    figure = re.compile(r"\{\w+(?::\w+)?\}|\d+(?:[.,]\d+)*")

    def figures(text: str) -> list[str]:
        return sorted(each for each in figure.findall(text) if each[0] != "{")

    told = SPANISH.texts | SPANISH.sentences
    assert len(told) > 1500
    assert [english for english, spanish in told.items() if figures(english) != figures(spanish)] == []


def test_the_catalogue_is_up_to_date_and_is_written_the_same_each_time() -> None:
    written = CATALOGUE.read_text(encoding="utf-8")
    assert texts.updated("es", written) == written


def test_a_new_catalogue_keeps_what_is_translated_and_drops_what_is_not_said() -> None:
    entry = 'msgid "Watch"\nmsgstr "Regarder"\n\nmsgid "never said"\nmsgstr "jamais dit"\n'
    after = texts.updated("fr", texts.heading("fr") + entry)
    assert 'msgid "Watch"\nmsgstr "Regarder"' in after
    assert "never said" not in after
    assert texts.updated("fr", after) == after
    left = {fault.text.english for fault in texts.faults("fr", after)}
    assert "Watch" not in left
    assert "Go now" in left


def test_a_wrong_placeholder_is_found() -> None:
    written = CATALOGUE.read_text(encoding="utf-8")
    wrong = written.replace('msgstr "{days} días"', 'msgstr "{dias} días"')
    assert wrong != written
    found = {fault.text.english: fault.what for fault in texts.faults("es", wrong)}
    assert found["{days:number} days"] == "other placeholders or tags"


def test_the_check_says_what_is_missing_and_where(capsys: pytest.CaptureFixture[str]) -> None:
    assert texts.main(["--check", "es"]) == 0
    assert capsys.readouterr().out == ""
    left = [*texts.faults("es", texts.heading("es"))]
    assert any(
        re.match(r"causes/catalogue\.toml:\d+: not translated: Expansion valve does not open", str(each))
        for each in left
    )


def _words(path: Path) -> Iterator[str]:
    source = path.read_text(encoding="utf-8")
    if path.suffix == ".toml":
        yield source
        return
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _split(text: str) -> set[str]:
    return set(re.findall(r"[^\W_]+", text.lower()))


STAGES = tomllib.loads((texts.SOURCE / SENTENCES).read_text(encoding="utf-8"))


@pytest.mark.parametrize("said_by", STAGES)
def test_every_sentence_is_still_made_of_words_of_its_stage(said_by: str) -> None:
    files = [texts.SOURCE / name for name in said_by.split(", ")]
    known = set().union(*(_split(word) for file in files for word in _words(file)))
    stale = [
        sentence
        for sentence in STAGES[said_by]
        if not _split(re.sub(r"\{\w+(:\w+)?\}", " ", sentence)) <= known
    ]
    assert stale == []


def test_identifiers_are_told_in_words() -> None:
    told = (*schema.REGIMES, *schema.REGIME_CLASSES, "excursion", "initial_warm_load", "possible_excursion")
    for identifier in told:
        assert SPANISH.untranslated(words.plain(identifier)) == ()


def test_goods_rules_and_packagings_are_named() -> None:
    goods = load_goods()
    for entry in (*goods.commodities.values(), *goods.rules.values(), *goods.packagings.values()):
        assert SPANISH.untranslated(entry.name) == ()


def test_scripts_get_their_words() -> None:
    told = SPANISH.script_texts()
    assert told["{shown} of {all} shown"] == "{shown} de {all} mostradas"
    assert told["Return air"] == "Aire de retorno"


# ------------------------------------------------------------ messages of the intake

TELLS = {
    "Message": slice(3, 5),
    "say": slice(1, 3),
    "NothingReadable": slice(0, 2),
    "Choice": slice(2, 4),
    "WorkbookError": slice(0, 2),
}
"""Calls that make a message, and which of their arguments are words."""

PUT_TOGETHER = ("as lines 7", "with lines 7", "--refrigerant. 7", "file.7")
"""In messages that take words from elsewhere; a test of their own has them in full."""

SIMPLE = (ast.Constant, ast.JoinedStr)


def _said(node: ast.expr) -> str:
    """Words as the code makes them, with a figure for everything that it puts in."""
    parts = node.values if isinstance(node, ast.JoinedStr) else [node]
    return "".join(str(part.value) if isinstance(part, ast.Constant) else "7" for part in parts)


def _messages() -> Iterator[tuple[str, str]]:
    for file in (*sorted((texts.SOURCE / "intake").glob("*.py")), texts.SOURCE / "engine/papers.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            for argument in _told(node):
                if isinstance(argument, SIMPLE):
                    yield f"{file.name}:{argument.lineno}", _said(argument)


def _told(node: ast.AST) -> Sequence[ast.expr]:
    """The words of a message, where it is made or where they get a name for it."""
    if isinstance(node, ast.Call):
        name = getattr(node.func, "id", getattr(node.func, "attr", ""))
        return node.args[TELLS.get(name, slice(0, 0))]
    if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
        named = node.targets[0].id in ("what", "do") and isinstance(node.value, SIMPLE)
        return [node.value] if named and _said(node.value).endswith(".") else []
    return []


def test_every_message_of_the_intake_is_translated() -> None:
    told = {place: text for place, text in _messages() if not any(each in text for each in PUT_TOGETHER)}
    assert len(told) > 100
    left = {place: SPANISH.untranslated(text) for place, text in told.items()}
    assert {place: what for place, what in left.items() if what} == {}


def test_messages_with_words_of_other_stages_are_translated() -> None:
    unknown = (
        "no saturation data for a refrigerant 'x': known are R134a (CO2); any pure fluid or predefined "
        "refrigerant blend that CoolProp can compute also works, by its name"
    )
    for text in (
        "3 lines are for the same container and time as lines above in this file; merged.",
        "3 lines conflict with lines of a.csv for the same container and time (power); the first were kept.",
        f"Name it with --refrigerant. {unknown}",
        "No layout fits this file. Nearest is x with 12 of 100: 1 of 9 headings known; no container column.",
        "This layout is left out: no [[column]] is declared.",
        "Nothing says whether power are gauge or absolute. Taken as gauge: 3 readings are below zero.",
    ):
        assert SPANISH.untranslated(text) == ()


# ------------------------------------------------------------ remarks on papers

REMARKS = {
    "bayplan.py": ("Segment 7 (7): {}.", "{}."),
    "plan_table.py": ("{} (7).",),
    "epcis.py": ("Event 7: {}.",),
    "plan.py": ("Segment 7: {}.", "{}."),
}
"""How the remarks of each reader go on, by its file under ``voyage``."""

WITH_PLACES = ("stand in one place", "is there 7")
"""In remarks that name places; a test of their own has them in full."""


def _remarks() -> Iterator[tuple[str, str]]:
    """What the readers of plans and events remark, and what to do about it."""
    for name, forms in REMARKS.items():
        for node in ast.walk(ast.parse((texts.SOURCE / "voyage" / name).read_text(encoding="utf-8"))):
            said: dict[str, list[ast.expr]] = {}
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                said = {node.targets[0].id: [node.value]}
            elif (
                isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "add" and len(node.args) > 3
            ):
                said = {"what": [node.args[2]], "do": [node.args[3]]}
            for text in map(_said, filter(lambda each: isinstance(each, SIMPLE), said.get("what", ()))):
                yield from ((f"{name}:{node.lineno}: {form}", form.format(text)) for form in forms)
            for text in map(_said, filter(lambda each: isinstance(each, SIMPLE), said.get("do", ()))):
                yield f"{name}:{node.lineno}", text


def test_every_remark_on_a_plan_or_on_events_is_translated() -> None:
    told = {place: text for place, text in _remarks() if not any(each in text for each in WITH_PLACES)}
    left = {place: SPANISH.untranslated(text) for place, text in told.items()}
    # A remark is translated in one of the forms that its reader has.
    by_line: dict[str, list[tuple[str, ...]]] = {}
    for place, what in left.items():
        by_line.setdefault(place.partition(": ")[0], []).append(what)
    assert len(by_line) > 30
    assert {place: what for place, what in by_line.items() if all(what)} == {}


@pytest.mark.parametrize("form", ["Segment 7: {}.", "{}."])
def test_remarks_that_name_places_are_translated(form: str) -> None:
    here, there = "bay 010, row 04, tier 82", "bay 014, row 02, tier 06"
    for what in (
        f"QXAU0000016 is there in {here} and in {there}, segments 12 and 40; the first is used",
        f"QXAU0000016 is there in no place and in {there}, lines 12 and 40; the first is used",
        f"QXAU0000016 is there in {here} and in no place, lines 12 and 40; the first is used",
        f"QXAU0000016 is there twice in {here}, lines 12 and 40; the first is used",
        "QXAU0000016 is there twice in no place, lines 12 and 40; the first is used",
        f"QXAU0000016 and QXAU0000021 stand in one place, {here}, segments 3 and 9; QXAU0000016 keeps it, "
        "QXAU0000021 is used without a place",
        f"QXAU0000016 and QXAU0000021 stand in one place, {here} and {there}, lines 3 and 9; QXAU0000016 "
        "keeps it, QXAU0000021 is used without a place",
        "QXAU0000017: check digit 7 is wrong, 6 would be right",
    ):
        assert SPANISH.untranslated(form.format(what)) == ()


# ------------------------------------------------------------ a whole report


PAPERS = {
    "facts": "facts.toml",
    "plan": "plan.edi",
    "bookings": "bookings.csv",
    "events": "custody.csv",
    "notes": "notes.csv",
    "spares": "spares.csv",
}


FILE_NAMES = set(PAPERS.values())


@pytest.fixture(scope="module")
def screened() -> Screening:
    """A few of the sample logs, in several layouts, with all papers of their voyage."""
    names = ("QXAU4313976.csv", "QXAU4393225_a.csv", "XQTU4234768.csv", "ZZBU4393246.txt", "ZZRU4314001.xlsx")
    more = ("QXKU4393230.zip", "tag_value_gzip.csv.gz", "custody.csv")
    papers = {kind: SAMPLE / name for kind, name in PAPERS.items()}
    settings = Settings(voyage=VoyageFiles(**papers), round_hours=2.0)
    return screen([SAMPLE / name for name in (*names, *more)], settings)


def _left(texts_told: Iterator[str | None]) -> set[str]:
    return {part for text in texts_told if text for part in SPANISH.untranslated(text)}


def _changed(findings: pl.DataFrame) -> pl.DataFrame:
    """Each unit against the group and the cause of another one; one is new and one is gone."""
    before = findings.select(
        "container",
        "rank",
        "hours_to_limit",
        *(pl.col(name).reverse() for name in ("group", "cause_1", "chance_1")),
    )
    alone = pl.when(pl.col("rank") == 1).then(pl.lit("QXAU0000016")).otherwise("container")
    return compare_runs(findings, before.with_columns(container=alone))


def test_no_english_is_left_in_what_the_stages_say(screened: Screening) -> None:
    cargo = screened.passage.cargo
    for frame, columns in (
        (screened.reasons, ["words"]),
        (screened.findings, ["why", "first_check", "compared_with", "cannot_tell"]),
        (screened.evidence, ["words"]),
        (screened.excursions, ["sensor_doubt_why", "along_with"]),
        (screened.features, ["reason"]),
        (cargo, ["cargo", "known_from", "limit_from"]),
        (screened.set_aside, ["reason"]),
        (screened.analysis.set_points, ["words"]),
        (screened.aboard.round, ["check", "reach"]),
        (screened.aboard.repairs, ["words"]),
        (screened.aboard.unmatched, ["words"]),
        (screened.aboard.parts_wanted, ["part"]),
        (_changed(screened.findings), ["words"]),
    ):
        for column in columns:
            told = frame[column].drop_nulls().unique().sort()
            assert _left(iter(told)) == set(), column
    assert len(screened.reasons) > 5
    assert screened.evidence["words"].drop_nulls().len() > 5
    assert _left(word for message in screened.messages for word in (message.what, message.do)) == set()
    assert (
        _left(word for source in screened.sources for word in (source.time_zone, source.pressure_reading))
        == set()
    )
    assert _left(word for entry in screened.settings.in_words().items() for word in entry) == FILE_NAMES
    assert screened.aboard.repairs["words"].n_unique() > 2


def test_no_english_is_left_on_the_pages(screened: Screening, monkeypatch: pytest.MonkeyPatch) -> None:
    left: set[str] = set()
    plainly = Language.printed

    def printed(self: Language, value: object) -> object:
        if isinstance(value, str) and not isinstance(value, Markup | AsLogged):
            left.update(self.untranslated(value))
        return plainly(self, value)

    monkeypatch.setattr(Language, "printed", printed)
    # Templates that were compiled before print as they did.
    monkeypatch.setattr("coldsift.report.rendering.environment", environment.__wrapped__)
    for one_file in (False, True):
        timelines = screened.analysis.timelines
        pages = dict(build_report(material(screened, "Voyage"), timelines, one_file=one_file, language="es"))
        assert '<html lang="es">' in pages["index.html"]
    assert left == FILE_NAMES


class _Build(HTMLParser):
    """Elements and the attributes that machines read, in order."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, ...]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        skipped = READ_BY_PEOPLE | {"lang", "content"}
        self.found.append((tag, *(f"{name}={value}" for name, value in attrs if name not in skipped)))


@pytest.mark.parametrize("one_file", [False, True])
def test_a_page_is_built_alike_in_either_language(one_file: bool) -> None:
    invented = report_arguments(8, 2)
    english = report_of(invented, one_file=one_file)
    spanish = report_of(invented, one_file=one_file, language="es")
    assert list(english) == list(spanish)
    for name, page in english.items():
        if name.endswith(".html"):
            assert _Build(page).found == _Build(spanish[name]).found


def test_a_report_in_spanish_is_the_same_each_time() -> None:
    invented = report_arguments(4, 1)
    assert report_of(invented, language="es") == report_of(invented, language="es")


# ------------------------------------------------------------ templates


def rendered(template: str, **values: object) -> str:
    environment = Environment(
        extensions=["jinja2.ext.i18n", MachineAttributes], autoescape=True, finalize=SPANISH.printed
    )
    environment.install_gettext_callables(SPANISH.gettext, SPANISH.ngettext, newstyle=True)  # type: ignore[attr-defined]
    environment.filters |= {"as_logged": as_logged, "untranslated": untranslated}
    return environment.from_string(template).render(values)


def test_attributes_that_machines_read_are_left_alone() -> None:
    page = (
        '<li class="tile {{ x }}{% if x %} on{% endif %}" data-group="{{ x }}" title="{{ x }}">{{ x }}</li>'
    )
    told = rendered(page, x="Watch")
    assert told == '<li class="tile Watch on" data-group="Watch" title="Vigilar">Vigilar</li>'


def test_an_expression_of_any_kind_is_left_alone_in_such_an_attribute() -> None:
    page = (
        """<b class="{{ 'Watch' if on else 'on' }}" id='{{ a ~ "Watch" }}'>{{ a or 'Watch' }}</b> > {{ b }}"""
    )
    told = """<b class="Watch" id='Watch'>Vigilar</b> > Vigilar"""
    assert rendered(page, on=True, a="", b="Watch") == told


def test_translated_text_may_hold_a_link() -> None:
    page = (
        '{% trans to="#data", what="x" %}<a href="{{ to }}">{{ what }}</a>{% endtrans %}<i id="{{ a }}"></i>'
    )
    assert rendered(page, a="Watch") == '<a href="#data">x</a><i id="Watch"></i>'


def test_counts_choose_the_plural() -> None:
    page = "{% trans count=n %}{{ count }} unit{% pluralize %}{{ count }} units{% endtrans %}"
    assert [rendered(page, n=n) for n in (1, 2, 0)] == ["1 unidad", "2 unidades", "0 unidades"]


def test_text_of_logs_in_a_translated_text_shows_its_hidden_characters() -> None:
    page = "{% trans x=name|as_logged %}line {{ x }}{% endtrans %}"
    assert rendered(page, name="\u202e<b>") == "line ‹U+202E›&lt;b&gt;"
