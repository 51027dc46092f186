"""A page as a reader has it: its elements, and its text without scripts and styles."""

from __future__ import annotations

import re
from html.parser import HTMLParser


class Outline(HTMLParser):
    """Every element with its attributes, and the page's text outside scripts and styles."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self._inside: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self._inside and self._inside[-1] == tag:
            self._inside.pop()

    def handle_data(self, data: str) -> None:
        if not self._inside:
            self.texts.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.texts))

    @property
    def ids(self) -> list[str]:
        return [attributes["id"] or "" for _, attributes in self.elements if "id" in attributes]
