"""Wrong passwords, counted: how many came from one address, and how often one's own was guessed inside a session.

They stand in the table in which the sign-in page counts, so that all processes see them and each lapses after the same
time.  Count outside a transaction that a refusal would undo.
"""

import datetime as dt
import math

from axes.models import AccessAttempt
from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import ngettext

from accounts.errors import Fault, Refused
from accounts.models import User

# No form can send a name that begins so: it is stripped of such a character.
OWN_GUESSES_OF = "\x1fown password of {}"
# Nobody asks from there, so that these count against no address.
OWN_GUESSES_AT = "::"
OWN_GUESSES_BY = "inside a session"


def address_locked_until(address: str) -> dt.datetime | None:
    """Return until when nobody signs in from an address, None where so many wrong passwords did not come from it."""
    recent = _lately(AccessAttempt.objects.filter(ip_address=address)).order_by("attempt_time")
    attempts = list(recent.values_list("attempt_time", "failures_since_start"))
    left = sum(failures for _at, failures in attempts)
    for at, failures in attempts:
        if left < settings.SIGN_IN_FAILURES_PER_ADDRESS:
            return None
        left -= failures
        if left < settings.SIGN_IN_FAILURES_PER_ADDRESS:
            return at + settings.AXES_COOLOFF_TIME  # type: ignore[no-any-return]
    return None


def refuse_wrong_own_password(person: User, password: str, *, field: str, wrong: str) -> None:
    """Raise Refused where the password is not the person's, or where it was guessed too often to be tried again.

    A try is counted before it is looked at, so that of many at once no more are looked at than may be.
    """
    locked_until = _count_or_lock(person)
    if locked_until is not None:
        raise Refused(Fault((field,), "locked", _wait(locked_until)))
    if not person.check_password(password):
        raise Refused(Fault((field,), "wrong", wrong))
    _own_guesses(person).delete()


@transaction.atomic
def _count_or_lock(person: User) -> dt.datetime | None:
    """Count one try, and return None; where there were too many, return until when instead."""
    now = timezone.now()
    guesses, made = (
        _own_guesses(person)
        .select_for_update(no_key=True)
        .get_or_create(
            username=OWN_GUESSES_OF.format(person.uuid),
            defaults={"ip_address": OWN_GUESSES_AT, "user_agent": OWN_GUESSES_BY, "failures_since_start": 1},
        )
    )
    if made:
        return None
    opens_at: dt.datetime = guesses.attempt_time + settings.AXES_COOLOFF_TIME
    has_lapsed = opens_at <= now
    if not has_lapsed and guesses.failures_since_start >= settings.AXES_FAILURE_LIMIT:
        return opens_at
    guesses.failures_since_start = 1 if has_lapsed else guesses.failures_since_start + 1
    guesses.attempt_time = now
    guesses.save(update_fields=["failures_since_start", "attempt_time"])
    return None


def _own_guesses(person: User) -> QuerySet[AccessAttempt]:
    found: QuerySet[AccessAttempt] = AccessAttempt.objects.filter(username=OWN_GUESSES_OF.format(person.uuid))
    return found


def _lately(attempts: QuerySet[AccessAttempt]) -> QuerySet[AccessAttempt]:
    return attempts.filter(attempt_time__gt=timezone.now() - settings.AXES_COOLOFF_TIME)


def _wait(locked_until: dt.datetime) -> str:
    minutes = max(1, math.ceil((locked_until - timezone.now()).total_seconds() / 60))
    sentence = ngettext(
        "Too many wrong passwords. Try again in %(minutes)s minute.",
        "Too many wrong passwords. Try again in %(minutes)s minutes.",
        minutes,
    )
    return sentence % {"minutes": minutes}
