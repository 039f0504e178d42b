"""What a unit could be: the types on file held against what its stages conduct, and the form that says which it is."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.generic import TemplateView

from accounts.errors import Refused
from accounts.roles import Ability
from calc.uncertainty import NORMAL_COVERAGE_FACTOR
from dashboard.access import MemberRequiredMixin
from dashboard.checks.faults import show_faults
from fleet.models import Installation, RetarderType
from fleet.not_identified import types_it_may_be
from inspections.services.identifying import identify_type
from inspections.type_candidates import Candidates, type_candidates


class IdentifyForm(forms.Form):
    """Of which type the unit is, and how that is known."""

    retarder_type = forms.ModelChoiceField(
        RetarderType.objects.none(), to_field_name="uuid", label=gettext_lazy("The unit is a"), empty_label=""
    )
    reason = forms.CharField(
        label=gettext_lazy("How do you know?"), max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, unit: Installation, *args: Any, **kwargs: Any) -> None:
        """Offer every type of as many stages and volts, and to have no type again."""
        super().__init__(*args, **kwargs)
        field: Any = self.fields["retarder_type"]
        field.queryset = types_it_may_be(unit.retarder).order_by("-identified", "designation")


class UnitType(MemberRequiredMixin, TemplateView):
    """The candidates of one unit; whoever manages says which it is, and its checks are judged anew."""

    template_name = "dashboard/unit_type.html"

    @cached_property
    def unit(self) -> Installation:
        """Return the unit; one of another organisation does not exist here."""
        rows = Installation.objects.of(self.organisation).select_related(
            "vehicle", "retarder__retarder_type", "retarder__found_as"
        )
        return get_object_or_404(rows, uuid=self.kwargs["installation"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Hold the unit against what is on file."""
        candidates = type_candidates(self.unit)
        context = {
            "unit": self.unit,
            "kind": self.unit.retarder.retarder_type,
            "counted": self.unit.retarder.found_as,
            "candidates": candidates,
            "stages": _stages(candidates),
            "may_manage": self.actor.may(Ability.MANAGE),
            "form": IdentifyForm(self.unit),
        }
        return super().get_context_data(**context | kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Say which it is."""
        self.actor.require(Ability.MANAGE)
        form = IdentifyForm(self.unit, request.POST)
        if form.is_valid():
            chosen = form.cleaned_data
            try:
                run = identify_type(self.actor, self.unit.retarder, chosen["retarder_type"], reason=chosen["reason"])
            except Refused as refused:
                show_faults(form, refused)
            else:
                messages.success(request, _("On file as %(type)s.") % {"type": chosen["retarder_type"]})
                if run is None:
                    return redirect("dashboard:vehicle", self.organisation.slug, self.unit.vehicle.uuid)
                return redirect("dashboard:rejudging", self.organisation.slug, run.uuid)
        return self.render_to_response(self.get_context_data(form=form))


def _stages(candidates: Candidates) -> list[dict[str, float]]:
    return [
        {
            "stage": one.stage,
            "conductance_s": one.conductance_s,
            "expanded_uncertainty_s": NORMAL_COVERAGE_FACTOR * one.u_conductance_s,
        }
        for one in candidates.own
    ]
