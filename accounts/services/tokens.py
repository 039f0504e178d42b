"""Bearer tokens: made, shown once, used, taken back."""

import datetime as dt
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor, system_actor
from accounts.audit import Deed, write_audit
from accounts.errors import Fault, NotAllowed, Refused
from accounts.models import AS_THE_ROLE, TOKEN_SCOPES, ApiToken, Member, User
from accounts.roles import Ability
from accounts.services.members import current_member
from accounts.tenancy import name_organisation

LAST_USE_STEP = dt.timedelta(minutes=1)
LONGEST_LIFE_DAYS = 365


@transaction.atomic
def issue_token(*, username: str, organisation: str, name: str = "command line", source: str = "command") -> str:
    """Return a new bearer token of a member; only its digest is kept, so this is the only time it is seen."""
    person = User.objects.filter(username=username).first()
    member = None if person is None else current_member(person, organisation=organisation)
    if member is None:
        raise NotAllowed(f"{username!r} is no member of an organisation {organisation!r}.")
    name_organisation(member.organisation)
    actor = system_actor(member.organisation, source=source, on_behalf_of=member.user)
    return _issued(actor, member, name, AS_THE_ROLE, LONGEST_LIFE_DAYS)


@transaction.atomic
def issue_own_token(actor: Actor, *, name: str, scope: str, days: int) -> str:
    """Return a new bearer token of the person who asks for it, good for so many days."""
    actor.require(Ability.READ)
    actor.require_more_than_reading()
    if scope not in dict(TOKEN_SCOPES):
        raise Refused(Fault(("scope",), "unknown", _("%(scope)s is no scope of a token.") % {"scope": scope}))
    if not 1 <= days <= LONGEST_LIFE_DAYS:
        sentence = _("A token is good for 1 to %(most)s days, not for %(days)s.")
        raise Refused(Fault(("days",), "out_of_range", sentence % {"most": LONGEST_LIFE_DAYS, "days": days}))
    member = Member.objects.of(actor.organisation).select_related("user", "organisation").get(user=actor.user)
    return _issued(actor, member, name, scope, days)


def _issued(actor: Actor, member: Member, name: str, scope: str, days: int) -> str:
    row, token = ApiToken.objects.create(  # type: ignore[no-untyped-call]
        user=member.user,
        organisation=member.organisation,
        name=name,
        scope=scope,
        expiry=dt.timedelta(days=days),
    )
    after = {"name": name, "scope": scope, "user": member.user.uuid, "expires_at": row.expiry}
    write_audit(actor, [Deed("issue", row, after=after)])
    return str(token)


@transaction.atomic
def revoke_token(actor: Actor, token_id: UUID) -> bool:
    """Take a token back: one's own, or any of the organisation for who manages it; False where there is none such."""
    actor.require(Ability.READ)
    actor.require_more_than_reading()
    rows = ApiToken.objects.filter(organisation=actor.organisation)
    if not actor.may(Ability.MANAGE):
        rows = rows.filter(user=actor.user)
    token = rows.select_for_update(no_key=True).filter(uuid=token_id).first()
    if token is None:
        return False
    deed = Deed("revoke", token, before={"name": token.name, "user": token.user.uuid}, gone=True)
    ApiToken.objects.filter(pk=token.pk).delete()
    write_audit(actor, [deed])
    return True


def note_token_use(token: ApiToken) -> None:
    """Keep when the token was last used, to the minute."""
    now = timezone.now()
    if token.last_used_at is None or now - token.last_used_at > LAST_USE_STEP:
        ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)
