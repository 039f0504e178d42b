"""Many rows changed by one statement, each to values of its own."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from accounts.row_updates import update_each
from inspections.models import Rejudging
from tests import builders
from tests.builders import Workshop

ASKED: dict[str, Any] = {"reason": "audit", "up_to": 1, "total": 9, "content_hash": "0" * 64}


def test_each_row_gets_its_own_values_and_only_the_columns_named(workshop: Workshop) -> None:
    rows = [
        Rejudging.objects.create(organisation=workshop.organisation, requested_at=timezone.now(), **ASKED)
        for _number in range(3)
    ]
    for number, row in enumerate(rows[:2]):
        row.judged, row.reason, row.finished_at, row.total = number, f"reason {number}'", timezone.now(), 1
    update_each(rows[:2], ["judged", "reason", "finished_at"])
    stored = list(Rejudging.objects.of(workshop.organisation).order_by("pk"))
    assert [(row.judged, row.reason, row.total) for row in stored] == [
        (0, "reason 0'", 9),
        (1, "reason 1'", 9),
        (0, "audit", 9),
    ]
    assert [row.finished_at for row in stored] == [rows[0].finished_at, rows[1].finished_at, None]


def test_a_relation_is_written_by_its_key_and_no_row_asks_nothing(workshop: Workshop) -> None:
    row = Rejudging.objects.create(organisation=workshop.organisation, requested_at=timezone.now(), **ASKED)
    person = builders.member(workshop.organisation).user
    row.requested_by = person
    update_each([row], ["requested_by"])
    assert Rejudging.objects.get(pk=row.pk).requested_by_id == person.pk
    with CaptureQueriesContext(connection) as captured:
        update_each([], ["judged"])
    assert len(captured) == 0


def test_a_row_that_is_not_there_is_told(workshop: Workshop) -> None:
    row = Rejudging.objects.create(organisation=workshop.organisation, requested_at=timezone.now(), **ASKED)
    gone = Rejudging(pk=row.pk + 1, organisation=workshop.organisation, requested_at=timezone.now(), **ASKED)
    with pytest.raises(RuntimeError, match="of 2 rows of inspections_rejudging, 1 were changed"):
        update_each([row, gone], ["reason"])
