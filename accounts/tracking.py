"""Which rows are held to their last audit entry, and what of a row its hash covers.

Every table says so itself, in `tracking`: it is tracked, all columns or all but some that are named with the reason, or
it is not tracked, with the reason.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from django.apps import apps
from django.db import models
from django.utils.text import camel_case_to_spaces

from accounts.canonical import digest, plain

# The key is the database's own, and the last says when the row was touched, which its entries say too.
NEVER_COVERED = frozenset({"id", "changed_at"})
# Such a value of such a column is written in the stream as it is.
NATURAL_TYPES: "dict[type[models.Field[Any, Any]], type]" = {
    models.CharField: str,
    models.TextField: str,
    models.BooleanField: bool,
}
# Covered by the hash, but no news to a person who reads what changed.
IDENTITY_COLUMNS = frozenset({"uuid", "organisation_id", "created_at"})


@dataclass(frozen=True, slots=True)
class Tracking:
    """What the audit stream vouches for in one table."""

    # Column to reason.
    excluded: Mapping[str, str] = field(default_factory=dict)
    untracked_because: str = ""
    # Covered by the hash, and never spelt out in an entry.
    unspoken: frozenset[str] = frozenset()
    # Columns that came when rows had been hashed without them: covered where they have a value, and nothing where null,
    # so that the hashes of those rows stand.
    later: frozenset[str] = frozenset()


def is_tracked(model: type[models.Model]) -> bool:
    """Tell whether the table's rows are held to their last entry."""
    tracking = getattr(model, "tracking", None)
    return tracking is not None and not tracking.untracked_because


@cache
def tracked_models() -> dict[str, type[models.Model]]:
    """Return every tracked table by the name that the stream has for it."""
    return {object_type(model): model for model in apps.get_models() if is_tracked(model)}


@cache
def object_type(model: type[models.Model]) -> str:
    """Return what the audit stream calls a row of the table.

    >>> from fleet.models import RelayBoxType
    >>> object_type(RelayBoxType)
    'relay_box_type'
    """
    return camel_case_to_spaces(model.__name__).replace(" ", "_")


@cache
def covered_columns(model: type[models.Model]) -> tuple["models.Field[Any, Any]", ...]:
    """Return the columns that the content hash covers."""
    tracking: Tracking = model.tracking  # type: ignore[attr-defined]
    left_out = NEVER_COVERED | set(tracking.excluded)
    return tuple(each for each in model._meta.concrete_fields if each.name not in left_out)


@cache
def _columns(model: type[models.Model]) -> tuple[tuple["models.Field[Any, Any]", str, type | None], ...]:
    """Return the covered columns, their names, and the type whose values are already in the words of the stream."""
    return tuple((column, column.attname, NATURAL_TYPES.get(type(column))) for column in covered_columns(model))


def whole_content(row: models.Model) -> dict[str, Any]:
    """Return every covered column as the database gives it back, whatever form it was set in."""
    return {
        name: value if value is None or type(value) is natural else plain(column.to_python(value))
        for column, name, natural in _columns(type(row))
        for value in [getattr(row, name)]
    }


def content(row: models.Model) -> dict[str, Any]:
    """Return what the row says, in the audit stream's words."""
    tracking: Tracking = row.tracking  # type: ignore[attr-defined]
    unspoken = IDENTITY_COLUMNS | tracking.unspoken
    return {name: value for name, value in whole_content(row).items() if name not in unspoken}


def content_hash(row: models.Model) -> str:
    """Return the hash that a row has as long as its content is the same, on either engine."""
    tracking: Tracking = row.tracking  # type: ignore[attr-defined]
    whole = whole_content(row)
    for name in tracking.later:
        if whole[name] is None:
            del whole[name]
    return digest({"table": object_type(type(row)), **whole})


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return what two contents of one row do not share, as it was and as it is.

    >>> differences({"name": "North", "lamps": 2}, {"name": "South", "lamps": 2})
    ({'name': 'North'}, {'name': 'South'})
    """
    changed = [name for name in after if before.get(name) != after[name]]
    return {name: before.get(name) for name in changed}, {name: after[name] for name in changed}
