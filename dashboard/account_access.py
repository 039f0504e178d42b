"""Pages of a person's own account: they belong to who is signed in, not to an organisation."""

from typing import Any

from django.contrib.auth.mixins import LoginRequiredMixin
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.generic import TemplateView
from django.views.generic.base import View

from accounts.addresses import client_address
from accounts.models import User


class PersonMixin(LoginRequiredMixin, View):
    """Gives a page who is signed in, from where, and at which session."""

    @property
    def person(self) -> User:
        """Return who is signed in."""
        if not isinstance(self.request.user, User):
            raise TypeError("the page was reached by nobody")
        return self.request.user

    @property
    def address(self) -> str:
        """Return where the person is."""
        return client_address(self.request)


class PersonPage(PersonMixin, TemplateView):
    """A page with a form of the person's own."""

    def shown(self, **context: Any) -> HttpResponse:
        """Show the page, what was typed and what is wrong with it."""
        return self.render_to_response(self.get_context_data(**context))

    def shown_once(self, template: str, **context: Any) -> HttpResponse:
        """Show something that is shown only now; no cache keeps it."""
        return shown_once(self.request, template, self.get_context_data(**context))


def shown_once(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    """Answer with a page that neither the browser nor a proxy may keep."""
    answer = render(request, template, context)
    answer["Cache-Control"] = "no-store"
    return answer
