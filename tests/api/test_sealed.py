"""A member of one organisation sees and reaches nothing of another, at any address by any method."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import models

from accounts.roles import Role
from inspections.models import ExtraReading, Inspection
from tests import builders
from tests.api.documents import EXTRA_READING, assessment_document, without
from tests.api.full_house import furnish
from tests.api.routes import Route, api_routes
from tests.builders import Workshop, inspection_document
from tests.conftest import Api

OPEN_TO_ALL = {"schema/", "docs/"}
DEFECT_STEP = {
    "done": "lead cleaned",
    "reason": "dry again",
    "decision": "isolated",
    "until": "2026-12-31",
    "driver": "driver of the early turn",
}
# Nothing here names a row, so a stranger is answered as a member is.
NAMELESS = {
    "trends/preview/": {"rating": {"stages": 1, "rated_current_a": 35.0}, "inspections": []},
    "due-dates/preview/": {"plan": {"months": 6}, "as_of": "2026-11-25T00:00:00Z"},
}
# What a member of another organisation would send to an address, and how it is refused.
BODIES: dict[str, tuple[Callable[[Workshop], Any], int]] = {
    "assessments/": (
        lambda of: without(assessment_document(installation=str(of.installation.uuid)), "rating"),
        400,
    ),
    "assessments/preview/": (
        lambda of: without(assessment_document(installation=str(of.installation.uuid)), "rating", "stage_readings"),
        400,
    ),
    **{
        f"defects/<outside_id:id>/{step}/": (lambda of: DEFECT_STEP, 404)
        for step in ("repair", "repair-unnecessary", "release", "driver-told", "settle-verdict")
    },
    "trends/preview/": (lambda of: NAMELESS["trends/preview/"], 200),
    "due-dates/preview/": (lambda of: NAMELESS["due-dates/preview/"], 200),
    "inspections/": (inspection_document, 400),
    "inspections/bulk/": (lambda of: {"items": [inspection_document(of)]}, 207),
    "inspections/<outside_id:id>/sign/": (lambda of: {}, 404),
    "inspections/<outside_id:id>/extra-readings/": (lambda of: {**EXTRA_READING, "id": str(uuid4())}, 404),
}


@pytest.fixture
def house(workshop: Workshop) -> Workshop:
    """Return an organisation with three rows of everything."""
    furnish(workshop, 3)
    return workshop


@pytest.fixture
def stranger(db: None) -> Api:
    """Return an administrator's client in another organisation, which has rows of its own."""
    elsewhere = builders.workshop()
    furnish(elsewhere, 1)
    return Api(elsewhere.organisation, Role.ADMINISTRATOR)


def secrets_of(workshop: Workshop) -> list[str]:
    """Return what of an organisation's rows must not be read elsewhere."""
    first = workshop.installation
    names = [first.vehicle.fleet_number, first.vehicle.registration, first.retarder.serial_number]
    quoted = [f'"{name}"' for name in [*names, workshop.ammeter.designation, first.vehicle.depot.name]]
    tables = [route.view_class.queryset.model for route in api_routes() if route.takes_an_id]
    ids = [str(row.uuid) for table in tables for row in table.objects.filter(organisation=workshop.organisation)]
    return quoted + ids


def rows_everywhere() -> dict[str, int]:
    tables: list[type[models.Model]] = [Inspection, ExtraReading]
    return {table.__name__: table._default_manager.count() for table in tables}


def answer_of(api: Api, route: Route, method: str, identity: object, house: Workshop) -> Any:
    """Return the answer of an address to a method, with the body that belongs to it."""
    address = route.address(identity)
    if method == "get":
        return api.get(address)
    assert method == "post", f"nobody has said how to send {method} to {route.pattern}"
    body, _refusal = BODIES[route.pattern]
    return api.post(address, body(house))


def test_every_address_that_names_a_row_answers_a_stranger_as_if_it_did_not_exist(
    house: Workshop, stranger: Api
) -> None:
    owner = Api(house.organisation, Role.ADMINISTRATOR)
    for route in [route for route in api_routes() if route.takes_an_id]:
        foreign = route.first_row(house.organisation).uuid
        for method in route.methods:
            told = answer_of(stranger, route, method, foreign, house)
            assert told.status_code == 404, (route.pattern, method, told.content)
            assert told.content == answer_of(stranger, route, method, uuid4(), house).content
            if method == "get":
                assert owner.get(route.address(foreign)).status_code == 200


def test_no_list_shows_a_stranger_a_row(house: Workshop, stranger: Api) -> None:
    secrets = secrets_of(house)
    unit = house.installation
    for route in [route for route in api_routes() if not route.takes_an_id and "get" in route.methods]:
        content = stranger.get(route.address(), page_size=500).content.decode()
        assert not [secret for secret in secrets if secret in content], route.pattern
        if route.pattern in OPEN_TO_ALL:
            continue
        assert stranger.get(route.address()).json()["results"], route.pattern
        for narrowed in ({"installation": unit.uuid}, {"vehicle": unit.vehicle.uuid}):
            answer = stranger.get(route.address(), **narrowed)
            if next(iter(narrowed)) in route.view_class.filterset_class.base_filters:
                assert answer.json()["results"] == [], (route.pattern, narrowed)


def test_what_a_stranger_sends_is_refused_and_stores_nothing(house: Workshop, stranger: Api) -> None:
    before, secrets = rows_everywhere(), secrets_of(house)
    for route in [route for route in api_routes() if "post" in route.methods]:
        identity = route.first_row(house.organisation).uuid if route.takes_an_id else ""
        body, refusal = BODIES[route.pattern]
        sent = body(house)
        answer = stranger.post(route.address(identity), sent)
        assert answer.status_code == refusal, (route.pattern, answer.content)
        if refusal == 207:
            assert [result["status"] for result in answer.json()["results"]] == [400]
        told = [secret for secret in secrets if secret in answer.content.decode() and secret not in str(sent)]
        assert told == [], route.pattern
    assert rows_everywhere() == before


def test_the_organisation_itself_sees_its_rows(house: Workshop) -> None:
    content = Api(house.organisation).get("installations/").content.decode()
    assert f'"{house.installation.vehicle.fleet_number}"' in content
