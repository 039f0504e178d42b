"""The driver's one tap, without an account, and the label in the cab that leads to it."""

from typing import Any
from uuid import UUID

import segno
from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.safestring import mark_safe
from django.utils.translation import gettext_lazy as _
from django.views.generic import TemplateView, View

from accounts.errors import Conflict, Refused
from accounts.identity import new_id
from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.checks.numbers import TypedDecimal
from fleet.models import Vehicle
from inspections.models import DriverLink
from inspections.services.driver_reports import (
    TooManyReports,
    issue_driver_link,
    link_of,
    report_by_driver,
    revoke_driver_link,
    token_of,
)

CODES = [
    ("driver_weaker", _("Retarder weaker than usual")),
    ("driver_lamp", _("Warning lamp")),
    ("driver_noise", _("Noise")),
    ("driver_other", _("Something else")),
]
HIGHEST_KM = 10_000_000
QUIET_ZONE = 4


class ReportForm(forms.Form):
    """One tap; words and odometer if the driver likes."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    code = forms.ChoiceField(choices=CODES, widget=forms.HiddenInput)
    words = forms.CharField(
        label=_("In a few words, if you like"),
        max_length=500,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    odometer_km = TypedDecimal(label=_("Odometer, km, if you like"), low=0, high=HIGHEST_KM, required=False)


class DriverReport(View):
    """What a driver sees who has opened the label's address: four buttons, and nothing of the book."""

    @cached_property
    def link(self) -> DriverLink:
        """Return the link; one that is revoked, closed or not signed here does not exist."""
        link = link_of(self.kwargs["token"])
        if link is None:
            raise Http404
        return link

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        """Show the buttons."""
        return self._show(ReportForm(initial={"id": new_id()}))

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        """Take one tap; a second of the same page is the same one."""
        _known = self.link
        form = ReportForm(request.POST)
        if not form.is_valid():
            return self._show(form)
        data = form.cleaned_data
        try:
            report_by_driver(self.link, report_id=data.pop("id"), **data)
        except TooManyReports:
            return self._show(form, status=429, said=_("Reported several times already. Call your depot."))
        except (Refused, Conflict) as refusal:
            return self._show(form, status=409, said=str(refusal))
        return self._show(None, said=_("Thank you. It is with the workshop."))

    def _show(self, form: ReportForm | None, *, status: int = 200, said: Any = "") -> HttpResponse:
        context = {"fleet_number": self.link.vehicle.fleet_number, "form": form, "codes": CODES, "said": said}
        return render(self.request, "dashboard/driver/report.html", context, status=status)


class DriverLabel(MemberRequiredMixin, TemplateView):
    """The label for one cab: made, printed, revoked."""

    template_name = "dashboard/driver/label.html"

    @cached_property
    def vehicle(self) -> Vehicle:
        """Return the vehicle; one of another organisation does not exist here."""
        return get_object_or_404(Vehicle.objects.of(self.organisation), uuid=self.kwargs["vehicle"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the link in force as a QR code (ISO/IEC 18004), to those who may make and revoke it."""
        self.actor.require(Ability.MANAGE)
        rows = DriverLink.objects.of(self.organisation).filter(vehicle=self.vehicle, revoked_at__isnull=True)
        link = rows.select_related("issued_by").first()
        address = "" if link is None else self._address(link)
        return super().get_context_data(**kwargs) | {
            "vehicle": self.vehicle,
            "link": link,
            "address": address,
            "code": _svg(address) if address else "",
        }

    def post(self, request: HttpRequest, *args: Any, **kwargs: UUID) -> HttpResponse:
        """Make a new label, or revoke the one in force."""
        if "revoke" in request.POST:
            revoke_driver_link(self.actor, self.vehicle)
        else:
            issue_driver_link(self.actor, self.vehicle)
        return redirect("dashboard:driver-label", self.organisation.slug, self.vehicle.uuid)

    def _address(self, link: DriverLink) -> str:
        return self.request.build_absolute_uri(reverse("dashboard:driver-report", args=[token_of(link)]))


def _svg(address: str) -> str:
    drawn = segno.make(address, error="m").svg_inline(
        omitsize=True, border=QUIET_ZONE, dark="#000", light="#fff", svgclass="qr", lineclass=None
    )
    # The drawing holds nothing but the modules of the code.
    return mark_safe(drawn)  # noqa: S308
