"""The text of a PDF that the browser printed."""

from __future__ import annotations

import re
import unicodedata
import zlib


def printed_text(pdf: bytes) -> str:
    """Every letter of a PDF in the order it is painted, without blanks.

    Parameters
    ----------
    pdf
        As Chromium writes it: plain objects, text as glyph numbers with a map to Unicode for each font
        (ISO 32000-1, 9.10.3).
    """
    objects = {
        int(number): body
        for number, body in re.findall(rb"(?:^|\n)(\d+) 0 obj\s*(.*?)\nendobj", pdf, re.DOTALL)
    }
    maps = {}
    for number, body in objects.items():
        if found := re.search(rb"/ToUnicode (\d+) 0 R", body):
            maps[number] = _letters(_stream(objects[int(found[1])]))
    fonts: dict[bytes, int] = {}
    pages = []
    for body in objects.values():
        fonts |= {name: int(number) for name, number in re.findall(rb"/(F\d+) (\d+) 0 R", body)}
        if found := re.search(rb"/Type /Page\n.*?/Contents (\d+) 0 R", body, re.DOTALL):
            pages.append(_stream(objects[int(found[1])]))
    text = []
    for page in pages:
        letters: dict[int, str] = {}
        for font, glyphs in re.findall(rb"/(F\d+) [\d.]+ Tf|<([0-9A-Fa-f]+)> Tj", page):
            if font:
                letters = maps.get(fonts[font], {})
            places = range(0, len(glyphs), 4)
            text += [letters.get(int(glyphs[place : place + 4], 16), "\ufffd") for place in places]
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", "".join(text)))


def _stream(body: bytes) -> bytes:
    found = re.search(rb"stream\r?\n(.*)\r?\nendstream", body, re.DOTALL)
    assert found is not None
    return zlib.decompress(found[1]) if b"/FlateDecode" in body else found[1]


def _letters(unicode_map: bytes) -> dict[int, str]:
    """Glyph number to letter."""
    letters = {}
    for block in re.findall(rb"beginbfchar(.*?)endbfchar", unicode_map, re.DOTALL):
        for glyph, letter in re.findall(rb"<(\w+)> <(\w+)>", block):
            letters[int(glyph, 16)] = bytes.fromhex(letter.decode()).decode("utf-16-be")
    for block in re.findall(rb"beginbfrange(.*?)endbfrange", unicode_map, re.DOTALL):
        for first, last, letter in re.findall(rb"<(\w+)> <(\w+)> <(\w+)>", block):
            for place in range(int(last, 16) - int(first, 16) + 1):
                letters[int(first, 16) + place] = chr(int(letter, 16) + place)
    return letters
