"""The book itself: under which name and postal address its records are printed."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.errors import Refused
from accounts.roles import Ability
from accounts.services.organisations import name_and_place
from dashboard.access import MemberRequiredMixin
from dashboard.account_forms import BookForm
from dashboard.checks.faults import show_faults


class Book(MemberRequiredMixin, TemplateView):
    """Name and postal address: an administrator sets them, every member reads them."""

    template_name = "dashboard/book.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the form to who may send it."""
        now = {"name": self.organisation.name, "address": self.organisation.address}
        context = {"administers": self.actor.may(Ability.ADMINISTER), "form": BookForm(initial=now)}
        return super().get_context_data(**(context | kwargs))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Keep both for the records printed from now on."""
        self.actor.require(Ability.ADMINISTER)
        form = BookForm(request.POST)
        if form.is_valid():
            try:
                name_and_place(self.actor, **form.cleaned_data)
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.render_to_response(self.get_context_data(form=form))
        messages.success(request, _("Kept. Records are printed under it from now on."))
        return redirect("dashboard:book", self.organisation.slug)
