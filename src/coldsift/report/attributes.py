"""Words in attributes that machines read (class, id, data-…) are printed as they are, never translated.

Goes in: the tokens of a template. Comes out: the same, with the filter ``untranslated`` on everything printed
inside such an attribute, so that no template has to remember it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from jinja2.ext import Extension
from jinja2.lexer import Token, TokenStream

READ_BY_PEOPLE = frozenset({"title", "aria-label", "placeholder", "alt", "label", "data-words"})
"""Attributes whose words are shown or read out."""

_OPENS = re.compile(r"<[A-Za-z]")
_GOES_ON = re.compile(r"""([\w:-]+)=(["'])|>""")


class MachineAttributes(Extension):
    """Marks what is printed inside attributes that people do not read."""

    def filter_stream(self, stream: TokenStream) -> Iterable[Token]:
        """Put ``untranslated`` behind every expression inside such an attribute."""
        place = _Place()
        translated = marked = False
        before = ""
        for token in stream:
            if token.type == "data":
                place.read_on(token.value)
            elif token.type == "name" and before == "block_begin":
                # Within a translated text only plain names may be printed.
                translated = token.value == "trans" or (translated and token.value != "endtrans")
            elif token.type == "variable_end" and marked:
                marked = False
                yield from _tokens(token.lineno, ("rparen", ")"), ("pipe", "|"), ("name", "untranslated"))
            before = token.type
            yield token
            if token.type == "variable_begin" and place.in_machine_attribute and not translated:
                marked = True
                yield from _tokens(token.lineno, ("lparen", "("))


def _tokens(line: int, *parts: tuple[str, str]) -> Iterator[Token]:
    return (Token(line, kind, value) for kind, value in parts)


class _Place:
    """Where in the page a template has come to."""

    def __init__(self) -> None:
        self.in_tag = False
        self.attribute = ""
        self.quote = ""

    @property
    def in_machine_attribute(self) -> bool:
        return bool(self.attribute) and self.attribute not in READ_BY_PEOPLE

    def read_on(self, text: str) -> None:
        """Go on through plain text of the page."""
        at = 0
        while at < len(text):
            if self.attribute:
                end = text.find(self.quote, at)
                if end < 0:
                    return
                self.attribute, at = "", end + 1
                continue
            found = (_GOES_ON if self.in_tag else _OPENS).search(text, at)
            if found is None:
                return
            at = found.end()
            if not self.in_tag:
                self.in_tag = True
            elif found[1]:
                self.attribute, self.quote = found[1].lower(), found[2]
            else:
                self.in_tag = False
