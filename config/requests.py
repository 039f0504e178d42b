"""What every request passes first: its id, and what is said where the database gave up."""

import logging
from collections.abc import Callable

from django.conf import settings
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse

from accounts.request_ids import begin_request, end_request
from config.errors import too_large, unavailable

HEADER = "X-Request-ID"

logger = logging.getLogger(__name__)


class RequestIds:
    """Give each request an id, and name it in the answer."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Take what comes next."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer with the id in a header."""
        named = begin_request(request.headers.get(HEADER))
        request.request_id = named  # type: ignore[attr-defined]
        try:
            response = self.get_response(request)
        finally:
            end_request()
        response[HEADER] = named
        return response


class BodyLimit:
    """Refuse a body that is larger than anything the service takes, before a byte of it is read or kept in a file."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Take what comes next."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on; a length that is none is the framework's to refuse."""
        length = request.META.get("CONTENT_LENGTH") or ""
        if length.isascii() and length.isdigit() and int(length[:20]) > settings.LARGEST_BODY_BYTES:
            return too_large(request)
        return self.get_response(request)


class BusyDatabase:
    """Say that the service is busy where the database cut a statement short or could not be had."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Take what comes next."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Answer a page whose statement was cut short; the interface's views say it themselves."""
        if not isinstance(exception, OperationalError):
            return None
        logger.error("%s: %s", request.path, exception)
        return unavailable(request)
