"""One member of the book: another role, an end of access, removal."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.generic import TemplateView

from accounts.errors import Refused
from accounts.models import Member
from accounts.queries import unanswered_invitations
from accounts.roles import Ability, Role
from accounts.services.invitations import roles_to_give
from accounts.services.members import change_end, change_role, remove_member
from dashboard.access import MemberRequiredMixin
from dashboard.account_forms import EndForm, ReasonForm, RoleForm
from dashboard.checks.faults import show_faults


class Person(MemberRequiredMixin, TemplateView):
    """A member as who manages the book sees them."""

    template_name = "dashboard/people/person.html"

    @cached_property
    def subject(self) -> Member:
        """Return the member; one of another organisation does not exist here."""
        rows = Member.objects.of(self.organisation).staying().select_related("user")
        member = rows.filter(uuid=self.kwargs["member"]).first()
        if member is None:
            raise Http404
        return member

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the three forms, where the member is within reach."""
        self.actor.require(Ability.MANAGE)
        roles = roles_to_give(self.actor)
        context = {
            "subject": self.subject,
            "within_reach": Role(self.subject.role) in roles,
            "role_form": RoleForm(roles=roles, initial={"role": self.subject.role}, prefix="role"),
            "end_form": EndForm(initial={"ends_on": self.subject.ends_on}, prefix="end"),
            "remove_form": ReasonForm(prefix="remove"),
        }
        return super().get_context_data(**(context | kwargs))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Take one of the three forms."""
        self.actor.require(Ability.MANAGE)
        steps: dict[str, Callable[[], HttpResponseBase]] = {
            "role": self._change_role,
            "end": self._change_end,
            "remove": self._remove,
        }
        step = steps.get(request.POST.get("what", ""))
        if step is None:
            raise Http404
        return step()

    def _change_role(self) -> HttpResponseBase:
        form = RoleForm(self.request.POST, roles=roles_to_give(self.actor), prefix="role")
        said = _("The role is changed; it counts from their next click.")
        return self._take(
            "role_form", form, said, lambda data: change_role(self.actor, self.subject.uuid, Role(data["role"]))
        )

    def _change_end(self) -> HttpResponseBase:
        form = EndForm(self.request.POST, prefix="end")
        said = _("The last day of access is kept.")
        return self._take(
            "end_form", form, said, lambda data: change_end(self.actor, self.subject.uuid, data["ends_on"])
        )

    def _remove(self) -> HttpResponseBase:
        form = ReasonForm(self.request.POST, prefix="remove")
        said = _("%(person)s is removed and gets in no more. What they recorded stays under their name.")
        return self._take(
            "remove_form",
            form,
            " ".join([said % {"person": self.subject.user}, *self._links_to_nobody()]),
            lambda data: remove_member(self.actor, self.subject.uuid, reason=data["reason"]),
        )

    def _links_to_nobody(self) -> list[str]:
        """Warn of what removing cannot take back, because nobody knows whom it was handed to."""
        links = unanswered_invitations(self.organisation).filter(email="", expires_at__gt=timezone.now()).count()
        if not links:
            return []
        said = ngettext(
            "%(count)d invitation without a mail address is open: take its link back if it was theirs.",
            "%(count)d invitations without a mail address are open: take back the links that were theirs.",
            links,
        )
        return [said % {"count": links}]

    def _take(
        self, name: str, form: forms.Form, said: str, service: Callable[[dict[str, Any]], Member | None]
    ) -> HttpResponseBase:
        if form.is_valid():
            try:
                if service(form.cleaned_data) is None:
                    raise Http404
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.render_to_response(self.get_context_data(**{name: form, "form": form}))
        messages.success(self.request, said)
        return redirect("dashboard:people", self.organisation.slug)
