"""One defect: what is wrong, every step of its life, and what can be done about it."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from accounts.errors import Conflict, Refused
from accounts.roles import Ability
from calc.due import local_date
from dashboard.access import MemberRequiredMixin
from dashboard.checks.faults import show_faults
from dashboard.defect_forms import STEPS
from dashboard.defect_steps import step_sentence
from dashboard.defect_words import defect_title
from inspections.after_repair import checks_after
from inspections.models import Defect, DefectStep
from inspections.releases import has_run_out
from inspections.usage import km_since


class DefectPage(MemberRequiredMixin, TemplateView):
    """A defect with its steps; each form is one step."""

    template_name = "dashboard/defect.html"

    @cached_property
    def defect(self) -> Defect:
        """Return the defect; one of another organisation does not exist here."""
        rows = Defect.objects.of(self.organisation).select_related(
            "installation__vehicle__depot", "installation__retarder__retarder_type", "found_by", "released_by"
        )
        return get_object_or_404(rows.defer("found_by__evidence"), uuid=self.kwargs["defect"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show where it stands, and the forms of those who may fill them."""
        now = timezone.now()
        rows = DefectStep.objects.of(self.organisation).filter(defect=self.defect)
        steps = rows.select_related("by", "inspection").order_by("at", "pk")
        return super().get_context_data(**kwargs) | {
            "defect": self.defect,
            "what": defect_title(self.defect),
            "days": ((self.defect.closed_at or now) - self.defect.opened_at).days,
            "km": km_since([self.defect]).get(self.defect.pk),
            "run_out": self.defect.closed_at is None and has_run_out(self.defect, now=now),
            "checks_after": checks_after(self.defect.confirmed_cause) if self.defect.state == "repaired" else [],
            "steps": [(step, step_sentence(step)) for step in steps.defer("inspection__evidence")],
            "may_check": self.actor.may(Ability.CAPTURE),
            "forms": self._forms(kwargs.get("step"), kwargs.get("form")),
        }

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Take one step."""
        name = request.POST.get("step", "")
        if name not in STEPS:
            raise Http404
        form = STEPS[name].form(request.POST, auto_id=f"{name}_%s")
        if form.is_valid():
            try:
                STEPS[name].take(self.actor, self.defect, **form.cleaned_data)
            except Conflict as conflict:
                messages.warning(request, conflict.detail)
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.render_to_response(self.get_context_data(step=name, form=form))
        return redirect("dashboard:defect", self.organisation.slug, self.defect.uuid)

    def _known(self) -> dict[str, Any]:
        """Return what is known before a step: the cause that the search for the part has come to."""
        return {"cause": self.request.GET.get("cause", "")}

    def _forms(self, sent: str | None, form: Any) -> list[dict[str, Any]]:
        if self.defect.closed_at is not None:
            return []
        return [
            {
                "name": name,
                "step": step,
                "form": form if name == sent else step.form(initial=self._known(), auto_id=f"{name}_%s"),
            }
            for name, step in STEPS.items()
            if self.actor.may(step.ability) and (name != "settle-verdict" or self.defect.verdict_changed)
        ]


class CabNotice(DefectPage):
    """The release decision on one sheet for the cab."""

    template_name = "dashboard/cab_notice.html"
    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the sheet, once something is decided."""
        if not self.defect.release_decision:
            raise Http404
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the reason of the decision that stands, and the day of the sheet."""
        steps = DefectStep.objects.of(self.organisation).filter(defect=self.defect, kind="released")
        decided = steps.latest("at", "pk")
        today = local_date(timezone.now(), self.defect.installation.vehicle.depot.time_zone)
        return super().get_context_data(**kwargs) | {"decided": decided, "today": today}
