"""Who gets in: a member with a good token, and nobody else."""

import datetime as dt
import json

import pytest
from django.test import Client
from django.utils import timezone

from accounts.models import ApiToken, Member
from accounts.roles import Role
from tests import builders
from tests.api.documents import assessment_document
from tests.api.problems import assert_problem
from tests.conftest import Api

HEADERS = {
    "none": None,
    "empty": "",
    "the scheme alone": "Bearer",
    "a made-up token": "Bearer cbk_" + "0" * 64,
    "two tokens": "Bearer one two",
    "another scheme": "Basic dXNlcjpwYXNzd29yZA==",
    "a token of another alphabet": "Bearer tökén".encode().decode("latin-1"),
    "a token of bytes": "Bearer \xff\xfe\x80",
    "a very long token": "Bearer " + "x" * 100_000,
}


@pytest.mark.parametrize("name", HEADERS)
@pytest.mark.parametrize("address", ["vehicles/", "inspections/", "assessments/"])
def test_a_request_without_a_good_token_is_refused(db: None, name: str, address: str) -> None:
    value = HEADERS[name]
    client = Client(raise_request_exception=False, headers={} if value is None else {"authorization": value})
    send = client.post if address == "assessments/" else client.get
    answer = send(f"/api/v1/{address}", content_type="application/json")
    assert_problem(answer, 401)
    assert answer.headers["www-authenticate"].startswith("Bearer")


def assert_shut_out(api: Api) -> None:
    """Find reading and writing refused alike."""
    for answer in (api.get("vehicles/"), api.post("assessments/", assessment_document())):
        assert_problem(answer, 401)
        assert answer.headers["www-authenticate"].startswith("Bearer")


def test_a_good_token_gets_in(api: Api) -> None:
    assert api.get("vehicles/").status_code == 200


def test_the_name_of_the_scheme_may_be_in_any_case(api: Api) -> None:
    client = Client(headers={"authorization": f"bEARER {api.token}"})
    assert client.get("/api/v1/vehicles/").status_code == 200


def test_an_expired_token_is_refused(api: Api) -> None:
    ApiToken.objects.filter(user=api.member.user).update(expiry=timezone.now())
    assert_shut_out(api)


def test_a_token_that_was_taken_back_is_refused(api: Api) -> None:
    ApiToken.objects.filter(user=api.member.user).delete()
    assert_shut_out(api)


def test_a_token_of_a_person_who_is_no_longer_active_is_refused(api: Api) -> None:
    api.member.user.is_active = False
    api.member.user.save()
    assert_shut_out(api)


def test_access_ends_after_its_last_day(api: Api) -> None:
    today = timezone.now().date()
    api.member.ends_on = today
    api.member.save()
    assert api.get("vehicles/").status_code == 200
    api.member.ends_on = today - dt.timedelta(days=1)
    api.member.save()
    assert_shut_out(api)


def test_a_token_of_a_person_who_is_no_longer_a_member_is_refused(api: Api) -> None:
    api.member.delete()
    assert_shut_out(api)


def test_a_token_of_a_closed_organisation_is_refused(api: Api) -> None:
    organisation = api.member.organisation
    organisation.closed_at = timezone.now()
    organisation.save()
    assert_shut_out(api)


def test_a_person_in_two_organisations_sees_with_each_token_the_one_it_was_issued_in(api: Api) -> None:
    elsewhere = builders.workshop().organisation
    both = Member.objects.create(organisation=elsewhere, user=api.member.user, role=Role.TECHNICIAN)
    client = Client(headers={"authorization": f"Bearer {builders.token(both)}"})
    here, there = (answer.json()["results"] for answer in (api.get("vehicles/"), client.get("/api/v1/vehicles/")))
    assert len(here) == len(there) == 1
    assert here[0]["id"] != there[0]["id"]


def test_a_refusal_says_nothing_of_the_token(db: None) -> None:
    client = Client(raise_request_exception=False, headers={"authorization": "Bearer cbk_secret"})
    assert "secret" not in json.dumps(client.get("/api/v1/vehicles/").json())
