"""What a type's air gap, rotor and bearings are held against in the mechanical survey."""

from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from accounts.errors import Refused
from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.checks.faults import show_faults
from dashboard.rules.survey_limits_form import SurveyLimitsForm
from fleet.models import RatingRevision, RetarderType
from inspections.services.survey_limits import state_survey_limits


class SurveyLimits(MemberRequiredMixin, TemplateView):
    """The limits as a form; keeping them adds a revision of the type's rating."""

    template_name = "dashboard/survey_limits.html"

    @cached_property
    def kind(self) -> RetarderType:
        """Return the type; one of another organisation does not exist here."""
        return get_object_or_404(RetarderType.objects.of(self.organisation), uuid=self.kwargs["type"])

    def _form(self, post: Any = None) -> SurveyLimitsForm:
        revisions = RatingRevision.objects.of(self.organisation).filter(retarder_type=self.kind)
        newest = revisions.order_by("-number").first()
        return SurveyLimitsForm(post, stated={} if newest is None else newest.survey_limits)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show what is on file."""
        self.actor.require(Ability.MANAGE)
        return self.render_to_response(self.get_context_data(kind=self.kind, form=self._form()))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Keep it for the checks to come."""
        self.actor.require(Ability.MANAGE)
        form = self._form(request.POST)
        if form.is_valid():
            try:
                state_survey_limits(self.actor, self.kind, form.limits(), reason=form.cleaned_data["reason"])
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.render_to_response(self.get_context_data(kind=self.kind, form=form))
        return redirect("dashboard:ratings", self.organisation.slug)
