"""Rows that break one constraint each, and which constraint refused them."""

from collections.abc import Iterable
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.models import Model, UniqueConstraint

from accounts.identity import new_id
from accounts.models import Organisation
from accounts.tenancy import founding_transaction
from tests import naming


def constraint_names(room: str) -> set[str]:
    """Return the names of every constraint of a room's models."""
    return {constraint.name for model in apps.get_app_config(room).get_models() for constraint in _of(model)}


def _of(model: type[Model]) -> Iterable[Any]:
    return model._meta.constraints


def store_twin(row: Model, **changes: Any) -> None:
    """Store a copy of a row under an id of its own, with the changes."""
    kept = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields if not field.primary_key}
    if "uuid" in kept:
        kept["uuid"] = new_id()
    twin = type(row)(**kept)
    for name, value in changes.items():
        setattr(twin, name, value)
    if isinstance(twin, Organisation):
        with founding_transaction(twin):
            return
    if hasattr(twin, "organisation"):
        naming.name(twin.organisation)
    twin.save(force_insert=True)


def assert_refused_by(name: str, row: Model, changes: dict[str, Any]) -> None:
    """See the database refuse a copy of the row with the changes, and name the constraint."""
    (constraint,) = [each for each in _of(type(row)) if each.name == name]
    with pytest.raises(IntegrityError) as refusal, transaction.atomic():
        store_twin(row, **changes)
    assert _named(constraint, type(row)) in str(refusal.value)


def _named(constraint: Any, model: type[Model]) -> str:
    """Return how the engine names a constraint: SQLite names the columns of a unique one that has columns."""
    if connection.vendor == "postgresql" or not isinstance(constraint, UniqueConstraint) or constraint.expressions:
        return str(constraint.name)
    column_of = {field.name: field.column for field in model._meta.concrete_fields}
    columns = [column_of[name] for name in constraint.fields]
    return "UNIQUE constraint failed: " + ", ".join(f"{model._meta.db_table}.{column}" for column in columns)
