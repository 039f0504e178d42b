"""What the service works out is its own: a client that sends a verdict or a signature changes neither."""

from typing import Any
from uuid import uuid4

import pytest

from accounts.roles import Role
from inspections.models import Inspection
from tests import builders
from tests.api.writing import read, sent
from tests.builders import Workshop, inspection_document
from tests.conftest import Api
from tests.inspections.visits import CURRENT_A

CLAIMED: dict[str, Any] = {
    "verdict": "pass",
    "verdict_reasons": [],
    "signed_by": "somebody else",
    "recorded_by": "somebody else",
    "performed_on": "2020-01-01",
    "method_version": "0",
    "clock_ahead": True,
    "organisation": 1,
    "superseded_by": str(uuid4()),
}


def test_a_verdict_and_names_that_a_client_claims_are_worked_out_all_the_same(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop, stage_readings=builders.single_pass(CURRENT_A["fail"]))
    plain = Api(workshop.organisation).post("assessments/", document).json()
    stored = api.post("inspections/", document | CLAIMED)
    assert stored.status_code == 201, stored.content
    answer = stored.json()
    assert answer["verdict"] == plain["verdict"] == "fail"
    username = api.member.user.username
    assert (answer["recorded_by"], answer["signed_by"]) == (username, username)
    for name in ("performed_on", "method_version", "clock_ahead", "superseded_by"):
        assert answer[name] != CLAIMED[name], name
    assert Inspection.objects.get(uuid=document["id"]).organisation == workshop.organisation


@pytest.mark.parametrize(
    ("name", "value"), [("id", "0192f0c1-4f5e-7c3a-9d2b-6a1e5f7c8d91"), ("changed_at", "2020-01-01T00:00:00Z")]
)
def test_an_id_and_an_instant_that_a_change_claims_are_left_alone(workshop: Workshop, name: str, value: str) -> None:
    api = Api(workshop.organisation, Role.MANAGER)
    path = f"vehicles/{workshop.installation.vehicle.uuid}/"
    seen = read(api, path)
    answer = sent(api, "patch", path, {"make": "changed", name: value}, if_match=seen["ETag"])
    assert answer.status_code == 200, answer.content
    assert answer.json()["make"] == "changed"
    assert answer.json()[name] != value
    assert read(api, path).json()["id"] == seen.json()["id"]
