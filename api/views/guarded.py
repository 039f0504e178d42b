"""Writes that hold: compared with what the client saw, and answered once however often they are sent."""

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from typing import Any

from django.db import connection, transaction
from django.http.response import HttpResponseBase
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.actors import Actor
from api.idempotency import fingerprint_of, keep, kept_answer, key_of

Handler = Callable[..., HttpResponseBase]
Check = Callable[[], None]


def guarded(handler: Handler, actor: Actor, *, check: Check | None, keyed: bool) -> Handler:
    """Return the handler in one transaction with what guards it.

    `check` compares what the client saw with what is stored and raises where they differ; a key is looked at first,
    because what was done once is answered again although the row has changed by it.
    """

    def handle(request: Request, *args: Any, **kwargs: Any) -> HttpResponseBase:
        key = key_of(request) if keyed else None
        with _one_transaction():
            fingerprint = "" if key is None else fingerprint_of(request, actor)
            if key is not None and (kept := kept_answer(actor, key, fingerprint)) is not None:
                return kept
            if check is not None:
                check()
            answer = handler(request, *args, **kwargs)
            if key is not None and isinstance(answer, Response):
                keep(actor, key, fingerprint, answer)
            return answer

    return handle


def _one_transaction() -> AbstractContextManager[None]:
    # Where the request is one already, whatever is raised rolls all of it back.
    return nullcontext() if connection.settings_dict["ATOMIC_REQUESTS"] else transaction.atomic()
