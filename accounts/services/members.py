"""Who belongs to an organisation, with which role, until when."""

import datetime as dt
from collections.abc import Iterable
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict, Fault, NoInvitation, Refused
from accounts.models import ApiToken, Invitation, Member, Organisation, User
from accounts.queries import memberships_of, unanswered_invitations
from accounts.roles import Ability, Role
from accounts.rows import changed
from accounts.services.people import new_user
from accounts.tracking import content


@transaction.atomic
def add_member(actor: Actor, *, username: str, password: str | None, role: Role, full_name: str = "") -> Member:
    """Make a person a member of the actor's organisation; a new person needs a password that passes the rules."""
    actor.require(Ability.MANAGE)
    actor.require_rank(role)
    user = User.objects.filter(username=username).first()
    if user is None:
        user = new_user(username, password, full_name)
    elif password is not None:
        raise Conflict(f"There is a user {username!r} already; a member is added without a password.")
    return enter(actor, user, role=role, ends_on=None)


def enter(
    actor: Actor, user: User, *, role: Role, ends_on: dt.date | None, invited_at: dt.datetime | None = None
) -> Member:
    """Make the person a member, or bring back one who was removed; Conflict where they are in already.

    An invitation made before the removal, or no later than the last day of their access, brings nobody back.
    """
    member = Member.objects.of(actor.organisation).filter(user=user).select_for_update(no_key=True).first()
    if member is None:
        return _entered(actor, Member(organisation=actor.organisation, user=user, role=role.value, ends_on=ends_on))
    if Member.objects.current().filter(pk=member.pk).exists():
        raise Conflict(_("%(person)s belongs to this book already.") % {"person": user})
    if invited_at is not None and not _is_news_to(member, invited_at):
        raise NoInvitation
    columns = {"role": role.value, "ends_on": ends_on, "removed_at": None}
    write_audit(actor, changed(member, columns, action="bring_back"))
    return member


def _is_news_to(member: Member, invited_at: dt.datetime) -> bool:
    """Tell whether the invitation was made after the member's access had ended, in each way that it did."""
    is_after_removal = member.removed_at is None or invited_at > member.removed_at
    return is_after_removal and (member.ends_on is None or invited_at.date() > member.ends_on)


def _entered(actor: Actor, member: Member) -> Member:
    try:
        with transaction.atomic():
            member.save(force_insert=True)
    except IntegrityError:
        # Two invitations of one person, answered at the same moment.
        raise Conflict(_("%(person)s belongs to this book already.") % {"person": member.user}) from None
    write_audit(actor, [Deed("add", member, after=content(member))])
    return member


@transaction.atomic
def change_role(actor: Actor, member_id: UUID, role: Role) -> Member | None:
    """Give a member another role, from their next request on; None where there is no such member."""
    member = _within_reach(actor, member_id)
    if member is None:
        return None
    actor.require_rank(role)
    if member.role == role.value:
        return member
    if role is not Role.ADMINISTRATOR:
        _keep_an_administrator(member)
    deeds = changed(member, {"role": role.value}, action="change_role")
    deeds += _withdraw_invitations(member, above=role)
    write_audit(actor, [*deeds, *_withdraw_invitations_to(member)])
    return member


@transaction.atomic
def change_end(actor: Actor, member_id: UUID, ends_on: dt.date | None) -> Member | None:
    """Let a member's access end after a day, or not at all; None where there is no such member."""
    member = _within_reach(actor, member_id)
    if member is None or member.ends_on == ends_on:
        return member
    if ends_on is not None:
        _keep_an_administrator(member)
    deeds = changed(member, {"ends_on": ends_on}, action="change_end")
    write_audit(actor, [*deeds, *_withdraw_invitations_to(member)])
    return member


@transaction.atomic
def remove_member(actor: Actor, member_id: UUID, *, reason: str = "") -> Member | None:
    """Shut a member out from the next request on, with their tokens, and what they sent or got to let somebody in.

    What they recorded and signed stays under their name.  None where there is no such member.
    """
    member = _within_reach(actor, member_id)
    if member is None:
        return None
    _keep_an_administrator(member)
    deeds = changed(member, {"removed_at": timezone.now()}, action="remove", reason=reason)
    deeds += _revoke_tokens(member)
    deeds += _withdraw_invitations(member, above=None)
    write_audit(actor, [*deeds, *_withdraw_invitations_to(member)])
    return member


def _within_reach(actor: Actor, member_id: UUID) -> Member | None:
    """Return the member that the actor may change; two changes of one organisation's people wait for each other."""
    actor.require(Ability.MANAGE)
    Organisation.objects.select_for_update(no_key=True).get(pk=actor.organisation.pk)
    rows = Member.objects.of(actor.organisation).staying().select_related("user", "organisation")
    member = rows.filter(uuid=member_id).first()
    if member is not None:
        actor.require_rank(Role(member.role))
    return member


def _keep_an_administrator(member: Member) -> None:
    """Refuse to take away the last administrator whose access has no end."""
    if member.role != Role.ADMINISTRATOR.value:
        return
    others = Member.objects.of(member.organisation).current().exclude(pk=member.pk)
    if not others.filter(role=Role.ADMINISTRATOR.value, ends_on__isnull=True).exists():
        sentence = _("%(person)s is the last administrator without an end date; name another one first.")
        raise Refused(Fault((), "last_administrator", sentence % {"person": member.user}))


def _revoke_tokens(member: Member) -> list[Deed]:
    tokens = list(ApiToken.objects.filter(organisation=member.organisation, user=member.user))
    deeds = [Deed("revoke", token, before={"name": token.name}, gone=True) for token in tokens]
    ApiToken.objects.filter(pk__in=[token.pk for token in tokens]).delete()
    return deeds


def _withdraw_invitations(member: Member, *, above: Role | None) -> list[Deed]:
    """Revoke what the member has promised to others and could no longer promise."""
    waiting = unanswered_invitations(member.organisation).filter(invited_by=member.user)
    return _revoked(each for each in waiting if above is None or not above.reaches(Role(each.role)))


def _withdraw_invitations_to(member: Member) -> list[Deed]:
    """Revoke what was sent to the member's own address, or to one at which they answered before."""
    answered = Invitation.objects.of(member.organisation).filter(accepted_by=member.user)
    sent_to = {member.user.email, *answered.values_list("email", flat=True)} - {""}
    known = {address.casefold() for address in sent_to}
    return _revoked(each for each in unanswered_invitations(member.organisation) if each.email.casefold() in known)


def _revoked(invitations: Iterable[Invitation]) -> list[Deed]:
    return [deed for each in invitations for deed in changed(each, {"revoked_at": timezone.now()}, action="revoke")]


def current_member(person: User, *, organisation: str) -> Member | None:
    """Return the person's membership in an organisation that is open, where access has not ended."""
    return memberships_of(person).filter(organisation__slug=organisation).first()
