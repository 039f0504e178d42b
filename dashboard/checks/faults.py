"""Refusals of the services, shown at the field they are about."""

from collections.abc import Sequence

from django import forms

from accounts.errors import Fault, Refused


def show_faults(form: forms.Form, refused: Refused) -> None:
    """Put each fault at the field it names, and what names none above the form."""
    for fault in refused.faults:
        form.add_error(field_of(form, fault.path), fault.detail)


def field_of(form: forms.Form, path: Sequence[str | int]) -> str | None:
    """Return the field that a path ends in, the last name that the form has."""
    return next((str(part) for part in reversed(path) if part in form.fields), None)


def other_faults(form: forms.Form, refused: Refused) -> list[Fault]:
    """Return the faults that are about no field of the form."""
    return [fault for fault in refused.faults if field_of(form, fault.path) is None]
