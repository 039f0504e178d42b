"""The counts of Today and Due add up, and each is the length of the list behind it."""

import datetime as dt
import re
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from accounts.models import Depot
from inspections.models import Decline, Defect, Inspection
from inspections.needs import NEED_CODES, end_of_week
from schedules.models import DueDate
from tests import builders
from tests.api.full_house import furnish, units_without_a_plan
from tests.builders import Workshop
from tests.dashboard.reading import rows_of, shown, signed_in


@pytest.fixture
def manager(workshop: Workshop) -> Client:
    return signed_in(workshop.organisation)


def unit(workshop: Workshop, depot: Depot, **due: Any) -> Any:
    """Add a unit in service at a depot, with a stored due date unless told otherwise."""
    carrier = builders.vehicle(workshop.organisation, depot=depot)
    made = builders.installation(
        workshop.organisation, vehicle=carrier, retarder_type=workshop.installation.retarder.retarder_type
    )
    if due:
        stored = {"state": "not_due", "cycle_began_by": made.uuid, **due}
        if stored.get("due_on"):
            stored |= {"limb": "months", "sorts_on": stored["due_on"]}
        DueDate.objects.create(organisation=workshop.organisation, installation=made, depot=depot, **stored)
    return made


def mixed_fleet(workshop: Workshop) -> dict[str, int]:
    """Make units of every need at two depots, several of which fit more than one column."""
    owner, today = workshop.organisation, timezone.now().date()
    soon, later, gone = end_of_week(today), today + dt.timedelta(60), today - dt.timedelta(9)
    north, south = builders.depot(owner), builders.depot(owner)
    furnish(workshop, 1)
    check = Inspection.objects.filter(organisation=owner).order_by("pk")[0]

    def defect(of: Any) -> None:
        Defect.objects.create(organisation=owner, installation=of, code="outside_limits", opened_at=timezone.now())

    def decline(of: Any) -> None:
        flagged = {"raised_by": check, "attribution": "all_stages", "state": "watched", "raised_at": timezone.now()}
        Decline.objects.create(organisation=owner, installation=of, **flagged)

    overdue = unit(workshop, north, state="overdue", due_on=gone, overdue_days=9)
    defect(overdue)
    due = unit(workshop, north, state="in_notice", due_on=soon)
    defect(due)
    for depot in (north, south):
        defect(unit(workshop, depot, due_on=later))
    decline(unit(workshop, south, due_on=later))
    unit(workshop, south, state="no_plan")
    unit(workshop, south)
    unit(workshop, south, due_on=later)
    off_the_road = unit(workshop, south, state="overdue", due_on=gone, overdue_days=9)
    off_the_road.vehicle.in_service = False
    off_the_road.vehicle.save()
    return {"overdue": 1, "due_this_week": 1, "open_defect": 2, "losing_current": 1, "no_plan": 2, "not_clear": 1}


def test_todays_rows_add_up_and_each_number_is_the_length_of_the_list_behind_it(
    manager: Client, workshop: Workshop
) -> None:
    expected = mixed_fleet(workshop)
    context: Any = manager.get(f"/{workshop.organisation.slug}/today/").context
    in_service = workshop.organisation
    for depot in context["depots"]:
        assert sum(count for _code, _word, count in depot["cells"]) == depot["total"]
        for code, _word, count in depot["cells"]:
            html = shown(manager, in_service, "units/", depot=depot["uuid"], need=code)
            assert len(rows_of(html)) == count, (depot["name"], code)
    total = {code: count for code, _word, count in context["total"]["cells"]}
    assert list(total) == NEED_CODES
    for code, count in expected.items():
        assert total[code] >= count, code
    assert len(rows_of(shown(manager, in_service, "units/"))) == context["total"]["total"] == sum(total.values())


def test_what_is_overdue_and_open_counts_as_overdue_only(manager: Client, workshop: Workshop) -> None:
    mixed_fleet(workshop)
    html = shown(manager, workshop.organisation, "units/", need="overdue")
    assert len(rows_of(html)) == 1
    assert "Outside limits since" in html


def test_the_worst_unit_stands_first(manager: Client, workshop: Workshop) -> None:
    mixed_fleet(workshop)
    context: Any = manager.get(f"/{workshop.organisation.slug}/today/").context
    first = context["decisions"][0]
    assert first.due.overdue_days == 9
    assert first.defects
    assert first.sentence.startswith("Outside limits since")
    assert first.sentence.endswith("Check overdue 9 days.")


def test_the_weeks_of_due_and_the_list_behind_each_agree(manager: Client, workshop: Workshop) -> None:
    mixed_fleet(workshop)
    units_without_a_plan(workshop, 3)
    html = shown(manager, workshop.organisation, "due/")
    links = re.findall(r'<a href="[^"]*/due/(\?[^"]+)">(?:<strong>)?(\d+)<', html)
    assert len(links) >= 5
    counted = 0
    for query, count in links:
        page: Any = manager.get(f"/{workshop.organisation.slug}/due/{query.replace('&amp;', '&')}")
        assert len(page.context["page"].rows) == int(count), query
        counted += int(count)
    everything: Any = manager.get(f"/{workshop.organisation.slug}/due/")
    assert counted == len(everything.context["page"].rows)
