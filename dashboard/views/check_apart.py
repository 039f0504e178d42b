"""The optional steps of a check, after the stages: battery, control check, mechanical survey."""

from typing import Any

from django.utils.functional import cached_property

from dashboard.checks.access import StepView
from dashboard.checks.apart_forms import BatteryForm, ControlForm, SurveyForm, survey_initial
from inspections.limits import OwnLimits, limits_in_force
from inspections.queries import rating_on_file
from inspections.survey_items import CONTROL, MECHANICAL


class ApartStep(StepView):
    """A step that keeps one thing in the draft, or takes it out again, and goes back to looking over."""

    key = ""

    @cached_property
    def own(self) -> OwnLimits:
        """Return the organisation's lists."""
        return limits_in_force(self.organisation)

    def form(self, post: Any = None) -> Any:
        """Return the step's form with what is kept."""
        raise NotImplementedError

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show what was kept before."""
        return super().get_context_data(**{"form": kwargs.pop("form", None) or self.form()} | kwargs)

    def take(self) -> Any:
        """Keep what was found."""
        form = self.form(self.request.POST)
        if not form.is_valid():
            return self.show(form=form)
        self.keep(**{self.key: form.found()})
        return self.step("look-over")


class Battery(ApartStep):
    """Volts across the battery posts, against what the alternator is rated for."""

    template_name = "dashboard/check/battery.html"
    key = "battery"

    def form(self, post: Any = None) -> BatteryForm:
        """Return the form."""
        return BatteryForm(post, initial=self.draft.get("battery") or {})


class Control(ApartStep):
    """What the controls do, item by item."""

    template_name = "dashboard/check/control.html"
    key = "control_check"

    def form(self, post: Any = None) -> ControlForm:
        """Return the form."""
        return ControlForm(post, items=self.own.items(CONTROL), initial=self.draft.get("control_check") or {})


class Mechanical(ApartStep):
    """What the machine looks like, item by item."""

    template_name = "dashboard/check/mechanical.html"
    key = "mechanical_survey"

    def form(self, post: Any = None) -> SurveyForm:
        """Return the form."""
        return SurveyForm(
            post,
            items=self.own.items(MECHANICAL),
            limits=rating_on_file(self.unit.installation).survey_limits or {},
            initial=survey_initial(self.draft.get("mechanical_survey")),
        )
