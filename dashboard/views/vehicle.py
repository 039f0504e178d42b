"""One vehicle: a sentence, then one line of time."""

from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.generic import TemplateView

from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.clamp_words import unit_doubt_sentences
from dashboard.counting_words import counting_sentence
from dashboard.history import moments_of, trend_given
from dashboard.limbs import limbs_of
from dashboard.unit_words import UnitState, unit_states
from fleet.models import Installation, Vehicle
from inspections.models import Inspection


class VehiclePage(MemberRequiredMixin, TemplateView):
    """A vehicle with its units and everything that happened to them."""

    template_name = "dashboard/vehicle.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Collect the vehicle's state and history."""
        rows = Vehicle.objects.of(self.organisation).select_related("depot")
        vehicle = get_object_or_404(rows, uuid=kwargs["vehicle"])
        units = list(_units(vehicle))
        fitted = unit_states([unit for unit in units if unit.removed_on is None], now=timezone.now())
        moments = moments_of(vehicle, units)
        checks = [moment.inspection for moment in moments if moment.inspection]
        retarders = {state.installation.retarder_id for state in fitted}
        doubts = unit_doubt_sentences(self.organisation, retarders)
        return super().get_context_data(**kwargs) | {
            "vehicle": vehicle,
            "units": [_shown(state, checks, doubts) for state in fitted],
            "may_manage": self.actor.may(Ability.MANAGE),
            "may_check": self.actor.may(Ability.CAPTURE),
            "moments": moments,
        }


def _units(vehicle: Vehicle) -> Any:
    rows = Installation.objects.of(vehicle.organisation_id).filter(vehicle=vehicle).order_by("-fitted_on", "pk")
    return rows.select_related(
        "vehicle__depot",
        "retarder__retarder_type",
        "relay_box_type",
        "due_date__depot",
        "due_date__plan",
        "trend",
    )


def _shown(state: UnitState, checks: list[Inspection], doubts: dict[int, list[str]]) -> dict[str, Any]:
    unit = state.installation
    return {
        "state": state,
        "installation": unit,
        "due": state.due,
        "limbs": limbs_of(state.due, unit, today=state.today),
        "counting": counting_sentence(unit, state.due, checks),
        "trend": trend_given(unit),
        "doubts": doubts.get(unit.retarder_id, []),
    }
