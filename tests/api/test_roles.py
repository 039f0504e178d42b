"""What each role may do through the API: read and assess, record, sign."""

from uuid import uuid4

import pytest

from accounts.roles import Role
from inspections.models import Inspection
from tests.api.documents import EXTRA_READING, assessment_document
from tests.api.problems import assert_problem
from tests.builders import Workshop, inspection_document
from tests.conftest import Api

ROLES = list(Role)
RECORDERS = [Role.TRAINEE, Role.TECHNICIAN, Role.MANAGER, Role.ADMINISTRATOR]
SIGNERS = [Role.TECHNICIAN, Role.MANAGER, Role.ADMINISTRATOR]


def stored_unsigned(workshop: Workshop) -> str:
    """Return the id of an inspection that waits for a signature."""
    document = inspection_document(workshop, sign=False)
    assert Api(workshop.organisation).post("inspections/", document).status_code == 201
    return str(document["id"])


@pytest.mark.parametrize("role", ROLES)
def test_every_role_reads_and_assesses(workshop: Workshop, role: Role) -> None:
    api = Api(workshop.organisation, role)
    assert api.get("installations/").status_code == 200
    assert api.get(f"inspections/{stored_unsigned(workshop)}/").status_code == 200
    assert api.post("assessments/", assessment_document()).status_code == 200


@pytest.mark.parametrize("role", RECORDERS)
def test_a_trainee_and_above_record(workshop: Workshop, role: Role) -> None:
    api = Api(workshop.organisation, role)
    stored = api.post("inspections/", inspection_document(workshop))
    assert stored.status_code == 201
    assert stored.json()["recorded_by"] == api.member.user.username
    extra = {**EXTRA_READING, "id": str(uuid4())}
    assert api.post(f"inspections/{stored.json()['id']}/extra-readings/", extra).status_code == 201


def test_a_viewer_records_nothing(workshop: Workshop) -> None:
    inspection, viewer = stored_unsigned(workshop), Api(workshop.organisation, Role.VIEWER)
    assert "viewer" in assert_problem(viewer.post("inspections/", inspection_document(workshop)), 403)["detail"]
    extra = {**EXTRA_READING, "id": str(uuid4())}
    assert_problem(viewer.post(f"inspections/{inspection}/extra-readings/", extra), 403)
    batch = viewer.post("inspections/bulk/", {"items": [inspection_document(workshop)]}).json()
    assert [result["status"] for result in batch["results"]] == [403]
    stored = Inspection.objects.get(organisation=workshop.organisation)
    assert str(stored.uuid) == inspection
    assert not stored.extra_readings.exists()


@pytest.mark.parametrize("role", SIGNERS)
def test_a_technician_and_above_sign_what_they_record_and_what_waits(workshop: Workshop, role: Role) -> None:
    api = Api(workshop.organisation, role)
    recorded = api.post("inspections/", inspection_document(workshop)).json()
    waiting = api.post(f"inspections/{stored_unsigned(workshop)}/sign/", {})
    assert waiting.status_code == 200
    for answer in (recorded, waiting.json()):
        assert answer["signed_by"] == api.member.user.username
        assert answer["signed_at"] is not None


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TRAINEE])
def test_a_viewer_and_a_trainee_sign_nothing(workshop: Workshop, role: Role) -> None:
    inspection = stored_unsigned(workshop)
    problem = assert_problem(Api(workshop.organisation, role).post(f"inspections/{inspection}/sign/", {}), 403)
    assert role.value in problem["detail"]
    assert Inspection.objects.get(uuid=inspection).signed_at is None


@pytest.mark.parametrize("wish", [{}, {"sign": True}, {"sign": False}])
def test_what_a_trainee_records_waits_for_a_signature(workshop: Workshop, wish: dict[str, bool]) -> None:
    stored = Api(workshop.organisation, Role.TRAINEE).post("inspections/", inspection_document(workshop, **wish))
    assert stored.status_code == 201
    assert stored.json()["verdict"] == "pass"
    assert (stored.json()["signed_at"], stored.json()["signed_by"]) == (None, None)
