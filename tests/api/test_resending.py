"""A client that is not sure its inspection arrived sends it again."""

import json
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest

from accounts.models import AuditEntry
from inspections.models import Inspection, Judgement
from tests import builders
from tests.api.documents import EXTRA_READING, REST, exactly
from tests.api.problems import assert_problem
from tests.builders import Workshop, inspection_document, single_pass
from tests.conftest import Api


def document_of(workshop: Workshop) -> dict[str, Any]:
    """Return an inspection with something in every corner."""
    first, *others = single_pass(40.1)
    return inspection_document(
        workshop,
        rest=REST,
        notes="read twice",
        extra_readings=[EXTRA_READING],
        stage_readings=[{**first, "seconds_on": 8, "outputs_live": [1]}, *others],
    )


def in_other_order(value: Any) -> Any:
    """Return the same content with the keys of every object the other way round."""
    if isinstance(value, dict):
        return {key: in_other_order(value[key]) for key in reversed(value)}
    return [in_other_order(item) for item in value] if isinstance(value, list) else value


def as_sent(document: dict[str, Any]) -> bytes:
    return json.dumps(document).encode()


def with_nulls(document: dict[str, Any]) -> bytes:
    """Write null wherever the document leaves something out."""
    first, *others = document["stage_readings"]
    absent = dict.fromkeys(["stages_not_read", "decision_rule", "supersedes", "retest_of"])
    extra = [{**EXTRA_READING, "coil": None, "over_range": False}]
    return as_sent(
        {**document, **absent, "stage_readings": [{**first, "lamps_lit": None}, *others], "extra_readings": extra}
    )


SAME: dict[str, Callable[[dict[str, Any]], bytes]] = {
    "to the letter": as_sent,
    "40.10 for 40.1": lambda document: as_sent(document).replace(b"40.1", b"40.10"),
    "4.01e1 for 40.1": lambda document: as_sent(document).replace(b"40.1", b"4.01e1"),
    "14 for 14.0": lambda document: as_sent(document).replace(b"14.0", b"14"),
    "keys in another order": lambda document: as_sent(in_other_order(document)),
    "the instant in another zone": lambda document: as_sent({**document, "performed_at": "2026-03-02T11:30:00+02:00"}),
    "the instant with Z": lambda document: as_sent({**document, "performed_at": "2026-03-02T09:30:00.000Z"}),
    "null for what is absent": with_nulls,
    "sign true": lambda document: as_sent({**document, "sign": True}),
    "ids in capital letters": lambda document: as_sent(
        {key: value.upper() if key in ("id", "ammeter") else value for key, value in document.items()}
    ),
    "with blanks": lambda document: json.dumps(document, indent=4).encode(),
    "a field that nobody knows": lambda document: as_sent({**document, "app_version": 7}),
}
OTHER: dict[str, dict[str, Any]] = {
    "another reading": {"stage_readings": single_pass(40.2)},
    "readings in another order": {"stage_readings": single_pass(40.1)[::-1]},
    "another instant": {"performed_at": "2026-03-02T09:30:01+00:00"},
    "another temperature": {"coil_temperature_c": 20.1},
    "no rest": {"rest": None},
    "other notes": {"notes": "read once"},
    "unsigned": {"sign": False},
    "another purpose": {"purpose": "first"},
}


def rows_of(workshop: Workshop) -> list[int]:
    """Return how many rows there are of what an inspection writes."""
    tables: list[Any] = [Inspection, Judgement, AuditEntry]
    return [table.objects.filter(organisation=workshop.organisation).count() for table in tables]


@pytest.mark.parametrize("name", SAME)
def test_the_same_content_is_answered_with_what_is_stored(api: Api, workshop: Workshop, name: str) -> None:
    document = document_of(workshop)
    first = api.post("inspections/", document)
    assert first.status_code == 201, first.content
    rows = rows_of(workshop)
    again = api.post("inspections/", SAME[name](document))
    assert again.status_code == 200, again.content
    assert exactly(again) == exactly(first)
    assert rows_of(workshop) == rows


@pytest.mark.parametrize("name", OTHER)
def test_other_content_under_the_same_id_is_a_conflict(api: Api, workshop: Workshop, name: str) -> None:
    document = document_of(workshop)
    first = api.post("inspections/", document)
    rows = rows_of(workshop)
    problem = assert_problem(api.post("inspections/", {**document, **OTHER[name]}), 409)
    assert document["id"] in problem["detail"]
    assert rows_of(workshop) == rows
    assert exactly(api.get(f"inspections/{document['id']}/")) == exactly(first)


def test_readings_that_differ_in_the_last_digit_that_is_taken_are_other_content(api: Api, workshop: Workshop) -> None:
    document = document_of(workshop)
    almost = b"40.1" + b"0" * 23
    assert api.post("inspections/", as_sent(document).replace(b"40.1", almost + b"01")).status_code == 201
    assert_problem(api.post("inspections/", as_sent(document).replace(b"40.1", almost + b"02")), 409)


def test_a_meter_that_has_changed_since_does_not_make_it_other_content(api: Api, workshop: Workshop) -> None:
    document = document_of(workshop)
    first = api.post("inspections/", document)
    workshop.ammeter.accuracy_percent = 9.0
    workshop.ammeter.save()
    assert exactly(api.post("inspections/", document)) == exactly(first)


def test_what_another_member_sends_again_is_answered_just_so(api: Api, workshop: Workshop) -> None:
    document = document_of(workshop)
    first = api.post("inspections/", document)
    assert exactly(Api(workshop.organisation).post("inspections/", document)) == exactly(first)


def test_the_same_id_in_two_organisations_is_two_inspections(api: Api, workshop: Workshop) -> None:
    other = builders.workshop()
    shared = str(uuid4())
    here = api.post("inspections/", inspection_document(workshop, id=shared, notes="here"))
    there = Api(other.organisation).post("inspections/", inspection_document(other, id=shared, notes="there"))
    assert (here.status_code, there.status_code) == (201, 201)
    assert api.get(f"inspections/{shared}/").json()["notes"] == "here"
    assert Api(other.organisation).get(f"inspections/{shared}/").json()["notes"] == "there"


def test_digits_come_back_as_they_were_typed(api: Api, workshop: Workshop) -> None:
    body = (
        as_sent(document_of(workshop)).replace(b'"current_a": 40.1', b'"current_a": 40.10').replace(b"14.2", b"14.200")
    )
    stored = api.post("inspections/", body)
    read = api.get(f"inspections/{stored.json()['id']}/")
    listed = api.get("inspections/")
    for answer in (stored, read, listed):
        assert answer.content.count(b'"current_a":40.10,') + answer.content.count(b'"current_a":40.10}') == 4
        assert b'"supply_voltage_v":14.200' in answer.content
        assert b"13.67" in answer.content
