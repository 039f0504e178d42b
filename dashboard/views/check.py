"""Check: my units, the most urgent first; and the cautions that come before a check."""

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.functional import cached_property

from accounts.roles import Ability
from dashboard.checks.access import CaptureView
from dashboard.checks.drafts import new_draft
from dashboard.checks.forms import CautionsForm
from dashboard.checks.units import Unit, unit_by_id, units_to_check
from dashboard.typed import typed_text
from inspections.cautions import KEPT_IN_MIND
from inspections.history import recent_checks

PAGE = 30
PLANNED_STATES = ["overdue", "due", "in_notice"]


class CheckList(CaptureView):
    """The first page on the phone: what is planned, then every other unit."""

    template_name = "dashboard/check/list.html"
    ability = Ability.READ

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """List the units of one page of the list, and the checks that are not finished."""
        wanted = typed_text(self.request.GET, "q")
        units = units_to_check(self.organisation, wanted)
        page = Paginator(units, PAGE).get_page(self.request.GET.get("page"))
        rows = [(unit, getattr(unit, "due_date", None)) for unit in page]
        planned = [row for row in rows if row[1] is not None and row[1].state in PLANNED_STATES]
        return super().get_context_data(**kwargs) | {
            "may_check": self.actor.may(Ability.CAPTURE),
            "wanted": wanted,
            "page": page,
            "planned": planned,
            "others": [row for row in rows if row not in planned],
            "unfinished": [
                {"draft": draft, "unit": unit, "read": len(draft["readings"])}
                for draft in self.drafts.all()
                if (unit := unit_by_id(self.organisation, draft["installation"]))
            ],
        }


class StartCheck(CaptureView):
    """The cautions, as states that are recorded: one screen a vehicle."""

    template_name = "dashboard/check/start.html"

    @cached_property
    def unit(self) -> Unit:
        """Return the unit the address names."""
        unit = unit_by_id(self.organisation, self.kwargs["installation"])
        if unit is None or unit.installation.removed_on is not None:
            raise Http404
        return unit

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the states; whether the body is air-suspended is known from the last check."""
        earlier = recent_checks(self.unit.installation)
        known = (earlier[0].evidence.get("cautions") or {}) if earlier else {}
        suspension = "none" if known.get("air_suspension") == "none" else None
        context = {"unit": self.unit, "kept_in_mind": KEPT_IN_MIND}
        return super().get_context_data(
            **{"form": CautionsForm(initial={"air_suspension": suspension})} | context | kwargs
        )

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Begin the draft once every state is so."""
        form = CautionsForm(request.POST)
        if not form.is_valid():
            return self.render_to_response(self.get_context_data(form=form))
        draft = new_draft(self.unit.installation, form.cleaned_data)
        self.drafts.keep(draft)
        return redirect("dashboard:check-conditions", self.organisation.slug, draft["id"])
