"""Evidence cannot be changed: the database itself refuses, whichever way the change comes."""

import datetime as dt
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, models, transaction
from django.utils import timezone

from accounts.models import AuditEntry
from fleet.models import RatingRevision
from inspections.derived import DERIVED_FIGURES
from inspections.models import Calibration, ExtraReading, Inspection, Judgement
from inspections.services.extra import add_extra_reading
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import recorded

SET_ONCE = {"signed_at", "signed_by", "superseded_by", "superseded_reason"}
DERIVED = {"verdict", "decision_rule", "rating_revision", "method_version", "changed_at", *DERIVED_FIGURES}
WHOLE_ROWS: list[type[models.Model]] = [ExtraReading, Judgement, Calibration, RatingRevision, AuditEntry]


@pytest.fixture
def rows(workshop: Workshop) -> dict[type[models.Model], Any]:
    """Return one stored row of each kind that is evidence; the inspection is neither signed nor replaced."""
    by = builders.actor(workshop.organisation)
    first = recorded(workshop, by=by, sign=False)
    reading = {"id": uuid4(), "kind": "battery_voltage", "value": "12.60", "energised": []}
    added = add_extra_reading(by, first.inspection.uuid, reading)
    assert added is not None
    calibration = Calibration.objects.create(
        organisation=workshop.organisation, meter=workshop.ammeter, performed_on=dt.date(2026, 1, 5)
    )
    return {
        Inspection: first.inspection,
        Judgement: first.judgement,
        ExtraReading: added[0],
        Calibration: calibration,
        RatingRevision: RatingRevision.objects.get(),
        AuditEntry: AuditEntry.objects.earliest("sequence"),
    }


def another_value(row: models.Model, field: "models.Field[Any, Any]") -> Any:
    """Return a value of the column's type that it does not hold."""
    if isinstance(field, models.UUIDField):
        return uuid4()
    if isinstance(field, models.JSONField):
        return {"changed": True}
    if isinstance(field, models.DateField):
        return timezone.now() if isinstance(field, models.DateTimeField) else dt.date(2000, 1, 1)
    if isinstance(field, models.BooleanField):
        return not getattr(row, field.attname)
    return "x" if isinstance(field, models.CharField | models.TextField) else 9_876


def refused_by_the_guard() -> Any:
    return pytest.raises(IntegrityError, match="append-only")


def can_be_updated(row: models.Model, field: "models.Field[Any, Any]") -> bool:
    chosen = type(row)._default_manager.filter(pk=row.pk)
    try:
        with refused_by_the_guard(), transaction.atomic():
            chosen.update(**{field.attname: another_value(row, field)})
    except pytest.fail.Exception:
        return True
    return False


@pytest.mark.parametrize("model", [Inspection, *WHOLE_ROWS])
def test_no_column_of_evidence_can_be_updated(rows: dict[type[models.Model], Any], model: type[models.Model]) -> None:
    left_open = SET_ONCE | DERIVED if model is Inspection else set()
    guarded = [field for field in model._meta.concrete_fields if field.name not in left_open]
    assert guarded
    assert [field.name for field in guarded if can_be_updated(rows[model], field)] == []


@pytest.mark.parametrize("model", [Inspection, *WHOLE_ROWS])
def test_no_other_way_of_changing_evidence_gets_through(
    rows: dict[type[models.Model], Any], model: type[models.Model]
) -> None:
    manager, pk, table = model._default_manager, rows[model].pk, model._meta.db_table
    changed = manager.get(pk=pk)
    (text,) = [name for name in ("content_hash", "certificate", "method_version", "reason") if hasattr(changed, name)][
        :1
    ]
    setattr(changed, text, "changed")
    with refused_by_the_guard(), transaction.atomic():
        changed.save()
    with refused_by_the_guard(), transaction.atomic():
        manager.bulk_update([changed], [text])
    with refused_by_the_guard(), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f'UPDATE "{table}" SET "{text}" = %s WHERE id = %s', ["changed", pk])
    assert getattr(manager.get(pk=pk), text) != "changed"


@pytest.mark.parametrize("model", [Inspection, *WHOLE_ROWS])
def test_no_row_of_evidence_can_be_deleted(rows: dict[type[models.Model], Any], model: type[models.Model]) -> None:
    chosen = model._default_manager.filter(pk=rows[model].pk)
    with pytest.raises(IntegrityError), transaction.atomic():
        chosen.delete()
    with refused_by_the_guard(), transaction.atomic():
        chosen._raw_delete(using="default")
    with refused_by_the_guard(), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f'DELETE FROM "{model._meta.db_table}"')
    assert chosen.exists()


SIGNING = ("signed_at", "signed_by_id")
REPLACING = ("superseded_by_id", "superseded_reason")


@pytest.mark.parametrize("columns", [SIGNING, REPLACING])
def test_what_is_set_once_can_be_set_once_and_never_again(
    rows: dict[type[models.Model], Any], workshop: Workshop, columns: tuple[str, str]
) -> None:
    chosen = Inspection.objects.filter(pk=rows[Inspection].pk)
    others = [builders.member(workshop.organisation).user_id, recorded(workshop).inspection.pk]
    values: dict[str, list[Any]] = {
        "signed_at": [timezone.now(), timezone.now()],
        "signed_by_id": [rows[Inspection].recorded_by_id, others[0]],
        "superseded_by_id": [others[1], recorded(workshop).inspection.pk],
        "superseded_reason": ["typing error", "another reason"],
    }
    chosen.update(**{column: values[column][0] for column in columns})
    for column in columns:
        with refused_by_the_guard(), transaction.atomic():
            chosen.update(**{column: values[column][1]})
    with refused_by_the_guard(), transaction.atomic():
        chosen.update(**dict.fromkeys(columns))
    assert chosen.values_list(*columns).get() == tuple(values[column][0] for column in columns)


def test_derived_columns_can_be_written(rows: dict[type[models.Model], Any]) -> None:
    row = rows[Inspection]
    values = dict.fromkeys(DERIVED_FIGURES, 9999) | {
        "verdict": "fail",
        "decision_rule": "simple",
        "method_version": "2",
        "changed_at": timezone.now(),
    }
    chosen = Inspection.objects.filter(pk=row.pk)
    assert chosen.update(**values) == 1
    assert chosen.values(*values).get() == values
