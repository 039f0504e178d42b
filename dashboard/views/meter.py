"""One test meter: its calibrations, the checks read with it, and what a failed calibration throws doubt on."""

from typing import Any

from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from accounts.errors import Refused
from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.calibration_form import CalibrationForm
from dashboard.checks.faults import show_faults
from inspections.calibrations import looked_back_on
from inspections.models import Calibration, Inspection, Meter
from inspections.queries import inspections_with_names
from inspections.services.meters import record_calibration

CHECKS_SHOWN = 20
LOOKED_BACK_ON_SHOWN = 200


class MeterPage(MemberRequiredMixin, TemplateView):
    """A clamp or voltmeter with everything that rests on it."""

    template_name = "dashboard/meter.html"

    @cached_property
    def meter(self) -> Meter:
        """Return the meter; one of another organisation does not exist here."""
        return get_object_or_404(Meter.objects.of(self.organisation), uuid=self.kwargs["meter"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show calibrations and checks, newest first."""
        calibrations = list(Calibration.objects.filter(meter=self.meter).order_by("-performed_on"))
        doubtful = self._in_doubt(calibrations)
        context = {
            "meter": self.meter,
            "today": timezone.now().date(),
            "calibrations": calibrations,
            "checks": list(self._checks()[:CHECKS_SHOWN]),
            "in_doubt": doubtful[:LOOKED_BACK_ON_SHOWN],
            "more_in_doubt": len(doubtful) > LOOKED_BACK_ON_SHOWN,
            "form": CalibrationForm() if self.actor.may(Ability.MANAGE) else None,
        }
        return super().get_context_data(**context | kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Keep a calibration."""
        self.actor.require(Ability.MANAGE)
        form = CalibrationForm(request.POST)
        if form.is_valid():
            try:
                record_calibration(self.actor, self.meter, **form.cleaned_data)
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.render_to_response(self.get_context_data(form=form))
        return redirect("dashboard:meter", self.organisation.slug, self.meter.uuid)

    def _checks(self) -> QuerySet[Inspection]:
        read_with = Q(ammeter=self.meter) | Q(voltmeter=self.meter)
        rows = inspections_with_names(self.organisation).filter(read_with)
        return rows.defer("evidence").order_by("-performed_at", "-pk")

    def _in_doubt(self, calibrations: list[Calibration]) -> list[Inspection]:
        newest = calibrations[0] if calibrations else None
        if newest is None or newest.passed:
            return []
        rows = self._checks().filter(pk__in=looked_back_on(newest).values("pk"))
        return list(rows[: LOOKED_BACK_ON_SHOWN + 1])
