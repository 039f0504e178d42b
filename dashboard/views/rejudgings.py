"""Judge anew: choose a set and what changed, see which verdicts would change, then store them beside the old."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.errors import Conflict, Refused
from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.checks.faults import show_faults
from dashboard.rejudging_forms import RejudgingForm
from inspections.models import Rejudging
from inspections.models.codes import VERDICTS
from inspections.services.rejudging_runs import UNDER_WAY, ask_rejudging, counted_changes, store_rejudging

SHOWN = 30
CHANGED_SHOWN = 200


class Rejudgings(MemberRequiredMixin, TemplateView):
    """The form, and what was judged anew so far."""

    template_name = "dashboard/rejudgings.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """List the newest."""
        self.actor.require(Ability.MANAGE)
        rows = Rejudging.objects.of(self.organisation).select_related("requested_by").order_by("-pk")
        context = {"rows": list(rows[:SHOWN]), "form": kwargs.get("form") or RejudgingForm(self.organisation)}
        return super().get_context_data(**kwargs) | context

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Ask what would change."""
        self.actor.require(Ability.MANAGE)
        form = RejudgingForm(self.organisation, request.POST)
        if form.is_valid():
            try:
                row, _created = ask_rejudging(self.actor, selection=form.selection(), terms=form.terms())
            except Refused as refused:
                show_faults(form, refused)
            else:
                return redirect("dashboard:rejudging", self.organisation.slug, row.uuid)
        return self.render_to_response(self.get_context_data(form=form))


class RejudgingPage(MemberRequiredMixin, TemplateView):
    """One set: how far it has come, and which checks change class."""

    template_name = "dashboard/rejudging.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Count the changes and name the checks."""
        self.actor.require(Ability.MANAGE)
        row, words = self._row(), dict(VERDICTS)
        counted = sorted(counted_changes(row).items())
        changed = row.changed_verdicts.select_related("inspection__installation__vehicle").defer("inspection__evidence")
        return super().get_context_data(**kwargs) | {
            "row": row,
            "under_way": row.state in UNDER_WAY,
            "failed_with": next(iter(row.error.splitlines()), ""),
            "changes": [(words[before], words[after], count) for (before, after), count in counted],
            "number_changed": sum(count for _pair, count in counted),
            "changed": list(changed.order_by("pk")[:CHANGED_SHOWN]),
        }

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Store it."""
        self.actor.require(Ability.MANAGE)
        row = self._row()
        try:
            store_rejudging(self.actor, row)
        except Conflict as conflict:
            messages.warning(request, conflict.detail)
        else:
            messages.success(request, _("The new verdicts stand beside the old ones, or will in some minutes."))
        return redirect("dashboard:rejudging", self.organisation.slug, row.uuid)

    def _row(self) -> Rejudging:
        rows = Rejudging.objects.of(self.organisation).select_related("requested_by", "organisation")
        return get_object_or_404(rows, uuid=self.kwargs["rejudging"])
