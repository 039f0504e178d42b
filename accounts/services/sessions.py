"""The browsers somebody is signed in at, and their end."""

from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone
from django.utils.crypto import constant_time_compare, salted_hmac

from accounts.models import Session, User
from accounts.services.people import tell_of_person


@dataclass(frozen=True, slots=True)
class OpenSession:
    """One session as its owner is shown it; `reference` names it without giving its key away."""

    reference: str
    session: Session
    is_this_one: bool


def open_sessions(user: User, this_key: str | None) -> list[OpenSession]:
    """Return where the person is signed in, the one that asks first, then the one last seen first."""
    rows = Session.objects.filter(user=user, expire_date__gt=timezone.now()).order_by("-last_seen_at", "session_key")
    found = [OpenSession(_reference(row.session_key), row, row.session_key == this_key) for row in rows]
    return sorted(found, key=lambda each: not each.is_this_one)


@transaction.atomic
def end_session(user: User, reference: str, *, address: str) -> bool:
    """End one session of the person's own; False where there is none such."""
    rows = Session.objects.filter(user=user)
    keys = [row.session_key for row in rows if constant_time_compare(_reference(row.session_key), reference)]
    if not rows.filter(session_key__in=keys).delete()[0]:
        return False
    tell_of_person(user, "end_session", address=address)
    return True


@transaction.atomic
def end_other_sessions(user: User, this_key: str | None, *, address: str) -> int:
    """End every session of the person's but the one that asks, and return how many there were."""
    ended = end_sessions(user, but=this_key)
    if ended:
        tell_of_person(user, "end_other_sessions", address=address, after={"ended": ended})
    return ended


def end_sessions(user: User, *, but: str | None) -> int:
    """End the person's sessions without telling the stream, because what calls this does."""
    ended, _by_table = Session.objects.filter(user=user).exclude(session_key=but or "").delete()
    return ended


def _reference(session_key: str) -> str:
    return salted_hmac("coilbook.session", session_key, algorithm="sha256").hexdigest()[:32]
