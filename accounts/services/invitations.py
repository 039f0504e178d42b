"""Ways in for people who are not members yet: made, mailed, answered once, taken back."""

import datetime as dt
import hashlib
from uuid import UUID

from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from accounts.actors import Actor, member_actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict, NoInvitation
from accounts.models import Invitation, Member, Organisation, User
from accounts.outbox import Delivery, send_owed
from accounts.roles import Ability, Role
from accounts.rows import changed, store_row
from accounts.services.members import enter
from accounts.services.people import new_user
from accounts.tenancy import name_key, name_organisation_by_key

GOOD_FOR = dt.timedelta(days=7)


@transaction.atomic
def invite(
    actor: Actor, *, name: str, role: Role, answer_at: str, email: str = "", access_ends_on: dt.date | None = None
) -> tuple[Invitation, str]:
    """Invite a person into the organisation, and return the invitation with its link, which is shown only now."""
    actor.require(Ability.MANAGE)
    actor.require_rank(role)
    now = timezone.now()
    invitation = Invitation(
        organisation=actor.organisation,
        name=name,
        email=email,
        role=role.value,
        access_ends_on=access_ends_on,
        answer_at=answer_at,
        invited_by=actor.user,
        created_at=now,
        expires_at=now + GOOD_FOR,
        queued_at=now,
        held=_held(actor.organisation, email),
    )
    invitation.digest = digest_of(_secret(invitation))
    store_row(actor, invitation, action="invite")
    return invitation, _link(invitation)


def _held(organisation: Organisation, email: str) -> str:
    if organisation.is_demo:
        return "demo"
    return "" if email else "no_address"


def _secret(invitation: Invitation) -> str:
    """Return the secret of the link; made from the service's own key, so that the outbox need not store it."""
    return salted_hmac("coilbook.invitation", str(invitation.uuid), algorithm="sha256").hexdigest()


def digest_of(secret: str) -> str:
    """Return what is kept of a secret with 256 bits: one round of SHA-256 is enough for that."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _link(invitation: Invitation) -> str:
    return f"{invitation.answer_at}{_secret(invitation)}/"


def open_invitation(secret: str) -> Invitation:
    """Return the invitation that the link holds the secret of; raises NoInvitation where it is not good."""
    digest = digest_of(secret)
    name_key(digest)
    organisation_id = Invitation.objects.filter(digest=digest).values_list("organisation_id", flat=True).first()
    if organisation_id is None:
        raise NoInvitation
    name_organisation_by_key(organisation_id)
    rows = Invitation.objects.select_related("organisation", "invited_by")
    invitation = rows.filter(digest=digest, accepted_at__isnull=True, revoked_at__isnull=True).first()
    if invitation is None or invitation.expires_at <= timezone.now() or invitation.organisation.closed_at is not None:
        raise NoInvitation
    return invitation


@transaction.atomic
def join_as_new(secret: str, *, username: str, password: str, full_name: str, address: str = "") -> Member:
    """Answer the invitation as a new person; raises NoInvitation, or ValidationError for name and password."""
    invitation = open_invitation(secret)
    user = new_user(username, password, full_name or invitation.name, invitation.email)
    return _join(invitation, user, address)


@transaction.atomic
def join(secret: str, user: User, *, address: str = "") -> Member:
    """Answer the invitation as who is signed in; raises NoInvitation, or Conflict where they belong to it already."""
    return _join(open_invitation(secret), user, address)


def _join(invitation: Invitation, user: User, address: str) -> Member:
    now = timezone.now()
    unanswered = Invitation.objects.filter(pk=invitation.pk, accepted_at__isnull=True, revoked_at__isnull=True)
    # Of two answers at one moment one finds the row already answered.
    if not unanswered.update(accepted_at=now, accepted_by=user, changed_at=now):
        raise NoInvitation
    invitation.refresh_from_db()
    actor = Actor(invitation.organisation, user, Role(invitation.role), "pages", address)
    role, until = Role(invitation.role), invitation.access_ends_on
    member = enter(actor, user, role=role, ends_on=until, invited_at=invitation.created_at)
    write_audit(member_actor(member, source="pages", address=address), [Deed("accept", invitation)])
    return member


@transaction.atomic
def revoke_invitation(actor: Actor, invitation_id: UUID) -> Invitation | None:
    """Take an unanswered invitation back; None where there is none such, Conflict where it was answered."""
    actor.require(Ability.MANAGE)
    rows = Invitation.objects.of(actor.organisation).select_for_update(no_key=True)
    invitation = rows.filter(uuid=invitation_id).first()
    if invitation is None or invitation.revoked_at is not None:
        return invitation
    if invitation.accepted_at is not None:
        raise Conflict(_("This invitation was answered already; remove the member instead."))
    write_audit(actor, changed(invitation, {"revoked_at": timezone.now()}, action="revoke"))
    return invitation


def send_owed_invitations() -> Delivery:
    """Mail every invitation that waits for it."""
    rows = Invitation.objects.filter(accepted_at__isnull=True, revoked_at__isnull=True)
    return send_owed(rows.select_related("organisation", "invited_by"), _mail)


def _mail(invitation: Invitation) -> EmailMessage:
    names = {
        "organisation": invitation.organisation.name,
        "person": invitation.invited_by or invitation.organisation.name,
        "role": invitation.get_role_display(),
        "until": invitation.expires_at.date().isoformat(),
    }
    if digest_of(_secret(invitation)) != invitation.digest:
        raise OSError("the service's secret key has changed since; invite again")
    lines = [
        _("%(person)s invites you to the book of %(organisation)s, as %(role)s.") % names,
        "",
        _("Open this link once, before %(until)s:") % names,
        _link(invitation),
        "",
        _("If you do not know who this is, do nothing: without the link nothing happens."),
    ]
    subject = " ".join((_("Invitation to the book of %(organisation)s") % names).split())
    headers = {"Message-ID": f"<{invitation.uuid}@coilbook>"}
    return EmailMessage(subject=subject, body="\n".join(lines), to=[invitation.email], headers=headers)


def roles_to_give(actor: Actor) -> list[Role]:
    """Return the roles that the actor can give."""
    if not actor.may(Ability.MANAGE):
        return []
    return [role for role in Role if actor.user is None or (actor.role is not None and actor.role.reaches(role))]
