"""The interface over HTTPS only: a token that came in the clear is refused, because a redirect would carry it twice."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from api.problems import plain_problem


class RefusePlainHttp:
    """Refuse requests of the interface that did not come over HTTPS, where HTTPS is what the service is set to."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Take what comes next."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Refuse, or pass the request on."""
        if settings.SECURE and request.path.startswith("/api/") and not request.is_secure():
            return plain_problem(403, "The interface answers over HTTPS only; take any token sent in the clear back.")
        return self.get_response(request)
