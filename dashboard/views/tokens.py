"""Tokens of the interface: one's own, and for who manages the book, everybody's."""

from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.errors import Refused
from accounts.models import ApiToken
from accounts.roles import Ability
from accounts.services.tokens import issue_own_token, revoke_token
from dashboard.access import MemberRequiredMixin, MemberView
from dashboard.account_access import shown_once
from dashboard.account_forms import TokenForm
from dashboard.checks.faults import show_faults
from dashboard.filters import TokenFilter
from dashboard.lists import BookListView


class Tokens(BookListView):
    """The tokens in use, newest first."""

    template_name = "dashboard/people/tokens.html"
    filter_class = TokenFilter
    order = ("-created", "uuid")

    def rows(self) -> QuerySet[ApiToken]:
        """Return the tokens that the member may take back."""
        rows = ApiToken.objects.of(self.organisation).select_related("user")
        return rows if self.actor.may(Ability.MANAGE) else rows.filter(user=self.member.user)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say from when on a token is over."""
        return super().get_context_data(**kwargs) | {
            "now": timezone.now(),
            "everybodys": self.actor.may(Ability.MANAGE),
        }


class MakeToken(MemberRequiredMixin, TemplateView):
    """Makes a token and shows it once."""

    template_name = "dashboard/people/make_token.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Ask what it is for."""
        return super().get_context_data(**({"form": TokenForm()} | kwargs))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Make it."""
        form = TokenForm(request.POST)
        if form.is_valid():
            try:
                token = issue_own_token(self.actor, **form.cleaned_data)
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.render_to_response(self.get_context_data(form=form))
        context = self.get_context_data(header=f"Bearer {token}", name=form.cleaned_data["name"])
        return shown_once(request, "dashboard/people/made_token.html", context)


class RevokeToken(MemberView):
    """Takes a token back."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Take it back."""
        if not revoke_token(self.actor, kwargs["token"]):
            raise Http404
        messages.success(request, _("The token is taken back; it is refused from now on."))
        return redirect("dashboard:tokens", self.organisation.slug)
