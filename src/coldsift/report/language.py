"""The language of the pages: English as it comes from stages and templates, or a translation of it.

Goes in: the code of a language, its catalogue ``languages/CODE.po``. Comes out: a :class:`Language` that
translates what a page is about to show. English stands everywhere else in the project, and nothing there is
marked: a text is looked up whole, then as one of the sentences of ``languages/sentences.toml``, then as
several of these joined. What no catalogue has, stays as it is.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from gettext import c2py
from importlib import resources
from importlib.resources.abc import Traversable
from itertools import chain
from typing import Any

from markupsafe import Markup

from coldsift.report.words import isolated, visible

ENGLISH = "en"
LANGUAGES: Traversable = resources.files("coldsift.report") / "languages"
SENTENCES = "report/languages/sentences.toml"
"""Place that the sentences with {placeholders} bear in a catalogue."""

SCRIPTS = (".js", "schema.py", "report/unit_chart.py")
"""Endings of the places whose texts the pages' scripts need: their own, and words that charts bring along."""

LONGEST = 1000
"""A longer text is only looked up whole. [characters]"""

MOST_AS_LOGGED = 300
"""Characters shown of a text that logs or people wrote; the tables have all of it."""

MOST_STEPS, DEEPEST = 200, 12
"""A text that is not told after so many attempts, or within so many others, stays as it is."""

LEAST_SAID = 12
"""A sentence is told around a part that no catalogue has only where it says so much itself. [characters]"""

JOINTS = (". ", "; ", ", ")
"""What several texts are joined by."""

NUMBER = r"(?:[−+-]?\d++(?:[.,\u202f]\d++)*+(?:e[+-]?\d++)?|–)"
_UNIT = (
    r"(?:(?:°[CF]|K|bar|%|Hz|kW|W|V|A|m³/h|h|min|s|d|days|times|: 1|1)(?:/(?:100 Hz|bar|h|d|min))*"
    r"|K[·  ]h|readings)"
)
_KINDS = {
    "": r".+?",
    "logged": r".+?",
    "number": NUMBER,
    "quantity": rf"{NUMBER}(?: ?{_UNIT})?",
}
"""What a placeholder takes, by its kind: ``{name}`` a text that is translated by itself, ``{name:logged}``
one that stays as it is, ``{name:number}``, ``{name:quantity}`` a number that may have a unit."""

PLACEHOLDER = re.compile(r"\{([a-z][a-z_0-9]*)(?::(logged|number|quantity))?\}")

_SYMBOLS = frozenset({"C", "F", "K", "bar", "Hz", "kW", "W", "V", "A", "h", "min", "s", "d", "UTC", "MiB"})
"""Words that are the same in every language."""

_WORD = re.compile(r"[^\W_]+")
_LETTERS = re.compile(r"[^\W\d_]+")


def _plain(text: str) -> str:
    """With ordinary blanks, which number and unit are not parted by; as long as before."""
    return text.replace("\u00a0", " ")


_NUMBER_AND_UNIT = re.compile(r" (?<=\d )(?=(?:°C|K|bar|%|Hz|k?W|A|V|h|min|d|days)(?![^\W_]))")


def _unparted(text: str) -> str:
    """With a number and its unit on one line."""
    return _NUMBER_AND_UNIT.sub("\u00a0", text)


def has_words(text: str) -> bool:
    """False for numbers, units and names with figures in them, which are the same in every language."""
    return any(word.isalpha() and word not in _SYMBOLS for word in _WORD.findall(text))


class UnknownLanguage(ValueError):
    """There is no catalogue of a language; says which there are."""


class AsLogged(str):
    """Text that logs or people wrote: shown as it is, never translated."""

    __slots__ = ()


def as_logged(value: Any) -> Any:
    """Mark a text that is to be shown as it was written, cut if long; anything else is left alone."""
    long = isinstance(value, str) and not isinstance(value, Markup) and len(value) > MOST_AS_LOGGED
    return untranslated(f"{value[:MOST_AS_LOGGED]}…" if long else value)


def untranslated(value: Any) -> Any:
    """Mark a text that is never translated, such as one that machines read; anything else is left alone."""
    return AsLogged(visible(value)) if isinstance(value, str) and not isinstance(value, Markup) else value


@dataclass(frozen=True, slots=True)
class _Sentence:
    """A sentence with placeholders, ready to be found.

    Attributes
    ----------
    pattern
        Matches the whole text; a group a placeholder.
    kept
        Placeholders whose text stays as it is.
    pieces
        The translation: plain text and, every second one, names of placeholders.
    weight
        Letters outside placeholders: the more, the more specific.
    words
        Words that every such text holds.
    """

    pattern: re.Pattern[str]
    kept: frozenset[str]
    pieces: tuple[str, ...]
    weight: int
    words: frozenset[str]


def _sentence(english: str, translation: str) -> _Sentence:
    parts = PLACEHOLDER.split(_plain(english))
    pattern, open_group = [re.escape(parts[0])], False
    for name, kind, literal in zip(parts[1::3], parts[2::3], parts[3::3], strict=True):
        taken = f"(?P<{name}>{_KINDS[kind or '']}){re.escape(literal)}"
        if kind in ("number", "quantity"):
            pattern.append(taken)
            continue
        # Atomic up to the next one: the first place that fits is kept, so that no text takes long to refuse.
        pattern.append(f"{')' if open_group else ''}(?>{taken}")
        open_group = True
    pattern.append(r"\Z)" if open_group else r"\Z")
    # A word beside a placeholder may go on in it.
    inner = f" {chr(0).join(parts[::3])} "
    runs = _LETTERS.finditer(inner)
    whole = (run.group() for run in runs if "\0" not in inner[run.start() - 1 : run.end() + 1])
    return _Sentence(
        re.compile("".join(pattern), re.DOTALL),
        frozenset(
            name for name, kind in zip(parts[1::3], parts[2::3], strict=True) if kind in ("logged", "number")
        ),
        tuple(PLACEHOLDER.sub(r"{\1}", translation).replace("}", "{").split("{")),
        sum(map(len, parts[::3])),
        frozenset(whole),
    )


@dataclass(frozen=True, slots=True)
class _Told:
    """A translated text, and the parts of it that no catalogue has."""

    words: str
    left: tuple[str, ...] = ()


@dataclass(frozen=True)
class Language:
    """A language of the pages.

    Attributes
    ----------
    code
        Of the language, as in HTML: ``es``.
    texts
        Translation of whole English texts.
    sentences
        Translation of English sentences with placeholders.
    plurals
        Forms of texts that go with a number, by the English singular.
    form
        Which of the forms goes with a number.
    for_scripts
        English texts that the pages' scripts show.
    """

    code: str
    texts: Mapping[str, str] = field(default_factory=dict, repr=False)
    sentences: Mapping[str, str] = field(default_factory=dict, repr=False)
    plurals: Mapping[str, tuple[str, ...]] = field(default_factory=dict, repr=False)
    form: Callable[[int], int] = field(default=lambda number: int(number != 1), repr=False)
    for_scripts: tuple[str, ...] = field(default=(), repr=False)

    def translate(self, text: str) -> str:
        """Translate a text that is about to be shown; what no catalogue has stays as it is.

        Parameters
        ----------
        text
            English, as stages and templates word it.
        """
        return self._told(text).words if self.texts else text

    def untranslated(self, text: str) -> tuple[str, ...]:
        """The parts of a text that no catalogue has; empty when all of it is translated."""
        return self._told(text).left if self.texts else ()

    def printed(self, value: Any) -> Any:
        """Everything that a template prints passes here, before it is escaped: ``finalize`` of Jinja2."""
        if not isinstance(value, str) or isinstance(value, (Markup, AsLogged)):
            return value
        return isolated(_unparted(visible(self.translate(value))))

    def gettext(self, message: str) -> str:
        """A template's text, whole."""
        return self.texts.get(message, message)

    def ngettext(self, singular: str, plural: str, number: int) -> str:
        """A template's text that goes with a number."""
        forms = self.plurals.get(singular)
        return forms[self.form(number)] if forms else singular if number == 1 else plural

    def script_texts(self) -> dict[str, str]:
        """What the pages' scripts show, by the English text; empty in English."""
        return {english: self.texts[english] for english in self.for_scripts if english in self.texts}

    @cached_property
    def _told(self) -> Callable[[str], _Told]:
        return lru_cache(maxsize=1 << 16)(lambda text: _Telling(self).tell(text))

    @cached_property
    def _by_word(self) -> tuple[dict[str, list[_Sentence]], list[_Sentence]]:
        """Sentences by the rarest word that each holds, and those that hold none."""
        ready = [_sentence(*entry) for entry in self.sentences.items()]
        ready.sort(key=lambda each: (-each.weight, each.pattern.pattern))
        count: dict[str, int] = defaultdict(int)
        for sentence in ready:
            for word in sentence.words:
                count[word] += 1
        by_word: dict[str, list[_Sentence]] = defaultdict(list)
        wordless = []
        for sentence in ready:
            if sentence.words:
                by_word[min(sentence.words, key=lambda word: (count[word], word))].append(sentence)
            else:
                wordless.append(sentence)
        return dict(by_word), wordless

    def sentences_like(self, text: str) -> list[_Sentence]:
        """Sentences that a text may be, the most specific first."""
        by_word, wordless = self._by_word
        words = set(_LETTERS.findall(text))
        found = [each for word in words for each in by_word.get(word, ()) if each.words <= words]
        found.sort(key=lambda each: (-each.weight, each.pattern.pattern))
        return [*found, *wordless]


class _Telling:
    """One text being translated, with the steps that are left for it."""

    def __init__(self, language: Language) -> None:
        self.language = language
        self.steps = MOST_STEPS
        self.depth = 0
        self.known: dict[str, _Told] = {}

    def tell(self, text: str) -> _Told:
        """Whole, as a sentence, as several joined, or as it is."""
        if text in self.known:
            return self.known[text]
        whole = self._whole(text)
        if whole is not None:
            told = _Told(whole)
        else:
            told = _Told(text, (text,))
            if len(text) <= LONGEST and self.steps > 0 and self.depth < DEEPEST:
                self.steps -= 1
                self.depth += 1
                attempts = chain(self._as_sentence(text), self._as_joined(text))
                around = self._as_sentence(text, LEAST_SAID)
                told = next(chain(filter(_is_whole, attempts), around), told)
                self.depth -= 1
        self.known[text] = told
        return told

    def _whole(self, text: str) -> str | None:
        """A text of the catalogue, its first letter large or small, or one without words."""
        plain = _plain(text)
        texts = self.language.texts
        if plain in texts:
            return texts[plain]
        found = texts.get(plain[:1].swapcase() + plain[1:])
        if found is not None:
            first = found[:1].lower() if plain[:1].islower() else found[:1].upper()
            # An abbreviation keeps its capitals.
            return found if found[1:2].isupper() else first + found[1:]
        return None if has_words(plain) else text

    def _as_sentence(self, text: str, least: int = 0) -> Iterator[_Told]:
        plain = _plain(text)
        for sentence in self.language.sentences_like(plain):
            match = sentence.pattern.match(plain)
            if match is None or sentence.weight < least:
                continue
            pieces: list[str] = list(sentence.pieces)
            left: list[str] = []
            for place in range(1, len(pieces), 2):
                name = pieces[place]
                taken = text[slice(*match.span(name))]
                told = _Told(taken) if name in sentence.kept else self.tell(taken)
                pieces[place] = told.words
                left += told.left
            yield _Told("".join(pieces), tuple(left))

    def _as_joined(self, text: str) -> Iterator[_Told]:
        for joint in JOINTS:
            end = text.find(joint)
            while end > 0 and self.steps > 0:
                first = self.tell(text[:end])
                if _is_whole(first):
                    rest = self.tell(text[end + len(joint) :])
                    if _is_whole(rest):
                        yield _Told(first.words + joint + rest.words)
                end = text.find(joint, end + 1)


def _is_whole(told: _Told) -> bool:
    return not told.left


def available() -> tuple[str, ...]:
    """Codes of the languages that pages can be had in."""
    catalogues = (entry.name for entry in LANGUAGES.iterdir() if entry.name.endswith(".po"))
    return tuple(sorted({ENGLISH, *(name.removesuffix(".po") for name in catalogues)}))


def load_language(code: str) -> Language:
    """Load a language of the pages.

    Parameters
    ----------
    code
        One of :func:`available`.

    Raises
    ------
    UnknownLanguage
        When there is no catalogue of it.
    """
    known = available()
    if code not in known:
        raise UnknownLanguage(f"there is no language {code!r} for the report; there are {', '.join(known)}")
    if code == ENGLISH:
        return Language(ENGLISH)
    # Babel is loaded for those only who want another language.
    from babel.messages.pofile import read_po

    with (LANGUAGES / f"{code}.po").open("rb") as file:
        catalogue = read_po(file, locale=code)
    texts: dict[str, str] = {}
    sentences: dict[str, str] = {}
    plurals: dict[str, tuple[str, ...]] = {}
    for_scripts: list[str] = []
    for message in catalogue:
        places = [place for place, _ in message.locations]
        match message.id, message.string:
            case (str(english), str(words)) if english and words:
                if SENTENCES in places and PLACEHOLDER.search(english):
                    sentences[english] = words
                else:
                    texts[_plain(english)] = words
                if any(place.endswith(SCRIPTS) for place in places):
                    for_scripts.append(english)
            case ((singular, _), tuple(forms)) if all(forms):
                plurals[singular] = forms
    return Language(code, texts, sentences, plurals, c2py(catalogue.plural_expr), tuple(for_scripts))
