"""Queries and inserts whose SQL is made once give what the framework gives."""

from threading import Barrier, Event
from typing import Any

import pytest
from django.db import connection
from django.db.models import BigIntegerField, Count, UUIDField
from django.db.models.sql.compiler import SQLCompiler
from django.test.utils import CaptureQueriesContext

from accounts.models import Depot, Organisation
from accounts.prepared import Many, One, Prepared, PreparedInsert
from tests import builders
from tests.accounts.threads import at_once
from tests.naming import name as name_owner

pytestmark = pytest.mark.django_db


def _depots(organisation: Any, ids: Any) -> Any:
    return Depot.objects.of(organisation).filter(uuid__in=ids).select_related("organisation").order_by("name")


PLACES = (One(BigIntegerField()), Many(UUIDField()))
PREPARED = Prepared(_depots, *PLACES)


@pytest.fixture
def other() -> Organisation:
    """Return another organisation with a depot."""
    return builders.depot(builders.organisation()).organisation


@pytest.fixture
def depots(other: Organisation) -> list[Depot]:
    """Return depots of one organisation."""
    organisation = builders.organisation()
    name_owner(organisation)
    rows = [Depot(organisation=organisation, name=name, time_zone="Europe/London") for name in "cab"]
    return Depot.objects.bulk_create(rows)


def test_the_rows_are_the_framework_s_for_lists_of_any_length(depots: list[Depot]) -> None:
    own = depots[0].organisation
    for count in (1, 3, 2):
        ids = [depot.uuid for depot in depots[:count]]
        assert PREPARED(own.pk, ids) == list(_depots(own, ids))
        assert len(PREPARED(own.pk, ids)) == count


def test_of_threads_that_make_the_sql_at_once_each_makes_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    shared, prepared = _depots(*PREPARED._places), Prepared(_depots, *PLACES)
    both_half_way, one_is_done = Barrier(2, timeout=30), Event()
    set_up, tables_of = SQLCompiler.pre_sql_setup, SQLCompiler.get_from_clause

    def side_by_side(compiler: SQLCompiler, **options: Any) -> Any:
        both_half_way.wait()
        return set_up(compiler, **options)

    def one_after_the_other(compiler: SQLCompiler) -> Any:
        if both_half_way.wait():
            one_is_done.wait(30)
        return tables_of(compiler)

    def made() -> str:
        try:
            return str(prepared._plan(shared).sql)
        finally:
            one_is_done.set()

    with monkeypatch.context() as patched:
        patched.setattr(SQLCompiler, "pre_sql_setup", side_by_side)
        patched.setattr(SQLCompiler, "get_from_clause", one_after_the_other)
        one, other = at_once([made] * 2)
    assert one == other == Prepared(_depots, *PLACES)._plan(_depots(*PREPARED._places)).sql
    assert "JOIN" in one


def test_related_rows_come_along_without_a_query(depots: list[Depot]) -> None:
    with CaptureQueriesContext(connection) as asked:
        (found,) = PREPARED(depots[0].organisation_id, [depots[0].uuid])
        assert found.organisation == depots[0].organisation
    assert len(asked) == 1


def test_another_organisation_s_values_find_nothing(depots: list[Depot], other: Organisation) -> None:
    assert PREPARED(other.pk, [depot.uuid for depot in depots]) == []
    assert PREPARED.first(other.pk, [depots[0].uuid]) is None


def test_an_empty_list_asks_nothing(depots: list[Depot]) -> None:
    with CaptureQueriesContext(connection) as asked:
        assert PREPARED(depots[0].organisation_id, []) == []
    assert len(asked) == 0


def test_an_insert_gives_the_row_its_key_and_stores_every_column(depots: list[Depot]) -> None:
    insert = PreparedInsert(Depot)
    for name in ("x", "y"):
        row = Depot(organisation=depots[0].organisation, name=name, time_zone="Europe/London")
        insert([row])
        stored = Depot.objects.get(pk=row.pk)
        columns = [field.attname for field in Depot._meta.concrete_fields]
        assert [getattr(stored, column) for column in columns] == [getattr(row, column) for column in columns]


def test_an_insert_of_many_is_the_framework_s(depots: list[Depot]) -> None:
    rows = [Depot(organisation=depots[0].organisation, name=name, time_zone="Europe/London") for name in "pq"]
    PreparedInsert(Depot)(rows)
    assert Depot.objects.filter(pk__in=[row.pk for row in rows]).count() == len(rows)


@pytest.mark.skipif(connection.vendor != "postgresql", reason="needs PostgreSQL and Redis")
def test_a_statement_that_stays_planned_keeps_to_the_organisation_that_is_named(
    depots: list[Depot], other: Organisation
) -> None:
    own, ids = depots[0].organisation, [depot.uuid for depot in depots]
    for _time in range(8):
        name_owner(own)
        assert len(PREPARED(own.pk, ids)) == len(ids)
        name_owner(other)
        assert PREPARED(own.pk, ids) == []
    with connection.cursor() as cursor:
        cursor.execute("SELECT statement FROM pg_prepared_statements WHERE statement LIKE %s", ["%accounts_depot%"])
        assert len(cursor.fetchall()) == 1


@pytest.mark.skipif(connection.vendor != "postgresql", reason="needs PostgreSQL and Redis")
@pytest.mark.parametrize(
    ("planned", "options", "kept"), [(True, {}, 1), (False, {}, 0), (True, {"prepare_threshold": None}, 0)]
)
def test_who_runs_the_service_may_turn_plans_off(
    depots: list[Depot],
    settings: Any,
    monkeypatch: pytest.MonkeyPatch,
    planned: bool,
    options: dict[str, Any],
    kept: int,
) -> None:
    settings.PLANNED_STATEMENTS = planned
    monkeypatch.setitem(connection.settings_dict, "OPTIONS", options)
    name_owner(depots[0].organisation)
    fresh = Prepared(lambda at: Depot.objects.of(at).filter(name__gt=f"never {planned} {kept}"), One(BigIntegerField()))
    with connection.cursor() as cursor:
        cursor.execute("DEALLOCATE ALL")
    for _time in range(4):
        assert len(fresh(depots[0].organisation_id)) == 0
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_prepared_statements WHERE statement LIKE %s", ["%accounts_depot%"])
        assert cursor.fetchone() == (kept,)


def test_each_kind_of_result_is_the_framework_s(depots: list[Depot]) -> None:
    def rows(organisation: Any) -> Any:
        return Depot.objects.of(organisation).order_by("name")

    own = depots[0].organisation
    name_owner(own)
    shapes: list[Any] = [
        lambda at: rows(at).values_list("name", flat=True),
        lambda at: rows(at).values_list("uuid", "name"),
        lambda at: rows(at).values("name", "created_at"),
        lambda at: rows(at).values("time_zone").annotate(count=Count("pk")).order_by(),
    ]
    for shape in shapes:
        found = Prepared(shape, One(BigIntegerField()))(own.pk)
        assert found == list(shape(own))
        assert found
