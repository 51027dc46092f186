"""Names of parts as people write them, matched word by word."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

LINKING = frozenset(("for", "of", "with", "from", "to", "in", "and", "the", "a", "an", "on"))
"""Words that carry no part's name; what comes after the first of them says more of the word before."""

UNITS = frozenset(
    (
        *("v", "vac", "vdc", "volt", "a", "amp", "w", "kw", "hz", "ph", "phase"),
        *("mm", "cm", "m", "ft", "in", "inch", "kg", "g", "l", "bar"),
    )
)
"""Units of measure, when a figure stands before them."""

SPELLINGS = {"dryer": "drier", "economiser": "economizer"}
"""Other spellings of the catalogue's words."""

_SINGULAR = ((r"(?<=[^aeiou])ies$", "y"), (r"(?<=ch|sh|ss)es$|(?<=x)es$", ""), (r"(?<=\w\w[^su])s$", ""))

_MULTIPLE = re.compile(
    r"(?P<before>\d{1,2})\s*(?:[x×]|pcs?\b\.?|pieces?\b)\s*(?P<what>[^\W\d].*)"
    r"|(?P<what_else>.*\D)\s*[x×]\s*(?P<after>\d{1,2})",
    re.IGNORECASE | re.DOTALL,
)
_COUNTED = re.compile(r"(\d{1,2})\s+([^\W\d].*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class _Name:
    """A name taken apart.

    Attributes
    ----------
    squeezed
        Every letter and figure of it, in the singular, without blanks and hyphens.
    words
        Words in the singular, without those that link.
    plain
        The same without figures and their units.
    head
        The word that says what the thing is: of "coil for expansion valve", and of "coil, expansion valve",
        that is coil.
    """

    squeezed: str
    words: frozenset[str]
    plain: frozenset[str]
    head: str


def _taken_apart(name: str) -> _Name:
    text = unicodedata.normalize("NFKC", name).casefold().replace("’", "'")
    outside = re.sub(r"\([^)]*\)|\[[^\]]*\]", " ", text)
    first, *further = ([*_words(part)] for part in outside.split(","))
    words = [*first, *(word for part in further for word in part)]
    figures = {
        place
        for place, word in enumerate(words)
        if re.search(r"\d", word) or (word in UNITS and place and re.fullmatch(r"[\d.]+", words[place - 1]))
    }
    own = [word for place, word in enumerate(words) if place not in figures]
    # What a thing is stands last before the first linking word or comma.
    leading = [word for place, word in enumerate(first) if place not in figures]
    until = next((place for place, word in enumerate(leading) if word in LINKING and place), len(leading))
    return _Name(
        squeezed="".join(_words(text)),
        words=frozenset(words) - LINKING,
        plain=frozenset(own) - LINKING,
        head=leading[until - 1] if leading else "",
    )


def _words(text: str) -> Iterable[str]:
    for word in re.findall(r"\d+(?:\.\d+)?|[^\W\d_]+(?:'[^\W\d_]+)?", text):
        single = word
        for pattern, end in _SINGULAR:
            single = re.sub(pattern, end, single)
        yield SPELLINGS.get(single, single)


@dataclass(frozen=True)
class Vocabulary:
    """Names that others are matched with, in order."""

    names: tuple[str, ...]

    @cached_property
    def _apart(self) -> list[tuple[str, _Name]]:
        return [(name, _taken_apart(name)) for name in self.names]

    def find(self, written: str) -> str | None:
        """The name that means the same.

        Parameters
        ----------
        written
            A part as someone wrote it.

        Returns
        -------
        str or None
            The first name of the same letters; else the one of the same thing (coil, motor, ...) all whose
            words are in what was written, the one with most words; else the one that only adds figures, such
            as 24 V. None where there is none, or where two would do: nothing is guessed.

        Notes
        -----
        A name of one word takes no further words: an air compressor is not a unit's compressor.
        """
        given = _taken_apart(written)
        same = next((name for name, known in self._apart if known.squeezed == given.squeezed), None)
        if same is not None or not given.plain:
            return same
        kin = [(name, known) for name, known in self._apart if known.head == given.head and known.plain]
        held = [
            (len(known.words), name)
            for name, known in kin
            if known.words <= given.words and (len(known.plain) > 1 or known.plain == given.plain)
        ]
        most = max(held, default=(0, ""))[0]
        fitting = [name for count, name in held if count == most] or [
            name for name, known in kin if known.plain == given.plain and given.words == given.plain
        ]
        return fitting[0] if len(fitting) == 1 else None


def noted_parts(written: str, vocabulary: Vocabulary) -> list[tuple[str, int]]:
    """The parts that a note names, and how many of each.

    Parameters
    ----------
    written
        The part of a note: "expansion valve coil", "2 x filter drier; door seal".
    vocabulary
        Names that are known: at a comma, a list is parted only where every piece is one of them.

    Returns
    -------
    list of tuple
        Names as written, and their number.
    """
    found = []
    for piece in filter(None, map(str.strip, re.split(r"[;+\n]", written))):
        listed = [_counted(part.strip(), vocabulary) for part in piece.split(",")]
        known = all(vocabulary.find(name) for name, _ in listed)
        found += listed if known else [_counted(piece, vocabulary)]
    return found


def _counted(piece: str, vocabulary: Vocabulary) -> tuple[str, int]:
    if told := _MULTIPLE.fullmatch(piece):
        return (told["what"] or told["what_else"]).strip(), int(told["before"] or told["after"])
    # A figure alone may belong to the name: it counts where the rest is known, and no unit or other name.
    if (told := _COUNTED.fullmatch(piece)) and told[2].split()[0].casefold() not in UNITS:
        without = vocabulary.find(told[2])
        if without is not None and vocabulary.find(piece) in (None, without):
            return told[2], int(told[1])
    return piece, 1
