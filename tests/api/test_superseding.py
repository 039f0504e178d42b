"""An inspection is replaced by another, with a reason, and stays."""

from typing import Any

import pytest

from tests.api.documents import exactly
from tests.api.problems import fault_at
from tests.builders import Workshop, inspection_document
from tests.conftest import Api


def replacement(workshop: Workshop, of: dict[str, Any], **fields: Any) -> dict[str, Any]:
    """Return an inspection that replaces another."""
    return inspection_document(workshop, supersedes=of["id"], supersede_reason="wrong vehicle typed", **fields)


def test_the_replaced_inspection_names_its_successor_and_the_reason(api: Api, workshop: Workshop) -> None:
    first = inspection_document(workshop)
    before = api.post("inspections/", first).json()
    second = replacement(workshop, first)
    assert api.post("inspections/", second).status_code == 201
    after = api.get(f"inspections/{first['id']}/").json()
    assert (after["superseded_by"], after["superseded_reason"]) == (second["id"], "wrong vehicle typed")
    changed = {"superseded_by", "superseded_reason", "changed_at"}
    assert {key for key in before if before[key] != after[key]} == changed


@pytest.mark.parametrize("reason", [{}, {"supersede_reason": None}])
def test_a_replacement_without_a_reason_is_refused(api: Api, workshop: Workshop, reason: dict[str, None]) -> None:
    first = inspection_document(workshop)
    api.post("inspections/", first)
    document = inspection_document(workshop, supersedes=first["id"], **reason)
    assert fault_at(api.post("inspections/", document), "#/supersede_reason")["code"] == "required"


def test_an_inspection_is_replaced_once(api: Api, workshop: Workshop) -> None:
    first = inspection_document(workshop)
    api.post("inspections/", first)
    api.post("inspections/", replacement(workshop, first))
    fault = fault_at(api.post("inspections/", replacement(workshop, first)), "#/supersedes")
    assert fault["code"] == "already_replaced"
    assert first["id"] in fault["detail"]


def test_an_inspection_does_not_replace_itself(api: Api, workshop: Workshop) -> None:
    first = inspection_document(workshop)
    document = {**first, "supersedes": first["id"], "supersede_reason": "why not"}
    assert fault_at(api.post("inspections/", document), "#/supersedes")["code"] == "not_found"


def test_a_replacement_sent_again_is_answered_with_what_is_stored(api: Api, workshop: Workshop) -> None:
    first = inspection_document(workshop)
    api.post("inspections/", first)
    second = replacement(workshop, first)
    stored = api.post("inspections/", second)
    again = api.post("inspections/", second)
    assert (stored.status_code, again.status_code) == (201, 200)
    assert exactly(again) == exactly(stored)
