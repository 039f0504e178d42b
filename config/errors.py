"""What is answered where no view answers: a page to a person at a browser, a problem document to every other client."""

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from api import problems
from dashboard.access import wants_a_page

FOR_MACHINES = ("/api/", "/healthz")
SENTENCES: dict[int, tuple["str | Promise", "str | Promise"]] = {
    400: (_("Not understood"), _("The request cannot be read.")),
    403: (_("Not allowed"), _("This is not allowed.")),
    404: (_("Nothing here"), _("There is nothing at this address.")),
    413: (_("Too large"), _("What was sent is larger than the service takes; a photo has at most 12 MB.")),
    503: (_("Busy just now"), _("The service could not answer in time. Nothing was stored; try again in a moment.")),
    500: (_("Something failed"), _("The service failed; the failure is in its log. Nothing half done was stored.")),
}


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request that never reached a view."""
    return _page(400) if _is_for_a_person(request) else problems.bad_request(request, exception)


def permission_denied(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer what is refused."""
    return _page(403) if _is_for_a_person(request) else problems.permission_denied(request, exception)


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer an unknown address."""
    return _page(404) if _is_for_a_person(request) else problems.page_not_found(request, exception)


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer a fault of ours without saying more than that."""
    return _page(500) if _is_for_a_person(request) else problems.server_error(request)


def too_large(request: HttpRequest) -> HttpResponse:
    """Answer a body that is not read."""
    return _page(413) if _is_for_a_person(request) else problems.too_large(request)


def unavailable(request: HttpRequest) -> HttpResponse:
    """Answer where the database gave up: nothing was stored, and trying again may do."""
    answer = _page(503) if _is_for_a_person(request) else problems.unavailable(request)
    answer["Retry-After"] = str(problems.TRY_AGAIN_AFTER_S)
    return answer


def _is_for_a_person(request: HttpRequest) -> bool:
    return wants_a_page(request) and not request.path.startswith(FOR_MACHINES)


def _page(status: int) -> HttpResponse:
    title, sentence = SENTENCES[status]
    # Without the request: its session and user may be what failed.
    html = render_to_string("dashboard/error.html", {"error_title": title, "sentence": sentence})
    return HttpResponse(html, status=status)
