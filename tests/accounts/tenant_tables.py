"""Every table whose rows belong to an organisation, and one row in each."""

import datetime as dt
from collections.abc import Callable
from typing import Any
from uuid import uuid4

from django.apps import apps
from django.db import models
from django.utils import timezone

from accounts.identity import new_id
from accounts.models import Organisation
from tests import builders
from tests.naming import name

# Tables without an organisation, each with the reason.
OUTSIDE_ANY_ORGANISATION = {
    "accounts_user": "a person may be in several organisations and is reached through a membership",
    "accounts_user_groups": "Django's, not used: roles stand in memberships",
    "accounts_user_user_permissions": "Django's, not used: roles stand in memberships",
    "accounts_session": "a person's, before any organisation is known",
    "accounts_recoverycode": "a person's, before any organisation is known",
    "accounts_workrun": "the service's own work, one row for all",
    "auth_group": "Django's, not used",
    "auth_group_permissions": "Django's, not used",
    "auth_permission": "Django's list of the models' permissions",
    "axes_accessattempt": "failed sign-ins, before any organisation is known",
    "axes_accessattemptexpiration": "failed sign-ins, before any organisation is known",
    "axes_accessfailurelog": "failed sign-ins, before any organisation is known",
    "axes_accesslog": "switched off",
    "django_content_type": "Django's list of the models",
    "django_session": "Django's, not used: sessions stand in accounts_session",
    "otp_totp_totpdevice": "a person's, before any organisation is known",
}
# What a made-up row needs where the first value of the right type would break a constraint.
PARTICULARS: dict[str, dict[str, Callable[[Organisation], Any]]] = {
    "Invitation": {"expires_at": lambda of: timezone.now() + dt.timedelta(days=1)},
    "Trend": {"figures": lambda of: b""},
    "MeterComparison": {"second": lambda of: builders.meter(of, "ammeter")},
}

# The first that fits: an instant's column is a date's too.
VALUES: dict[Any, Callable[[], Any]] = {
    models.BooleanField: lambda: False,
    models.UUIDField: new_id,
    models.DateTimeField: timezone.now,
    models.DateField: lambda: dt.date(2026, 3, 2),
    models.JSONField: dict,
    models.BinaryField: lambda: b"x",
    models.TextField: lambda: "x",
    models.FileField: lambda: "x",
    models.Field: lambda: 1,
}


def tenant_models() -> list[type[models.Model]]:
    """Return every model with a column for its organisation."""
    return [model for model in _every_model() if "organisation" in {each.name for each in model._meta.concrete_fields}]


def tables_outside() -> set[str]:
    """Return the tables that have no such column, but for the organisations themselves."""
    inside = {model._meta.db_table for model in tenant_models()} | {Organisation._meta.db_table}
    return {model._meta.db_table for model in _every_model()} - inside


def _every_model() -> list[type[models.Model]]:
    return list(apps.get_models(include_auto_created=True))


def fill_every_table(of: Organisation) -> None:
    """Make up one row of the organisation in each of its tables that has none."""
    name(of)
    for model in tenant_models():
        row_of(model, of)


def row_of(model: type[models.Model], of: Organisation) -> Any:
    """Return the organisation's first row, made up where there is none."""
    first = model._default_manager.filter(organisation=of).order_by("pk").first()
    if first is not None:
        return first
    columns = {
        each.name: _value(each, of)
        for each in model._meta.concrete_fields
        if not (each.primary_key and each.name == "id") and not each.has_default() and not each.null
    }
    particulars = {each: value(of) for each, value in PARTICULARS.get(model.__name__, {}).items()}
    row = model(**columns | {"organisation": of} | particulars)
    row.save(force_insert=True)
    return row


def _value(field: "models.Field[Any, Any]", of: Organisation) -> Any:
    if isinstance(field, models.ForeignKey):
        target: Any = field.related_model
        own = "organisation" in {each.name for each in target._meta.concrete_fields}
        return row_of(target, of) if own else _first_of(target, of)
    if field.choices:
        return next(value for value, _label in field.flatchoices if value)
    if isinstance(field, models.CharField):
        return uuid4().hex[: field.max_length]
    return next(make() for kind, make in VALUES.items() if isinstance(field, kind))


def _first_of(target: Any, of: Organisation) -> Any:
    return of if target is Organisation else target._default_manager.order_by("pk")[0]
