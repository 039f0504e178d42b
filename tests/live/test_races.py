"""Requests that arrive together over real sockets: one row, one winner, and a record that holds."""

from collections import Counter
from functools import partial
from typing import Any
from uuid import uuid4

import pytest

from tests.accounts.threads import at_once
from tests.config.processes import manage
from tests.live.conftest import Live

TOGETHER = 32


@pytest.fixture(scope="module")
def visit(live: Live) -> dict[str, Any]:
    """Return a visit of the demo book as a client posts it, without an id."""
    return {
        "installation": live.first("installations/?fleet_number=Truck%2023")["id"],
        "ammeter": live.first("meters/?designation=Clamp,%20red%20tape")["id"],
        "voltmeter": live.first("meters/?designation=Voltmeter,%20North%20Yard")["id"],
        "performed_at": "2026-05-04T09:30:00Z",
        "engine_state": "idle",
        "coil_temperature_c": 20.0,
        "coil_temperature_bound_c": 5.0,
        "coil_temperature_method": "measured",
        "rest": {"supply_voltage_v": 14.0, "current_a": 0.0},
        "stage_readings": [
            {"stage": stage, "energised": [stage], "supply_voltage_v": 13.76, "current_a": 40.1}
            for stage in (1, 2, 3, 4)
        ],
    }


def fresh(visit: dict[str, Any], **fields: Any) -> dict[str, Any]:
    """Return the visit under an id of its own."""
    return {**visit, "id": str(uuid4()), **fields}


@pytest.fixture(scope="module")
def raced() -> list[str]:
    """Return the checks that were raced for, to which each race adds its own."""
    return []


def test_of_32_posts_of_one_inspection_one_stores_it_and_all_are_answered_alike(
    live: Live, visit: dict[str, Any], raced: list[str]
) -> None:
    document = fresh(visit)
    answers = at_once([partial(live.ask, "POST", "inspections/", document)] * TOGETHER)
    assert Counter(answer.status for answer in answers) == {201: 1, 200: TOGETHER - 1}
    assert all(answer.json() == answers[0].json() for answer in answers)
    assert live.count("inspections_inspection", uuid=live.stored_id(document["id"])) == 1
    told = {"object_id": live.stored_id(document["id"]), "action": "record"}
    assert live.count("accounts_auditentry", **told) == 1
    raced.append(document["id"])


def test_of_two_inspections_with_one_key_one_is_stored(live: Live, visit: dict[str, Any], raced: list[str]) -> None:
    documents, key = [fresh(visit), fresh(visit)], f'"{uuid4()}"'
    sent = [document for document in documents for _ in range(TOGETHER // 2)]
    answers = at_once([partial(live.ask, "POST", "inspections/", each, Idempotency_Key=key) for each in sent])
    stored = [each for each in documents if live.count("inspections_inspection", uuid=live.stored_id(each["id"]))]
    assert len(stored) == 1
    for document, answer in zip(sent, answers, strict=True):
        # In progress, or used for the other one.
        assert answer.status in ({201, 409} if document is stored[0] else {409, 422}), answer.body
    again = live.ask("POST", "inspections/", stored[0], Idempotency_Key=key)
    firsts = {answer.body for answer in answers if answer.status == 201}
    assert (again.status, {again.body}) == (201, firsts)
    raced.append(stored[0]["id"])


def test_of_two_signatures_one_stands(live: Live, visit: dict[str, Any], raced: list[str]) -> None:
    document = fresh(visit, sign=False)
    assert live.ask("POST", "inspections/", document).status == 201
    path = f"inspections/{document['id']}/sign/"
    answers = at_once([partial(live.ask, "POST", path, {})] * 2)
    assert Counter(answer.status for answer in answers) == {200: 1, 409: 1}
    told = {"object_id": live.stored_id(document["id"]), "action": "sign"}
    assert live.count("accounts_auditentry", **told) == 1
    raced.append(document["id"])


def test_after_all_of_this_the_record_holds(live: Live, raced: list[str]) -> None:
    assert raced, "no race ran: run the whole file"
    checked = manage(live.environment, "verify_audit", "--organisation", "demo")
    assert checked.returncode == 0, checked.stdout + checked.stderr
