"""The commands that make an organisation and issue a token."""

from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from accounts.management.commands.create_organisation import PASSWORD_VARIABLE
from accounts.models import ApiToken, Member, Organisation, User
from accounts.queries import organisation_called
from accounts.roles import Role
from tests import builders
from tests.naming import name

PASSWORD = "seven quiet magnets"


def said(command: str, /, *args: Any, **options: Any) -> str:
    out = StringIO()
    call_command(command, *args, stdout=out, **options)
    return out.getvalue()


def called(slug: str) -> Organisation:
    """Return the organisation with the slug."""
    found = organisation_called(slug)
    assert found is not None
    return found


def refusal(command: str, /, *args: Any, **options: Any) -> str:
    """Return the one line a command is refused with; it writes nothing."""
    rows = [model.objects.count() for model in (Organisation, User, Member, ApiToken)]
    with pytest.raises(CommandError) as refused:
        said(command, *args, **options)
    assert [model.objects.count() for model in (Organisation, User, Member, ApiToken)] == rows
    (line,) = str(refused.value).splitlines()
    return line


@pytest.fixture
def password_given(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Name the new user's password in the environment."""
    monkeypatch.setenv(PASSWORD_VARIABLE, PASSWORD)


def test_an_organisation_is_made_with_a_new_administrator(password_given: None) -> None:
    line = said("create_organisation", "quarry", administrator="ada", name="Quarry Haulage")
    assert line == "Organisation quarry is there; ada is its administrator.\n"
    name(called("quarry"))
    member = Member.objects.select_related("organisation", "user").get()
    assert (member.organisation.slug, member.organisation.name) == ("quarry", "Quarry Haulage")
    assert (member.user.username, member.role) == ("ada", Role.ADMINISTRATOR.value)
    assert member.user.check_password(PASSWORD)
    assert (member.user.is_staff, member.user.is_superuser) == (False, False)


def test_a_user_who_exists_keeps_the_password(password_given: None) -> None:
    User.objects.create_user("ada", password="an older password")
    said("create_organisation", "quarry", administrator="ada")
    assert called("quarry").name == "quarry"
    assert User.objects.get().check_password("an older password")


def test_the_password_is_asked_for_where_none_is_given(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(PASSWORD_VARIABLE, raising=False)
    monkeypatch.setattr("accounts.management.commands.create_organisation.getpass", lambda prompt: PASSWORD)
    said("create_organisation", "quarry", administrator="ada")
    assert User.objects.get().check_password(PASSWORD)


def test_an_organisation_is_not_made_twice(password_given: None) -> None:
    said("create_organisation", "quarry", administrator="ada")
    assert "'quarry'" in refusal("create_organisation", "quarry", administrator="grace")


@pytest.mark.parametrize("password", ["short", "password1234", "ada-lovelace"])
def test_a_weak_password_is_refused(db: None, monkeypatch: pytest.MonkeyPatch, password: str) -> None:
    monkeypatch.setenv(PASSWORD_VARIABLE, password)
    assert "password" in refusal("create_organisation", "quarry", administrator="ada-lovelace")


@pytest.mark.parametrize("slug", ["two words", "Ö", "a/b", "", "x" * 61])
def test_a_slug_that_no_address_can_hold_is_refused(password_given: None, slug: str) -> None:
    assert refusal("create_organisation", slug, administrator="ada")


@pytest.mark.parametrize("username", ["two words", "", "x" * 151])
def test_a_username_that_nobody_could_sign_in_with_is_refused(password_given: None, username: str) -> None:
    assert refusal("create_organisation", "quarry", administrator=username)


def test_a_token_is_one_line_and_opens_the_door(db: None) -> None:
    member = builders.member(builders.organisation())
    output = said("issue_token", member.user.username, organisation=member.organisation.slug, name="gauge")
    token = output.removesuffix("\n")
    assert token.startswith("cbk_")
    assert output == f"{token}\n"
    assert not any(character.isspace() for character in token)
    answer = Client(headers={"authorization": f"Bearer {token}"}).get("/api/v1/vehicles/")
    assert answer.status_code == 200
    row = ApiToken.objects.get()
    assert (row.organisation, row.user, row.name) == (member.organisation, member.user, "gauge")
    assert token not in str(vars(row))


def test_no_token_for_whom_the_organisation_does_not_know(db: None) -> None:
    member = builders.member(builders.organisation())
    elsewhere = builders.organisation()
    for username, slug in (
        ("nobody", member.organisation.slug),
        (member.user.username, "nowhere"),
        (member.user.username, elsewhere.slug),
    ):
        line = refusal("issue_token", username, organisation=slug)
        assert line == f"{username!r} is no member of an organisation {slug!r}."


def test_no_token_where_access_has_ended(db: None) -> None:
    ended = builders.member(builders.organisation(), ends_on=builders.FITTED_ON)
    closed = builders.member(builders.organisation(closed_at="2026-01-01T00:00:00Z"))
    inactive = builders.member(builders.organisation())
    User.objects.filter(pk=inactive.user_id).update(is_active=False)
    for member in (ended, closed, inactive):
        assert refusal("issue_token", member.user.username, organisation=member.organisation.slug)
