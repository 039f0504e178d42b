"""The desk's pages as the server makes them: who sees them, what they cost, and whether their numbers add up."""

import datetime as dt
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern
from django.utils import timezone

from accounts.roles import Role
from dashboard import urls
from inspections.models import Calibration, Defect
from schedules.models import Reminder
from tests import builders
from tests.api.full_house import furnish
from tests.builders import Workshop
from tests.dashboard.reading import shown, signed_in
from tests.naming import name

LISTS = ["units", "vehicles", "checks", "defects", "due", "losing-current", "told", "meters", "ratings", "people"]
PAGES = [
    *LISTS,
    "today",
    "find",
    "more",
    "night",
    "people/invite",
    "tokens",
    "tokens/make",
    "to-sign",
    "rules",
    "rules/lists",
    "book",
    "meters/add",
]
# The sheet for the cab exists once a release is decided; tests of the defect page open it.
NAMED = {
    "vehicles/<uuid:vehicle>/",
    "told/<uuid:reminder>/seen/",
    "defects/<uuid:defect>/",
    "defects/<uuid:defect>/notice/",
    "meters/<uuid:meter>/",
    "meters/<uuid:meter>/accuracy/",
    "meters/<uuid:meter>/compare/",
    "meters/<uuid:meter>/calibrations/<uuid:calibration>/",
    "ratings/<uuid:type>/survey-limits/",
    "vehicles/<uuid:vehicle>/label/",
    "judge-anew/",
    "units/<uuid:installation>/type/",
    # Tests of the people, of tokens and of what waits for a signature open these.
    "people/two-step/",
    "people/<uuid:member>/",
    "people/removed/",
    "people/<uuid:member>/name/",
    "invitations/<uuid:invitation>/revoke/",
    "tokens/<uuid:token>/revoke/",
    "to-sign/<uuid:inspection>/",
    # And tests of judging anew and of settling these.
    "judge-anew/<uuid:rejudging>/",
    "due/<uuid:due_date>/settle/",
}
MOST_QUERIES = 14
# Who is asking: the session, the user and the membership.
IDENTITY_QUERIES = 3


@pytest.fixture
def manager(workshop: Workshop) -> Client:
    return signed_in(workshop.organisation)


def desk_addresses(workshop: Workshop) -> list[str]:
    name(workshop.organisation)
    vehicle = workshop.installation.vehicle.uuid
    defect, _made = Defect.objects.get_or_create(
        organisation=workshop.organisation,
        installation=workshop.installation,
        code="rest_current",
        defaults={"opened_at": timezone.now()},
    )
    named = ["judge-anew/", f"vehicles/{vehicle}/", f"vehicles/{vehicle}/label/"]
    named += [f"units/{workshop.installation.uuid}/type/"]
    named += [f"defects/{defect.uuid}/", f"meters/{workshop.ammeter.uuid}/"]
    return [f"{name}/" for name in PAGES] + named + meter_addresses(workshop)


def meter_addresses(workshop: Workshop) -> list[str]:
    meter, kind = workshop.ammeter, workshop.installation.retarder.retarder_type
    calibration, _made = Calibration.objects.get_or_create(
        organisation=workshop.organisation,
        meter=meter,
        performed_on=dt.date(2027, 1, 1),
        defaults={"found_in_tolerance": False},
    )
    pages = ["accuracy", "compare", f"calibrations/{calibration.uuid}"]
    return [f"meters/{meter.uuid}/{page}/" for page in pages] + [f"ratings/{kind.uuid}/survey-limits/"]


def test_every_address_of_the_desk_is_walked_here() -> None:
    patterns = [str(each.pattern) for each in urls.urlpatterns if isinstance(each, URLPattern)]
    behind = {name.removeprefix("<slug:organisation>/") for name in patterns if name.startswith("<slug:organisation>/")}
    assert behind == {f"{name}/" for name in PAGES} | NAMED


def test_a_stranger_is_asked_to_sign_in_and_comes_back(workshop: Workshop) -> None:
    for address in desk_addresses(workshop):
        path = f"/{workshop.organisation.slug}/{address}"
        answer: Any = Client().get(path)
        assert answer.status_code == 302
        assert answer["Location"] == f"/sign-in/?next={path}"


def test_a_member_of_another_organisation_finds_nothing(workshop: Workshop) -> None:
    stranger = signed_in(builders.organisation(), Role.ADMINISTRATOR)
    for address in desk_addresses(workshop):
        assert stranger.get(f"/{workshop.organisation.slug}/{address}").status_code == 404


def test_a_vehicle_of_another_organisation_is_not_found_in_ones_own_book(workshop: Workshop) -> None:
    other = builders.organisation()
    address = f"/{other.slug}/vehicles/{workshop.installation.vehicle.uuid}/"
    answer: Any = signed_in(other).get(address, headers={"accept": "text/html"})
    assert answer.status_code == 404
    assert "This book has nothing at this address." in answer.content.decode()


def test_every_list_costs_the_same_at_10_and_at_100_rows(manager: Client, workshop: Workshop) -> None:
    furnish(workshop, 10)
    few = costs(manager, workshop)
    furnish(workshop, 90)
    many = costs(manager, workshop)
    assert many == few
    assert max(many.values()) <= MOST_QUERIES


def costs(client: Client, workshop: Workshop) -> dict[str, int]:
    """Return how many queries each page costs, read once before so that nothing is warmed by the first."""
    found = {}
    for address in desk_addresses(workshop):
        shown(client, workshop.organisation, address)
        with CaptureQueriesContext(connection) as captured:
            shown(client, workshop.organisation, address)
        found[address] = asked(captured)
    return found


def asked(captured: CaptureQueriesContext) -> int:
    """Count the questions; PostgreSQL also opens a savepoint and names the organisation."""
    return sum(each["sql"].startswith("SELECT") and "set_config" not in each["sql"] for each in captured)


def test_today_costs_one_query_for_its_numbers_one_for_its_clamps_and_four_for_its_decisions(
    manager: Client, workshop: Workshop
) -> None:
    furnish(workshop, 5)
    with CaptureQueriesContext(connection) as captured:
        shown(manager, workshop.organisation, "today/")
    assert asked(captured) == IDENTITY_QUERIES + 1 + 1 + 4


@pytest.mark.parametrize("name", LISTS)
def test_an_empty_list_says_the_next_step(db: None, name: str) -> None:
    owner = builders.organisation()
    html = shown(signed_in(owner), owner, f"{name}/", q="nothing is called so")
    assert "Nothing fits these filters." in html
    if name != "people":
        assert '<p class="empty">' in shown(signed_in(owner), owner, f"{name}/")


@pytest.mark.parametrize("name", LISTS)
def test_a_list_is_walked_to_its_end_by_its_own_links(manager: Client, workshop: Workshop, name: str) -> None:
    furnish(workshop, 60)
    address, seen = f"/{workshop.organisation.slug}/{name}/", []
    while address:
        answer: Any = manager.get(address)
        seen += [row.pk for row in answer.context["page"].rows]
        following = re.search(r'rel="next" href="([^"]+)"', answer.content.decode())
        address = f"/{workshop.organisation.slug}/{name}/{following[1]}" if following else ""
        assert len(seen) < 1000
    assert len(seen) == len(set(seen)) >= (1 if name == "ratings" else 60)


@pytest.mark.parametrize("name", LISTS)
def test_a_filter_that_is_none_is_refused_and_named(manager: Client, workshop: Workshop, name: str) -> None:
    answer: Any = manager.get(f"/{workshop.organisation.slug}/{name}/")
    choices = [field for field in answer.context["form"].fields if field != "q"]
    for field in choices:
        html = shown(manager, workshop.organisation, f"{name}/", **{field: "no such thing"})
        assert 'class="fault"' in html, field


def test_a_person_marks_what_they_were_told_as_seen_and_nobody_elses(workshop: Workshop) -> None:
    owner, told = workshop.organisation, builders.member(workshop.organisation, Role.MANAGER)
    plan = builders.check_plan(workshop.installation)
    reminder = Reminder.objects.create(
        organisation=owner,
        installation=workshop.installation,
        plan=plan,
        cycle_began_by=workshop.installation.uuid,
        lead_stage="due",
        person=told,
        due_on=dt.date(2026, 5, 1),
        queued_at=timezone.now(),
    )
    address = f"/{owner.slug}/told/{reminder.uuid}/seen/"
    assert signed_in(owner).post(address).status_code == 404
    assert Reminder.objects.filter(pk=reminder.pk, seen_at__isnull=True).exists()
    client = Client()
    client.force_login(told.user)
    assert client.post(address).status_code == 302
    assert Reminder.objects.filter(pk=reminder.pk, seen_at__isnull=False).exists()
    assert client.get(address).status_code == 405
