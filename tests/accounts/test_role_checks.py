"""What `check --deploy` says of the database's roles."""

from typing import Any

import pytest
from django.core.checks import run_checks
from django.db import connection

from accounts.role_checks import WHAT_UNBINDS, role_is_bound

POSTGRESQL = "django.db.backends.postgresql"


pytestmark = pytest.mark.filterwarnings("ignore:Overriding setting DATABASES")


def said(settings: Any, nightly: str, engine: str = POSTGRESQL, **users: str) -> list[str]:
    settings.DATABASES = {alias: {"ENGINE": engine, "USER": user} for alias, user in users.items()}
    settings.NIGHTLY_ROLE = nightly
    found = run_checks(tags=["security"], include_deployment_checks=True)
    return sorted(str(each.id) for each in found if str(each.id).startswith("accounts."))


@pytest.mark.parametrize(
    ("nightly", "users", "ids"),
    [
        ("night", {"default": "app", "owner": "owner"}, []),
        ("", {"default": "one"}, ["accounts.W001", "accounts.W002"]),
        ("night", {"default": "one"}, ["accounts.W001"]),
        ("night", {"default": "one", "owner": "one"}, ["accounts.W001"]),
        ("", {"default": "app", "owner": "owner"}, ["accounts.W002"]),
        ("app", {"default": "app", "owner": "owner"}, ["accounts.W002"]),
        ("owner", {"default": "app", "owner": "owner"}, ["accounts.W002"]),
    ],
)
def test_a_role_that_plays_two_parts_is_warned_of(
    settings: Any, nightly: str, users: dict[str, str], ids: list[str]
) -> None:
    assert said(settings, nightly, **users) == ids


def test_sqlite_has_no_roles_to_warn_of(settings: Any) -> None:
    assert said(settings, "", "django.db.backends.sqlite3", default="") == []
    assert said(settings, "", POSTGRESQL, default="") != []


@pytest.mark.parametrize(
    ("secure", "proxies", "ids"), [(True, 0, ["accounts.W003"]), (True, 1, []), (False, 0, []), (False, 1, [])]
)
def test_https_without_a_counted_proxy_is_warned_of(settings: Any, secure: bool, proxies: int, ids: list[str]) -> None:
    settings.SECURE, settings.PROXIES = secure, proxies
    assert said(settings, "night", default="app", owner="owner") == ids


@pytest.fixture
def on_postgresql(db: None) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL and Redis")


@pytest.mark.usefixtures("on_postgresql")
def test_the_database_is_asked_only_where_it_is_named_and_finds_nothing_here() -> None:
    assert role_is_bound(databases=None) == role_is_bound(databases=["default"]) == []


@pytest.mark.usefixtures("on_postgresql")
@pytest.mark.parametrize("power", WHAT_UNBINDS)
def test_each_power_that_passes_the_walls_is_warned_of(power: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # The question is asked of a role that has the power.
    owners = "(SELECT tableowner FROM pg_tables WHERE tablename = 'accounts_organisation')"
    strong = "(SELECT rolname FROM pg_roles WHERE rolsuper AND rolbypassrls LIMIT 1)"
    other = owners if power.startswith("owns") else strong
    monkeypatch.setitem(WHAT_UNBINDS, power, WHAT_UNBINDS[power].replace("current_user", other))
    (warned,) = role_is_bound(databases=["default"])
    assert power in str(warned.msg)
