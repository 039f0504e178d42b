"""Exceptions: what was not the usual case, by period and depot, each with the page where the evidence stands."""

import datetime as dt
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.generic import TemplateView

from accounts.models import Depot, Organisation
from dashboard.access import MemberRequiredMixin
from dashboard.cursors import KeysetPage, keyset_page
from dashboard.records.entry_rows import zone_of
from dashboard.records.exception_rows import HEADINGS, exception_rows
from inspections.exceptions import EXCEPTIONS, Period

USUAL_PERIOD = dt.timedelta(days=30)
SHOWN_OF_EACH = 10


class PeriodForm(forms.Form):
    """Which days, which depot, and which kind of exception."""

    since = forms.DateField(label=_("From"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    until = forms.DateField(label=_("Until"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    depot = forms.ModelChoiceField(
        Depot.objects.none(), to_field_name="uuid", required=False, label=_("Depot"), empty_label=_("all")
    )
    kind = forms.ChoiceField(choices=[("", _("all")), *HEADINGS.items()], required=False, label=_("Kind"))

    def __init__(self, organisation: Organisation, *args: Any, **kwargs: Any) -> None:
        """Offer the organisation's depots."""
        super().__init__(*args, **kwargs)
        depots: Any = self.fields["depot"]
        depots.queryset = Depot.objects.of(organisation).order_by("name")

    def clean(self) -> dict[str, Any]:
        """Refuse a period that ends before it begins."""
        cleaned: dict[str, Any] = super().clean() or {}
        since, until = cleaned.get("since"), cleaned.get("until")
        if since and until and until < since:
            self.add_error("until", _("The period ends before it begins."))
        return cleaned


class Exceptions(MemberRequiredMixin, TemplateView):
    """Every kind that has rows with its newest ones, or one kind in full."""

    template_name = "dashboard/records/exceptions.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Take the period from the address; without one, the last thirty days."""
        query = self.request.GET
        today = timezone.now().date()
        asked = {name: query.get(name, "") for name in ("since", "until", "depot", "kind")}
        asked["since"] = asked["since"] or str(today - USUAL_PERIOD)
        asked["until"] = asked["until"] or str(today)
        form = PeriodForm(self.organisation, asked)
        sections = self._sections(form.cleaned_data) if form.is_valid() else []
        return super().get_context_data(**kwargs) | {"form": form, "sections": sections, "asked": form.is_valid()}

    def _sections(self, asked: dict[str, Any]) -> list[dict[str, Any]]:
        period = Period(self.organisation, asked["since"], asked["until"], asked["depot"])
        kinds = [asked["kind"]] if asked["kind"] else list(EXCEPTIONS)
        sections = (self._section(kind, period, whole=bool(asked["kind"])) for kind in kinds)
        return [section for section in sections if section["rows"]]

    def _section(self, kind: str, period: Period, *, whole: bool) -> dict[str, Any]:
        rows, order = EXCEPTIONS[kind].rows(period), EXCEPTIONS[kind].order
        if whole:
            query = self.request.GET
            page: KeysetPage[Any] = keyset_page(rows, order, after=query.get("after"), before=query.get("before"))
        else:
            page = keyset_page(rows, order, after=None, before=None, size=SHOWN_OF_EACH)
        lines = exception_rows(self.organisation, kind, page.rows, zone_of(self.organisation)) if page.rows else []
        return {"kind": kind, "heading": HEADINGS[kind], "rows": lines, "page": page, "whole": whole}
