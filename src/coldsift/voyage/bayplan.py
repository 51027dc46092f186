"""Stowage plan messages: BAPLIE in UN/EDIFACT D.95B (SMDG 2.x) and D.13B (SMDG 3.x).

Goes in: the segments of an interchange. Comes out: one :class:`Box` a container, and remarks on what could
not be used.

Both directories open a group with the place, LOC+147. In D.95B weights, temperature and ports follow it and
the container, EQD, comes last (UN/EDIFACT D.95B, segment table of BAPLIE, group 2); in D.13B the container
comes next and they follow it (segment table of D.13B, by a public code template). Some senders put the
container before its place (public samples); which of the two a message does is told from its two ends.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from coldsift.container_numbers import tidy
from coldsift.voyage.degrees import NoTemperature, celsius
from coldsift.voyage.edifact import TAGS, Interchange, Segment
from coldsift.voyage.remarks import Remarks
from coldsift.voyage.stowage import cell
from coldsift.voyage.tables import TableError

PLACE, LOAD, DISCHARGE = "147", "9", "11"
"""LOC qualifiers, data element 3227: stowage cell, port of loading, port of discharge (from memory)."""

TRANSPORT_TEMPERATURE = "2"
"""Data element 6245: 2 is the transport temperature."""

TEMPERATURE_RANGES = ("5", "12")
"""Data element 6167: 5 is a temperature range, 12 the one to be kept under transport."""

UNITS = {"CEL": "°C", "FAH": "°F", "KEL": "K", "C": "°C", "F": "°F"}
"""Units of TMP and RNG: UN/ECE recommendation 20, from memory; C and F are met in public samples."""

LADEN = {"4": False, "5": True, "7": True, "8": True}
"""Data element 8169: 4 empty, 5 full, 7 and 8 full with a mixed and with a single consignment."""

NO_CELL_AGENCIES = ("87", "ZZZ")
"""Data element 3055 of places that are not bay, row and tier: the carrier's own, and mutually agreed ones
(from memory)."""

NOTHING = "Nothing, if that was meant."
ASK = "Ask whoever sent the plan for a whole one; what could be read is used."


_CELL = re.compile(r"(?<![A-Za-z0-9])[0-9]{6,7}(?![A-Za-z0-9])")
_NUMBER = re.compile(r"[A-Z]{4} ?[0-9]{7}")


@dataclass(frozen=True, slots=True)
class Box:
    """A container of a plan; None where the plan says nothing. Temperatures in °C."""

    line: int
    container: str
    position: str | None = None
    size_type: str | None = None
    required_temperature: float | None = None
    full: bool | None = None
    load_port: str | None = None
    discharge_port: str | None = None


@dataclass(slots=True)
class _Message:
    """Segments between UNH and UNT; kind is None when UNH cannot be read."""

    kind: str | None
    begin: int
    segments: list[Segment] = field(default_factory=list)
    is_closed: bool = False
    counts_agree: bool = True


@dataclass(slots=True)
class _Details:
    """Segments that say more of a container, by what they say; the first of each counts."""

    of: dict[str, Segment] = field(default_factory=dict)

    def over(self, shared: _Details) -> _Details:
        return _Details({**shared.of, **self.of})


@dataclass(slots=True)
class _Group:
    """A place with what stands there; without one, why."""

    place: Segment | None
    shared: _Details = field(default_factory=_Details)
    boxes: list[tuple[Segment, _Details]] = field(default_factory=list)


def read_boxes(interchange: Interchange, remarks: Remarks) -> list[Box]:
    """The containers of every stowage plan message.

    Parameters
    ----------
    interchange
        As :func:`coldsift.voyage.edifact.take_apart` gives it.
    remarks
        Takes what is to be said.

    Returns
    -------
    list of Box
        In order; a container can be there twice.

    Raises
    ------
    TableError
        When it holds no stowage plan message.
    """
    _tell_damage(interchange, remarks)
    messages = _messages(interchange.segments, remarks)
    plans = [message for message in messages if message.kind == "BAPLIE"]
    plans += [
        message for message in messages if message.kind is None and any(map(_is_place, message.segments))
    ]
    if not plans:
        kinds = sorted({message.kind for message in messages if message.kind})
        raise TableError(
            f"{remarks.file} is no stowage plan: it holds {', '.join(kinds) or 'no message'}, "
            "not BAPLIE. Give the message of type BAPLIE, or a CSV."
        )
    for message in messages:
        if message not in plans and message.segments:
            what = f"a message of type {message.kind or 'unknown'} is no stowage plan and is left out"
            remarks.add("warning", message.begin, what, NOTHING)
        if message in plans and message.kind is None:
            what = "a message without a readable header UNH is taken for a stowage plan"
            remarks.add("warning", message.begin, what, ASK)
    return [box for message in plans for box in _boxes_of(message, remarks)]


def _tell_damage(interchange: Interchange, remarks: Remarks) -> None:
    if interchange.is_garbled:
        named = interchange.character_set or "UTF-8"
        what = f"Some signs are not of the character set {named}; they are shown as �"
        remarks.add("note", None, what, "Nothing, if numbers and places are right.")
    for segment in interchange.segments:
        if segment.is_cut and segment.tag not in ("UNT", "UNZ"):
            remarks.add("warning", segment.number, "the file is cut off within it", ASK, segment.text)
        elif not segment.tag:
            remarks.add("warning", segment.number, "is no segment and is left out", ASK, segment.text)
        elif segment.lacks_end:
            what = "has no end mark and is read to the end of its line"
            remarks.add("warning", segment.number, what, ASK, segment.text)


def _messages(segments: Sequence[Segment], remarks: Remarks) -> list[_Message]:
    """The messages of an interchange; counts that do not agree are told."""
    messages: list[_Message] = []
    open_one: _Message | None = None
    for segment in segments:
        if segment.tag == "UNH":
            _tell_open(open_one, remarks)
            open_one = _Message(segment.at(1) or None, segment.number)
            messages.append(open_one)
        elif segment.tag == "UNT":
            if open_one is not None:
                _close(open_one, segment, remarks)
            open_one = None
        elif segment.tag not in ("UNB", "UNG", "UNE", "UNZ"):
            if open_one is None:
                open_one = _Message(None, segment.number)
                messages.append(open_one)
            open_one.segments.append(segment)
    _tell_open(open_one, remarks)
    last = segments[-1] if segments else None
    if last is not None and segments[0].tag == "UNB" and last.tag != "UNZ":
        what = "The interchange has no end (UNZ): it may be cut off"
        remarks.add("warning", None, what, ASK)
    _tell_counts(segments, remarks)
    return messages


def _tell_counts(segments: Sequence[Segment], remarks: Remarks) -> None:
    """Ends of interchanges that count other messages than there are; a file may hold several."""
    if _has_groups(segments):
        return
    found = 0
    for segment in segments:
        found = 0 if segment.tag == "UNB" else found + (segment.tag == "UNH")
        said = segment.at(0) if segment.tag == "UNZ" else ""
        if said.isdecimal() and int(said) != found:
            what = f"it counts {int(said)} messages, {found} are there"
            remarks.add("warning", segment.number, what, ASK, segment.text)


def _has_groups(segments: Iterable[Segment]) -> bool:
    """Functional groups, which UNZ counts in place of messages."""
    return any(segment.tag == "UNG" for segment in segments)


def _tell_open(message: _Message | None, remarks: Remarks) -> None:
    if message is not None and message.segments:
        what = "the message that begins there has no end (UNT): containers may be missing"
        remarks.add("warning", message.begin, what, ASK)


def _close(message: _Message, end: Segment, remarks: Remarks) -> None:
    said, found = end.at(0), end.number - message.begin + 1
    message.is_closed = True
    message.counts_agree = not said.isdecimal() or int(said) == found
    if not message.counts_agree:
        what = f"it counts {int(said)} segments, the message has {found}: some may be missing"
        remarks.add("warning", end.number, what, ASK, end.text)


def _is_place(segment: Segment) -> bool:
    return segment.tag == "LOC" and segment.at(0) == PLACE


def _is_container(segment: Segment) -> bool:
    return segment.tag == "EQD" and segment.at(0) in ("CN", "")


def _is_lost_place(segment: Segment) -> bool:
    """A damaged segment that may have been a place."""
    if segment.tag == "LOC":
        return not _is_place(segment) and cell(segment.at(1)) is not None
    if segment.tag:
        return segment.tag not in TAGS and segment.at(0) == PLACE
    return _CELL.search(segment.text) is not None


def _is_lost_container(segment: Segment) -> bool:
    """A damaged segment that may have been a container."""
    return segment.tag not in TAGS and _NUMBER.search(segment.text) is not None


def _boxes_of(message: _Message, remarks: Remarks) -> Iterator[Box]:
    whole = [segment for segment in message.segments if not segment.is_cut]
    opens = _place_opens(whole, message)
    if opens is None:
        what = (
            "it is not clear whether a place stands before its container or after it; "
            "the containers of this message are used without place, temperature and ports"
        )
        remarks.add("warning", message.begin, what, ASK)
        groups = [_Group(None, boxes=[(segment, _Details())]) for segment in whole if _is_container(segment)]
    else:
        groups = _by_place(whole) if opens else _by_container(whole)
    for segment in whole:
        if segment.tag == "EQD" and not _is_container(segment):
            what = f"equipment of type {segment.at(0)} is no container and is left out"
            remarks.add("note", segment.number, what, NOTHING, segment.text)
    for group in groups:
        _tell_gaps(group, opens is not None, remarks)
        yield from _boxes_in(group, remarks)


def _place_opens(segments: Sequence[Segment], message: _Message) -> bool | None:
    """True when each place stands before its container, False when after it, None when it is not clear.

    A guess would shift every container by one place, so both ends of the message must agree where a segment
    may be missing.
    """
    marks = [at for at, segment in enumerate(segments) if _is_place(segment) or _is_container(segment)]
    order = [_is_place(segments[at]) for at in marks]
    if not any(order):
        return False
    is_whole = message.counts_agree and not any(
        segment.tag in ("", "EQD") or _is_lost_place(segment) or _is_lost_container(segment)
        for segment in segments[: marks[0]]
    )
    # Two places in a row: the first is empty, which only makes sense where a place opens a group.
    has_empty = any(one and two for one, two in pairwise(order))
    if order[0]:
        return True if is_whole or has_empty or not order[-1] else None
    return False if is_whole and message.is_closed and order[-1] and not has_empty else None


_KEYS = {
    ("TMP", TRANSPORT_TEMPERATURE): "temperature",
    ("RNG", TEMPERATURE_RANGES[0]): "range",
    ("RNG", TEMPERATURE_RANGES[1]): "range",
    ("LOC", LOAD): "load_port",
    ("LOC", DISCHARGE): "discharge_port",
}

_LOADED = ("MEA", "GID", "GDS", "DIM", "TMP", "RNG")
"""Segments that say there is something in a place."""


def _by_place(segments: Iterable[Segment]) -> list[_Group]:
    """Groups that a place opens."""
    groups = [_Group(None)]
    for segment in segments:
        group = groups[-1]
        if _is_place(segment):
            groups.append(_Group(segment))
        elif _is_lost_place(segment) or (not segment.tag and not group.shared.of and not group.boxes):
            groups.append(_Group(None))
        elif _is_container(segment):
            group.boxes.append((segment, _Details()))
        elif key := _KEYS.get((segment.tag, segment.at(0))):
            if key in group.shared.of:
                # Said once for each place: a new place has begun, its own segment is lost.
                begun = _Details()
                if group.boxes:
                    container, begun = group.boxes[-1]
                    group.boxes[-1] = (container, _Details())
                group = _Group(None, begun)
                groups.append(group)
            (group.boxes[-1][1] if group.boxes else group.shared).of.setdefault(key, segment)
        elif segment.tag in _LOADED and not group.boxes:
            group.shared.of.setdefault("loaded", segment)
    return groups


def _by_container(segments: Iterable[Segment]) -> list[_Group]:
    """Groups that a container opens."""
    groups = [_Group(None)]
    for segment in segments:
        group = groups[-1]
        if _is_container(segment):
            groups.append(_Group(None, boxes=[(segment, _Details())]))
        elif _is_lost_container(segment):
            groups.append(_Group(None))
        elif _is_place(segment):
            if group.place is None:
                group.place = segment
            else:
                groups.append(_Group(segment))
        elif key := _KEYS.get((segment.tag, segment.at(0))):
            group.shared.of.setdefault(key, segment)
    return groups


def _tell_gaps(group: _Group, has_places: bool, remarks: Remarks) -> None:
    """Say what a damaged segment has cost."""
    temperature = group.shared.of.get("temperature")
    if group.boxes:
        for segment, _ in group.boxes:
            if has_places and group.place is None and segment.at(1):
                what = "no place can be read for this container; it is used without one"
                remarks.add("warning", segment.number, what, ASK, segment.text)
    elif group.place is not None and group.shared.of:
        what = "something stands in this place, but no container can be read there"
        remarks.add("warning", group.place.number, what, ASK, group.place.text)
    elif temperature is not None:
        what = "no container can be read that this belongs to"
        remarks.add("warning", temperature.number, what, ASK, temperature.text)


def _boxes_in(group: _Group, remarks: Remarks) -> Iterator[Box]:
    position = _position(group.place, remarks) if group.boxes else None
    for segment, own in group.boxes:
        number = tidy(segment.at(1))
        if not number:
            what = "names no container (a place that is kept free) and is left out"
            remarks.add("note", segment.number, what, NOTHING, segment.text)
            continue
        told = own.over(group.shared).of
        yield Box(
            line=segment.number,
            container=number,
            position=position,
            size_type=segment.at(2).upper() or None,
            required_temperature=_temperature(told, remarks),
            full=LADEN.get(segment.at(5)),
            load_port=_port(told.get("load_port")),
            discharge_port=_port(told.get("discharge_port")),
        )


def _position(place: Segment | None, remarks: Remarks) -> str | None:
    if place is None:
        return None
    position = None if place.at(1, 2) in NO_CELL_AGENCIES else cell(place.at(1))
    if position is None:
        what = "is no bay, row and tier; the container is used without a place"
        remarks.add("warning", place.number, what, "Correct the place in the plan.", place.text)
    return position


def _port(segment: Segment | None) -> str | None:
    return segment.at(1) or None if segment is not None else None


def _temperature(told: dict[str, Segment], remarks: Remarks) -> float | None:
    """Of TMP, and where there is none the middle of RNG. [°C]"""
    if setting := told.get("temperature"):
        return _degrees(setting, setting.at(1), setting.at(1, 1), remarks)
    within = told.get("range")
    if within is None:
        return None
    ends = [within.at(1, place) for place in (1, 2) if within.at(1, place)]
    read = [_degrees(within, end, within.at(1, 0), remarks) for end in ends or [""]]
    known = [value for value in read if value is not None]
    if not known or len(known) < len(read):
        return None
    middle = sum(known) / len(known)
    what = f"gives a range and no temperature; its middle is taken, {middle:.1f} °C"
    remarks.add("note", within.number, what, "Check it against the booking.", within.text)
    return middle


def _degrees(segment: Segment, number: str, unit: str, remarks: Remarks) -> float | None:
    try:
        return celsius(number, UNITS.get(unit.upper(), unit) or None)
    except NoTemperature as trouble:
        what = f"{trouble}; the container is used without a required temperature"
        remarks.add("warning", segment.number, what, "Correct the temperature in the plan.", segment.text)
        return None
