"""Settle a due date that rests on a verdict which was given anew with another outcome."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect

from accounts.errors import Refused
from dashboard.access import MemberView
from dashboard.typed import typed_text
from schedules.models import DueDate
from schedules.services.settling import settle_changed_due_date


class SettleDue(MemberView):
    """Takes the decision, with its reason."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Let the due date stand."""
        rows = DueDate.objects.of(self.organisation).select_related("installation__vehicle")
        due_date = get_object_or_404(rows, uuid=kwargs["due_date"])
        try:
            settle_changed_due_date(self.actor, due_date, reason=typed_text(request.POST, "reason"))
        except Refused as refused:
            messages.warning(request, refused.faults[0].detail)
        return redirect("dashboard:vehicle", self.organisation.slug, due_date.installation.vehicle.uuid)
