"""Organisations, people and their tokens: what accounts decides and writes."""

import datetime as dt

from django.contrib.auth.password_validation import validate_password
from django.db import transaction
from django.utils import timezone

from accounts.actors import Actor, system_actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict, NotAllowed
from accounts.models import ApiToken, Depot, Member, Organisation, User
from accounts.roles import Role
from accounts.rows import store_row

LAST_USE_STEP = dt.timedelta(minutes=1)


@transaction.atomic
def create_organisation(
    *,
    slug: str,
    name: str,
    administrator: str,
    password: str | None,
    source: str = "command",
    is_demo: bool = False,
) -> tuple[Organisation, Member]:
    """Make an empty organisation with its first administrator; `password` None joins a user who exists already."""
    if Organisation.objects.filter(slug=slug).exists():
        raise Conflict(f"There is an organisation {slug!r} already.")
    organisation = Organisation(slug=slug, name=name, is_demo=is_demo)
    organisation.full_clean()
    organisation.save()
    actor = system_actor(organisation, source=source)
    write_audit(actor, [Deed("create", "organisation", organisation.uuid, after={"slug": slug, "name": name})])
    return organisation, add_member(actor, username=administrator, password=password, role=Role.ADMINISTRATOR)


@transaction.atomic
def add_member(actor: Actor, *, username: str, password: str | None, role: Role, full_name: str = "") -> Member:
    """Make a person a member of the actor's organisation; a new person needs a password that passes the rules."""
    user = User.objects.filter(username=username).first()
    if user is None:
        user = _new_user(username, password, full_name)
    elif password is not None:
        raise Conflict(f"There is a user {username!r} already; a member is added without a password.")
    member = Member.objects.create(organisation=actor.organisation, user=user, role=role)
    after = {"user": user.uuid, "role": role.value}
    write_audit(actor, [Deed("add", "member", member.uuid, after=after)])
    return member


def _new_user(username: str, password: str | None, full_name: str) -> User:
    if password is None:
        raise Conflict(f"There is no user {username!r}; a new one needs a password.")
    first, _, last = full_name.partition(" ")
    user = User(username=username, first_name=first, last_name=last)
    validate_password(password, user)
    user.set_password(password)
    user.full_clean()
    user.save()
    return user


@transaction.atomic
def add_depot(actor: Actor, *, name: str, time_zone: str) -> Depot:
    """Add a depot; its time zone decides which day it is there."""
    return store_row(actor, Depot(organisation=actor.organisation, name=name, time_zone=time_zone))


@transaction.atomic
def issue_token(*, username: str, organisation: str, name: str = "command line", source: str = "command") -> str:
    """Return a new bearer token of a member; only its digest is kept, so this is the only time it is seen."""
    member = current_member(username=username, organisation=organisation)
    if member is None:
        raise NotAllowed(f"{username!r} is no member of an organisation {organisation!r}.")
    _row, token = ApiToken.objects.create(  # type: ignore[no-untyped-call]
        user=member.user, organisation=member.organisation, name=name
    )
    actor = system_actor(member.organisation, source=source)
    write_audit(actor, [Deed("issue", "token", member.uuid, after={"name": name, "user": member.user.uuid})])
    return str(token)


def current_member(*, username: str, organisation: str) -> Member | None:
    """Return the membership of a person in an organisation that is open, where it has not ended."""
    rows = Member.objects.filter(
        user__username=username,
        user__is_active=True,
        organisation__slug=organisation,
        organisation__closed_at__isnull=True,
    )
    member = rows.select_related("user", "organisation").first()
    return member if member is not None and not has_ended(member) else None


def has_ended(member: Member) -> bool:
    """Tell whether the member's access has run out."""
    return member.ends_on is not None and member.ends_on < timezone.now().date()


def note_token_use(token: ApiToken) -> None:
    """Keep when the token was last used, to the minute."""
    now = timezone.now()
    if token.last_used_at is None or now - token.last_used_at > LAST_USE_STEP:
        ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)
