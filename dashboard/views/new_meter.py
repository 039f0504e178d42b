"""Put a test meter on file."""

from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.views.generic import TemplateView

from accounts.errors import Refused
from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.checks.faults import show_faults
from dashboard.meters.new_meter_form import NewMeterForm
from inspections.services.meters import add_meter


class NewMeter(MemberRequiredMixin, TemplateView):
    """The meter's name and what its booklet states, range by range."""

    template_name = "dashboard/new_meter.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show an empty form."""
        self.actor.require(Ability.MANAGE)
        return self.render_to_response(self.get_context_data(form=NewMeterForm()))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Keep it, and go to its page, where its calibration is entered."""
        self.actor.require(Ability.MANAGE)
        form = NewMeterForm(request.POST)
        if form.is_valid():
            try:
                made = add_meter(self.actor, **form.cleaned_data)
            except Refused as refused:
                show_faults(form, refused)
            else:
                return redirect("dashboard:meter", self.organisation.slug, made.uuid)
        return self.render_to_response(self.get_context_data(form=form))
