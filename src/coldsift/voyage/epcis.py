"""Custody events in the JSON form of EPCIS 2.0 (GS1, open standard).

Goes in: a document of events. Comes out: one line per event and container, as a custody table has them, and
messages on events that say nothing of custody.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl

from coldsift.container_numbers import find_in, tidy
from coldsift.intake.records import Message
from coldsift.voyage.headings import EPCIS_BEGIN
from coldsift.voyage.remarks import Remarks
from coldsift.voyage.tables import TableError

COLUMNS = ("line", "container", "time", "until", "event", "holder", "place")

BIC = "urn:epc:id:bic:"
"""Begin of a container number as an EPC (GS1 EPC Tag Data Standard: ``urn:epc:id:bic:CSQU3054383``)."""

_NAMES = ("name", "cbv:mda#name", "cbvmda:name", "urn:epcglobal:cbv:mda#name", "urn:epcglobal:cbv:mda:name")
"""Attributes of master data that name a party or a place."""

_LISTS = ("epcList", "childEPCs", "inputEPCList", "outputEPCList")
_WHOLE = "An event must name a container as urn:epc:id:bic:CSQU3054383, and who has it from then on."


def is_epcis(data: bytes) -> bool:
    """True when a file begins as EPCIS events in JSON do."""
    return EPCIS_BEGIN.match(data[:4096].decode("utf-8-sig", errors="replace")) is not None


def read_epcis(path: Path, data: bytes) -> tuple[pl.DataFrame, tuple[Message, ...]]:
    """Read events.

    Parameters
    ----------
    path
        For messages.
    data
        An ``EPCISDocument``, an ``EPCISQueryDocument``, one event or a list of events.

    Returns
    -------
    tuple
        Lines (columns :data:`COLUMNS` as text, ``line`` the event counted from 1, in order of container and
        time) and messages. The holder is the destination that possesses the container, else the one that owns
        it; an event that names none leaves the container with whoever had it before. Places and holders go by
        the name that the document's master data give them. What an error declaration takes back is left out.

    Raises
    ------
    TableError
        When it is no JSON, or there is no event in it.
    """
    try:
        document = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise TableError(f"{path.name} is no valid JSON: {str(error)[:100]}. Export it once more.") from error
    events = _events(document)
    if not events:
        raise TableError(f"{path.name} holds no EPCIS event. Give an EPCISDocument with an eventList.")
    remarks = Remarks(path.name, "event")
    names = _names_in(document)
    lines = [line for at, event in enumerate(events, start=1) for line in _lines(at, event, names, remarks)]
    withdrawn = {
        event.get("eventID") for event in events if "errorDeclaration" in event and event.get("eventID")
    }
    kept = []
    for line in lines:
        event = events[line["line"] - 1]
        if "errorDeclaration" in event or event.get("eventID") in withdrawn:
            what = "it is declared to be in error and is left out"
            remarks.add("note", line["line"], what, "Nothing, if that was meant.")
        else:
            kept.append(line)
    table = pl.DataFrame(kept, schema=dict.fromkeys(COLUMNS, pl.String) | {"line": pl.Int64}).sort(
        "container", "time", "line"
    )
    table = table.with_columns(pl.col("holder").forward_fill().over("container"))
    for row in table.filter(pl.col("holder").is_null()).iter_rows(named=True):
        what = f"nobody is named who has {row['container']} from then on; it is left out"
        remarks.add("warning", row["line"], what, _WHOLE)
    # What happened in one instant is one line of custody.
    at_once = (
        table.filter(pl.col("holder").is_not_null())
        .group_by("container", "time", maintain_order=True)
        .agg(
            pl.col("line", "holder").last(),
            pl.col("until").last(),
            pl.col("place").drop_nulls().last(),
            pl.col("event").drop_nulls().unique(maintain_order=True).str.join(", "),
        )
        .with_columns(pl.col("event").replace("", None))
    )
    return at_once.select(COLUMNS), remarks.messages()


def _events(document: Any) -> list[dict[str, Any]]:
    found: list[Any] = []
    if isinstance(document, list):
        found = document
    elif isinstance(document, dict):
        body = document.get("epcisBody", {})
        results = body.get("queryResults", {}) if isinstance(body, dict) else {}
        inner = results.get("resultsBody", {}) if isinstance(results, dict) else {}
        for each in (body, inner):
            if isinstance(each, dict) and isinstance(each.get("eventList"), list):
                found += each["eventList"]
        if not found and "eventTime" in document:
            found = [document]
    return [event for event in found if isinstance(event, dict)]


def _names_in(document: Any) -> dict[str, str]:
    """Names of parties and places, from the document's master data."""
    entry = document
    for key in ("epcisHeader", "epcisMasterData", "vocabularyList"):
        entry = entry.get(key) if isinstance(entry, dict) else None
    names = {}
    for vocabulary in _dicts(entry):
        for element in _dicts(vocabulary.get("vocabularyElementList")):
            for attribute in _dicts(element.get("attributes")):
                said = attribute.get("attribute")
                if attribute.get("id") in _NAMES and isinstance(said, str) and said.strip():
                    names[str(element.get("id"))] = said.strip()
    return names


def _dicts(entry: Any) -> list[dict[str, Any]]:
    return [each for each in entry if isinstance(each, dict)] if isinstance(entry, list) else []


def _lines(
    number: int, event: Mapping[str, Any], names: Mapping[str, str], remarks: Remarks
) -> Iterator[dict[str, Any]]:
    """The lines of one event."""
    containers = [each for each in map(_container, _things(event)) if each]
    if not containers:
        remarks.add("note", number, "it names no container and is left out", _WHOLE)
        return
    time = _time(event)
    if time is None:
        what = "its time cannot be read and it is left out"
        remarks.add("warning", number, what, "Write eventTime as 2031-01-06T10:00:00Z.")
        return
    holder = _party(event)
    where = _id(event.get("bizLocation")) or _id(event.get("readPoint"))
    for container in dict.fromkeys(containers):
        yield {
            "line": number,
            "container": container,
            "time": time,
            "until": None,
            "event": _step(event.get("bizStep")),
            "holder": names.get(holder, holder) if holder else None,
            "place": names.get(where, where) if where else None,
        }


def _things(event: Mapping[str, Any]) -> list[str]:
    named: Sequence[Any] = [
        event.get("parentID"),
        *(each for name in _LISTS if isinstance(event.get(name), list) for each in event[name]),
    ]
    return [each for each in named if isinstance(each, str)]


def _container(epc: str) -> str | None:
    """The container number in an identifier: of its own scheme, or as the serial part of another."""
    if epc.lower().startswith(BIC):
        return tidy(epc[len(BIC) :]) or None
    return find_in(epc)


def _time(event: Mapping[str, Any]) -> str | None:
    """The event's time in UTC; its offset tells the zone where the time itself does not."""
    offset = str(event.get("eventTimeZoneOffset", "+00:00"))
    try:
        time = datetime.fromisoformat(str(event.get("eventTime")).strip())
        if time.tzinfo is None:
            time = datetime.fromisoformat(time.isoformat() + offset)
        return f"{time.astimezone(UTC):%Y-%m-%d %H:%M:%S}Z"
    except (ValueError, OverflowError):
        return None


def _party(event: Mapping[str, Any]) -> str | None:
    """Who possesses it after the event, else who owns it."""
    parties = {
        _last_word(str(entry.get("type"))): entry["destination"]
        for entry in _dicts(event.get("destinationList"))
        if isinstance(entry.get("destination"), str)
    }
    return parties.get("possessing party") or parties.get("owning party")


def _id(entry: Any) -> str | None:
    said = entry.get("id") if isinstance(entry, dict) else entry
    return said if isinstance(said, str) and said.strip() else None


def _step(step: Any) -> str | None:
    return _last_word(step) or None if isinstance(step, str) else None


def _last_word(word: str) -> str:
    """The plain word of a vocabulary entry, written bare, as a URN or as a web address."""
    last = re.split(r"[:/#]", word.strip())[-1]
    return re.sub(r"^(?:BizStep|SDT)-", "", last).replace("_", " ")
