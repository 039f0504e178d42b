"""Who sees a page: a member of the organisation that the address names; to everybody else it does not exist."""

from typing import Any

from django.contrib.auth.mixins import LoginRequiredMixin
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.template.response import SimpleTemplateResponse
from django.views.generic import View

from accounts.actors import Actor, member_actor
from accounts.addresses import client_address
from accounts.errors import NotAllowed
from accounts.models import Member, Organisation, User
from accounts.services import current_member
from accounts.tenancy import name_organisation
from dashboard.signing_in import passed_second_step, redirect_to_second_step


def wants_a_page(request: HttpRequest) -> bool:
    """Tell whether the client names HTML among what it takes, as browsers do; a wildcard names nothing."""
    return any((kind.main_type, kind.sub_type) == ("text", "html") for kind in request.accepted_types)


def _rendered(response: HttpResponseBase) -> HttpResponseBase:
    """Make the page while the transaction that names the organisation is open; Django would make it afterwards."""
    return response.render() if isinstance(response, SimpleTemplateResponse) else response


class MemberRequiredMixin(LoginRequiredMixin):
    """Set `member`, `organisation` and `actor` from the address and the person who is signed in."""

    member: Member
    organisation: Organisation
    actor: Actor
    request: HttpRequest

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Let a member in, ask a stranger to sign in, and answer 404 to everybody else."""
        if not isinstance(request.user, User):
            return self.handle_no_permission()
        member = current_member(request.user, organisation=kwargs["organisation"])
        if member is None:
            raise Http404
        self.member, self.organisation = member, member.organisation
        if member.organisation.two_step_required and not passed_second_step(request):
            return redirect_to_second_step(request)
        self.actor = member_actor(member, source="pages", address=client_address(request))
        name_organisation(member.organisation)
        try:
            return _rendered(super().dispatch(request, *args, **kwargs))
        except NotAllowed as refusal:
            return self._refused(PermissionDenied(str(refusal)), "dashboard/not_allowed.html", 403)
        except PermissionDenied as refusal:
            return self._refused(refusal, "dashboard/not_allowed.html", 403)
        except Http404 as missing:
            return self._refused(missing, "dashboard/not_found.html", 404)

    def _refused(self, refusal: Exception, template: str, status: int) -> HttpResponseBase:
        """Say so in the book's frame to a person, and leave every other client to the handlers."""
        if not wants_a_page(self.request):
            raise refusal
        context = {"organisation": self.organisation, "member": self.member, "actor": self.actor}
        return render(self.request, template, context, status=status)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Give every page what its frame needs."""
        context: dict[str, Any] = super().get_context_data(**kwargs)  # type: ignore[misc]
        return context | {"organisation": self.organisation, "member": self.member, "actor": self.actor}


class MemberView(MemberRequiredMixin, View):
    """A page without a template of its own, such as one that only takes a form."""
