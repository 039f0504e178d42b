"""Between a right password and a session: the second step where the person has one, and where they wanted to go."""

import logging
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

from accounts.addresses import client_address
from accounts.models import User
from accounts.services.two_step import device_of
from accounts.sessions import note_origin

BACKEND = "django.contrib.auth.backends.ModelBackend"
WAITING, PASSED = "second_step", "second_step_passed"
# A right password waits so long for its code.
GOOD_FOR_S = 600

logger = logging.getLogger(__name__)


def begin_session(request: HttpRequest, person: User, *, second_step: bool = False) -> None:
    """Sign the person in at this browser."""
    login(request, person, backend=BACKEND)
    request.session.pop(WAITING, None)
    note_origin(request.session, address=client_address(request), browser=request.META.get("HTTP_USER_AGENT", ""))
    if second_step:
        request.session[PASSED] = True
    logger.info("signed in: %s from %s", person.get_username(), client_address(request))


def note_second_step(request: HttpRequest) -> None:
    """Keep in a running session that the second step was passed in it, under a new key: the old one is worth less."""
    request.session.cycle_key()
    request.session[PASSED] = True


def passed_second_step(request: HttpRequest) -> bool:
    """Tell whether this session passed the second step."""
    return bool(request.session.get(PASSED))


def wait_for_second_step(request: HttpRequest, person: User, wanted: str) -> HttpResponse:
    """Remember whose password was right, without signing them in, and ask for the code."""
    request.session[WAITING] = {
        "user": person.pk,
        "hash": person.get_session_auth_hash(),
        "at": timezone.now().isoformat(),
        "next": wanted,
    }
    return redirect("dashboard:sign-in-code")


def who_waits(request: HttpRequest) -> tuple[User, str] | None:
    """Return whose code is waited for, and where they go then; a signed-in person may owe the step too."""
    waiting: dict[str, Any] = request.session.get(WAITING) or {}
    at = parse_datetime(waiting.get("at", ""))
    if at is not None and (timezone.now() - at).total_seconds() <= GOOD_FOR_S:
        person = User.objects.filter(pk=waiting["user"], is_active=True).first()
        if person is not None and person.get_session_auth_hash() == waiting["hash"]:
            return person, waiting["next"]
    if isinstance(request.user, User) and not passed_second_step(request) and device_of(request.user) is not None:
        return request.user, wanted_address(request)
    return None


def redirect_to_second_step(request: HttpRequest) -> HttpResponse:
    """Lead a member to what their organisation asks for: the code where there is a device, else setting one up."""
    query = urlencode({"next": request.get_full_path()})
    if isinstance(request.user, User) and device_of(request.user) is not None:
        return redirect(f"{reverse('dashboard:sign-in-code')}?{query}")
    messages.info(request, _("This book asks for a second step at signing in. Set it up to go on."))
    return redirect(f"{reverse('dashboard:two-step')}?{query}")


def wanted_address(request: HttpRequest) -> str:
    """Return the page of ours that `next` names, else the first page."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    good = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return wanted if good else reverse("dashboard:home")
