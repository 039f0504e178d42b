"""The steps of a defect's life through the API."""

import datetime as dt
from typing import Any

from accounts.roles import Role
from inspections.models import Defect
from tests.builders import Workshop, inspection_document, single_pass
from tests.conftest import Api

FUTURE = (dt.date.today() + dt.timedelta(days=14)).isoformat()  # noqa: DTZ011


def failed(api: Api, workshop: Workshop) -> dict[str, Any]:
    api.post("inspections/", inspection_document(workshop, stage_readings=single_pass(20.0)))
    found: dict[str, Any] = api.get("defects/").json()["results"][0]
    return found


def test_a_defect_goes_from_found_to_repaired_to_closed(api: Api, workshop: Workshop) -> None:
    api.post("inspections/", inspection_document(workshop, stage_readings=single_pass(20.0)))
    ids = [row["id"] for row in api.get("defects/").json()["results"]]
    for defect in ids:
        repaired = api.post(f"defects/{defect}/repair/", {"done": "Ground lead cleaned", "cause": "retarder_ground"})
        assert (repaired.status_code, repaired.json()["state"]) == (200, "repaired")
    api.post(
        "inspections/",
        inspection_document(workshop, purpose="retest", retest_of=ids, performed_at="2026-03-04T09:00:00Z"),
    )
    closed = api.get(f"defects/{ids[0]}/").json()
    assert closed["state"] == "closed"
    assert [step["kind"] for step in closed["steps"]] == ["repaired", "retest_passed"]


def test_a_release_needs_a_manager_a_known_decision_and_a_reason(api: Api, workshop: Workshop) -> None:
    defect = failed(api, workshop)["id"]
    decision = {"decision": "isolated", "until": FUTURE, "reason": "flat routes"}
    assert api.post(f"defects/{defect}/release/", decision).status_code == 403
    manager = Api(workshop.organisation, Role.MANAGER)
    refused = manager.post(f"defects/{defect}/release/", decision | {"decision": "perhaps"})
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == "#/decision"
    assert manager.post(f"defects/{defect}/release/", decision).json()["release_decision"] == "isolated"
    told = api.post(f"defects/{defect}/driver-told/", {"driver": "driver of the early turn"})
    assert told.json()["driver_told_at"] is not None


def test_a_closed_defect_answers_409(api: Api, workshop: Workshop) -> None:
    defect = failed(api, workshop)["id"]
    manager = Api(workshop.organisation, Role.MANAGER)
    assert manager.post(f"defects/{defect}/repair-unnecessary/", {"reason": "isolator off"}).status_code == 200
    assert api.post(f"defects/{defect}/repair/", {"done": "nothing"}).status_code == 409
    assert Defect.objects.get(uuid=defect).state == "repair_unnecessary"
