"""Rules and limits: how the organisation judges from now on, who set it when, and what is looked at."""

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.forms import Form
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.errors import Conflict, Refused
from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.checks.faults import show_faults
from dashboard.rules.lists_form import ListsForm
from dashboard.rules.rules_form import RulesForm
from inspections.limits import OwnLimits, limits_in_force
from inspections.models import LimitsRevision
from inspections.services.limits import set_limits, set_rule

REVISIONS_SHOWN = 20


class SettingsPage(MemberRequiredMixin, TemplateView):
    """A page on which a manager sets something, and every member reads it."""

    page = ""

    @cached_property
    def own(self) -> OwnLimits:
        """Return what holds now."""
        return limits_in_force(self.organisation)

    def form(self, post: Any = None) -> Any:
        """Return the page's form."""
        raise NotImplementedError

    def keep(self, form: Any) -> None:
        """Hand what was typed to the services."""
        raise NotImplementedError

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the form; who may not change it cannot send it."""
        context = {"may_manage": self.actor.may(Ability.MANAGE), "own": self.own}
        return super().get_context_data(**{"form": kwargs.pop("form", None) or self.form()} | context | kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Keep it for the checks to come."""
        self.actor.require(Ability.MANAGE)
        form = self.form(request.POST)
        if form.is_valid():
            self._try(form)
        if form.errors:
            return self.render_to_response(self.get_context_data(form=form))
        messages.success(request, _("Kept. It holds for the checks to come."))
        return redirect(f"dashboard:{self.page}", self.organisation.slug)

    def _try(self, form: Form) -> None:
        try:
            with transaction.atomic():
                self.keep(form)
        except Refused as refused:
            show_faults(form, refused)
        except Conflict as conflict:
            form.add_error(None, conflict.detail)


class Rules(SettingsPage):
    """Decision rule, calibration policy, bounds of the coil temperature, limits."""

    template_name = "dashboard/rules.html"
    page = "rules"

    def form(self, post: Any = None) -> RulesForm:
        """Return the form."""
        return RulesForm(post, organisation=self.organisation, own=self.own)

    def keep(self, form: RulesForm) -> None:
        """Set rule, bounds and limits together or not at all."""
        set_limits(self.actor, **form.numbers())
        set_rule(self.actor, **form.rule())

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add who changed the limits when."""
        revisions = LimitsRevision.objects.of(self.organisation).select_related("entered_by").order_by("-number")
        return super().get_context_data(**kwargs) | {"revisions": list(revisions[:REVISIONS_SHOWN])}


class Lists(SettingsPage):
    """What the control check and the mechanical survey look at."""

    template_name = "dashboard/rules_lists.html"
    page = "rules-lists"

    def form(self, post: Any = None) -> ListsForm:
        """Return the form."""
        return ListsForm(post, own=self.own)

    def keep(self, form: ListsForm) -> None:
        """Set both lists."""
        set_limits(self.actor, **form.lists())
