"""One's own account: the books one is in, the password, and where one is signed in."""

from typing import Any

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from accounts.errors import Refused
from accounts.queries import memberships_of
from accounts.services.people import change_password
from accounts.services.sessions import end_other_sessions, end_session, open_sessions
from accounts.services.two_step import device_of
from dashboard.account_access import PersonMixin, PersonPage
from dashboard.account_forms import PasswordForm
from dashboard.browsers import browser_words
from dashboard.checks.faults import show_faults


class Account(PersonPage):
    """Who is signed in, the books they are in, and the ways to look after the account."""

    template_name = "dashboard/account/account.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """List the books, each with the role there."""
        members = list(memberships_of(self.person))
        return super().get_context_data(**kwargs) | {"members": members, "device": device_of(self.person)}


class Password(PersonPage):
    """Changes the password; every other session ends with the old one."""

    template_name = "dashboard/account/password.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Ask for both passwords."""
        return self.shown(form=PasswordForm())

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Change it."""
        form = PasswordForm(request.POST)
        if form.is_valid():
            data, key = form.cleaned_data, request.session.session_key
            try:
                person = change_password(
                    self.person,
                    old=data["old_password"],
                    new=data["new_password"],
                    address=self.address,
                    keep_session=key,
                )
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.shown(form=form)
        update_session_auth_hash(request, person)
        messages.success(request, _("The password is changed. Wherever else you were signed in, you are not any more."))
        return redirect("dashboard:account")


class Sessions(PersonPage):
    """Where one is signed in."""

    template_name = "dashboard/account/sessions.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """List the sessions in plain words."""
        found = open_sessions(self.person, self.request.session.session_key)
        rows = [{"open": each, "browser": browser_words(each.session.browser)} for each in found]
        return super().get_context_data(**kwargs) | {"sessions": rows}


class EndSession(PersonMixin):
    """Ends one session of one's own."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """End it."""
        if not end_session(self.person, kwargs["reference"], address=self.address):
            raise Http404
        messages.success(request, _("That browser is signed out."))
        return redirect("dashboard:sessions")


class EndOtherSessions(PersonMixin):
    """Ends every session but this one."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """End them."""
        ended = end_other_sessions(self.person, request.session.session_key, address=self.address)
        said = ngettext("%(count)s other browser is signed out.", "%(count)s other browsers are signed out.", ended)
        messages.success(request, said % {"count": ended})
        return redirect("dashboard:sessions")
