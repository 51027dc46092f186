"""Custody from EPCIS 2.0 events in JSON."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from coldsift.voyage import CustodyEvents, TableError, read_custody, read_events

SAMPLE = Path(__file__).parent / "epcis_events.json"
ONE, TWO = "CSQU3054383", "TASU1170000"
SHIP = [{"type": "possessing_party", "destination": "Ship"}]


def event(**told: Any) -> dict[str, Any]:
    usual = {
        "type": "ObjectEvent",
        "eventTime": "2031-01-06T00:00:00Z",
        "eventTimeZoneOffset": "+00:00",
        "epcList": [f"urn:epc:id:bic:{ONE}"],
        "action": "OBSERVE",
        "destinationList": SHIP,
    }
    return usual | told


def events_of(folder: Path, *events: Any) -> CustodyEvents:
    path = folder / "events.json"
    document = {"type": "EPCISDocument", "schemaVersion": "2.0", "epcisBody": {"eventList": list(events)}}
    path.write_text(json.dumps(document), encoding="utf-8")
    return read_events(path)


def at(day: int, hour: int = 0, minute: int = 0) -> datetime:
    return datetime(2031, 1, day, hour, minute, tzinfo=UTC)


def test_each_event_hands_its_containers_to_the_party_that_possesses_them() -> None:
    events = read_events(SAMPLE)
    assert events.messages == ()
    terminal, ship = "Loading terminal (invented)", "Ship (invented)"
    assert events.table.rows() == [
        (ONE, at(6), at(7, 16), terminal, "receiving", "quay A", 1),
        (ONE, at(7, 16), at(19, 14, 30), ship, "loading", None, 2),
        (ONE, at(19, 14, 30), None, ship, "arriving", "https://example.org/places/quay-Z", 3),
        (TWO, at(6), None, terminal, "receiving", "quay A", 1),
    ]
    assert read_custody(SAMPLE).equals(events.table)


def test_events_need_not_be_in_order_of_time(tmp_path: Path) -> None:
    later = event(
        eventTime="2031-01-08T00:00:00+01:00", destinationList=[{"type": "owning_party", "destination": "Y"}]
    )
    events = events_of(tmp_path, later, event())
    assert events.table.select("start", "holder").rows() == [(at(6), "Ship"), (at(7, 23), "Y")]


@pytest.mark.parametrize(
    ("epc", "container"),
    [
        (f"urn:epc:id:bic:{ONE}", ONE),
        ("urn:epc:id:bic:CSQU3054384", "CSQU3054384"),
        (f"urn:epc:id:grai:4012345.12345.{ONE}", ONE),
        (f"https://id.example.org/8003/04012345123456{ONE}", None),
        ("urn:epc:id:grai:4012345.12345.400", None),
    ],
)
def test_a_container_goes_by_its_number_alone(tmp_path: Path, epc: str, container: str | None) -> None:
    events = events_of(tmp_path, event(epcList=[epc]), event(epcList=[f"urn:epc:id:bic:{TWO}"]))
    expected = [each for each in (container, TWO) if each]
    assert events.table["container"].to_list() == expected
    told = [str(message) for message in events.messages]
    assert any("Event 1: it names no container and is left out" in each for each in told) == (
        container is None
    )


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("staging_outbound", "staging outbound"),
        ("urn:epcglobal:cbv:bizstep:loading", "loading"),
        ("https://ref.gs1.org/cbv/BizStep-unloading", "unloading"),
        ("https://example.org/steps#plugged_in", "plugged in"),
        (None, None),
    ],
)
def test_a_step_is_told_in_plain_words(tmp_path: Path, step: str | None, words: str | None) -> None:
    assert events_of(tmp_path, event(bizStep=step)).table["event"].to_list() == [words]


def test_what_happens_in_one_instant_is_one_line(tmp_path: Path) -> None:
    moved = event(bizStep="loading", destinationList=[])
    events = events_of(tmp_path, event(bizStep="departing"), moved)
    assert events.table.select("event", "holder", "line").rows() == [("departing, loading", "Ship", 2)]


def test_an_event_that_is_taken_back_is_left_out(tmp_path: Path) -> None:
    wrong = event(eventID="urn:uuid:1", eventTime="2031-01-09T00:00:00Z")
    taken_back = wrong | {"errorDeclaration": {"declarationTime": "2031-01-10T00:00:00Z"}}
    events = events_of(tmp_path, event(), wrong, taken_back)
    assert events.table["line"].to_list() == [1]
    assert sum("declared to be in error" in str(message) for message in events.messages) == 2


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"destinationList": []}, "nobody is named who has CSQU3054383 from then on"),
        ({"eventTime": "soon"}, "its time cannot be read"),
        ({"eventTime": None}, "its time cannot be read"),
        ({"epcList": []}, "it names no container"),
        ({"epcList": [5, None, {}], "parentID": 7}, "it names no container"),
    ],
)
def test_what_says_nothing_of_custody_is_named(tmp_path: Path, told: dict[str, Any], words: str) -> None:
    events = events_of(tmp_path, event(**told), event(epcList=[f"urn:epc:id:bic:{TWO}"]))
    assert events.table["container"].to_list() == [TWO]
    assert [words in str(message) for message in events.messages] == [True]


def test_a_time_without_zone_takes_the_offset_of_its_event(tmp_path: Path) -> None:
    events = events_of(tmp_path, event(eventTime="2031-01-06T02:00:00", eventTimeZoneOffset="+02:00"))
    assert events.table["start"].to_list() == [at(6)]


@pytest.mark.parametrize(
    "document",
    [
        {
            "type": "EPCISQueryDocument",
            "epcisBody": {"queryResults": {"resultsBody": {"eventList": [event()]}}},
        },
        event(),
        [event()],
    ],
)
def test_answers_to_queries_and_bare_events_are_read_too(tmp_path: Path, document: Any) -> None:
    path = tmp_path / "events.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    assert read_custody(path)["holder"].to_list() == ["Ship"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('{"type": "EPCISDocument", "epcisBody": ', "no valid JSON"),
        ('{"type": "EPCISDocument", "epcisBody": {"eventList": []}}', "no EPCIS event"),
        ('{"type": "EPCISDocument", "epcisBody": [1, "x"]}', "no EPCIS event"),
        ('["EPCISDocument", ' + "[" * 100_000, "no valid JSON"),
    ],
)
def test_a_document_without_events_is_refused(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "events.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(TableError, match=told):
        read_custody(path)
