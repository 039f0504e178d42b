"""Store or change a checked row with its audit entry; what the model or the database refuses becomes a named fault."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Fault, Refused
from accounts.identity import OrganisationRow
from accounts.tracking import content, differences

Row = TypeVar("Row", bound=OrganisationRow)
AnyRow = TypeVar("AnyRow", bound=models.Model)


def store_row(actor: Actor, row: Row, *, action: str = "add", reason: str = "") -> Row:
    """Check the row against its model and constraints, insert it, and write who did so; call it in a transaction."""
    _stored(row, lambda: row.save(force_insert=True))
    write_audit(actor, [Deed(action, row, after=content(row), reason=reason)])
    return row


def store_many(actor: Actor, rows: Sequence[Row], *, action: str = "add") -> None:
    """Insert many rows of one table that need no check, each with its audit entry; call it in a transaction."""
    type(rows[0])._base_manager.bulk_create(rows)
    write_audit(actor, [Deed(action, row, after=content(row)) for row in rows])


def change_row(
    actor: Actor, row: AnyRow, columns: Mapping[str, Any], *, action: str = "change", reason: str = ""
) -> AnyRow:
    """Set the columns, check and save the row, and write who changed what from what; call it in a transaction.

    Columns that say already what they are set to are no change, and a row without a change is not written.
    """
    write_audit(actor, changed(row, columns, action=action, reason=reason))
    return row


def changed(row: models.Model, columns: Mapping[str, Any], *, action: str = "change", reason: str = "") -> list[Deed]:
    """Do the same for a service that writes several rows, and return what it has to tell of this one."""
    _take_as_stored(row)
    as_it_was = content(row)
    for name, value in columns.items():
        setattr(row, name, value)
    before, after = differences(as_it_was, content(row))
    if not after:
        return []
    touched = ["changed_at"] if hasattr(row, "changed_at") else []
    _stored(row, lambda: row.save(update_fields=[*columns, *touched]))
    return [Deed(action, row, before=before, after=after, reason=reason)]


def _take_as_stored(row: models.Model) -> None:
    """Lock the row and take its columns as they are stored: what somebody else changed meanwhile is no news of ours."""
    stored = type(row)._base_manager.select_for_update(no_key=True, of=("self",)).get(pk=row.pk)
    for column in row._meta.concrete_fields:
        setattr(row, column.attname, getattr(stored, column.attname))


def _empty_on_purpose(row: models.Model) -> set[str]:
    """Return the columns without a value that may have none, though no form would leave them so."""
    fields = (each for each in row._meta.concrete_fields if each.null and not each.blank)
    return {each.name for each in fields if getattr(row, each.attname) is None}


def _stored(row: models.Model, save: Callable[[], None]) -> None:
    try:
        row.full_clean(exclude=_empty_on_purpose(row))
        with transaction.atomic():
            save()
    except ValidationError as error:
        raise Refused(*_faults(error)) from None
    except IntegrityError:
        # Another request took the same name between the check and the insert.
        raise Refused(Fault((), "taken", _("The same was stored at this moment by somebody else."))) from None


def _faults(error: ValidationError) -> list[Fault]:
    return [
        Fault(() if field == "__all__" else (field,), problem.code or "invalid", message)
        for field, problems in error.error_dict.items()
        for problem in problems
        for message in problem.messages
    ]
