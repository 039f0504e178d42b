"""How many requests a minute one token may send, and how they are counted.

Counted in the cache by the minute: shared between processes where the cache is shared.
"""

import hashlib
import logging
import time
from functools import cache as once
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.cache import cache
from redis import Redis, RedisError
from redis.backoff import NoBackoff
from redis.retry import Retry
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

if TYPE_CHECKING:
    # rest_framework.views reads the setting that names this module.
    from rest_framework.views import APIView

WINDOW_S = 60
# Longer no request waits to be counted, where the cache hangs.
COUNTED_WITHIN_S = 0.5

logger = logging.getLogger(__name__)


class TokenLimit(BaseThrottle):
    """Count requests by the token they carry."""

    wait_s: int | None = None

    def allow_request(self, request: Request, view: "APIView") -> bool:
        """Tell whether the token has requests left in this minute."""
        token = request.headers.get("Authorization", "")
        if not token:
            return True
        self.wait_s = wait_s("token", token, settings.REQUESTS_PER_MINUTE_PER_TOKEN)
        return self.wait_s is None

    def wait(self) -> float | None:
        """Return in how many seconds requests are taken again."""
        return self.wait_s


def wait_s(kind: str, who: str, most: int) -> int | None:
    """Count one request, and return None or, where it is one too many, the seconds until the next minute."""
    now = time.time()
    minute = int(now // WINDOW_S)
    digest = hashlib.sha256(who.encode("utf-8", "surrogateescape")).hexdigest()[:32]
    key = f"requests:{kind}:{digest}:{minute}"
    try:
        counted = _count_shared(key) if settings.CACHE_URL else _count(key)
    except RedisError as error:
        # A cache that is away must not close the door; the database is still guarded by everything else.
        logger.error("requests are not counted: %s", error)
        return None
    except ValueError:
        # The cache dropped the count between the two steps.
        return None
    return max(1, int((minute + 1) * WINDOW_S - now)) if counted > most else None


def _count(key: str) -> int:
    cache.add(key, 0, timeout=2 * WINDOW_S)
    return cache.incr(key)


def _count_shared(key: str) -> int:
    """Count in one turn, where the framework's cache would take a connection from its pool and ask three times."""
    name = f"{settings.KEY_PREFIX}:{key}"
    with _shared_cache().pipeline(transaction=False) as counting:
        counting.set(name, 0, ex=2 * WINDOW_S, nx=True)
        counting.incr(name)
        _new, counted = counting.execute()
    return int(counted)


@once
def _shared_cache() -> "Redis":
    return Redis.from_url(
        settings.CACHE_URL,
        retry=Retry(NoBackoff(), 0),
        socket_timeout=COUNTED_WITHIN_S,
        socket_connect_timeout=COUNTED_WITHIN_S,
    )
