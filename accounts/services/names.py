"""Replace a person's name wherever the service shows one; what they did stays in the record under the new one.

No entry of the audit stream and no row that it vouches for holds a name: they hold the person's key.  So a name can go
and every hash still fits.
"""

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from accounts.actors import Actor, system_actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict, Fault, Refused
from accounts.models import ApiToken, Invitation, Member, User
from accounts.roles import Ability
from accounts.tenancy import name_person, organisation_transaction

LONGEST_NAME = 150


@transaction.atomic
def replace_name(person: User, *, new_name: str, reason: str, actor: Actor | None = None) -> User:
    """Give the person another name, forget the old one with their mail address, and end their way in.

    An administrator may do so for somebody who was removed from the book and is in no other; the keeper of the server,
    without an actor, for anybody.  Each organisation that the person was ever in has an entry of it.
    """
    # A name that is being replaced twice at once, or a person who is being let in again, waits.
    User.objects.select_for_update(no_key=True).get(pk=person.pk)
    person.refresh_from_db()
    if not new_name.strip() or len(new_name) > LONGEST_NAME:
        sentence = _("A name of 1 to %(most)s characters, such as a number by which the office knows the person.")
        raise Refused(Fault(("new_name",), "length", sentence % {"most": LONGEST_NAME}))
    memberships = _memberships(person)
    if actor is not None:
        actor.require(Ability.ADMINISTER)
        _refuse_who_is_still_in(actor, memberships)
    known_at = _addresses(person, memberships)
    _forget(person, new_name.strip())
    for member in memberships:
        with organisation_transaction(member.organisation):
            deeds = _forget_in(member, person, known_at)
            write_audit(_doer(actor, member), [Deed("replace_name", member, reason=reason), *deeds])
    return person


def _memberships(person: User) -> list[Member]:
    name_person(person)
    return list(Member.objects.filter(user=person).select_related("organisation").order_by("organisation_id"))


def _refuse_who_is_still_in(actor: Actor, memberships: list[Member]) -> None:
    if not any(member.organisation_id == actor.organisation.pk for member in memberships):
        raise Refused(Fault((), "unknown", _("This person was never in this book.")))
    if any(member.removed_at is None for member in memberships):
        raise Conflict(_("This name cannot be replaced here yet. Who keeps the server can replace it."))


def _addresses(person: User, memberships: list[Member]) -> set[str]:
    """Return every mail address of the person's: their own, and those at which they answered an invitation."""
    found = {person.email}
    for member in memberships:
        with organisation_transaction(member.organisation):
            found |= set(_invitations(member).filter(accepted_by=person).values_list("email", flat=True))
    return {address.casefold() for address in found - {""}}


def _invitations(member: Member) -> QuerySet[Invitation]:
    return Invitation.objects.filter(organisation=member.organisation)


def _forget(person: User, new_name: str) -> None:
    person.first_name, person.last_name, person.email = new_name, "", ""
    person.username = f"person-{person.uuid}"
    person.is_active = False
    person.set_unusable_password()
    person.save(update_fields=["first_name", "last_name", "email", "username", "is_active", "password"])
    person.sessions.all().delete()


def _forget_in(member: Member, person: User, known_at: set[str]) -> list[Deed]:
    """Forget the name on invitations, take the tokens away, and return what is to be told of that."""
    rows = _invitations(member).values_list("pk", "email", "accepted_by_id")
    theirs = [pk for pk, email, by in rows if by == person.pk or email.casefold() in known_at]
    _invitations(member).filter(pk__in=theirs).update(name=person.username, email="")
    tokens = list(ApiToken.objects.filter(organisation=member.organisation, user=person))
    deeds = [Deed("revoke", token, before={"name": token.name}, gone=True) for token in tokens]
    ApiToken.objects.filter(pk__in=[token.pk for token in tokens]).delete()
    return deeds


def _doer(actor: Actor | None, member: Member) -> Actor:
    """Return who is told to have done it; who works in another organisation is nobody's business here."""
    if actor is not None and actor.organisation.pk == member.organisation_id:
        return actor
    return system_actor(member.organisation, source="command" if actor is None else actor.source)
