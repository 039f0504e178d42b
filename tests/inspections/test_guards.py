"""The guards themselves: on every table meant to be append-only, after every migration."""

import pytest
from django.db import DatabaseError, connection, connections, transaction

from accounts.owner import owner_alias

APPEND_ONLY_TABLES = [
    "accounts_auditentry",
    "fleet_ratingrevision",
    "inspections_calibration",
    "inspections_defectstep",
    "inspections_extrareading",
    "inspections_inspection",
    "inspections_judgement",
    "inspections_limitsrevision",
    "inspections_metercomparison",
    "inspections_photo",
]
KINDS = {"sqlite": ["no_delete", "no_update"], "postgresql": ["no_delete", "no_truncate", "no_update"]}
TRIGGERS = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
    "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled = 'O'",
}


@pytest.fixture
def on_postgresql(committed_db: None) -> None:
    """Go on only where there are roles and TRUNCATE."""
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL and Redis")


def test_exactly_the_tables_of_evidence_carry_their_guards(db: None) -> None:
    with connection.cursor() as cursor:
        cursor.execute(TRIGGERS[connection.vendor])
        found = sorted(name for (name,) in cursor.fetchall())
    assert found == sorted(f"{table}_{kind}" for table in APPEND_ONLY_TABLES for kind in KINDS[connection.vendor])


@pytest.mark.committed
@pytest.mark.parametrize("table", APPEND_ONLY_TABLES)
def test_not_even_the_owner_can_empty_a_table_of_evidence(on_postgresql: None, table: str) -> None:
    owner = connections[owner_alias()]
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(using=owner.alias):
        owner.cursor().execute(f'TRUNCATE "{table}" CASCADE')


@pytest.mark.committed
@pytest.mark.parametrize(
    "statement",
    [
        'TRUNCATE "{table}" CASCADE',
        'ALTER TABLE "{table}" DISABLE TRIGGER ALL',
        'DROP TRIGGER "{table}_no_update" ON "{table}"',
        'ALTER TABLE "{table}" ADD COLUMN more text',
        'DROP TABLE "{table}" CASCADE',
    ],
)
@pytest.mark.parametrize("table", APPEND_ONLY_TABLES)
def test_the_application_role_can_take_no_guard_away(on_postgresql: None, statement: str, table: str) -> None:
    with pytest.raises(DatabaseError, match=r"permission denied|must be owner"), transaction.atomic():
        connection.cursor().execute(statement.format(table=table))
