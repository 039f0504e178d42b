"""Sets judged anew through the machines' door."""

from typing import Any
from uuid import uuid4

import pytest

from accounts.roles import Role
from inspections.models import Judgement
from inspections.services import rejudging_runs
from schedules.models import DueDate
from tests import builders
from tests.builders import Workshop
from tests.conftest import Api
from tests.inspections.visits import recorded


@pytest.fixture
def manager(workshop: Workshop) -> Api:
    return Api(workshop.organisation, Role.MANAGER)


def clamp_high(of: Workshop, **fields: Any) -> dict[str, Any]:
    return {
        "id": str(uuid4()),
        "selection": {"meter": str(of.ammeter.uuid)},
        "terms": {"corrections": {"ammeter_gain_percent": 25.0}},
        "reason": "clamp found reading high",
        **fields,
    }


def test_a_set_is_compared_then_stored_and_names_each_check_that_changed(workshop: Workshop, manager: Api) -> None:
    check = recorded(workshop).inspection
    asked = clamp_high(workshop)
    answer = manager.post("rejudgings/", asked)
    assert answer.status_code == 201
    told = answer.json()
    assert (told["id"], told["state"], told["judged"]) == (asked["id"], "compared", 1)
    assert told["changes"] == [{"before": "pass", "after": "fail", "count": 1}]
    assert told["changed"] == [{"inspection": str(check.uuid), "before": "pass", "after": "fail"}]
    again = manager.post("rejudgings/", asked)
    assert (again.status_code, again.json()) == (200, told)
    assert manager.post("rejudgings/", {**asked, "reason": "another"}).status_code == 409
    stored = manager.post(f"rejudgings/{asked['id']}/store/", {})
    assert (stored.status_code, stored.json()["state"]) == (200, "done")
    assert Judgement.objects.filter(inspection=check).count() == 2
    assert manager.get(f"rejudgings/{asked['id']}/").json()["changes"] == told["changes"]
    assert [row["id"] for row in manager.get("rejudgings/").json()["results"]] == [asked["id"]]


def test_a_large_set_is_accepted_and_done_in_the_background(
    workshop: Workshop, manager: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rejudging_runs, "AT_ONCE", 0)
    recorded(workshop)
    asked = clamp_high(workshop)
    answer = manager.post("rejudgings/", asked)
    assert (answer.status_code, answer.json()["state"]) == (202, "comparing")
    assert manager.post(f"rejudgings/{asked['id']}/store/", {}).status_code == 409
    assert rejudging_runs.run_asked_rejudgings() == 1
    assert manager.post(f"rejudgings/{asked['id']}/store/", {}).status_code == 202


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"id": "1"}, "#/id"),
        ({"reason": ""}, "#/reason"),
        ({"selection": {"meter": str(uuid4())}}, "#/selection/meter"),
        ({"selection": {"since": "soon"}}, "#/selection/since"),
        ({"selection": {"since": "2031-01-01"}, "terms": {}}, "#/selection"),
        ({"selection": {}}, "#/terms/corrections/ammeter_gain_percent"),
        ({"selection": {"revision": 0}}, "#/selection/revision"),
        ({"terms": {"corrections": {"ohmmeter_gain_percent": 1}}}, "#/terms/corrections"),
        ({"terms": {"decision_rule": "lenient"}}, "#/terms/decision_rule"),
        ({"terms": {"tolerance_lower_percent": 0}}, "#/terms/tolerance_lower_percent"),
        ({"terms": {"decision_rule": "max_false_accept"}}, "#/terms/max_false_accept_probability"),
    ],
)
def test_what_is_wrong_is_told_at_its_place(
    workshop: Workshop, manager: Api, fields: dict[str, Any], pointer: str
) -> None:
    recorded(workshop)
    answer = manager.post("rejudgings/", clamp_high(workshop, **fields))
    assert answer.status_code == 400
    assert pointer in [fault["pointer"] for fault in answer.json()["errors"]]


def test_a_technician_may_read_and_not_ask(workshop: Workshop) -> None:
    recorded(workshop)
    assert Api(workshop.organisation).post("rejudgings/", clamp_high(workshop)).status_code == 403


def test_a_due_date_is_settled_with_a_reason(workshop: Workshop, manager: Api) -> None:
    builders.check_plan(workshop.installation)
    recorded(workshop)
    asked = clamp_high(workshop)
    manager.post("rejudgings/", asked)
    manager.post(f"rejudgings/{asked['id']}/store/", {})
    (due,) = manager.get("due/").json()["results"]
    assert due["verdict_changed"] is True
    assert manager.post(f"due/{due['id']}/settle-verdict/", {"reason": ""}).status_code == 400
    settled = manager.post(f"due/{due['id']}/settle-verdict/", {"reason": "read again"})
    assert (settled.status_code, settled.json()["verdict_changed"]) == (200, False)
    assert not DueDate.objects.get(installation=workshop.installation).verdict_changed
