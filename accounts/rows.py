"""Store a checked row with its audit entry; what the model or the database refuses becomes a named fault."""

from typing import TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.text import camel_case_to_spaces
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, plain, write_audit
from accounts.errors import Fault, Refused
from accounts.identity import OrganisationRow

Row = TypeVar("Row", bound=OrganisationRow)

OUR_OWN_COLUMNS = {"id", "uuid", "organisation", "created_at", "changed_at"}


def store_row(actor: Actor, row: Row, *, action: str = "add") -> Row:
    """Check the row against its model and constraints, insert it, and write who did so; call it in a transaction."""
    try:
        row.full_clean()
        with transaction.atomic():
            row.save(force_insert=True)
    except ValidationError as error:
        raise Refused(*_faults(error)) from None
    except IntegrityError:
        # Another request took the same name between the check and the insert.
        raise Refused(Fault((), "taken", _("The same was stored at this moment by somebody else."))) from None
    write_audit(actor, [Deed(action, object_type(row), row.uuid, after=content(row))])
    return row


def object_type(row: OrganisationRow) -> str:
    """Return what the audit stream calls the row.

    >>> from fleet.models import RelayBoxType
    >>> object_type(RelayBoxType())
    'relay_box_type'
    """
    return camel_case_to_spaces(type(row).__name__).replace(" ", "_")


def content(row: OrganisationRow) -> dict[str, object]:
    """Return what the row says, in the audit stream's words."""
    fields = (field for field in row._meta.concrete_fields if field.name not in OUR_OWN_COLUMNS)
    return {field.attname: plain(getattr(row, field.attname)) for field in fields}


def _faults(error: ValidationError) -> list[Fault]:
    return [
        Fault(() if field == "__all__" else (field,), problem.code or "invalid", message)
        for field, problems in error.error_dict.items()
        for problem in problems
        for message in problem.messages
    ]
