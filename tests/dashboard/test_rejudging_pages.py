"""Judging a set anew, and settling what rests on it, from the pages."""

from typing import Any

import pytest
from django.test import Client

from accounts.roles import Role
from inspections.models import Defect, Judgement, Rejudging
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import due_date, recorded


@pytest.fixture
def manager(workshop: Workshop) -> Client:
    client = Client()
    client.force_login(builders.member(workshop.organisation, Role.MANAGER).user)
    return client


def page(of: Workshop, rest: str = "judge-anew/") -> str:
    return f"/{of.organisation.slug}/{rest}"


def clamp_high(of: Workshop, **fields: Any) -> dict[str, Any]:
    return {
        "meter": str(of.ammeter.uuid),
        "gain_percent": "25",
        "rating": "newest",
        "reason": "clamp found reading high",
        **fields,
    }


def test_a_manager_sees_what_would_change_and_stores_it(workshop: Workshop, manager: Client) -> None:
    check = recorded(workshop).inspection
    asked = manager.post(page(workshop), clamp_high(workshop), follow=True)
    told = asked.content.decode()
    assert "Verdicts that would change" in told
    assert "1 check: " in told
    assert f"/checks/{check.uuid}/" in told
    assert Judgement.objects.filter(inspection=check).count() == 1
    stored = manager.post(asked.redirect_chain[-1][0], follow=True).content.decode()
    assert "Verdicts that changed" in stored
    assert Judgement.objects.filter(inspection=check).count() == 2
    assert "clamp found reading high" in manager.get(page(workshop)).content.decode()


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"reason": ""}, "This field is required."),
        ({"meter": ""}, "A correction is of one meter"),
        ({"serial_number": "none such"}, "No unit has the serial number none such."),
        ({"since": "2031-01-01"}, "No check fits this choice."),
        ({"tolerance_lower_percent": "0"}, "greater than or equal to"),
        ({"decision_rule": "max_false_accept"}, "Needed with the rule"),
        ({"gain_percent": "-100"}, "greater than or equal to"),
    ],
)
def test_a_form_that_makes_no_sense_says_so(
    workshop: Workshop, manager: Client, fields: dict[str, str], told: str
) -> None:
    recorded(workshop)
    answer = manager.post(page(workshop), clamp_high(workshop, **fields))
    assert answer.status_code == 200
    assert told in answer.content.decode()
    assert not Rejudging.objects.filter(organisation=workshop.organisation).exists()


def test_who_may_not_manage_is_not_shown_the_page(workshop: Workshop) -> None:
    client = Client()
    client.force_login(builders.member(workshop.organisation, Role.TECHNICIAN).user)
    assert client.get(page(workshop)).status_code == 403


def test_the_due_date_and_the_defect_say_so_until_a_manager_lets_them_stand(
    workshop: Workshop, manager: Client
) -> None:
    builders.check_plan(workshop.installation)
    recorded(workshop)
    asked = manager.post(page(workshop), clamp_high(workshop), follow=True)
    manager.post(asked.redirect_chain[-1][0])
    vehicle = page(workshop, f"vehicles/{workshop.installation.vehicle.uuid}/")
    assert "given anew with another outcome" in manager.get(vehicle).content.decode()
    settle = page(workshop, f"due/{due_date(workshop).uuid}/settle/")
    manager.post(settle, {"reason": ""})
    assert due_date(workshop).verdict_changed
    manager.post(settle, {"reason": "read again"})
    assert not due_date(workshop).verdict_changed
    assert "given anew with another outcome" not in manager.get(vehicle).content.decode()


def test_a_defect_is_let_stand_only_where_its_verdict_changed(workshop: Workshop, manager: Client) -> None:
    recorded(workshop, verdict="fail")
    defect = Defect.objects.filter(installation=workshop.installation)[0]
    address = page(workshop, f"defects/{defect.uuid}/")
    assert "Let the defect stand" not in manager.get(address).content.decode()
    Defect.objects.filter(pk=defect.pk).update(verdict_changed=True)
    assert "Let the defect stand" in manager.get(address).content.decode()
    manager.post(address, {"step": "settle-verdict", "reason": "seen with another clamp too"})
    defect.refresh_from_db()
    assert not defect.verdict_changed
