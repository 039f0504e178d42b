"""Answer a request that is sent again as it was answered first: the answer is kept in the transaction of what it tells.

References
----------
draft-ietf-httpapi-idempotency-key-header: one key, one request; another request under the key is refused.
"""

import datetime as dt
import hashlib
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field

from django.db import connection
from django.utils import timezone

from accounts.models import FirstAnswer, Organisation

# Longer than any phone stays away; after that the id that a client made still stops a second row.
KEPT_FOR = dt.timedelta(days=90)
MOST_IN_ONE_RUN = 10_000


class KeyInUse(Exception):
    """A request with the same key is being worked on at this moment."""


class KeyTaken(Exception):
    """The key stands for another request."""


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer as it goes out."""

    status: int
    body: bytes
    headers: Mapping[str, str] = field(default_factory=dict)


def first_answer(organisation: Organisation, key: str, fingerprint: str) -> Answer | None:
    """Return what the request was answered before, None where this is the first time; call it in the transaction.

    Raises KeyInUse while a twin is worked on, and KeyTaken where the key stands for another request.  On SQLite there
    is one writer at a time, so a twin waits and is then answered with what the first was.
    """
    _hold(organisation, key)
    kept = FirstAnswer.objects.filter(organisation=organisation, key=key).first()
    if kept is None:
        return None
    if kept.fingerprint != fingerprint:
        raise KeyTaken
    return Answer(kept.status, zlib.decompress(kept.body), kept.headers)


def keep_answer(organisation: Organisation, key: str, fingerprint: str, answer: Answer) -> None:
    """Keep the first answer; call it in the transaction of what it tells."""
    FirstAnswer.objects.create(
        organisation=organisation,
        key=key,
        fingerprint=fingerprint,
        status=answer.status,
        headers=dict(answer.headers),
        body=zlib.compress(answer.body),
    )


def forget_old_answers(organisation: Organisation, *, as_of: dt.datetime | None = None) -> int:
    """Delete answers whose time is over, so many in one run, and return how many."""
    old = FirstAnswer.objects.filter(
        organisation=organisation, answered_at__lt=(as_of or timezone.now()) - KEPT_FOR
    ).order_by("answered_at")
    deleted, _by_model = FirstAnswer.objects.filter(pk__in=old.values("pk")[:MOST_IN_ONE_RUN]).delete()
    return deleted


def _hold(organisation: Organisation, key: str) -> None:
    """Keep twins out until the transaction ends, without waiting for one that is ahead."""
    if connection.vendor != "postgresql":
        return
    digest = hashlib.sha256(f"{organisation.pk} {key}".encode()).digest()
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [int.from_bytes(digest[:8], signed=True)])
        row = cursor.fetchone()
    if row is None or not row[0]:
        raise KeyInUse
