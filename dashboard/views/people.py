"""Who belongs to the book, who is asked to, and what each may do."""

from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.errors import Conflict, Refused
from accounts.models import Invitation, Member
from accounts.queries import unanswered_invitations
from accounts.roles import ABILITIES, Ability, Role
from accounts.services.invitations import invite, revoke_invitation, roles_to_give
from accounts.services.organisations import require_two_step
from dashboard.access import MemberRequiredMixin, MemberView
from dashboard.account_access import shown_once
from dashboard.account_forms import InviteForm
from dashboard.checks.faults import show_faults
from dashboard.filters import MemberFilter
from dashboard.lists import BookListView
from dashboard.role_words import ability_words

INVITATIONS_SHOWN = 50


class People(BookListView):
    """Who belongs to the organisation, and for who manages it, who is invited."""

    template_name = "dashboard/people.html"
    filter_class = MemberFilter
    order = ("user__username", "pk")

    def rows(self) -> QuerySet[Member]:
        """Return the members who were not removed."""
        return Member.objects.of(self.organisation).staying().select_related("user")

    def shown(self, rows: list[Any]) -> Any:
        """Return each member with what the role may do."""
        today = timezone.now().date()
        return [
            {
                "member": member,
                "may": ability_words(ABILITIES[Role(member.role)]),
                "ended": member.ends_on is not None and member.ends_on < today,
            }
            for member in rows
        ]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the invitations that wait, for who may take them back."""
        manages = self.actor.may(Ability.MANAGE)
        return super().get_context_data(**kwargs) | {
            "manages": manages,
            "administers": self.actor.may(Ability.ADMINISTER),
            "invitations": self._invitations() if manages else [],
        }

    def _invitations(self) -> list[Invitation]:
        waiting = unanswered_invitations(self.organisation).filter(expires_at__gt=timezone.now())
        return list(waiting.select_related("invited_by").order_by("-created_at")[:INVITATIONS_SHOWN])


class Invite(MemberRequiredMixin, TemplateView):
    """Invites a person; the link is shown once, to who invites."""

    template_name = "dashboard/people/invite.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Offer the roles that can be given."""
        self.actor.require(Ability.MANAGE)
        form = InviteForm(roles=roles_to_give(self.actor), initial={"role": Role.TECHNICIAN.value})
        return super().get_context_data(**({"form": form} | kwargs))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Make the invitation and show its link."""
        self.actor.require(Ability.MANAGE)
        form = InviteForm(request.POST, roles=roles_to_give(self.actor))
        if form.is_valid():
            before_the_secret = reverse("dashboard:invitation", args=["0"]).removesuffix("0/")
            data = form.cleaned_data | {"role": Role(form.cleaned_data["role"])}
            try:
                invitation, link = invite(self.actor, answer_at=request.build_absolute_uri(before_the_secret), **data)
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.render_to_response(self.get_context_data(form=form))
        context = self.get_context_data(invitation=invitation, link=link)
        return shown_once(request, "dashboard/people/invited.html", context)


class RevokeInvitation(MemberView):
    """Takes an invitation back."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Take it back."""
        try:
            if revoke_invitation(self.actor, kwargs["invitation"]) is None:
                raise Http404
        except Conflict as conflict:
            messages.warning(request, conflict.detail)
        else:
            messages.success(request, _("The invitation is taken back; its link is good no longer."))
        return redirect("dashboard:people", self.organisation.slug)


class AskTwoStep(MemberView):
    """Asks a second step of every member, or no longer."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Set it."""
        required = request.POST.get("required") == "1"
        require_two_step(self.actor, required=required)
        asked = _("From now on this book asks every member for a second step at signing in.")
        messages.success(request, asked if required else _("This book asks for no second step any more."))
        return redirect("dashboard:people", self.organisation.slug)
