"""Our EPCIS events against the rules of the published schema of EPCIS 2.0.

Source: GS1, EPCIS 2.0, JSON Schema of documents (draft 07), read in two public copies. Its licence says
nothing of copying it, so the rules that our events fall under are written anew below: what must be there,
and of which form. The identifier of a container is of the GS1 EPC Tag Data Standard, whose example is
``urn:epc:id:bic:CSQU3054383`` (secondary: public code of several authors).
"""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from coldsift.container_numbers import is_valid
from coldsift.voyage.epcis import BIC

SAMPLE = json.loads((Path(__file__).parents[1] / "voyage" / "epcis_events.json").read_text(encoding="utf-8"))

URI = {"type": "string", "pattern": "^[A-Za-z][A-Za-z0-9+.-]*:[^ ]+$"}
TIME = {
    "type": "string",
    "pattern": r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?(Z|[+-][0-9]{2}:[0-9]{2})$",
}
PLACE = {"type": "object", "properties": {"id": URI}, "required": ["id"]}
# Vocabulary of the Core Business Vocabulary that concerns custody; the schema has more steps.
STEPS = {
    "enum": [
        "arriving",
        "departing",
        "loading",
        "receiving",
        "shipping",
        "storing",
        "transporting",
        "unloading",
    ]
}


def party(side: str) -> dict[str, Any]:
    kind = {"enum": ["owning_party", "possessing_party", "location"]}
    return {
        "type": "object",
        "properties": {"type": kind, side: URI},
        "required": ["type", side],
        "additionalProperties": False,
    }


EVENT = {
    "type": "object",
    "properties": {
        "type": {"enum": ["ObjectEvent", "AssociationEvent"]},
        "eventTime": TIME,
        "eventTimeZoneOffset": {
            "type": "string",
            "pattern": "^([+]|[-])((0[0-9]|1[0-3]):([0-5][0-9])|14:00)$",
        },
        "eventID": URI,
        "action": {"enum": ["OBSERVE", "ADD", "DELETE"]},
        "epcList": {"type": "array", "items": URI},
        "parentID": URI,
        "childEPCs": {"type": "array", "items": URI, "minItems": 1},
        "bizStep": STEPS,
        "readPoint": PLACE,
        "bizLocation": PLACE,
        "sourceList": {"type": "array", "items": party("source")},
        "destinationList": {"type": "array", "items": party("destination")},
    },
    "required": ["type", "eventTime", "eventTimeZoneOffset", "action"],
    "if": {"properties": {"type": {"const": "AssociationEvent"}}},
    "then": {"required": ["parentID", "childEPCs"]},
    "else": {"required": ["epcList"]},
}
DOCUMENT = {
    "$schema": "http://json-schema.org/draft-07/schema#",
    "type": "object",
    "properties": {
        "type": {"const": "EPCISDocument"},
        "schemaVersion": {"type": "string"},
        "creationDate": TIME,
        "epcisBody": {
            "type": "object",
            "properties": {"eventList": {"type": "array", "items": EVENT}},
            "required": ["eventList"],
        },
    },
    "required": ["type", "@context", "schemaVersion", "creationDate", "epcisBody"],
}


def is_right(document: dict[str, Any]) -> bool:
    return bool(jsonschema.Draft7Validator(DOCUMENT).is_valid(document))


def test_our_sample_events_keep_the_rules_of_the_schema() -> None:
    jsonschema.Draft7Validator.check_schema(DOCUMENT)
    assert is_right(SAMPLE)


@pytest.mark.parametrize("lost", ["type", "eventTime", "eventTimeZoneOffset", "action", "epcList"])
def test_an_event_that_lacks_what_the_schema_wants_is_seen(lost: str) -> None:
    document = copy.deepcopy(SAMPLE)
    del document["epcisBody"]["eventList"][0][lost]
    assert not is_right(document)


def test_containers_are_named_as_the_tag_data_standard_has_them() -> None:
    named = [
        epc
        for event in SAMPLE["epcisBody"]["eventList"]
        for epc in (*event.get("epcList", ()), *event.get("childEPCs", ()))
        if epc.startswith(BIC)
    ]
    assert "urn:epc:id:bic:CSQU3054383" in named
    assert all(is_valid(epc.removeprefix(BIC)) for epc in named)
