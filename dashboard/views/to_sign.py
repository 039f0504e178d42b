"""Checks that were stored unsigned and wait for somebody who may sign."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from accounts.roles import Ability
from dashboard.access import MemberView
from dashboard.checks.signing import sign_and_say
from dashboard.filters import ToSignFilter
from dashboard.lists import BookListView
from inspections.models import Inspection
from inspections.queries import inspections_to_sign

# What stands in the audit stream where the signer was not at the vehicle.
ASKED = "asked_who_took_it"


class ToSign(BookListView):
    """What waits for a signature, the longest first; who may sign does so from the check."""

    template_name = "dashboard/to_sign.html"
    filter_class = ToSignFilter
    order = ("performed_at", "pk")

    def rows(self) -> QuerySet[Inspection]:
        """Return the checks with what a row shows."""
        return inspections_to_sign(self.organisation).defer("evidence")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say whether the member may sign."""
        return super().get_context_data(**kwargs) | {"may_sign": self.actor.may(Ability.SIGN)}


class Countersign(MemberView):
    """Signs a check that somebody else took."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Sign it and go on with the list."""
        sign_and_say(request, self.actor, kwargs["inspection"], put_back=[ASKED])
        return redirect("dashboard:to-sign", self.organisation.slug)
