"""The driver's one tap: a signed address without an account, that shows nothing of the book and can be revoked."""

import re
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from accounts.roles import Role
from inspections.models import Defect, DefectStep, DriverLink
from inspections.services.driver_reports import MOST_REPORTS
from tests import builders
from tests.builders import Workshop
from tests.dashboard.taking import Taker


@pytest.fixture
def manager(workshop: Workshop) -> Taker:
    return Taker(workshop, Role.MANAGER)


@pytest.fixture
def address(workshop: Workshop, manager: Taker) -> str:
    """Return the path that the label of the workshop's vehicle shows."""
    return made_label(workshop, manager)


def label(workshop: Workshop) -> str:
    return f"vehicles/{workshop.installation.vehicle.uuid}/label/"


def made_label(workshop: Workshop, manager: Taker) -> str:
    assert manager.post(label(workshop)).status_code == 302
    shown = manager.get(label(workshop)).content.decode()
    found = re.search(r'href="http://testserver(/driver/[^"]+/)"', shown)
    assert found
    assert "<svg" in shown
    return found[1]


def tap(address: str, **fields: Any) -> Any:
    """Open the page as a driver and send it."""
    form = Client().get(address).context["form"]
    return Client().post(address, {"id": form["id"].value(), "code": "driver_weaker", **fields})


def test_one_tap_opens_a_defect_reported_by_the_driver(workshop: Workshop, manager: Taker, address: str) -> None:
    answer = tap(address, words="weak on the long hill", odometer_km="123456,7")
    assert answer.status_code == 200
    assert "It is with the workshop" in answer.content.decode()
    defect = Defect.objects.get(installation=workshop.installation)
    assert (defect.code, defect.state, defect.stage, defect.found_by) == ("driver_weaker", "open", None, None)
    shown = manager.get(f"defects/{defect.uuid}/").content.decode()
    assert "reported by driver" in shown
    assert "weak on the long hill; odometer 123456.7 km" in shown
    assert "driver: weaker than usual" in manager.get("defects/").content.decode()


def test_a_double_tap_reports_once_and_a_later_one_is_added_to_the_same_defect(address: str) -> None:
    same = str(uuid4())
    for _tap in range(2):
        assert Client().post(address, {"id": same, "code": "driver_noise"}).status_code == 200
    assert DefectStep.objects.filter(kind="reported").count() == 1
    tap(address, code="driver_noise")
    assert (Defect.objects.count(), DefectStep.objects.filter(kind="reported").count()) == (1, 2)


def test_the_page_shows_the_fleet_number_and_nothing_else_of_the_book(workshop: Workshop, address: str) -> None:
    shown = Client().get(address).content.decode()
    vehicle = workshop.installation.vehicle
    assert vehicle.fleet_number in shown
    secrets = [vehicle.registration, vehicle.depot.name, workshop.organisation.name, workshop.organisation.slug]
    assert not [secret for secret in [*secrets, workshop.installation.retarder.serial_number] if f">{secret}" in shown]


def test_a_revoked_label_and_the_one_before_a_new_one_lead_nowhere(
    workshop: Workshop, manager: Taker, address: str
) -> None:
    newer = made_label(workshop, manager)
    assert (Client().get(address).status_code, Client().get(newer).status_code) == (404, 200)
    manager.post(label(workshop), revoke="1")
    assert Client().get(newer).status_code == 404
    assert Client().post(newer, {"id": str(uuid4()), "code": "driver_lamp"}).status_code == 404
    assert Defect.objects.count() == 0
    assert DriverLink.objects.filter(revoked_by=manager.member.user).count() == 2


@pytest.mark.parametrize(
    "spoil", [lambda path: path[:-3] + "xx/", lambda path: "/driver/nothing/", lambda path: path.replace(":", "")]
)
def test_an_address_that_was_not_signed_here_leads_nowhere(address: str, spoil: Any) -> None:
    assert Client().get(spoil(address)).status_code == 404


def test_more_than_a_handful_in_an_hour_is_held_back(address: str) -> None:
    answers = [tap(address).status_code for _report in range(MOST_REPORTS + 1)]
    assert answers == [200] * MOST_REPORTS + [429]
    assert DefectStep.objects.filter(kind="reported").count() == MOST_REPORTS


def test_a_vehicle_without_a_retarder_says_so(workshop: Workshop, address: str) -> None:
    workshop.installation.removed_on = workshop.installation.fitted_on
    workshop.installation.save()
    answer = tap(address)
    assert answer.status_code == 409
    assert "Tell your depot" in answer.content.decode()


@pytest.mark.parametrize(
    "fields", [{"code": "driver_tired"}, {"code": ""}, {"id": "none"}, {"odometer_km": "far"}, {"words": "x" * 501}]
)
def test_a_faulty_report_is_refused_and_opens_nothing(address: str, fields: dict[str, str]) -> None:
    answer = tap(address, **fields)
    assert answer.status_code == 200
    assert answer.context["form"].errors
    assert Defect.objects.count() == 0


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TECHNICIAN])
def test_only_a_manager_makes_labels(workshop: Workshop, role: Role) -> None:
    taker = Taker(workshop, role)
    assert taker.get(label(workshop)).status_code == 403
    assert taker.post(label(workshop)).status_code == 403
    assert not DriverLink.objects.exists()


def test_another_book_has_no_label_for_the_vehicle(workshop: Workshop) -> None:
    stranger = Taker(workshop, Role.MANAGER, of=builders.organisation())
    assert stranger.get(label(workshop)).status_code == 404
    assert stranger.post(label(workshop)).status_code == 404
