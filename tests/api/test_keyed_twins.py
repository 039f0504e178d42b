"""Requests with one key that arrive together store once, on either engine."""

from collections import Counter
from functools import partial

import pytest

from accounts.roles import Role
from fleet.models import Vehicle
from inspections.models import Inspection
from tests import builders
from tests.accounts.threads import at_once
from tests.api.writing import read, sent
from tests.conftest import Api
from tests.naming import name

pytestmark = pytest.mark.committed
KEY = '"one-key"'


def test_of_parallel_posts_with_one_key_one_stores_and_the_others_wait_or_are_told_the_same(committed_db: None) -> None:
    workshop = builders.workshop()
    api = Api(workshop.organisation, Role.MANAGER)
    vehicle = {
        "depot": str(workshop.installation.vehicle.depot.uuid),
        "fleet_number": "twin",
        "system_voltage_v": 12,
    }
    answers = at_once([lambda: sent(api, "post", "vehicles/", vehicle, idempotency_key=KEY)] * 8)
    codes = Counter(answer.status_code for answer in answers)
    assert codes.keys() <= {201, 409}, codes
    assert codes[201] >= 1
    assert len({answer.content for answer in answers if answer.status_code == 201}) == 1
    assert all(answer.json()["errors"][0]["code"] == "in_progress" for answer in answers if answer.status_code == 409)
    name(workshop.organisation)
    assert Vehicle.objects.filter(organisation=workshop.organisation, fleet_number="twin").count() == 1


def test_of_two_inspections_with_one_key_one_is_stored(committed_db: None) -> None:
    workshop = builders.workshop()
    api = Api(workshop.organisation)
    documents = [builders.inspection_document(workshop) for _ in range(2)]
    answers = at_once(
        [partial(sent, api, "post", "inspections/", document, idempotency_key=KEY) for document in documents]
    )
    codes = sorted(answer.status_code for answer in answers)
    assert codes[0] == 201
    assert codes[1] in (409, 422)
    name(workshop.organisation)
    assert Inspection.objects.filter(organisation=workshop.organisation).count() == 1


def test_of_parallel_changes_of_what_was_seen_one_is_made(committed_db: None) -> None:
    workshop = builders.workshop()
    api = Api(workshop.organisation, Role.MANAGER)
    path = f"vehicles/{workshop.installation.vehicle.uuid}/"
    seen = read(api, path)["ETag"]
    answers = at_once(
        [
            partial(sent, api, "patch", path, {"make": make}, if_match=seen)
            for make in ("first", "second", "third", "fourth")
        ]
    )
    assert Counter(answer.status_code for answer in answers) == {200: 1, 412: 3}
    won = next(answer for answer in answers if answer.status_code == 200)
    assert read(api, path).json() == won.json()
