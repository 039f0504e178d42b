"""Readings added to a stored inspection."""

import json
from typing import Any
from uuid import uuid4

import pytest

from accounts.models import AuditEntry
from inspections.models import ExtraReading
from tests import builders
from tests.api.documents import EXTRA_READING, exactly, with_literal, without
from tests.api.problems import assert_problem, fault_at
from tests.builders import Workshop, inspection_document
from tests.conftest import Api


@pytest.fixture
def address(api: Api, workshop: Workshop) -> str:
    """Return where the extra readings of a stored inspection are posted."""
    document = inspection_document(workshop)
    assert api.post("inspections/", document).status_code == 201
    return f"inspections/{document['id']}/extra-readings/"


def extra_reading(**fields: Any) -> dict[str, Any]:
    """Return an extra reading under a fresh id."""
    return {**EXTRA_READING, "id": str(uuid4()), **fields}


def test_a_reading_is_stored_and_answered_with_the_causes_ranked(api: Api, address: str) -> None:
    sent = extra_reading()
    answer = api.post(address, sent)
    assert answer.status_code == 201
    body = answer.json()
    assert {key: body[key] for key in sent} == sent
    assert body["inspection"] == address.split("/")[1]
    assert body["over_range"] is False
    assert body["received_at"].endswith("Z")
    assert abs(sum(hypothesis["probability"] for hypothesis in body["hypotheses"]) - 1) < 1e-9
    assert "next_reading" in body


def test_the_digits_of_a_value_come_back_as_typed(api: Api, address: str) -> None:
    answer = api.post(address, json.dumps(extra_reading()).replace("13.67", "13.6700").encode())
    assert b'"value":13.6700,' in answer.content


@pytest.mark.parametrize(
    "again",
    [
        lambda sent: json.dumps(sent),
        lambda sent: json.dumps(sent).replace("13.67", "13.670"),
        lambda sent: json.dumps({**sent, "over_range": False, "coil": None}),
        lambda sent: json.dumps(dict(reversed(sent.items()))),
    ],
    ids=["to the letter", "13.670 for 13.67", "over range false and null for absent", "keys in another order"],
)
def test_the_same_reading_again_is_answered_with_what_is_stored(
    api: Api, workshop: Workshop, address: str, again: Any
) -> None:
    sent = extra_reading()
    first = api.post(address, sent)
    entries = AuditEntry.objects.filter(organisation=workshop.organisation).count()
    answer = api.post(address, again(sent).encode())
    assert answer.status_code == 200, answer.content
    assert exactly(answer) == exactly(first)
    assert ExtraReading.objects.filter(organisation=workshop.organisation).count() == 1
    assert AuditEntry.objects.filter(organisation=workshop.organisation).count() == entries


@pytest.mark.parametrize("other", [{"value": 13.68}, {"kind": "contact_drop"}, {"stage": 2}, {"energised": []}])
def test_another_reading_under_the_same_id_is_a_conflict(api: Api, address: str, other: dict[str, Any]) -> None:
    sent = extra_reading()
    api.post(address, sent)
    assert sent["id"] in assert_problem(api.post(address, {**sent, **other}), 409)["detail"]


def test_the_same_id_at_another_inspection_is_a_conflict(api: Api, workshop: Workshop, address: str) -> None:
    sent, beside = extra_reading(), inspection_document(workshop)
    api.post(address, sent)
    api.post("inspections/", beside)
    assert_problem(api.post(f"inspections/{beside['id']}/extra-readings/", sent), 409)


def test_an_inspection_of_another_organisation_is_not_found(api: Api) -> None:
    other = builders.workshop()
    document = inspection_document(other)
    assert Api(other.organisation).post("inspections/", document).status_code == 201
    foreign = api.post(f"inspections/{document['id']}/extra-readings/", extra_reading())
    unknown = api.post(f"inspections/{uuid4()}/extra-readings/", extra_reading())
    assert assert_problem(foreign, 404) == assert_problem(unknown, 404)
    assert not ExtraReading.objects.filter(organisation=other.organisation).exists()


def test_an_open_circuit_has_no_value_and_is_over_range(api: Api, address: str) -> None:
    sent = extra_reading(kind="coil_resistance", value=None, over_range=True, energised=[])
    answer = api.post(address, sent)
    assert answer.status_code == 201
    assert (answer.json()["value"], answer.json()["over_range"]) == (None, True)


def test_without_energised_every_input_is_taken_as_on(api: Api, address: str) -> None:
    answer = api.post(address, without(extra_reading(stage=None, kind="supply_drop"), "energised"))
    assert answer.json()["energised"] == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("pointer", "literal", "code"),
    [
        ("#/id", '"6ba7b810-9dad-11d1-80b4-00c04fd430c8"', "version"),
        ("#/id", "null", "null"),
        ("#/kind", '"smell"', "invalid_choice"),
        ("#/stage", "5", "no_such_stage"),
        ("#/energised", "[5]", "no_such_stage"),
        ("#/energised", "[1, 1]", "named_twice"),
        ("#/value", '"13.67"', "invalid"),
        ("#/value", "true", "invalid"),
        ("#/value", "1e13", "range"),
        ("#/value", "null", "required"),
    ],
)
def test_a_reading_is_refused_at_its_place(api: Api, address: str, pointer: str, literal: str, code: str) -> None:
    assert fault_at(api.post(address, with_literal(extra_reading(), pointer, literal)), pointer)["code"] == code
    assert not ExtraReading.objects.filter(inspection__uuid=address.split("/")[1]).exists()
