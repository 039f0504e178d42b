"""Who was removed from the book, and a name that goes: what the person did stays in the record under another one."""

from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.errors import Conflict, Refused
from accounts.models import Member, Organisation
from accounts.roles import Ability
from accounts.services.names import replace_name
from dashboard.access import MemberRequiredMixin
from dashboard.account_forms import NameForm
from dashboard.checks.faults import show_faults
from dashboard.filters import MemberFilter
from dashboard.lists import BookListView


def removed_from(organisation: Organisation) -> QuerySet[Member]:
    """Return the members who were removed."""
    return Member.objects.of(organisation).filter(removed_at__isnull=False).select_related("user")


class Removed(BookListView):
    """Who was removed, for who may replace a name."""

    template_name = "dashboard/people/removed.html"
    filter_class = MemberFilter
    order = ("user__username", "pk")

    def rows(self) -> QuerySet[Member]:
        """Return the members who were removed."""
        self.actor.require(Ability.ADMINISTER)
        return removed_from(self.organisation)


class ReplaceName(MemberRequiredMixin, TemplateView):
    """Replaces the name of a person who was removed, for good."""

    template_name = "dashboard/people/replace_name.html"

    @cached_property
    def subject(self) -> Member:
        """Return who was removed; one of another organisation does not exist here."""
        member = removed_from(self.organisation).filter(uuid=self.kwargs["member"]).first()
        if member is None:
            raise Http404
        return member

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Ask for the other name."""
        self.actor.require(Ability.ADMINISTER)
        return super().get_context_data(**({"form": NameForm(), "subject": self.subject} | kwargs))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Replace it."""
        self.actor.require(Ability.ADMINISTER)
        form = NameForm(request.POST)
        if form.is_valid():
            self._try(form)
        if form.errors:
            return self.render_to_response(self.get_context_data(form=form))
        messages.success(request, _("The name is replaced. Every hash of the record still fits."))
        return redirect("dashboard:removed", self.organisation.slug)

    def _try(self, form: NameForm) -> None:
        try:
            replace_name(self.subject.user, actor=self.actor, **form.cleaned_data)
        except Refused as refused:
            show_faults(form, refused)
        except Conflict as conflict:
            form.add_error(None, conflict.detail)
