"""Sign in, in one step or two, and go where one belongs."""

import datetime as dt
import logging
from functools import cache
from typing import Any

from axes.models import AccessAttempt
from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.mixins import LoginRequiredMixin
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.generic import TemplateView, View

from accounts.addresses import client_address, counted_address, is_told_by_a_proxy_unknown
from accounts.errors import Refused
from accounts.models import User
from accounts.queries import memberships_of
from accounts.services.guesses import address_locked_until
from accounts.services.two_step import device_of, take_second_step
from dashboard.account_forms import CodeForm
from dashboard.checks.faults import show_faults
from dashboard.known_browsers import is_known_browser, remember_browser
from dashboard.signing_in import begin_session, note_second_step, wait_for_second_step, wanted_address, who_waits

logger = logging.getLogger(__name__)


class SignIn(LoginView):
    """The sign-in page."""

    template_name = "dashboard/sign_in.html"
    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Look at no password where too many wrong ones came from the same address."""
        until = None if _counts_alone(request) else address_locked_until(counted_address(request))
        if until is not None:
            logger.warning("sign-in locked: every name from %s", client_address(request))
            return _locked(request, until, whole_address=True)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Sign the person in, or ask for the code where the person has a second step."""
        person = form.get_user()
        if device_of(person) is not None:
            return wait_for_second_step(self.request, person, self.get_success_url())
        begin_session(self.request, person)
        answer = redirect(self.get_success_url())
        remember_browser(answer)
        return answer

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """Say the same whatever was wrong."""
        name = self.request.POST.get("username", "")[:150]
        logger.warning("sign-in refused: %s from %s", name, client_address(self.request))
        return super().form_invalid(form)


def _counts_alone(request: HttpRequest) -> bool:
    """Tell whether only the name's own lock holds: the address is everybody's, or the browser is known."""
    if is_told_by_a_proxy_unknown(request):
        _warn_of_unknown_proxy()
        return True
    return is_known_browser(request)


@cache
def _warn_of_unknown_proxy() -> None:
    # Once a process: it would be written at every sign-in.
    logger.warning("sign-in: a proxy stands in front and COILBOOK_PROXIES is 0; no address is locked for its failures")


def locked_out(request: HttpRequest, response: HttpResponse | None, credentials: Any) -> HttpResponse:
    """Say that this name is locked at this address, and when to try again; whether the name exists is not said."""
    name = (credentials or {}).get("username") or request.POST.get("username", "")
    logger.warning("sign-in locked: %s from %s", name[:150], client_address(request))
    return _locked(request, _locked_until(name, counted_address(request)), whole_address=False)


def _locked(request: HttpRequest, until: dt.datetime, *, whole_address: bool) -> HttpResponse:
    seconds = max(1, round((until - timezone.now()).total_seconds()))
    context = {"minutes": -(-seconds // 60), "until": until, "whole_address": whole_address}
    answer = render(request, "dashboard/locked_out.html", context, status=429)
    answer["Retry-After"] = str(seconds)
    return answer


def _locked_until(name: str, address: str) -> dt.datetime:
    attempts = AccessAttempt.objects.filter(username=name, ip_address=address).order_by("-attempt_time")
    last = attempts.values_list("attempt_time", flat=True).first() or timezone.now()
    return last + settings.AXES_COOLOFF_TIME


class SignInCode(TemplateView):
    """The second step: a code of the person's device, or one to fall back on."""

    template_name = "dashboard/sign_in_code.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Ask for the code where a right password, or a session that owes the step, came before."""
        if who_waits(request) is None:
            return redirect("dashboard:sign-in")
        return self._asked(CodeForm())

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Take the code."""
        waits = who_waits(request)
        if waits is None:
            return redirect("dashboard:sign-in")
        person, wanted = waits
        form = CodeForm(request.POST)
        if form.is_valid():
            try:
                take_second_step(person, form.cleaned_data["code"])
            except Refused as refused:
                show_faults(form, refused)
                logger.warning("code refused: %s from %s", person.get_username(), client_address(request))
        if form.errors:
            return self._asked(form)
        if request.user == person:
            note_second_step(request)
        else:
            begin_session(request, person, second_step=True)
        answer = redirect(wanted)
        remember_browser(answer)
        return answer

    def _asked(self, form: CodeForm) -> HttpResponse:
        context = self.get_context_data(form=form, next=wanted_address(self.request))
        return self.render_to_response(context, status=200)


class SignOut(LogoutView):
    """Ends the session; takes a form, so that no address can sign anybody out."""

    next_page = "dashboard:sign-in"


class Home(LoginRequiredMixin, View):
    """The address without anything behind it."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Go to the one organisation, or offer the choice."""
        user = request.user
        if not isinstance(user, User):
            return redirect("dashboard:sign-in")
        members = memberships_of(user)
        if len(members) == 1:
            return redirect("dashboard:today", organisation=members[0].organisation.slug)
        return render(request, "dashboard/choose.html", {"members": members})
