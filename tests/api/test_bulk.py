"""Many inspections in one request; each is answered on its own."""

from typing import Any
from uuid import uuid4

import pytest

from inspections.models import Inspection
from tests.api.documents import EXTRA_READING
from tests.api.problems import fault_at
from tests.builders import Workshop, inspection_document, single_pass
from tests.conftest import Api


def bulk(api: Api, *items: Any) -> list[dict[str, Any]]:
    """Return the results of a batch."""
    answer = api.post("inspections/bulk/", {"items": list(items)})
    assert answer.status_code == 207, answer.content
    assert answer.headers["content-type"] == "application/json"
    results: list[dict[str, Any]] = answer.json()["results"]
    assert all(result.keys() == {"id", "status", "body"} for result in results)
    return results


def test_each_item_is_answered_in_order_and_a_bad_one_keeps_no_other_out(api: Api, workshop: Workshop) -> None:
    stored, fresh, last = (inspection_document(workshop) for _ in range(3))
    first = api.post("inspections/", stored).json()
    invalid = inspection_document(workshop, stage_readings=single_pass(-7.0))
    conflicting = {**stored, "notes": "changed"}
    unknown = inspection_document(workshop, installation=str(uuid4()))
    results = bulk(api, fresh, stored, invalid, 5, conflicting, None, unknown, [fresh], fresh, last)
    assert [result["status"] for result in results] == [201, 200, 400, 400, 409, 400, 400, 400, 200, 201]
    ids = [fresh["id"], stored["id"], invalid["id"], None, stored["id"], None, unknown["id"], None, fresh["id"]]
    assert [result["id"] for result in results] == [*ids, last["id"]]
    assert results[1]["body"] == first
    assert results[8]["body"] == results[0]["body"]
    kept = Inspection.objects.filter(organisation=workshop.organisation)
    assert {str(row.uuid) for row in kept} == {stored["id"], fresh["id"], last["id"]}


def test_a_refused_item_is_a_problem_with_pointers_into_the_item(api: Api, workshop: Workshop) -> None:
    (result,) = bulk(api, inspection_document(workshop, stage_readings=single_pass(-7.0)))
    problem = result["body"]
    assert (problem["status"], problem["title"]) == (400, "Bad Request")
    assert [error["pointer"] for error in problem["errors"]] == [
        f"#/stage_readings/{index}/current_a" for index in range(4)
    ]
    assert {error["code"] for error in problem["errors"]} == {"clamp_reversed"}


@pytest.mark.parametrize("sent", [b"123456789012345678901234567890", b"-9223372036854775809", b"1e400", b"40.10"])
def test_an_id_that_is_a_number_is_said_again_with_its_digits(sent: bytes, api: Api) -> None:
    answer = api.post("inspections/bulk/", b'{"items": [{"id": ' + sent + b"}]}")
    assert answer.status_code == 207
    assert answer.content.startswith(b'{"results":[{"id":' + sent.replace(b"e", b"E+") + b',"status":400,')


def test_a_created_item_answers_as_if_it_had_been_sent_alone(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop, extra_readings=[EXTRA_READING])
    (result,) = bulk(api, document)
    assert result["body"] == api.get(f"inspections/{document['id']}/").json()


def test_an_empty_batch_has_no_results(api: Api) -> None:
    assert bulk(api) == []


def test_a_batch_without_items_or_with_too_many_is_refused_as_a_whole(api: Api) -> None:
    assert fault_at(api.post("inspections/bulk/", {}), "#/items")["code"] == "required"
    assert fault_at(api.post("inspections/bulk/", {"items": {}}), "#/items")["code"] == "not_a_list"
    assert "500" in fault_at(api.post("inspections/bulk/", {"items": [None] * 501}), "#/items")["detail"]
