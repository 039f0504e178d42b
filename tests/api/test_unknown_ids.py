"""An id that exists nowhere and one of another organisation get one answer, word for word."""

from typing import Any
from uuid import UUID, uuid4

import pytest
from django.utils import timezone

from inspections.models import Defect
from tests import builders
from tests.api.documents import assessment_document, without
from tests.api.problems import assert_problem, fault_at
from tests.builders import Workshop, inspection_document
from tests.conftest import Api

FIELDS = ["installation", "ammeter", "voltmeter", "retest_of", "supersedes"]


@pytest.fixture
def stranger(db: None) -> Workshop:
    """Return the workshop of another organisation."""
    return builders.workshop()


def row_of(field: str, workshop: Workshop) -> UUID:
    """Return the id of the workshop's row that the field could name."""
    if field == "retest_of":
        row = Defect.objects.create(
            organisation=workshop.organisation,
            installation=workshop.installation,
            code="outside_limits",
            stage=1,
            opened_at=timezone.now(),
        )
        return row.uuid
    if field == "supersedes":
        document = inspection_document(workshop)
        assert Api(workshop.organisation).post("inspections/", document).status_code == 201
        return UUID(document["id"])
    found: UUID = getattr(workshop, field).uuid
    return found


def naming(field: str, value: UUID) -> dict[str, Any]:
    """Return what a document holds to name a row in a field."""
    if field == "retest_of":
        return {"purpose": "retest", field: [str(value)]}
    return {field: str(value), "supersede_reason": "typing error"} if field == "supersedes" else {field: str(value)}


@pytest.mark.parametrize("field", FIELDS)
def test_an_inspection_is_told_the_same_of_an_unknown_and_of_a_foreign_id(
    api: Api, workshop: Workshop, stranger: Workshop, field: str
) -> None:
    pointer = f"#/{field}/0" if field == "retest_of" else f"#/{field}"
    told = []
    for value in (uuid4(), row_of(field, stranger)):
        answer = api.post("inspections/", inspection_document(workshop, **naming(field, value)))
        told.append(str(assert_problem(answer, 400)).replace(str(value), "…"))
        assert str(value) in fault_at(answer, pointer)["detail"]
    assert told[0] == told[1]


@pytest.mark.parametrize("field", ["installation", "ammeter", "voltmeter"])
def test_an_assessment_is_told_the_same_of_an_unknown_and_of_a_foreign_id(
    api: Api, workshop: Workshop, stranger: Workshop, field: str
) -> None:
    told = []
    for value in (uuid4(), row_of(field, stranger)):
        document = assessment_document(**{field: str(value)})
        answer = api.post("assessments/", without(document, "rating") if field == "installation" else document)
        told.append(str(assert_problem(answer, 400)).replace(str(value), "…"))
        assert str(value) in fault_at(answer, f"#/{field}")["detail"]
    assert told[0] == told[1]


@pytest.mark.parametrize("field", ["retest_of", "supersedes"])
def test_a_row_of_another_installation_of_the_same_organisation_is_unknown(
    api: Api, workshop: Workshop, field: str
) -> None:
    beside = Workshop(
        workshop.organisation, builders.installation(workshop.organisation), workshop.ammeter, workshop.voltmeter
    )
    value = row_of(field, beside)
    answer = api.post("inspections/", inspection_document(workshop, **naming(field, value)))
    assert fault_at(answer, f"#/{field}/0" if field == "retest_of" else f"#/{field}")["code"] == "not_found"


@pytest.mark.parametrize(("field", "other"), [("ammeter", "voltmeter"), ("voltmeter", "ammeter")])
@pytest.mark.parametrize("address", ["assessments/", "inspections/"])
def test_a_meter_of_the_other_kind_is_refused(
    api: Api, workshop: Workshop, address: str, field: str, other: str
) -> None:
    value = str(row_of(other, workshop))
    make = inspection_document(workshop) if address == "inspections/" else assessment_document()
    fault = fault_at(api.post(address, {**make, field: value}), f"#/{field}")
    assert fault["code"] == "wrong_kind"
    assert value in fault["detail"]
    assert other in fault["detail"]
    assert field in fault["detail"]


def test_both_unknown_meters_are_named_at_once(api: Api, workshop: Workshop) -> None:
    answer = api.post("inspections/", inspection_document(workshop, ammeter=str(uuid4()), voltmeter=str(uuid4())))
    fault_at(answer, "#/ammeter")
    fault_at(answer, "#/voltmeter")
