"""The people of a book as its pages show them: inviting, joining, changing, removing, tokens, signatures that wait."""

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from accounts.actors import member_actor
from accounts.models import ApiToken, Invitation, Member, User
from accounts.roles import Role
from inspections.models import Inspection
from tests import builders
from tests.accounts.audit_chain import chain_of, first_bad_sequence
from tests.builders import Workshop, inspection_document
from tests.conftest import Api
from tests.dashboard.reading import rows_of, shown
from tests.dashboard.taking import Taker
from tests.inspections.visits import recorded
from tests.naming import name as name_owner

PASSWORD = "seven hollow coils"
JOINED = {"username": "somebody", "full_name": "", "password": PASSWORD, "again": PASSWORD}


@pytest.fixture
def manager(workshop: Workshop) -> Taker:
    """Return the manager of a book that has an administrator beside."""
    builders.member(workshop.organisation, Role.ADMINISTRATOR)
    return Taker(workshop, Role.MANAGER)


def invited(manager: Taker, **fields: str) -> str:
    """Invite somebody through the page, and return the path of the link that it shows."""
    sent = {"name": "Somebody New", "email": "", "role": "trainee", "access_ends_on": "", **fields}
    answer = manager.post("people/invite/", **sent)
    assert answer.headers["cache-control"] == "no-store"
    found = re.search(r"http://testserver(/invitation/[0-9a-f]{64}/)", answer.content.decode())
    assert found, answer.content.decode()
    return found[1]


def test_a_new_person_joins_by_the_link_and_is_signed_in(manager: Taker) -> None:
    path, client = invited(manager), Client()
    html = client.get(path).content.decode()
    assert manager.organisation.name in html
    assert "as trainee" in html
    answer: Any = client.post(path, JOINED)
    assert answer["location"] == f"/{manager.organisation.slug}/today/"
    assert client.get(answer["location"]).status_code == 200
    member = Member.objects.get(user__username="somebody")
    assert (member.role, str(member.user)) == (Role.TRAINEE, "Somebody New")
    for again in (client.get(path), Client().post(path, JOINED | {"username": "another"})):
        assert again.status_code == 404
        assert "good no longer" in again.content.decode()


def test_who_is_signed_in_joins_with_one_button(manager: Taker) -> None:
    client, person = Client(), builders.member(builders.organisation()).user
    client.force_login(person)
    path = invited(manager)
    assert "Join this book too" in client.get(path).content.decode()
    assert client.post(path).status_code == 302
    assert client.get(f"/{manager.organisation.slug}/today/").status_code == 200


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"again": "nine hollow coils"}, "This is not what was typed above."),
        ({"password": "short", "again": "short"}, "too short"),
        ({"username": "two words"}, "Enter a valid username"),
        ({"username": ""}, "This field is required"),
    ],
)
def test_a_join_that_is_not_taken_says_why_and_keeps_the_link(
    manager: Taker, change: dict[str, str], sentence: str
) -> None:
    path = invited(manager)
    assert sentence in Client().post(path, JOINED | change).content.decode()
    assert Client().post(path, JOINED).status_code == 302


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"role": "administrator"}, "administrator is not one of the available choices"),
        ({"email": "no address"}, "Enter a valid email address"),
        ({"access_ends_on": "2026-01-01"}, "2026-01-01 is gone already"),
        ({"name": ""}, "This field is required"),
    ],
)
def test_an_invitation_that_is_not_taken_says_why(manager: Taker, fields: dict[str, str], sentence: str) -> None:
    sent = {"name": "Somebody", "email": "", "role": "trainee", "access_ends_on": "", **fields}
    assert sentence in manager.post("people/invite/", **sent).content.decode()
    assert not Invitation.objects.exists()


def test_an_invitation_waits_on_the_page_and_can_be_taken_back(manager: Taker) -> None:
    path = invited(manager, name="Late Comer")
    html = manager.get("people/").content.decode()
    assert "Late Comer" in html
    assert path not in html
    assert manager.post(f"invitations/{Invitation.objects.get().uuid}/revoke/").status_code == 302
    assert "Late Comer" not in manager.get("people/").content.decode()
    assert Client().get(path).status_code == 404


def test_a_role_an_end_and_a_removal_are_taken_from_the_persons_page(manager: Taker) -> None:
    subject = builders.member(manager.organisation, Role.VIEWER)
    page = f"people/{subject.uuid}/"
    assert manager.get(page).status_code == 200
    manager.post(page, **{"what": "role", "role-role": "technician"})
    manager.post(page, **{"what": "end", "end-ends_on": "2099-12-31"})
    changed = Member.objects.get(pk=subject.pk)
    assert (changed.role, str(changed.ends_on)) == ("technician", "2099-12-31")
    manager.post(page, **{"what": "remove", "remove-reason": "left"})
    assert Member.objects.get(pk=subject.pk).removed_at is not None
    assert manager.get(page).status_code == 404
    assert manager.post(page, what="nothing of the sort").status_code == 404


def test_a_removal_warns_of_links_that_may_be_in_the_persons_hands(manager: Taker) -> None:
    warning = "invitation without a mail address is open"
    for is_open in (False, True):
        subject = builders.member(manager.organisation, Role.VIEWER)
        manager.post(f"people/{subject.uuid}/", **{"what": "remove", "remove-reason": "left"})
        assert (warning in manager.get("people/").content.decode()) == is_open
        invited(manager, name="Somebody")


def test_an_administrator_is_out_of_a_managers_reach(manager: Taker) -> None:
    subject = Member.objects.get(organisation=manager.organisation, role=Role.ADMINISTRATOR)
    page = f"people/{subject.uuid}/"
    assert "Only an administrator can change an administrator." in manager.get(page).content.decode()
    assert manager.post(page, **{"what": "role", "role-role": "viewer"}).status_code == 403


def test_the_last_administrator_is_told_to_name_another_one_first(workshop: Workshop) -> None:
    taker = Taker(workshop, Role.ADMINISTRATOR)
    answer = taker.post(f"people/{taker.member.uuid}/", **{"what": "remove", "remove-reason": ""})
    assert "name another one first" in answer.content.decode()


def test_a_token_is_shown_once_and_opens_the_interface(manager: Taker) -> None:
    answer = manager.post("tokens/make/", name="gauge", scope="read", days="30")
    (token,) = re.findall(r"Bearer (cbk_\w+)", answer.content.decode())
    assert answer.headers["cache-control"] == "no-store"
    client = Client(headers={"authorization": f"Bearer {token}"})
    assert client.get("/api/v1/vehicles/").status_code == 200
    html = manager.get("tokens/").content.decode()
    assert token not in html
    assert "gauge" in html
    assert manager.post(f"tokens/{ApiToken.objects.get(name='gauge').uuid}/revoke/").status_code == 302
    assert client.get("/api/v1/vehicles/").status_code == 401


def test_one_sees_ones_own_tokens_and_a_manager_everybodys(manager: Taker) -> None:
    technician = Taker(manager.workshop)
    for taker, name in ((manager, "desk"), (technician, "gauge")):
        taker.post("tokens/make/", name=name, scope="role", days="90")
    desk = ApiToken.objects.get(name="desk")
    assert "desk" not in shown(technician.client, technician.organisation, "tokens/")
    assert technician.post(f"tokens/{desk.uuid}/revoke/").status_code == 404
    assert rows_of(shown(manager.client, manager.organisation, "tokens/")).__len__() == 2
    stranger = Taker(builders.workshop(), Role.ADMINISTRATOR)
    assert stranger.post(f"tokens/{desk.uuid}/revoke/").status_code == 404


def waiting(workshop: Workshop, number: int = 1) -> list[str]:
    """Let a trainee take checks, and return their ids."""
    trainee = Api(workshop.organisation, Role.TRAINEE)
    documents = [inspection_document(workshop) for _check in range(number)]
    assert {trainee.post("inspections/", document).status_code for document in documents} == {201}
    return [str(document["id"]) for document in documents]


def test_a_check_of_a_trainee_waits_and_is_signed_in_one_step_by_somebody_else(workshop: Workshop) -> None:
    (check,) = waiting(workshop)
    technician = Taker(workshop)
    html = technician.get("to-sign/").content.decode()
    assert f'action="/{workshop.organisation.slug}/to-sign/{check}/"' in html
    assert "asked who took them" in html
    assert technician.post(f"to-sign/{check}/").status_code == 302
    signed = Inspection.objects.get(uuid=check)
    assert signed.signed_by == technician.member.user
    assert signed.recorded_by != signed.signed_by
    assert "No check waits for a signature." in technician.get("to-sign/").content.decode()
    again = technician.client.post(technician.address(f"to-sign/{check}/"), follow=True)
    assert "signed already" in again.content.decode()


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TRAINEE])
def test_who_may_not_sign_sees_what_waits_and_signs_nothing(workshop: Workshop, role: Role) -> None:
    (check,) = waiting(workshop)
    taker = Taker(workshop, role)
    html = taker.get("to-sign/").content.decode()
    assert "A technician signs them." in html
    assert 'action="/' + workshop.organisation.slug + "/to-sign/" not in html
    assert taker.post(f"to-sign/{check}/").status_code == 403
    assert Inspection.objects.get(uuid=check).signed_at is None


def test_what_waits_elsewhere_is_not_there(workshop: Workshop) -> None:
    (check,) = waiting(workshop)
    stranger = Taker(builders.workshop())
    assert "No check waits for a signature." in stranger.get("to-sign/").content.decode()
    assert stranger.post(f"to-sign/{check}/").status_code == 404


def test_each_list_costs_the_same_whatever_its_rows(manager: Taker) -> None:
    costs = []
    for number in (2, 12):
        waiting(manager.workshop, number)
        for each in range(number):
            manager.post("tokens/make/", name=f"gauge {number} {each}", scope="read", days="30")
            invited(manager, name=f"Somebody {number} {each}")
            builders.member(manager.organisation)
        for page in ("people/", "tokens/", "to-sign/"):
            with CaptureQueriesContext(connection) as captured:
                assert manager.get(page).status_code == 200
            costs.append((page, len([each for each in captured if each["sql"].startswith("SELECT")])))
    assert costs[:3] == costs[3:]


@pytest.fixture
def administrator(workshop: Workshop) -> Taker:
    """Return the administrator of a book."""
    return Taker(workshop, Role.ADMINISTRATOR)


def left(administrator: Taker, **names: str) -> Member:
    """Return a technician who recorded a check and was removed."""
    taker = Taker(administrator.workshop)
    User.objects.filter(pk=taker.member.user.pk).update(**names)
    recorded(administrator.workshop, by=member_actor(taker.member, source="test"))
    removing = {"what": "remove", "remove-reason": "left"}
    assert administrator.post(f"people/{taker.member.uuid}/", **removing).status_code == 302
    return taker.member


def test_a_removed_persons_name_is_replaced_and_the_record_still_holds(administrator: Taker) -> None:
    member = left(administrator, first_name="Quentin", last_name="Ash", email="q@works.test")
    html = administrator.get("people/removed/").content.decode()
    assert "Quentin Ash" in html
    page = f"people/{member.uuid}/name/"
    assert page in html
    assert "This field is required" in administrator.post(page, new_name="", reason="asked").content.decode()
    assert administrator.post(page, new_name="Person 17", reason="asked for it").status_code == 302
    for path in ("people/removed/", "history/", "checks/"):
        html = administrator.get(path).content.decode()
        assert "Quentin" not in html, path
    assert "Person 17" in html
    name_owner(administrator.organisation)
    entries = chain_of(administrator.organisation)
    assert entries[-1].action == "replace_name"
    assert first_bad_sequence(entries) is None


def test_nobody_who_still_belongs_to_a_book_is_offered_or_renamed(administrator: Taker) -> None:
    staying = builders.member(administrator.organisation)
    assert administrator.get(f"people/{staying.uuid}/name/").status_code == 404
    elsewhere = left(administrator, first_name="Quentin")
    builders._insert(Member, builders.organisation(), user=elsewhere.user, role="viewer")
    answer = administrator.post(f"people/{elsewhere.uuid}/name/", new_name="Person 1", reason="x")
    said = answer.content.decode()
    assert "This name cannot be replaced here yet." in said
    assert "another" not in said.partition("cannot be replaced")[2].partition("</")[0]
    assert User.objects.get(pk=elsewhere.user.pk).first_name == "Quentin"


def test_the_postal_address_is_set_by_an_administrator_read_by_all_and_printed(administrator: Taker) -> None:
    address = "1 Mill Lane\nNorth Works"
    assert administrator.post("book/", name="Northern Works", address=address).status_code == 302
    viewer = Taker(administrator.workshop, Role.VIEWER)
    html = viewer.get("book/").content.decode()
    assert "Northern Works" in html
    assert "1 Mill Lane<br>North Works" in html
    assert "<textarea" not in html
    check = recorded(administrator.workshop).inspection
    assert "1 Mill Lane<br>North Works" in viewer.get(f"checks/{check.uuid}/record/").content.decode()
    assert "name and address set" in viewer.get("history/").content.decode()
    assert "This field is required" in administrator.post("book/", name="", address="").content.decode()
