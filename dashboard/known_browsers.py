"""Browsers in which somebody signed in before: a shared address that was locked leaves them their own names' locks."""

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase

COOKIE = "signed_in_before"
SALT = "coilbook.known_browser"
GOOD_FOR_S = 365 * 24 * 3600


def remember_browser(answer: HttpResponseBase) -> None:
    """Let the browser show later that a password was right in it; whose is not told."""
    answer.set_signed_cookie(
        COOKIE, "1", salt=SALT, max_age=GOOD_FOR_S, secure=settings.SECURE, httponly=True, samesite="Lax"
    )


def is_known_browser(request: HttpRequest) -> bool:
    """Tell whether somebody signed in here before."""
    return request.get_signed_cookie(COOKIE, None, salt=SALT, max_age=GOOD_FOR_S) is not None
