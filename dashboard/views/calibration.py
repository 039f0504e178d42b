"""One calibration: the meter as it came and as it left, and the checks in doubt, judged anew with what was found."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from accounts.errors import Conflict, Refused
from accounts.roles import Ability
from calc.instruments import is_within_accuracy
from calc.meters import half_width_at
from dashboard.checks.faults import show_faults
from dashboard.meters.calibration_form import DoubtForm
from dashboard.views.meter import MeterMixin
from inspections.calibrations import (
    corrections_of,
    error_as_found,
    last_good_before,
    looked_back_on,
    points_of,
    throws_doubt,
)
from inspections.evidence import meter_document, meter_of
from inspections.models import Calibration
from inspections.services.doubt import JudgedInDoubt, rejudge_in_doubt, run_in_doubt

SHOWN = 200


class CalibrationPage(MeterMixin):
    """What a certificate says, and what it throws doubt on."""

    template_name = "dashboard/calibration.html"

    @cached_property
    def calibration(self) -> Calibration:
        """Return the calibration; one of another meter does not exist here."""
        rows = Calibration.objects.of(self.organisation).filter(meter=self.meter).select_related("recorded_by", "meter")
        return get_object_or_404(rows, uuid=self.kwargs["calibration"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the points, the error they tell, and the checks in doubt."""
        calibration = self.calibration
        in_doubt = self._in_doubt() if throws_doubt(calibration) else []
        error = error_as_found(calibration)
        context = {
            "calibration": calibration,
            "points": [
                (_("As found"), self._points(calibration.as_found)),
                (_("As left"), self._points(calibration.as_left)),
            ],
            "error": error,
            "doubtful": throws_doubt(calibration),
            "last_good": last_good_before(calibration) if throws_doubt(calibration) else None,
            "in_doubt": in_doubt[:SHOWN],
            "more_in_doubt": len(in_doubt) > SHOWN,
            "run": run_in_doubt(self.organisation, calibration),
            "form": kwargs.get("form") or self._form(in_doubt),
        }
        return super().get_context_data(**kwargs | context)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Judge what is in doubt anew, beside its earlier verdicts."""
        self.actor.require(Ability.MANAGE)
        form = DoubtForm(request.POST)
        if form.is_valid():
            try:
                messages.success(request, _told(rejudge_in_doubt(self.actor, self.calibration, **form.cleaned_data)))
            except Refused as refused:
                show_faults(form, refused)
            except Conflict as conflict:
                messages.warning(request, conflict.detail)
        if form.errors:
            return self.render_to_response(self.get_context_data(form=form))
        return redirect("dashboard:calibration", self.organisation.slug, self.meter.uuid, self.calibration.uuid)

    def _in_doubt(self) -> list[Any]:
        rows = self.checks().filter(pk__in=looked_back_on(self.calibration).values("pk"))
        return list(rows[: SHOWN + 1])

    def _form(self, in_doubt: list[Any]) -> DoubtForm | None:
        if not in_doubt or not self.actor.may(Ability.MANAGE):
            return None
        found = dict(zip(("gain_percent", "zero"), corrections_of(self.calibration).values(), strict=False))
        reason = _("%(meter)s was found out of tolerance on %(on)s")
        words = reason % {"meter": self.meter.designation, "on": self.calibration.performed_on.isoformat()}
        return DoubtForm(initial={"reason": words, **found})

    def _points(self, points: list[dict[str, str]] | None) -> list[dict[str, Any]]:
        figures = meter_of(meter_document(self.meter))
        return [
            {
                **typed,
                "error": point.shown - point.applied,
                "allowed": half_width_at(figures, point.shown),
                "within": is_within_accuracy(figures, [point]),
            }
            for typed, point in zip(points or [], points_of(points), strict=True)
        ]


def _told(done: JudgedInDoubt) -> str:
    changed = sum(done.changes.values())
    words = ngettext(
        "%(judged)s check was judged anew, %(changed)s with another verdict.",
        "%(judged)s checks were judged anew, %(changed)s with another verdict.",
        done.judged,
    ) % {"judged": done.judged, "changed": changed}
    if not done.left:
        return words
    return ngettext(
        "%(left)s check is being judged anew in the background.",
        "%(left)s checks are being judged anew in the background, some thousand a minute.",
        done.left,
    ) % {"left": done.left}
