"""One test meter: its accuracy, its calibrations and comparisons, the checks read with it, and which are in doubt."""

from typing import Any

from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from accounts.errors import Refused
from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.checks.faults import show_faults
from dashboard.checks.inputs import METER_UNITS
from dashboard.clamp_words import doubt_heading, doubt_sentence
from dashboard.meters.accuracy_form import AccuracyForm
from dashboard.meters.calibration_form import CalibrationForm
from inspections.calibrations import throws_doubt
from inspections.clamp_doubts import doubts_of, numbers_read, numbers_withdrawn, read_in_any
from inspections.models import Calibration, Inspection, Meter, MeterComparison
from inspections.queries import inspections_with_names
from inspections.services.calibrations import record_calibration
from inspections.services.meters import change_meter

CHECKS_SHOWN = 20
COMPARISONS_SHOWN = 20
# A list to work through: whoever has more than this to look back on has them judged anew.
LOOKED_BACK_SHOWN = 500


class MeterMixin(MemberRequiredMixin, TemplateView):
    """A page about one meter."""

    @cached_property
    def meter(self) -> Meter:
        """Return the meter; one of another organisation does not exist here."""
        return get_object_or_404(Meter.objects.of(self.organisation), uuid=self.kwargs["meter"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Name the meter and its unit."""
        context = {"meter": self.meter, "unit": METER_UNITS[self.meter.kind], "ranges": stated_ranges(self.meter)}
        # An address names the meter by its id under the same name.
        return super().get_context_data(**kwargs | context)

    def checks(self) -> QuerySet[Inspection]:
        """Return the checks read with the meter, newest first."""
        read_with = Q(ammeter=self.meter) | Q(voltmeter=self.meter)
        rows = inspections_with_names(self.organisation).filter(read_with)
        return rows.defer("evidence").order_by("-performed_at", "-pk")

    def to_the_meter(self) -> HttpResponseBase:
        """Go back to the meter's page."""
        return redirect("dashboard:meter", self.organisation.slug, self.meter.uuid)


def stated_ranges(meter: Meter) -> list[dict[str, Any]]:
    """Return what a meter states, a row a range."""
    names = ("range_max", "accuracy_percent", "accuracy_counts", "resolution")
    return meter.ranges or [{name: getattr(meter, name) for name in names}]


class MeterPage(MeterMixin):
    """A clamp or voltmeter with everything that rests on it."""

    template_name = "dashboard/meter.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show calibrations, comparisons and checks, newest first."""
        calibrations = list(
            Calibration.objects.of(self.organisation).filter(meter=self.meter).order_by("-performed_on")
        )
        compared = MeterComparison.objects.of(self.organisation).filter(Q(first=self.meter) | Q(second=self.meter))
        context = {
            "today": timezone.now().date(),
            "calibrations": calibrations,
            "throwing_doubt": [each for each in calibrations if throws_doubt(each)],
            "comparisons": list(
                compared.select_related("first", "second").order_by("-compared_on", "-pk")[:COMPARISONS_SHOWN]
            ),
            "checks": list(self.checks()[:CHECKS_SHOWN]),
            "doubts": self._doubts(),
            "may_manage": self.actor.may(Ability.MANAGE),
            "may_compare": self.actor.may(Ability.CAPTURE),
            "form": CalibrationForm() if self.actor.may(Ability.MANAGE) else None,
        }
        return super().get_context_data(**context | kwargs)

    def _doubts(self) -> list[dict[str, Any]]:
        """Return how the clamp reads beside the others, with everything read with it meanwhile."""
        doubts = doubts_of(self.meter)
        if not doubts:
            return []
        checks = list(self.checks().filter(read_in_any(doubts, most=LOOKED_BACK_SHOWN)))
        numbers = zip(doubts, numbers_read(doubts), numbers_withdrawn(doubts), strict=True)
        return [
            {
                "doubt": doubt,
                "heading": doubt_heading(doubt),
                "sentence": doubt_sentence(doubt),
                "checks": [check for check in checks if doubt.holds_on(check.performed_on)],
                "count": count,
                "withdrawn": withdrawn,
            }
            for doubt, count, withdrawn in numbers
        ]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Keep a calibration, and show what it throws doubt on."""
        self.actor.require(Ability.MANAGE)
        form = CalibrationForm(request.POST)
        if form.is_valid():
            try:
                made = record_calibration(self.actor, self.meter, **form.cleaned_data)
            except Refused as refused:
                show_faults(form, refused)
            else:
                if throws_doubt(made):
                    return redirect("dashboard:calibration", self.organisation.slug, self.meter.uuid, made.uuid)
        if form.errors:
            return self.render_to_response(self.get_context_data(form=form))
        return self.to_the_meter()


class MeterAccuracy(MeterMixin):
    """What the meter states of its accuracy, range by range."""

    template_name = "dashboard/meter_accuracy.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show what is on file."""
        self.actor.require(Ability.MANAGE)
        return self.render_to_response(self.get_context_data(form=AccuracyForm(meter=self.meter)))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Keep it for the checks to come."""
        self.actor.require(Ability.MANAGE)
        form = AccuracyForm(request.POST, meter=self.meter)
        if form.is_valid():
            try:
                change_meter(self.actor, self.meter, **form.cleaned_data)
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.render_to_response(self.get_context_data(form=form))
        return self.to_the_meter()
