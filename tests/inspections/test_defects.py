"""Defects proposed by a verdict, and retests that answer them."""

import datetime as dt
from typing import Any

import pytest

from accounts.errors import Refused
from inspections.models import Defect
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import CURRENT_A, due_date, recorded


def with_stages_failed(*failed: int) -> list[dict[str, Any]]:
    readings = builders.single_pass()
    for stage in failed:
        readings[stage - 1]["current_a"] = CURRENT_A["fail"]
    return readings


def open_defects(of: Workshop) -> list[tuple[int | None, str]]:
    rows = Defect.objects.filter(installation=of.installation, closed_at__isnull=True)
    return list(rows.order_by("stage").values_list("stage", "code"))


def test_a_failing_verdict_proposes_one_defect_for_each_failed_stage(workshop: Workshop) -> None:
    found_by = recorded(workshop, stage_readings=with_stages_failed(2, 4)).inspection
    assert open_defects(workshop) == [(2, "outside_limits"), (4, "outside_limits")]
    assert set(Defect.objects.values_list("found_by", "state")) == {(found_by.pk, "open")}


def test_an_open_defect_is_not_proposed_a_second_time(workshop: Workshop) -> None:
    first = recorded(workshop, "2026-03-02T09:30:00Z", stage_readings=with_stages_failed(2)).inspection
    recorded(workshop, "2026-03-03T09:30:00Z", stage_readings=with_stages_failed(2, 3))
    assert open_defects(workshop) == [(2, "outside_limits"), (3, "outside_limits")]
    assert Defect.objects.get(stage=2).found_by == first


def test_a_closed_defect_can_be_found_again(workshop: Workshop) -> None:
    recorded(workshop, "2026-03-02T09:30:00Z", stage_readings=with_stages_failed(2))
    Defect.objects.update(state="closed", closed_at=dt.datetime(2026, 3, 2, 15, tzinfo=dt.UTC))
    recorded(workshop, "2026-03-03T09:30:00Z", stage_readings=with_stages_failed(2))
    assert open_defects(workshop) == [(2, "outside_limits")]
    assert Defect.objects.count() == 2


def test_a_defect_without_a_stage_is_not_proposed_twice_either(workshop: Workshop) -> None:
    flowing = {"supply_voltage_v": 14.0, "current_a": 12.0}
    recorded(workshop, "2026-03-02T09:30:00Z", rest=flowing)
    recorded(workshop, "2026-03-03T09:30:00Z", rest=flowing)
    assert open_defects(workshop) == [(None, "rest_current")]


@pytest.mark.parametrize("verdict", ["pass", "conditional_pass", "conditional_fail", "undetermined"])
def test_no_other_verdict_proposes_a_defect(workshop: Workshop, verdict: str) -> None:
    recorded(workshop, verdict=verdict)
    assert open_defects(workshop) == []


def test_a_retest_covers_only_the_stages_of_its_defects(workshop: Workshop) -> None:
    builders.check_plan(workshop.installation)
    recorded(workshop, "2026-03-02T09:30:00Z", stage_readings=with_stages_failed(3))
    answer: dict[str, Any] = {"purpose": "retest", "retest_of": [str(Defect.objects.get().uuid)]}
    only_stage_3 = builders.single_pass()[2:3]
    retest = recorded(workshop, "2026-03-04T09:30:00Z", stage_readings=only_stage_3, **answer)
    assert retest.inspection.verdict == "pass"
    assert [stage["stage"] for stage in retest.result["stages"]] == [3]
    assert due_date(workshop).due_on == dt.date(2026, 9, 4)


def test_a_retest_that_leaves_out_a_stage_of_its_defects_is_refused(workshop: Workshop) -> None:
    recorded(workshop, "2026-03-02T09:30:00Z", stage_readings=with_stages_failed(2, 3))
    answer: dict[str, Any] = {
        "purpose": "retest",
        "retest_of": [str(uuid) for uuid in Defect.objects.values_list("uuid", flat=True)],
    }
    with pytest.raises(Refused) as refusal:
        recorded(workshop, "2026-03-04T09:30:00Z", stage_readings=builders.single_pass()[2:3], **answer)
    assert [(fault.path, fault.code) for fault in refusal.value.faults] == [(("stage_readings",), "stages_missing")]


def test_a_defect_of_another_unit_is_no_answer_to_a_retest(workshop: Workshop) -> None:
    other = builders.workshop()
    recorded(other, stage_readings=with_stages_failed(1))
    answer: dict[str, Any] = {"purpose": "retest", "retest_of": [str(Defect.objects.get().uuid)]}
    with pytest.raises(Refused) as refusal:
        recorded(workshop, **answer)
    assert [(fault.path, fault.code) for fault in refusal.value.faults] == [(("retest_of", 0), "not_found")]
