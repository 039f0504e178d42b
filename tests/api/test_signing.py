"""Signing an inspection that was stored unsigned."""

from uuid import uuid4

import pytest

from schedules.models import DueDate
from tests import builders
from tests.api.problems import assert_problem
from tests.builders import Workshop, inspection_document
from tests.conftest import Api
from tests.naming import name


@pytest.fixture
def unsigned(api: Api, workshop: Workshop) -> str:
    """Return the id of an inspection that waits for a signature, of a unit that is checked every six months."""
    builders.check_plan(workshop.installation)
    document = inspection_document(workshop, sign=False)
    assert api.post("inspections/", document).status_code == 201
    return str(document["id"])


def last_check_on(workshop: Workshop) -> str:
    """Return the day that the unit's due date counts from."""
    return str(DueDate.objects.get(installation=workshop.installation).last_check_on)


def test_signing_names_the_signer_and_moves_the_due_date(api: Api, workshop: Workshop, unsigned: str) -> None:
    assert last_check_on(workshop) == "None"
    answer = api.post(f"inspections/{unsigned}/sign/", {})
    assert answer.status_code == 200
    assert answer.json()["signed_by"] == api.member.user.username
    assert answer.json() == api.get(f"inspections/{unsigned}/").json()
    assert last_check_on(workshop) == "2026-03-02"


def test_signing_needs_no_body(api: Api, unsigned: str) -> None:
    assert api.client.post(f"/api/v1/inspections/{unsigned}/sign/").status_code == 200


def test_signing_twice_is_a_conflict_and_the_first_signature_stays(api: Api, workshop: Workshop, unsigned: str) -> None:
    first = api.post(f"inspections/{unsigned}/sign/", {}).json()
    assert_problem(Api(workshop.organisation).post(f"inspections/{unsigned}/sign/", {}), 409)
    assert api.get(f"inspections/{unsigned}/").json() == first


def test_an_inspection_of_another_organisation_is_not_found(workshop: Workshop, unsigned: str) -> None:
    stranger = Api(builders.organisation())
    foreign = assert_problem(stranger.post(f"inspections/{unsigned}/sign/", {}), 404)
    assert foreign == assert_problem(stranger.post(f"inspections/{uuid4()}/sign/", {}), 404)
    name(workshop.organisation)
    assert last_check_on(workshop) == "None"


def test_sending_the_unsigned_inspection_again_after_signing_answers_it_signed(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop, sign=False)
    api.post("inspections/", document)
    signed = api.post(f"inspections/{document['id']}/sign/", {})
    again = api.post("inspections/", document)
    assert again.status_code == 200
    assert again.json() == signed.json()
