"""The second wall, tried as the application's role and past every queryset: PostgreSQL keeps organisations apart."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import DatabaseError, connection, connections, transaction
from knox.crypto import hash_token

from accounts.models import ApiToken, Organisation
from accounts.owner import owner_alias
from accounts.tenancy import name_key, name_person, organisation_transaction, organisations_in_sight
from accounts.walls import NAMED
from tests import builders
from tests.accounts.tenant_tables import OUTSIDE_ANY_ORGANISATION, fill_every_table, tables_outside, tenant_models
from tests.api.full_house import furnish
from tests.builders import Workshop
from tests.naming import name, nameless

TABLES = sorted(model._meta.db_table for model in tenant_models())
ORGANISATIONS = "accounts_organisation"
# What may be read before an organisation is known, beside its own rows.
DOORS = {
    "accounts_apitoken": {"key"},
    "inspections_driverlink": {"key"},
    "accounts_invitation": {"key"},
    "accounts_member": {"person"},
    ORGANISATIONS: {"person", "nightly"},
}
REFUSED = "row-level security"
SETTING = "current_setting('app.organisation'::text, true)"


@pytest.fixture
def on_postgresql(db: None) -> None:
    """Go on only where there are walls."""
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL and Redis")


@pytest.fixture
def house(on_postgresql: None) -> Workshop:
    """Return an organisation with a row in every table, beside another that has its own."""
    workshop = builders.workshop()
    furnish(workshop, 1)
    fill_every_table(workshop.organisation)
    return workshop


def run(statement: str, *parameters: Any) -> Any:
    """Run a statement as the application, and return its first value, or how many rows it changed."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, parameters)
        return cursor.fetchone()[0] if cursor.description else cursor.rowcount


def count(table: str) -> Any:
    return run(f'SELECT count(*) FROM "{table}"')


def name_nobody() -> None:
    run("SELECT set_config('app.organisation', '', true)")


def name_a_stranger() -> None:
    name(builders.organisation())


def test_every_table_belongs_to_an_organisation_or_says_why_not() -> None:
    assert tables_outside() == set(OUTSIDE_ANY_ORGANISATION)


@pytest.mark.parametrize("table", [*TABLES, ORGANISATIONS])
def test_every_table_has_its_wall_and_no_door_but_those_named(on_postgresql: None, table: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT relrowsecurity FROM pg_class WHERE relname = %s", [table])
        assert cursor.fetchone() == (True,), f"add {table} to its room's migration of walls"
        cursor.execute(
            "SELECT policyname, permissive, roles::text[], cmd, qual, with_check FROM pg_policies WHERE tablename = %s",
            [table],
        )
        policies = {row[0].removeprefix(f"{table}_"): row[1:] for row in cursor.fetchall()}
    own = f"({'id' if table == ORGANISATIONS else 'organisation_id'} = (NULLIF({SETTING}, ''::text))::bigint)"
    assert policies.pop("wall") == ("PERMISSIVE", ["public"], "ALL", own, own)
    assert set(policies) == DOORS.get(table, set())
    assert {policy[2] for policy in policies.values()} <= {"SELECT"}


@pytest.mark.parametrize("somebody_else", [name_nobody, name_a_stranger])
def test_no_row_is_read_changed_or_deleted_without_the_organisation_being_named(
    house: Workshop, somebody_else: Callable[[], None]
) -> None:
    own = {table: count(table) for table in [*TABLES, ORGANISATIONS]}
    assert min(own.values()) >= 1, own
    somebody_else()
    of_the_stranger = {ORGANISATIONS: 1 if somebody_else is name_a_stranger else 0}
    for table in own:
        expected = of_the_stranger.get(table, 0)
        assert count(table) == expected, table
        column = "id" if table == ORGANISATIONS else "organisation_id"
        of_the_house = house.organisation.pk
        assert run(f'UPDATE "{table}" SET {column} = {column} WHERE {column} = %s', of_the_house) == 0, table
        assert run(f'DELETE FROM "{table}" WHERE {column} = %s', of_the_house) == 0, table
    name(house.organisation)
    assert {table: count(table) for table in own} == own


@pytest.mark.parametrize("table", TABLES)
def test_a_row_of_another_organisation_is_refused(on_postgresql: None, table: str) -> None:
    own, other = builders.organisation(), builders.organisation()
    name(own)
    statement = f'INSERT INTO "{table}" (organisation_id) VALUES (%s)'
    with pytest.raises(DatabaseError, match=REFUSED):
        run(statement, other.pk)
    name_nobody()
    with pytest.raises(DatabaseError, match=REFUSED):
        run(statement, own.pk)
    # Under its own name the row gets past the wall, and is refused for what it lacks.
    name(own)
    with pytest.raises(DatabaseError, match="violates not-null constraint"):
        run(statement, own.pk)


def test_a_row_cannot_be_given_to_another_organisation(house: Workshop) -> None:
    other = builders.organisation()
    name(house.organisation)
    with pytest.raises(DatabaseError, match=REFUSED):
        run("UPDATE fleet_vehicle SET organisation_id = %s", other.pk)
    with pytest.raises(DatabaseError, match=REFUSED):
        run("UPDATE accounts_organisation SET id = id + 1000000")


def test_who_signed_in_sees_their_memberships_and_changes_none(house: Workshop) -> None:
    member = builders.member(house.organisation)
    builders.member(builders.organisation())
    name_nobody()
    name_person(member.user)
    assert run("SELECT string_agg(id::text, ' ') FROM accounts_member") == str(member.pk)
    assert run("SELECT string_agg(id::text, ' ') FROM accounts_organisation") == str(house.organisation.pk)
    assert run("UPDATE accounts_member SET role = 'administrator'") == 0
    assert run("DELETE FROM accounts_member") == 0
    assert run("UPDATE accounts_organisation SET closed_at = NULL") == 0
    assert [table for table in TABLES if count(table)] == ["accounts_member"]


def test_who_holds_a_token_sees_its_row_and_changes_nothing(house: Workshop) -> None:
    token = builders.token(builders.member(house.organisation))
    builders.token(builders.member(house.organisation))
    name_nobody()
    name_key(hash_token(token))
    assert run("SELECT string_agg(digest, ' ') FROM accounts_apitoken") == hash_token(token)
    assert run("UPDATE accounts_apitoken SET name = ''") == 0
    assert run("DELETE FROM accounts_apitoken") == 0
    assert [table for table in [*TABLES, ORGANISATIONS] if count(table)] == ["accounts_apitoken"]


def test_the_nightly_role_reads_the_list_of_organisations_and_nothing_else(house: Workshop) -> None:
    others = {builders.organisation().pk for _ in range(2)}
    name_nobody()
    with organisations_in_sight():
        assert {each.pk for each in Organisation.objects.all()} >= others | {house.organisation.pk}
        with pytest.raises(DatabaseError, match="permission denied"):
            run("UPDATE accounts_organisation SET closed_at = now()")
        for table in TABLES:
            with pytest.raises(DatabaseError, match="permission denied"):
                count(table)
    assert count(ORGANISATIONS) == 0


def test_the_applications_role_owns_nothing_and_passes_no_wall(on_postgresql: None) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT rolsuper, rolbypassrls, rolcreaterole FROM pg_roles WHERE rolname = current_user")
        assert cursor.fetchone() == (False, False, False)
        cursor.execute("SELECT count(*) FROM pg_class WHERE relowner = current_user::regrole")
        assert cursor.fetchone() == (0,)


@pytest.mark.parametrize(
    "statement",
    [
        "ALTER TABLE fleet_vehicle DISABLE ROW LEVEL SECURITY",
        "ALTER TABLE fleet_vehicle NO FORCE ROW LEVEL SECURITY",
        "DROP POLICY fleet_vehicle_wall ON fleet_vehicle",
        "CREATE POLICY everything ON fleet_vehicle USING (true)",
        "ALTER TABLE accounts_auditentry DISABLE TRIGGER ALL",
        "SET session_replication_role = replica",
        "SET ROLE {owner}",
        "SET SESSION AUTHORIZATION {owner}",
        "ALTER ROLE CURRENT_USER BYPASSRLS",
        "GRANT {owner} TO CURRENT_USER",
    ],
)
def test_the_application_cannot_take_a_wall_down_or_become_the_owner(on_postgresql: None, statement: str) -> None:
    owner = connections[owner_alias()].settings_dict["USER"]
    with pytest.raises(DatabaseError, match=r"must be owner|permission denied|must (be superuser|have admin)"):
        run(statement.format(owner=owner))


def test_switching_row_security_off_is_an_error_and_no_way_round(house: Workshop) -> None:
    with transaction.atomic():
        run("SET LOCAL row_security = off")
        with pytest.raises(DatabaseError, match=REFUSED):
            count("fleet_vehicle")


def test_a_name_that_is_no_number_finds_nothing_and_raises(on_postgresql: None) -> None:
    run("SELECT set_config('app.organisation', '1 OR true', true)")
    with pytest.raises(DatabaseError, match="invalid input syntax"):
        count("fleet_vehicle")


def test_one_transaction_inside_another_gives_the_name_back(on_postgresql: None) -> None:
    outer, inner = builders.organisation(), builders.organisation()
    name(outer)
    with organisation_transaction(inner):
        assert run(f"SELECT {NAMED}") == inner.pk
    assert run(f"SELECT {NAMED}") == outer.pk
    with pytest.raises(ZeroDivisionError), organisation_transaction(inner):
        raise ZeroDivisionError
    assert run(f"SELECT {NAMED}") == outer.pk


@pytest.mark.committed
def test_a_connection_forgets_the_name_with_its_transaction(committed_db: None) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL and Redis")
    workshop = builders.workshop()
    token = builders.token(builders.member(workshop.organisation))
    with nameless():
        process = run("SELECT pg_backend_pid()")
        with organisation_transaction(workshop.organisation):
            name_key(hash_token(token))
            name_person(builders.member(workshop.organisation).user)
            assert count("fleet_vehicle") == 1
        assert run("SELECT pg_backend_pid()") == process
        assert [table for table in [*TABLES, ORGANISATIONS] if count(table)] == []
        assert ApiToken.objects.filter(pk=hash_token(token)).first() is None
