"""UN/EDIFACT text taken apart into segments, so that one damaged segment costs nothing but itself.

Goes in: the bytes of an interchange. Comes out: its segments, numbered. The elements of a segment are read by
pydifact; only the cuts between segments are made here, since a parser of whole messages stops at the first
fault.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass

from pydifact.control.characters import Characters
from pydifact.exceptions import EDISyntaxError
from pydifact.parser import Parser
from pydifact.tokenizer import Tokenizer

from coldsift.voyage.headings import EDIFACT_BEGIN, EDIFACT_HEADER, STOWAGE_MESSAGE

DEFAULT_SIGNS = ":+.? '"
"""Separators without UNA: component, element, decimal mark, release, reserved, end. ISO 9735, from memory."""

CHARACTER_SETS = {
    "UNOA": "iso8859-1",
    "UNOB": "iso8859-1",
    "UNOC": "iso8859-1",
    "UNOD": "iso8859-2",
    "UNOE": "iso8859-5",
    "UNOF": "iso8859-7",
    "UNOG": "iso8859-3",
    "UNOH": "iso8859-4",
    "UNOI": "iso8859-6",
    "UNOJ": "iso8859-8",
    "UNOK": "iso8859-9",
    "UNOL": "iso8859-15",
    "UNOW": "utf-8",
    "UNOX": "utf-8",
    "UNOY": "utf-8",
}
"""Encoding of each syntax identifier. UNOA and UNOB are parts of ISO 646; what goes beyond is read as UNOC.
ISO 9735, from memory; UNOX is ISO 2022 there, and met as UTF-8 (common practice, no source)."""

TAGS = frozenset(
    {"ATT", "BGM", "CNT", "COM", "CTA", "DGS", "DIM", "DTM", "EQA", "EQD", "EQN", "FTX", "GDS", "GID", "HAN"}
    | {"LOC", "MEA", "NAD", "RFF", "RNG", "TDT", "TMP", "TSR"}
    | {"UNB", "UNE", "UNG", "UNH", "UNS", "UNT", "UNZ"}
)
"""Segments of the stowage plan message in D.95B and D.13B, and the service segments."""

READ = frozenset({"UNB", "UNH", "UNT", "UNZ", "LOC", "EQD", "TMP", "RNG"})
"""Segments whose elements are read; of the others of :data:`TAGS` the tag is enough."""

_UNENDED = "\x00"


@dataclass(frozen=True, slots=True)
class Segment:
    """One segment.

    Attributes
    ----------
    number
        From 1, UNA not counted.
    text
        As it stands, without its end mark.
    tag
        Three signs such as ``LOC``; empty when it cannot be read.
    elements
        Components of each data element after the tag, where it is one of :data:`READ` or not known.
    is_cut
        True when the file ends within it.
    lacks_end
        True when a line break stands where its end mark should.
    """

    number: int
    text: str
    tag: str
    elements: tuple[tuple[str, ...], ...] = ()
    is_cut: bool = False
    lacks_end: bool = False

    def at(self, element: int, component: int = 0) -> str:
        """A component, from 0, blanks stripped; empty when it is not there."""
        if element < len(self.elements) and component < len(self.elements[element]):
            return self.elements[element][component].strip()
        return ""


@dataclass(frozen=True, slots=True)
class Interchange:
    """An interchange taken apart.

    Attributes
    ----------
    segments
        In order.
    character_set
        As UNB names it; empty when it names none.
    is_garbled
        True when bytes are not of the character set.
    """

    segments: tuple[Segment, ...]
    character_set: str
    is_garbled: bool


def is_edifact(data: bytes) -> bool:
    """True when a file begins as an interchange or a message does, or soon holds a stowage plan message."""
    begin = data[:4096].decode("utf-8-sig", errors="replace")
    return bool(EDIFACT_BEGIN.match(begin) or STOWAGE_MESSAGE.search(begin))


def take_apart(data: bytes) -> Interchange:
    """Take an interchange apart.

    Parameters
    ----------
    data
        With or without UNA, byte-order mark and line breaks.

    Returns
    -------
    Interchange
        Every segment of it; one that cannot be read has no tag or no elements.
    """
    declared = re.search(rb"UNB.(UNO[A-Z])", data[:1024], re.DOTALL)
    name = declared.group(1).decode("ascii") if declared else ""
    marked = data.startswith(codecs.BOM_UTF8)
    text = data.decode("utf-8-sig" if marked else CHARACTER_SETS.get(name, "utf-8"), errors="replace")
    is_garbled = "\ufffd" in text
    text = text.replace(_UNENDED, "").lstrip()
    # A mail's lines may stand before it.
    if begin := EDIFACT_HEADER.search(text[:4096]):
        text = text[begin.start() :]
    signs = Characters.from_str(DEFAULT_SIGNS)
    if text.startswith("UNA") and len(text) >= 9:
        signs = _declared(text[3:9]) or signs
        text = text[9:]
    # A file may hold several interchanges, each with its UNA.
    cut = enumerate((piece for piece in _cut(text, signs) if not piece[0].startswith("UNA")), start=1)
    return Interchange(tuple(_segment(number, *piece, signs) for number, piece in cut), name, is_garbled)


def _declared(written: str) -> Characters | None:
    """The separators that UNA declares; None when they cannot be separators."""
    signs: Characters = Characters.from_str(f"UNA{written}")
    needed = {written[0], written[1], written[5]}
    if len(needed) < 3 or any(sign.isalnum() or sign == " " for sign in needed):
        return None
    # A blank says that there is no release character; the library cannot say so.
    return signs.with_control_character("escape_character", "\x01") if written[3] == " " else signs


def _cut(text: str, signs: Characters) -> Iterator[tuple[str, bool, bool]]:
    """Each segment without its end mark, whether the file ends in it, and whether it lacks the mark."""
    end, release, separator = (
        re.escape(sign) for sign in (signs.segment_terminator, signs.escape_character, signs.data_separator)
    )
    if signs.segment_terminator not in "\r\n":
        lines = [line.rstrip() for line in text.splitlines() if line.strip()]
        ended = sum(line.endswith(signs.segment_terminator) for line in lines)
        if ended * 2 > len(lines):
            # One segment a line: a line without its end mark before one that begins with a tag has lost it.
            tags = "|".join(sorted(TAGS))
            text = re.sub(
                rf"(?<=[^\s{end}])[ \t]*\r?\n(?=(?:{tags}){separator})",
                lambda _: _UNENDED + signs.segment_terminator,
                text,
            )
        text = re.sub(r"[\r\n]", "", text)
    for match in re.finditer(rf"((?:{release}.|[^{end}])*?)({end}|\Z)", text, re.DOTALL):
        piece, mark = match.groups()
        if piece.strip():
            lacks_end = piece.endswith(_UNENDED)
            yield piece.strip().removesuffix(_UNENDED), not mark, lacks_end


def _segment(number: int, text: str, is_cut: bool, lacks_end: bool, signs: Characters) -> Segment:
    known = text[:3]
    if known in TAGS - READ and text[3:4] in ("", signs.data_separator):
        return Segment(number, text, known, (), is_cut, lacks_end)
    try:
        tokens = Tokenizer().get_tokens(text + signs.segment_terminator, signs)
        tag, *elements = next(Parser().convert_tokens_to_raw_segments(tokens))
    except (EDISyntaxError, StopIteration):
        return Segment(number, text, "", (), is_cut, lacks_end)
    if not isinstance(tag, str) or re.fullmatch(r"[A-Z][A-Z0-9]{2}", tag) is None:
        tag = ""
    told = tuple((element,) if isinstance(element, str) else tuple(element) for element in elements)
    return Segment(number, text, tag, told, is_cut, lacks_end)
