"""The page behind an invitation's link."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.addresses import client_address
from accounts.errors import Conflict, NoInvitation
from accounts.models import Invitation, Member, User
from accounts.services.invitations import join, join_as_new, open_invitation
from dashboard.account_forms import JoinForm
from dashboard.signing_in import begin_session


class AnswerInvitation(TemplateView):
    """Joins who is signed in, or a new person who sets a password."""

    template_name = "dashboard/account/invitation.html"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Say the same of every link that is not good, and let nobody keep the page of one that is."""
        try:
            answer = super().dispatch(request, *args, **kwargs)
        except NoInvitation:
            answer = self.render_to_response({"gone": True}, status=404)
        if hasattr(answer, "render"):
            answer = answer.render()
        answer["Cache-Control"] = "no-store"
        return answer

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show who invites into what."""
        invitation = open_invitation(kwargs["secret"])
        return self._shown(invitation, JoinForm(initial={"full_name": invitation.name}))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Join."""
        secret = kwargs["secret"]
        if isinstance(request.user, User):
            return self._join_as(request.user, secret)
        form = JoinForm(request.POST)
        member = self._joined_as_new(form, secret) if form.is_valid() else None
        if member is None:
            return self._shown(open_invitation(secret), form)
        begin_session(request, member.user)
        return self._welcome(member)

    def _join_as(self, person: User, secret: str) -> HttpResponseBase:
        try:
            return self._welcome(join(secret, person, address=client_address(self.request)))
        except Conflict as conflict:
            messages.info(self.request, conflict.detail)
            return redirect("dashboard:home")

    def _joined_as_new(self, form: JoinForm, secret: str) -> Member | None:
        data = form.cleaned_data
        try:
            return join_as_new(
                secret,
                username=data["username"],
                password=data["password"],
                full_name=data["full_name"],
                address=client_address(self.request),
            )
        except ValidationError as error:
            named = getattr(error, "error_dict", {})
            form.add_error("username" if "username" in named else "password", error.messages)
            return None

    def _welcome(self, member: Member) -> HttpResponse:
        said = _("You belong to the book of %(organisation)s now.") % {"organisation": member.organisation.name}
        messages.success(self.request, said)
        return redirect("dashboard:today", member.organisation.slug)

    def _shown(self, invitation: Invitation, form: JoinForm) -> HttpResponse:
        context = self.get_context_data(invitation=invitation, form=form, signed_in=isinstance(self.request.user, User))
        return self.render_to_response(context)
