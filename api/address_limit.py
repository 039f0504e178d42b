"""How many requests a minute one address may send to the interface; what was refused counts as well."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from accounts.addresses import counted_address
from api.problems import plain_problem
from api.throttling import wait_s

PREFIX = "/api/"


class AddressLimit:
    """Count every request to the interface by the address it comes from, before anything else is looked at."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Take what comes next."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on, or refuse it until the minute is over."""
        most = settings.REQUESTS_PER_MINUTE_PER_ADDRESS
        if request.path.startswith(PREFIX):
            seconds = wait_s("address", counted_address(request), most)
            if seconds is not None:
                return _refusal(most, seconds)
        return self.get_response(request)


def _refusal(most: int, seconds: int) -> HttpResponse:
    detail = _("More than %(most)s requests in a minute came from this address.") % {"most": most}
    answer = plain_problem(429, detail)
    answer["Retry-After"] = str(seconds)
    answer["Cache-Control"] = "no-store"
    return answer
