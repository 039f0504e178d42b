"""A request that stores may be sent again under its key, and is answered as it was the first time."""

import datetime as dt
from typing import Any
from uuid import uuid4

import pytest
from django.utils import timezone

from accounts.models import FirstAnswer
from accounts.repeats import KEPT_FOR, forget_old_answers
from accounts.roles import Role
from api.idempotency import KEPT_HEADERS
from fleet.models import Vehicle
from inspections.models import Inspection
from tests import builders
from tests.api.problems import MEDIA_TYPE
from tests.api.writing import sent
from tests.builders import Workshop
from tests.conftest import Api

KEY = '"8e03978e-40d5-43e8-bc93-6894a57f9324"'


@pytest.fixture
def manager(workshop: Workshop) -> Api:
    """Return a manager's client."""
    return Api(workshop.organisation, Role.MANAGER)


@pytest.fixture
def vehicle(workshop: Workshop) -> dict[str, Any]:
    """Return a vehicle as a client would post it."""
    return {"depot": str(workshop.installation.vehicle.depot.uuid), "fleet_number": "B 17", "system_voltage_v": 24}


def added(of: Workshop) -> int:
    return Vehicle.objects.filter(organisation=of.organisation, fleet_number__startswith="B ").count()


def test_the_same_request_again_is_answered_the_same_and_stores_nothing(
    manager: Api, workshop: Workshop, vehicle: dict[str, Any]
) -> None:
    first = sent(manager, "post", "vehicles/", vehicle, idempotency_key=KEY)
    assert first.status_code == 201, first.content
    reordered = dict(reversed(vehicle.items()))
    for again in (vehicle, reordered):
        answer = sent(manager, "post", "vehicles/", again, idempotency_key=KEY)
        assert (answer.status_code, answer.content) == (201, first.content)
        assert [answer[name] for name in KEPT_HEADERS] == [first[name] for name in KEPT_HEADERS]
    assert added(workshop) == 1


def test_another_request_under_the_key_is_refused(manager: Api, workshop: Workshop, vehicle: dict[str, Any]) -> None:
    sent(manager, "post", "vehicles/", vehicle, idempotency_key=KEY)
    other = sent(manager, "post", "vehicles/", {**vehicle, "fleet_number": "B 18"}, idempotency_key=KEY)
    elsewhere = sent(manager, "post", "meters/", vehicle, idempotency_key=KEY)
    colleague = sent(Api(workshop.organisation, Role.MANAGER), "post", "vehicles/", vehicle, idempotency_key=KEY)
    for answer in (other, elsewhere, colleague):
        assert (answer.status_code, answer["Content-Type"]) == (422, MEDIA_TYPE)
        assert answer.json()["errors"][0]["code"] == "key_reused"
    assert added(workshop) == 1


def test_the_key_of_another_organisation_is_another_key(manager: Api, vehicle: dict[str, Any]) -> None:
    first = sent(manager, "post", "vehicles/", vehicle, idempotency_key=KEY)
    elsewhere = builders.workshop()
    theirs = {**vehicle, "depot": str(elsewhere.installation.vehicle.depot.uuid)}
    answer = sent(Api(elsewhere.organisation, Role.MANAGER), "post", "vehicles/", theirs, idempotency_key=KEY)
    assert answer.status_code == 201
    assert answer.json()["id"] != first.json()["id"]


def test_a_refusal_keeps_nothing_so_that_what_is_put_right_may_use_the_key(
    manager: Api, workshop: Workshop, vehicle: dict[str, Any]
) -> None:
    wrong = {**vehicle, "system_voltage_v": 13}
    assert sent(manager, "post", "vehicles/", wrong, idempotency_key=KEY).status_code == 400
    assert not FirstAnswer.objects.filter(organisation=workshop.organisation).exists()
    assert sent(manager, "post", "vehicles/", vehicle, idempotency_key=KEY).status_code == 201


@pytest.mark.parametrize(
    "header",
    [
        "8e03978e-40d5-43e8-bc93-6894a57f9324",
        "'k'",
        '""',
        '"k',
        '"k" ; a=1',
        '"a", "b"',
        '"ü"',
        '"a"b"',
        r'"a\b"',
        '"tab\there"',
        f'"{"k" * 256}"',
    ],
)
def test_what_is_no_quoted_string_is_refused(
    header: str, manager: Api, workshop: Workshop, vehicle: dict[str, Any]
) -> None:
    answer = sent(manager, "post", "vehicles/", vehicle, idempotency_key=header)
    assert (answer.status_code, answer["Content-Type"]) == (400, MEDIA_TYPE)
    assert answer.json()["errors"][0]["code"] == "idempotency_key"
    assert added(workshop) == 0


@pytest.mark.parametrize("header", [f'"{"k" * 255}"', r'"a\"b\\c"', '"~ !"'])
def test_every_other_string_is_a_key(header: str, manager: Api, workshop: Workshop, vehicle: dict[str, Any]) -> None:
    for _ in range(2):
        assert sent(manager, "post", "vehicles/", vehicle, idempotency_key=header).status_code == 201
    assert added(workshop) == 1


def test_on_an_inspection_the_id_decides_and_the_key_may_not_say_otherwise(api: Api, workshop: Workshop) -> None:
    document = builders.inspection_document(workshop)
    first = sent(api, "post", "inspections/", document, idempotency_key=KEY)
    assert first.status_code == 201, first.content
    replayed = sent(api, "post", "inspections/", document, idempotency_key=KEY)
    assert (replayed.status_code, replayed.content) == (201, first.content)
    assert api.post("inspections/", document).status_code == 200
    assert sent(api, "post", "inspections/", document, idempotency_key='"another"').status_code == 200
    other = {**document, "id": str(uuid4())}
    assert sent(api, "post", "inspections/", other, idempotency_key=KEY).status_code == 422
    assert sent(api, "post", "inspections/", {**document, "notes": "x"}, idempotency_key='"third"').status_code == 409
    assert Inspection.objects.filter(organisation=workshop.organisation).count() == 1


def test_a_change_that_was_made_is_answered_again_although_the_row_has_changed_by_it(
    manager: Api, workshop: Workshop
) -> None:
    path = f"vehicles/{workshop.installation.vehicle.uuid}/"
    seen = manager.get(path)["ETag"]
    answers = [sent(manager, "patch", path, {"make": "x"}, if_match=seen, idempotency_key=KEY) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [200, 200]
    assert answers[0].content == answers[1].content


def test_a_key_lasts_its_days_and_no_longer(manager: Api, workshop: Workshop, vehicle: dict[str, Any]) -> None:
    sent(manager, "post", "vehicles/", vehicle, idempotency_key=KEY)
    now = timezone.now()
    assert dt.timedelta(days=90) == KEPT_FOR
    assert forget_old_answers(workshop.organisation, as_of=now + KEPT_FOR - dt.timedelta(hours=1)) == 0
    assert forget_old_answers(workshop.organisation, as_of=now + KEPT_FOR + dt.timedelta(hours=1)) == 1
    assert sent(manager, "post", "vehicles/", vehicle, idempotency_key=KEY).status_code == 400
