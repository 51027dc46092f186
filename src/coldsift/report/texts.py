"""The texts of the report, collected for translation.

Goes in: templates, scripts, the shipped catalogues, and ``languages/sentences.toml`` for what Python code
puts together. Comes out: ``languages/CODE.po``, brought up to date. Run it as ``python -m
coldsift.report.texts``; ``--check`` writes nothing, and lists what is not translated.
"""

from __future__ import annotations

import argparse
import io
import json
import re
import sys
import tomllib
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from itertools import zip_longest
from pathlib import Path
from typing import NamedTuple

from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po, write_po
from jinja2 import Environment

from coldsift.cargo import load_goods
from coldsift.causes import load_catalogue
from coldsift.features import FEATURES
from coldsift.report.cause_views import RISKS
from coldsift.report.glossary import load_glossary
from coldsift.report.language import ENGLISH, SENTENCES, Language, available, has_words
from coldsift.report.method_views import fixed_values
from coldsift.report.ship_views import CHANGES, ORDERS, REPAIR_STATES, SOURCES, VERDICTS
from coldsift.report.unit_chart import WORDS
from coldsift.report.unit_views import EXCURSION_KINDS, READING_COLUMNS
from coldsift.report.views import GROUPS
from coldsift.report.words import CHANCES
from coldsift.schema import CHANNELS

SOURCE = Path(__file__).resolve().parents[1]
"""The folder ``src/coldsift``: places are told from here."""

TEMPLATES = "report/templates"
LANGUAGES = "report/languages"

SCRIPT_TOKEN = re.compile(r"""("(?:[^"\\\n]|\\.)*")|'(?:[^'\\\n]|\\.)*'|[()]""")
"""What is looked at within ``text(…)`` of a script: texts in double quotes, other texts, brackets."""

FEATURE_VIEWS = "features/compute.py"
FEATURE_ONSETS = "features/onset.py"
"""Whose sentences are made from texts of the features."""

WIDTH = 100
"""Of a catalogue's lines."""


class Text(NamedTuple):
    """A text to be translated.

    Attributes
    ----------
    english
        The text; singular and plural where it goes with a number.
    place, line
        File under ``src/coldsift``, and line in it, 0 where it cannot be told.
    said_by
        Of a sentence: the file whose code puts it together.
    """

    english: str | tuple[str, str]
    place: str
    line: int = 0
    said_by: str = ""


@cache
def collect() -> tuple[Text, ...]:
    """Every text of the report, each as often as it stands somewhere, in a fixed order."""
    said = tuple(_sentences())
    found = (*_templates(), *_scripts(), *said, *_words(), *_catalogues(), *_features(said))
    return tuple(text for text in found if text.english)


def _templates() -> Iterator[Text]:
    environment = Environment(extensions=["jinja2.ext.i18n"], trim_blocks=True, lstrip_blocks=True)
    environment.policies["ext.i18n.trimmed"] = True
    for path in sorted((SOURCE / TEMPLATES).glob("*.html")):
        found = environment.extract_translations(path.read_text(encoding="utf-8"))  # type: ignore[attr-defined]
        for line, _, message in found:
            english = message if isinstance(message, str) else (message[0], message[1])
            yield Text(english, f"{TEMPLATES}/{path.name}", line)


def _scripts() -> Iterator[Text]:
    """What stands in double quotes within ``text(…)``."""
    for path in sorted((SOURCE / TEMPLATES).glob("*.js")):
        source = path.read_text(encoding="utf-8")
        for call in re.finditer(r"\btext\(", source):
            depth = 1
            for token in SCRIPT_TOKEN.finditer(source, call.end()):
                depth += (token[0] == "(") - (token[0] == ")")
                if not depth:
                    break
                if token[1]:
                    line = source.count("\n", 0, token.start()) + 1
                    yield Text(json.loads(token[1]), f"{TEMPLATES}/{path.name}", line)


def _sentences() -> Iterator[Text]:
    source = (SOURCE / SENTENCES).read_text(encoding="utf-8")
    for said_by, sentences in tomllib.loads(source).items():
        for sentence in sentences:
            yield Text(sentence, SENTENCES, _line(source, sentence), said_by)


def _words() -> Iterator[Text]:
    """Words that the report's own code has in tables."""
    fixed = [words for each in fixed_values() for words in (each.what, each.source)]
    glossary = [words for each in load_glossary() for words in (each.term, each.meaning, each.source)]
    texts = {
        "report/words.py": [word for _, word in CHANCES],
        "report/views.py": [words for group in GROUPS for words in (group.word, group.meaning)],
        "report/cause_views.py": [words for risk in RISKS.values() for words in risk],
        "report/unit_views.py": [
            *(words for kind in EXCURSION_KINDS.values() for words in kind),
            *(label for _, label in READING_COLUMNS),
        ],
        "report/ship_views.py": [
            *(word for word, _, _ in (*VERDICTS.values(), *CHANGES.values())),
            *(*ORDERS.values(), *SOURCES.values(), *REPAIR_STATES.values()),
        ],
        "report/unit_chart.py": WORDS,
        "report/method_views.py": fixed,
        "report/glossary.toml": glossary,
        "schema.py": [channel.label for channel in CHANNELS.values()],
    }
    for place, words in texts.items():
        yield from _placed(place, filter(has_words, words))


def _catalogues() -> Iterator[Text]:
    catalogue, goods = load_catalogue(), load_goods()
    causes = [
        words
        for cause in catalogue.causes.values()
        for words in (
            *(cause.name, cause.about, *cause.parts, *cause.tools, *cause.cautions, cause.if_left),
            *(*cause.hidden_by, cause.told_apart),
            *(text for kind in cause.kinds for text in (kind.name, kind.repair, *kind.parts)),
        )
    ]
    observations = [
        words
        for observation in catalogue.observations.values()
        for words in (observation.question, observation.yes, observation.no, observation.how)
    ]
    yield from _placed("causes/catalogue.toml", [*causes, *observations])
    for place, entries in (
        ("cargo/commodities.toml", goods.commodities),
        ("cargo/rules.toml", goods.rules),
        ("cargo/packagings.toml", goods.packagings),
    ):
        yield from _placed(place, [entry.name for entry in entries.values()])


def _features(said: Iterable[Text]) -> Iterator[Text]:
    """Texts of the features; those of their views and of their onsets are sentences made from these."""
    made = {
        str(text.english): str(text.english)
        for text in said
        if text.said_by in (FEATURE_VIEWS, FEATURE_ONSETS)
    }
    sentences = Language("", sentences=made)
    texts = dict.fromkeys(
        words
        for feature in FEATURES.values()
        for words in (
            *(feature.words, feature.unit, feature.regime),
            *(feature.formula, feature.source, feature.look_first),
        )
    )
    for words in texts:
        if has_words(words) and not any(
            each.pattern.match(words) for each in sentences.sentences_like(words)
        ):
            yield Text(words, "features")


def _placed(place: str, texts: Iterable[str]) -> Iterator[Text]:
    source = (SOURCE / place).read_text(encoding="utf-8")
    for text in dict.fromkeys(texts):
        yield Text(text, place, _line(source, text))


def _line(source: str, text: str) -> int:
    """Line of a text in its file; 0 where it does not stand there in one piece."""
    at = source.find(text.replace('"', '\\"'))
    return source.count("\n", 0, at) + 1 if at >= 0 else 0


def template() -> Catalog:
    """All texts, each once, without translations; the places are files only, so that lines may move."""
    catalogue = Catalog(fuzzy=False)
    for text in collect():
        catalogue.add(
            text.english,
            locations=[(text.place, None)],  # type: ignore[list-item]
            auto_comments=[text.said_by] if text.said_by else (),
        )
    return catalogue


def updated(code: str, written: str) -> str:
    """A catalogue brought up to date: what is no longer said is gone, translations stay, new texts are empty.

    Parameters
    ----------
    code
        Of the language.
    written
        The catalogue as it is. What stands above its first empty line stays as it is.
    """
    heading = written.partition("\n\n")[0]
    catalogue = read_po(io.BytesIO(written.encode()), locale=code)
    catalogue.update(template(), no_fuzzy_matching=True, update_creation_date=False)
    body = io.BytesIO()
    write_po(body, catalogue, width=WIDTH, omit_header=True, ignore_obsolete=True, include_lineno=False)
    return f"{heading}\n\n{body.getvalue().decode().strip()}\n"


class Fault(NamedTuple):
    """A text that a catalogue lacks, or translates with other placeholders."""

    text: Text
    what: str

    def __str__(self) -> str:
        place = f"{self.text.place}:{self.text.line}" if self.text.line else self.text.place
        return f"{place}: {self.what}: {self.text.english}"


def faults(code: str, written: str) -> Iterator[Fault]:
    """Every text that is not translated, or not with the same placeholders, in the order of the places.

    Parameters
    ----------
    code
        Of the language.
    written
        The catalogue.
    """
    catalogue = read_po(io.BytesIO(written.encode()), locale=code)
    first: dict[str | tuple[str, str], Text] = {}
    for text in collect():
        first.setdefault(text.english, text)
    for english, text in first.items():
        originals = [english] if isinstance(english, str) else list(english)
        message = catalogue.get(originals[0])
        forms = _forms(message)
        if not all(forms):
            yield Fault(text, "not translated")
        elif any(
            kept(form) != kept(original)
            for original, form in zip_longest(originals, forms, fillvalue=originals[-1])
        ):
            yield Fault(text, "other placeholders or tags")


def _forms(message: Message | None) -> list[str]:
    if message is None or not message.string:
        return [""]
    return [message.string] if isinstance(message.string, str) else list(message.string)


def kept(text: str) -> tuple[str, ...]:
    """What a translation keeps of a text, sorted: placeholders, ``{name}`` and ``%(name)s``, and tags."""
    return tuple(
        sorted(
            [
                *re.findall(r"\{(\w+)(?::\w+)?\}", text),
                *re.findall(r"%\(\w+\)s|%%|</?[a-z][^>]*>", text),
            ]
        )
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Bring catalogues up to date, or check them; 1 where something is missing and ``--check`` asks."""
    parser = argparse.ArgumentParser(prog="python -m coldsift.report.texts", description=__doc__)
    parser.add_argument(
        "languages", nargs="*", help="codes, such as es; all that there are when none is given"
    )
    parser.add_argument(
        "--check", action="store_true", help="write nothing; exit with 1 where texts are missing"
    )
    asked = parser.parse_args(arguments)
    complete = True
    for code in asked.languages or [code for code in available() if code != ENGLISH]:
        path = SOURCE / LANGUAGES / f"{code}.po"
        written = path.read_text(encoding="utf-8") if path.exists() else heading(code)
        after = updated(code, written)
        if not asked.check:
            path.write_text(after, encoding="utf-8", newline="\n")
        found = [*map(str, faults(code, after))]
        if asked.check and after != written:
            found.append(f"{path.name} is not up to date: run this command without --check.")
        print(*found, sep="\n", end="\n" if found else "")
        print(f"{path.name}: {len(found)} to be done.", file=sys.stderr)
        complete = complete and not found
    return int(asked.check and not complete)


def heading(code: str) -> str:
    """The first lines of a new catalogue."""
    catalogue = Catalog(locale=code)
    return (
        f"# {code}: words of the report. What stands above the first empty line is kept as it is.\n"
        f'msgid ""\nmsgstr ""\n"Language: {code}\\n"\n"MIME-Version: 1.0\\n"\n'
        f'"Content-Type: text/plain; charset=utf-8\\n"\n"Content-Transfer-Encoding: 8bit\\n"\n'
        f'"Plural-Forms: {catalogue.plural_forms}\\n"\n\n'
    )


if __name__ == "__main__":
    sys.exit(main())
