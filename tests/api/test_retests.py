"""A retest covers the stages of the defects it names."""

from typing import Any

import pytest

from tests.api.problems import fault_at
from tests.builders import Workshop, inspection_document, single_pass
from tests.conftest import Api


@pytest.fixture
def defect(api: Api, workshop: Workshop) -> str:
    """Return the id of the defect of a failed second stage."""
    readings = single_pass()
    readings[1]["current_a"] = 12.0
    assert api.post("inspections/", inspection_document(workshop, stage_readings=readings)).json()["verdict"] == "fail"
    rows = api.get("defects/", state="open").json()["results"]
    (row,) = [row for row in rows if row["stage"] == 2 and row["code"] == "outside_limits"]
    return str(row["id"])


def retest(workshop: Workshop, defect: str, *stages: int, **fields: Any) -> dict[str, Any]:
    """Return a retest that reads some stages."""
    readings = [reading for reading in single_pass() if reading["stage"] in stages]
    return inspection_document(workshop, purpose="retest", retest_of=[defect], stage_readings=readings, **fields)


def test_a_retest_reads_the_stages_of_its_defects_only(api: Api, workshop: Workshop, defect: str) -> None:
    answer = api.post("inspections/", retest(workshop, defect, 2))
    assert answer.status_code == 201, answer.content
    assert answer.json()["retest_of"] == [defect]
    assert [stage["stage"] for stage in answer.json()["stages"]] == [2]
    assert answer.json()["verdict"] == "pass"


def test_a_retest_of_other_stages_is_refused(api: Api, workshop: Workshop, defect: str) -> None:
    fault = fault_at(api.post("inspections/", retest(workshop, defect, 1, 3)), "#/stage_readings")
    assert fault["code"] == "stages_missing"
    assert "2" in fault["detail"]


def test_a_routine_check_that_names_a_defect_still_covers_every_stage(
    api: Api, workshop: Workshop, defect: str
) -> None:
    document = {**retest(workshop, defect, 2), "purpose": "routine"}
    assert "1, 3, 4" in fault_at(api.post("inspections/", document), "#/stage_readings")["detail"]


def test_stages_named_as_not_read_leave_the_unit_at_best_undetermined(api: Api, workshop: Workshop) -> None:
    document = inspection_document(
        workshop, stage_readings=single_pass(stages=3), stages_not_read=[{"stage": 4, "reason": "lead taped off"}]
    )
    answer = api.post("inspections/", document)
    assert answer.status_code == 201
    assert answer.json()["verdict"] == "undetermined"
    assert answer.json()["stages_not_read"] == [{"stage": 4, "reason": "lead taped off"}]
