"""Queries and inserts whose SQL is made once give what the framework gives."""

from typing import Any

import pytest
from django.db import connection
from django.db.models import BigIntegerField, UUIDField
from django.test.utils import CaptureQueriesContext

from accounts.models import Depot, Organisation
from accounts.prepared import Many, One, Prepared, PreparedInsert
from tests import builders
from tests.naming import name as name_owner

pytestmark = pytest.mark.django_db


def _depots(organisation: Any, ids: Any) -> Any:
    return Depot.objects.of(organisation).filter(uuid__in=ids).select_related("organisation").order_by("name")


PREPARED = Prepared(_depots, One(BigIntegerField()), Many(UUIDField()))


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
