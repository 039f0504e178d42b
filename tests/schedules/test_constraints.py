"""Every constraint of schedules refuses a row that breaks it."""

import datetime as dt
from typing import Any

import pytest
from django.db import IntegrityError
from django.utils import timezone

from schedules.models import MOST, DueDate, Reminder
from tests import builders
from tests.accounts.constraints import assert_refused_by, constraint_names

ON = dt.date(2026, 9, 2)
SAME_ID, OTHER_UNIT = object(), object()
BEYOND = {limb: most + 1 for limb, most in MOST.items()}

CASES: list[tuple[str, str, dict[str, Any]]] = [
    ("check_plan_id", "plan", {"uuid": SAME_ID}),
    ("check_plan_has_a_limb", "plan", {"months": None}),
    *((f"check_plan_{limb}_in_range", "plan", {"days": 30, limb: 0}) for limb in MOST if limb != "days"),
    ("check_plan_days_in_range", "plan", {"days": 0}),
    *((f"check_plan_{limb}_in_range", "plan", {limb: most}) for limb, most in BEYOND.items()),
    ("check_plan_anchor_goes_with_months", "plan", {"months": None, "days": 30, "anchor_on": ON}),
    ("due_date_id", "due_date", {"uuid": SAME_ID, "installation": OTHER_UNIT}),
    ("due_date_state_known", "due_date", {"installation": OTHER_UNIT, "state": "late"}),
    ("due_date_limb_goes_with_the_date", "due_date", {"installation": OTHER_UNIT, "limb": None}),
    ("due_date_overdue_days_go_with_the_state", "due_date", {"installation": OTHER_UNIT, "state": "overdue"}),
    ("due_date_overdue_days_go_with_the_state", "due_date", {"installation": OTHER_UNIT, "overdue_days": 3}),
    ("reminder_id", "reminder", {"uuid": SAME_ID, "lead_stage": "overdue"}),
    ("reminder_once", "reminder", {"due_on": dt.date(2026, 9, 9)}),
    ("reminder_stage_known", "reminder", {"lead_stage": "soon"}),
    ("reminder_held_known", "reminder", {"held": "lost"}),
]


@pytest.fixture
def rows(db: None) -> dict[str, Any]:
    """Return one row of each kind, and another unit."""
    owner = builders.organisation()
    unit = builders.installation(owner)
    plan = builders.check_plan(unit)
    cycle = {"organisation": owner, "installation": unit, "plan": plan, "cycle_began_by": unit.uuid, "due_on": ON}
    return {
        "plan": plan,
        "due_date": DueDate.objects.create(**cycle, depot=unit.vehicle.depot, limb="months", state="due"),
        "reminder": Reminder.objects.create(
            **cycle, lead_stage="due", person=builders.member(owner), queued_at=timezone.now()
        ),
        "other_unit": builders.installation(owner),
    }


@pytest.mark.parametrize(("name", "of", "changes"), CASES)
def test_a_row_that_breaks_it_is_refused(rows: dict[str, Any], name: str, of: str, changes: dict[str, Any]) -> None:
    row = rows[of]
    meant = {id(SAME_ID): row.uuid, id(OTHER_UNIT): rows["other_unit"]}
    assert_refused_by(name, row, {column: meant.get(id(value), value) for column, value in changes.items()})


def test_an_installation_has_one_due_date(rows: dict[str, Any]) -> None:
    with pytest.raises(IntegrityError, match="installation_id"):
        DueDate.objects.create(
            organisation=rows["plan"].organisation,
            installation=rows["plan"].installation,
            depot=rows["due_date"].depot,
            state="no_plan",
            cycle_began_by=rows["plan"].uuid,
        )


def test_every_constraint_has_a_row_that_breaks_it() -> None:
    assert constraint_names("schedules") == {name for name, _of, _changes in CASES}
