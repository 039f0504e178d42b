"""Compare two clamps, or two voltmeters: do they agree, given what each states of its accuracy?"""

from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils.functional import cached_property

from accounts.errors import Conflict, Refused
from accounts.identity import new_id
from accounts.roles import Ability
from dashboard.checks.faults import show_faults
from dashboard.meters.comparison_form import ComparisonForm
from dashboard.views.meter import MeterMixin
from inspections.models import Meter
from inspections.services.comparisons import record_comparison


class CompareMeters(MeterMixin):
    """Two meters on one cable at one time."""

    template_name = "dashboard/compare_meters.html"

    @cached_property
    def others(self) -> list[Meter]:
        """Return the other meters of the kind that are in use."""
        rows = Meter.objects.of(self.organisation).filter(kind=self.meter.kind, retired_on__isnull=True)
        return list(rows.exclude(pk=self.meter.pk).order_by("designation"))

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Ask what both showed."""
        self.actor.require(Ability.CAPTURE)
        form = ComparisonForm(others=self.others, initial={"id": new_id()})
        return self.render_to_response(self.get_context_data(form=form, others=self.others))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Keep the comparison; sent twice it is kept once."""
        self.actor.require(Ability.CAPTURE)
        form = ComparisonForm(request.POST, others=self.others)
        if form.is_valid():
            data = form.cleaned_data
            try:
                record_comparison(
                    self.actor,
                    first=self.meter.uuid,
                    second=data["second"],
                    compared_on=data["compared_on"],
                    readings=data["readings"],
                    note=data["note"],
                    uuid=data["id"],
                )
            except Refused as refused:
                show_faults(form, refused)
            except Conflict as conflict:
                form.add_error(None, str(conflict))
        if form.errors:
            return self.render_to_response(self.get_context_data(form=form, others=self.others))
        return self.to_the_meter()
