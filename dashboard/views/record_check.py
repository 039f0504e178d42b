"""Check the record: ask for a check, see what the last one found, and take the head away to keep elsewhere."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.anchors import anchor_text
from accounts.audit_sentences import bad_entry_sentence
from accounts.models import AuditHead
from accounts.roles import Ability
from accounts.services.record_checks import anchor_of_run, ask_for_check, bad_entry_of, last_check
from dashboard.access import MemberRequiredMixin, MemberView
from dashboard.records.entry_rows import zone_of


class RecordCheck(MemberRequiredMixin, TemplateView):
    """What the last check found."""

    template_name = "dashboard/records/check.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show it to whoever may manage the book."""
        self.actor.require(Ability.MANAGE)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Ask for a check."""
        ask_for_check(self.actor)
        messages.success(request, _("The check is asked for. A long record takes some minutes; look again here."))
        return redirect("dashboard:record-check", self.organisation.slug)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Gather the newest check and where the chain stands now."""
        run = last_check(self.organisation)
        bad = bad_entry_of(run) if run is not None and run.state == "done" else None
        return super().get_context_data(**kwargs) | {
            "run": run,
            "bad": bad and bad_entry_sentence(bad),
            "anchor": anchor_of_run(self.organisation, run),
            "head": AuditHead.objects.of(self.organisation).first(),
            "zone": zone_of(self.organisation),
        }


class AnchoredHead(MemberView):
    """The head as last checked, as a file."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Answer the file; a record that was found unsound, or not checked yet, has none."""
        if not self.actor.may(Ability.MANAGE):
            raise PermissionDenied
        anchor = anchor_of_run(self.organisation, last_check(self.organisation))
        if anchor is None:
            raise Http404
        name = f"{self.organisation.slug}-head-{anchor.sequence}.json"
        return HttpResponse(
            anchor_text(anchor),
            content_type="application/json",
            headers={"Content-Disposition": f'attachment; filename="{name}"'},
        )
