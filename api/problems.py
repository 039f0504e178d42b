"""Problem details (RFC 9457) for everything that is not a success, unknown addresses and our own faults included."""

import json
import logging
from collections.abc import Sequence
from http import HTTPStatus
from typing import Any

from django.conf import settings
from django.core.exceptions import SuspiciousOperation
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _
from drf_standardized_errors.formatter import ExceptionFormatter, flatten_errors
from drf_standardized_errors.handler import ExceptionHandler
from rest_framework import exceptions, status
from rest_framework.response import Response

from accounts.errors import Conflict, Fault, NotAllowed, Refused

logger = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
TRY_AGAIN_AFTER_S = 5
BUSY = _("The service could not answer in time. Nothing was stored; try again in a moment.")
WHOLE_BODY = {"non_field_errors", "null"}


class RefusedContent(exceptions.APIException):
    """What was sent cannot be carried out; each fault names its place."""

    status_code = status.HTTP_400_BAD_REQUEST
    default_code = "invalid"

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("\n".join(fault.detail for fault in faults))
        self.faults = faults


class ConflictingContent(exceptions.APIException):
    """The id is taken by other content."""

    status_code = status.HTTP_409_CONFLICT
    default_code = "conflict"


class ScopeLacking(exceptions.PermissionDenied):
    """The role would reach that far, but the token was made for less (RFC 6750, section 3.1)."""

    default_code = "insufficient_scope"
    auth_header = 'Bearer error="insufficient_scope"'


class Busy(exceptions.APIException):
    """The database cut a statement short, or could not be had."""

    status_code = status.HTTP_503_SERVICE_UNAVAILABLE
    default_code = "busy"
    default_detail = BUSY
    wait = TRY_AGAIN_AFTER_S


class ProblemHandler(ExceptionHandler):
    """Give each refusal of the services its status, and every answer its media type."""

    def convert_known_exceptions(self, exc: Exception) -> Exception:
        """Map what services raise to what HTTP says."""
        return known_refusal(exc) or super().convert_known_exceptions(exc)

    def get_response(self, exc: exceptions.APIException, data: Any) -> Response:
        """Answer as a problem."""
        # A refusal is of its moment: no cache may give it to the next one who asks.
        headers = {**self.get_headers(exc), "Cache-Control": "no-store"}
        return Response(data, status=exc.status_code, headers=headers, content_type=MEDIA_TYPE)


class ProblemFormatter(ExceptionFormatter):
    """Write a problem with a JSON pointer for each fault."""

    def run(self) -> dict[str, Any]:
        """Return the problem document."""
        return problem(self.exc.status_code, faults_of(self.exc))


def faults_of(refusal: exceptions.APIException) -> list[dict[str, str]]:
    """Return what was refused, place by place."""
    if isinstance(refusal, RefusedContent):
        return [_described(pointer(fault.path), fault.code, fault.detail) for fault in refusal.faults]
    return [
        _described(_attribute_pointer(error.attr), error.code, error.detail) for error in flatten_errors(refusal.detail)
    ]


def known_refusal(error: Exception) -> exceptions.APIException | None:
    """Return what a service's or a serializer's refusal means to HTTP, None for a fault of ours."""
    if isinstance(error, Refused):
        return RefusedContent(error.faults)
    if isinstance(error, Conflict):
        return ConflictingContent(error.detail)
    if isinstance(error, NotAllowed):
        return ScopeLacking(str(error)) if error.scope_lacking else exceptions.PermissionDenied(str(error))
    if isinstance(error, SuspiciousOperation):
        return exceptions.ParseError(_("The request cannot be read."))
    if isinstance(error, OperationalError):
        logger.error("%s", error)
        return Busy()
    return error if isinstance(error, exceptions.APIException) else None


def problem(code: int, faults: Sequence[dict[str, str]]) -> dict[str, Any]:
    """Return a problem document; its detail is the first fault's sentence."""
    return {
        "type": "about:blank",
        "title": HTTPStatus(code).phrase,
        "status": code,
        "detail": faults[0]["detail"] if faults else "",
        "errors": list(faults),
    }


def pointer(path: Sequence[str | int]) -> str:
    """Return a path as a JSON pointer in a URI fragment (RFC 6901).

    >>> pointer(("stage_readings", 0, "current_a"))
    '#/stage_readings/0/current_a'
    """
    return "#" + "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in path)


def _attribute_pointer(attribute: str | None) -> str:
    steps = [step for step in (attribute or "").split("/") if step and step not in WHOLE_BODY]
    return "#" + "".join(f"/{step}" for step in steps)


def _described(where: str, code: str, detail: str) -> dict[str, str]:
    return {"pointer": where, "code": code, "detail": detail}


def plain_problem(code: int, detail: str) -> HttpResponse:
    """Return a problem outside any view: an unknown address, a refused host, a fault of ours."""
    fault = _described("#", HTTPStatus(code).phrase.lower().replace(" ", "_"), detail)
    return HttpResponse(json.dumps(problem(code, [fault])), status=code, content_type=MEDIA_TYPE)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request that never reached a view."""
    return plain_problem(400, "The request cannot be read.")


def permission_denied(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer what is refused outside a view."""
    return plain_problem(403, "This is not allowed.")


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer an unknown address."""
    return plain_problem(404, "There is nothing at this address.")


def too_large(request: HttpRequest) -> HttpResponse:
    """Answer a body that is not read."""
    detail = _("The body is larger than %(most)s bytes.") % {"most": settings.LARGEST_BODY_BYTES}
    return plain_problem(413, str(detail))


def unavailable(request: HttpRequest) -> HttpResponse:
    """Answer where the database gave up outside a view."""
    return plain_problem(503, str(BUSY))


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer a fault of ours without saying more than that."""
    return plain_problem(500, "The service failed; the failure is in its log.")
