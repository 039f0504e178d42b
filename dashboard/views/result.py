"""Result: the verdict, what it rests on, what to do next, and signing."""

from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.views.generic import TemplateView

from accounts.roles import Ability
from dashboard.checks.access import AbilityMixin, StoredCheckMixin
from dashboard.checks.forms import PutBackForm
from dashboard.checks.results import result_context
from dashboard.checks.signing import sign_and_say


class Result(StoredCheckMixin, TemplateView):
    """What came of one check."""

    template_name = "dashboard/result/result.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Gather what the page says."""
        check = self.stored_check(self.kwargs["inspection"])
        context = {"put_back_form": PutBackForm(), "may_sign": self.actor.may(Ability.SIGN)}
        return super().get_context_data(**context | result_context(check) | kwargs)


class SignCheck(StoredCheckMixin, AbilityMixin, TemplateView):
    """Takes the put-back list and the signature."""

    template_name = "dashboard/result/result.html"
    ability = Ability.SIGN
    http_method_names = ["post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Sign the check once everything is put back."""
        check = self.stored_check(kwargs["inspection"])
        form = PutBackForm(request.POST)
        if not form.is_valid():
            context = {"put_back_form": form, "may_sign": True}
            return self.render_to_response(self.get_context_data(**context | result_context(check)))
        sign_and_say(request, self.actor, check.uuid, put_back=list(form.fields))
        return redirect("dashboard:result", self.organisation.slug, check.uuid)
