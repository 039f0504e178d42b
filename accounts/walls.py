"""Migration operations that let the database itself keep organisations apart: row-level security on PostgreSQL.

A wall shows, takes and changes the rows of the organisation that the transaction names (`accounts/tenancy.py`); a
transaction that names none finds no row and no error.  The roles:

- the **owner** migrates.  A table's owner passes its policies, and they are not forced on it, because a migration of
  data that silently found no rows would be worse; no request and no work runs as the owner.
- the **application** is no owner, no superuser and has no BYPASSRLS, so the walls hold for everything it runs.
- the **nightly** role reads the list of organisations and nothing else.  Commands and the night's work take that role
  for the one query of that list and then work as the application, organisation by organisation, naming each.

Three things have to be found before an organisation is known, each through a door as wide as itself and for reading
only: a person's memberships, with the organisations they are in, by `app.person`; the row of a key that the caller
holds, such as a token's, by `app.key`; the list of organisations, by the nightly role.

What the walls are not: a shield against SQL from outside.  Whoever can run a statement as the application can also name
an organisation.  They are there for the query that forgot to.
"""

from typing import Any

from django.conf import settings
from django.db import migrations

NAMED = "NULLIF(current_setting('app.organisation', true), '')::bigint"
PERSON = "NULLIF(current_setting('app.person', true), '')::bigint"
KEY = "NULLIF(current_setting('app.key', true), '')"


def wall(*tables: str) -> migrations.RunPython:
    """Keep each table's rows to the organisation that the transaction names; nothing to do on SQLite."""
    return _operation({table: {"wall": f"FOR ALL USING ({_own()}) WITH CHECK ({_own()})"} for table in tables})


def wall_with_key(table: str, *, key: str) -> migrations.RunPython:
    """Wall the table, and show the row whose `key` column the caller holds."""
    return _operation({table: {**_plain(_own()), "key": f'FOR SELECT USING ("{key}"::text = {KEY})'}})


def wall_with_person(table: str, *, person: str) -> migrations.RunPython:
    """Wall the table, and show the rows whose `person` column is who signed in."""
    return _operation({table: {**_plain(_own()), "person": f'FOR SELECT USING ("{person}" = {PERSON})'}})


def wall_of_organisations(table: str, *, members: str) -> migrations.RunPython:
    """Show an organisation to itself, to who is a member of it, and to the nightly role."""
    of_person = f'id IN (SELECT organisation_id FROM "{members}" WHERE user_id = {PERSON})'  # noqa: S608
    policies = {**_plain(f"id = {NAMED}"), "person": f"FOR SELECT USING ({of_person})"}
    if settings.NIGHTLY_ROLE:
        policies["nightly"] = f'FOR SELECT TO "{settings.NIGHTLY_ROLE}" USING (true)'
    return _operation({table: policies})


def _own() -> str:
    return f"organisation_id = {NAMED}"


def _plain(own: str) -> dict[str, str]:
    return {"wall": f"FOR ALL USING ({own}) WITH CHECK ({own})"}


def _operation(policies: dict[str, dict[str, str]]) -> migrations.RunPython:
    def build(apps: Any, schema_editor: Any) -> None:
        for table, of_table in policies.items() if schema_editor.connection.vendor == "postgresql" else ():
            schema_editor.execute(f'ALTER TABLE "{table}" ENABLE ROW LEVEL SECURITY')
            for name, rule in of_table.items():
                schema_editor.execute(f'DROP POLICY IF EXISTS "{table}_{name}" ON "{table}"')
                schema_editor.execute(f'CREATE POLICY "{table}_{name}" ON "{table}" {rule}')

    def pull_down(apps: Any, schema_editor: Any) -> None:
        for table, of_table in policies.items() if schema_editor.connection.vendor == "postgresql" else ():
            for name in of_table:
                schema_editor.execute(f'DROP POLICY IF EXISTS "{table}_{name}" ON "{table}"')
            schema_editor.execute(f'ALTER TABLE "{table}" DISABLE ROW LEVEL SECURITY')

    return migrations.RunPython(build, pull_down)
