"""The people themselves: their names, their passwords, and what the stream tells of both."""

from collections.abc import Iterable
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from accounts.actors import member_actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict, Fault, Refused
from accounts.models import Member, Session, User
from accounts.queries import memberships_of
from accounts.services.guesses import refuse_wrong_own_password
from accounts.tenancy import organisation_transaction


def new_user(username: str, password: str | None, full_name: str = "", email: str = "") -> User:
    """Make a person whose password passes the rules; raises ValidationError, or Conflict without a password."""
    if password is None:
        raise Conflict(f"There is no user {username!r}; a new one needs a password.")
    first, _blank, last = full_name.partition(" ")
    user = User(username=username, first_name=first[:150], last_name=last[:150], email=email)
    validate_password(password, user)
    user.set_password(password)
    user.full_clean()
    try:
        with transaction.atomic():
            user.save()
    except IntegrityError:
        # Another request took the same name between the check and the insert.
        raise ValidationError({"username": _("That name is taken.")}) from None
    return user


def change_password(user: User, *, old: str, new: str, address: str, keep_session: str | None) -> User:
    """Change the password of who knows the old one; every other session of theirs ends with it."""
    wrong = _("That is not your present password.")
    refuse_wrong_own_password(user, old, field="old_password", wrong=wrong)
    with transaction.atomic():
        person = User.objects.select_for_update(no_key=True).get(pk=user.pk)
        if not person.check_password(old):
            # Another session of theirs changed it at this moment.
            raise Refused(Fault(("old_password",), "wrong", wrong))
        _set_password(person, new)
        Session.objects.filter(user=person).exclude(session_key=keep_session or "").delete()
        tell_of_person(person, "change_password", address=address)
        return person


def _set_password(person: User, new: str) -> None:
    try:
        validate_password(new, person)
    except ValidationError as error:
        raise Refused(*(Fault(("new_password",), "weak", message) for message in error.messages)) from None
    person.set_password(new)
    person.save(update_fields=["password"])


def tell_of_person(person: User, action: str, *, address: str, after: dict[str, Any] | None = None) -> None:
    """Write what a person did about their own way in into the stream of every organisation they belong to."""
    for member in _current(person):
        with organisation_transaction(member.organisation):
            actor = member_actor(member, source="pages", address=address)
            write_audit(actor, [Deed(action, person, after=after)])


def _current(person: User) -> Iterable[Member]:
    return list(memberships_of(person).order_by("organisation_id"))
