"""From the demo to a book of one's own, and the end of the demo."""

from typing import Any

from django.contrib import messages
from django.contrib.auth import logout
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.errors import Conflict, NotAllowed
from accounts.models import User
from accounts.queries import slugs_that_begin_with
from accounts.services import create_organisation
from dashboard.access import MemberRequiredMixin
from dashboard.checks.first_forms import OwnBookForm
from dashboard.signing_in import begin_session
from inspections.services.demo import close_demo

LONGEST_SLUG = 60


class OwnBook(MemberRequiredMixin, TemplateView):
    """Makes an organisation with its first administrator; only from the demo, which stands on one's own machine."""

    template_name = "dashboard/first_run/own_book.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Ask for three things."""
        if not self.organisation.is_demo:
            raise Http404
        return super().get_context_data(**{"form": OwnBookForm()} | kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Make the organisation, sign its administrator in, and go to the first check."""
        if not self.organisation.is_demo:
            raise Http404
        form = OwnBookForm(request.POST)
        member = _made(form) if form.is_valid() else None
        if member is None:
            return self.render_to_response(self.get_context_data(form=form))
        begin_session(request, member.user)
        return redirect("dashboard:first-check", member.organisation.slug)


def _made(form: OwnBookForm) -> Any:
    data = form.cleaned_data
    if User.objects.filter(username=data["username"]).exists():
        form.add_error("username", _("That name is taken."))
        return None
    try:
        _organisation, member = create_organisation(
            slug=free_slug(data["name"]),
            name=data["name"],
            administrator=data["username"],
            password=data["password"],
            source="pages",
        )
    except ValidationError as error:
        named = getattr(error, "error_dict", {})
        form.add_error("username" if "username" in named else "password", error.messages)
        return None
    except Conflict as conflict:
        form.add_error(None, conflict.detail)
        return None
    return member


def free_slug(name: str) -> str:
    """Return an address for the organisation that no other has."""
    base = slugify(name)[: LONGEST_SLUG - 4] or "book"
    taken = slugs_that_begin_with(base)
    numbered = (f"{base}-{number}" for number in range(2, len(taken) + 3))
    return next(slug for slug in [base, *numbered] if slug not in taken)


class CloseDemo(MemberRequiredMixin, TemplateView):
    """Asks first, then closes the demo; its rows stay, and nobody signs in to it again."""

    template_name = "dashboard/first_run/close_demo.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Say what closing ends and what it leaves."""
        if not self.organisation.is_demo:
            raise Http404
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Close it; who was signed in to it is signed out, because nothing of it is left to see."""
        try:
            close_demo(self.actor)
        except Conflict as conflict:
            messages.warning(request, conflict.detail)
            return redirect("dashboard:today", self.organisation.slug)
        except NotAllowed:
            messages.warning(request, _("A manager closes the demo, or the administrator of another book."))
            return redirect("dashboard:today", self.organisation.slug)
        if not self.organisation.is_demo:
            messages.success(request, _("The demo is closed."))
            return redirect("dashboard:home")
        logout(request)
        messages.success(request, _("The demo is closed. Sign in to your own book."))
        return redirect("dashboard:sign-in")
