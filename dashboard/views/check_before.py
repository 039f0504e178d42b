"""The steps before the first stage: how warm, with which meters, can it be clear, and everything off."""

from typing import Any

from accounts.errors import Refused
from dashboard.checks.access import StepView
from dashboard.checks.documents import conditions_document
from dashboard.checks.drafts import Draft
from dashboard.checks.faults import show_faults
from dashboard.checks.forms import ConditionsForm, RestForm
from dashboard.checks.numbers import typed
from dashboard.checks.slips import put_right, slip_of
from dashboard.checks.units import meters_in_use, meters_used_last
from inspections.limits import limits_in_force
from inspections.services.preview import preview_check

CONDITIONS = ["ammeter", "voltmeter", "coil_temperature_method", "engine_state"]
TEMPERATURES = ["coil_temperature_c", "coil_temperature_bound_c", "hours_parked"]


class Conditions(StepView):
    """Test meters, how long it has stood, how warm the coils are."""

    template_name = "dashboard/check/conditions.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Offer the meters of the last check first."""
        known = {key: self.draft[key] for key in [*CONDITIONS, *TEMPERATURES] if self.draft.get(key)}
        initial = {**meters_used_last(self.actor), **known}
        form = ConditionsForm(initial=initial, **self._offered())
        return super().get_context_data(**{"form": form} | kwargs)

    def take(self) -> Any:
        """Keep the conditions and go on to what can be clear with them."""
        form = ConditionsForm(self.request.POST, **self._offered())
        if form.is_valid() and self._accepted(form):
            return self.step("look-over" if self.draft.get("supersedes") else "clear")
        return self.show(form=form)

    def _offered(self) -> dict[str, Any]:
        bounds_c = limits_in_force(self.organisation).bounds_c()
        return {"meters": meters_in_use(self.organisation), "bounds_c": bounds_c}

    def _accepted(self, form: ConditionsForm) -> bool:
        data = form.cleaned_data
        conditions = {key: data[key] for key in CONDITIONS} | {key: typed_or_none(data[key]) for key in TEMPERATURES}
        try:
            preview_check(self.actor, conditions_document({**self.draft, **conditions}))
        except Refused as refused:
            show_faults(form, refused)
            return False
        self.keep(**conditions)
        return True


def typed_or_none(value: Any) -> str | None:
    """Return a number as a draft holds it."""
    return None if value is None else str(value)


class CanItBeClear(StepView):
    """What a healthy unit should show, and whether that could be judged clear with these meters and this coil."""

    template_name = "dashboard/check/clear.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Judge the readings of a healthy unit."""
        preview = preview_check(self.actor, conditions_document(self.draft))
        short = [stage for stage in preview.stages if not stage.can_pass]
        return super().get_context_data(**kwargs) | {
            "preview": preview,
            "clear": not short,
            "has_history": any(stage.expected_current_a is not None for stage in preview.stages),
            "reason": next((stage.undetermined_reason for stage in short if stage.undetermined_reason), None),
            "would_do": short[0].would_do if short else (),
        }


class AllOff(StepView):
    """Volts and amps with everything off."""

    template_name = "dashboard/check/all_off.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show what was read before."""
        return super().get_context_data(**{"form": RestForm(initial=self.draft.get("rest") or {})} | kwargs)

    def take(self) -> Any:
        """Keep the rest reading, or that it was not taken."""
        if "not_read" in self.request.POST:
            self.keep(rest=None)
            return self._next()
        post = put_right(self.request.POST)
        form = RestForm(post)
        if not form.is_valid():
            return self.show(form=form)
        if slip := slip_of(post, form, self.unit.rating.system_voltage_v):
            return self.show(form=form, slip=slip)
        self.keep(rest={key: typed(form.cleaned_data[key]) for key in ("supply_voltage_v", "current_a")})
        return self._next()

    def _next(self) -> Any:
        open_stages = [stage for stage in self.unit.stages if is_open(self.draft, stage)]
        return self.step("reading", str(open_stages[0])) if open_stages else self.step("look-over")


def is_open(draft: Draft, stage: int) -> bool:
    """Tell whether the stage is neither read nor named as not read."""
    return str(stage) not in draft["readings"] and str(stage) not in draft["not_read"]
