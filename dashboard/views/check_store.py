"""Look the check over, and store it: the only step that writes into the book."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from accounts.errors import Conflict, Fault, Refused
from dashboard.checks.access import StepView
from dashboard.checks.beside import BESIDE_STEPS, beside_the_amps
from dashboard.checks.documents import judging_document, recording_document
from dashboard.checks.faults import other_faults, show_faults
from dashboard.checks.forms import LookOverForm
from dashboard.checks.readings import StageLink, look_at, stage_links, together_links
from dashboard.checks.units import open_defects
from dashboard.defect_words import defect_title
from inspections.history import recent_checks
from inspections.services.assess import assess
from inspections.services.record import record_inspection

OTHER_STEPS = ["all-off", "conditions", *BESIDE_STEPS]
OUTSIDE = ["fail", "conditional_fail"]


class LookOver(StepView):
    """Everything read, with the way back to each step, and the button that stores it."""

    template_name = "dashboard/check/look_over.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """List what was read beside the last time."""
        links = stage_links(self.unit, self.draft)
        together = together_links(self.unit, self.draft)
        return super().get_context_data(
            **{
                "form": self._form(),
                "rows": [self._row(link) for link in links],
                "together": [self._row(link) for link in together if link.done],
                "offer_together": len(together) > 0 and not any(link.done for link in together),
                "open_stages": [link for link in links if not link.done],
                "not_read_stages": (not_read := [link.stage for link in links if link.not_read is not None]),
                "beside": beside_the_amps(self.draft),
                "fails_all_the_same": bool(not_read) and self._fails_all_the_same(),
            }
            | kwargs
        )

    def take(self) -> Any:
        """Store the check unsigned, and show its result."""
        form = self._form(self.request.POST)
        if "change" in self.request.POST:
            return self._change(form, self.request.POST["change"])
        if not form.is_valid():
            return self.show(form=form)
        at = {"performed_at": self.draft.get("performed_at") or timezone.now().isoformat()}
        self.keep(**form.cleaned_data, **at)
        try:
            recorded = record_inspection(self.actor, recording_document(self.draft))
        except Refused as refused:
            others = [self._with_step(fault) for fault in other_faults(form, refused)]
            show_faults(form, refused)
            return self.show(form=form, faults=others)
        except Conflict:
            messages.warning(self.request, _("This check is in the book already, with other readings."))
            return redirect("dashboard:result", self.organisation.slug, self.draft["id"])
        self.drafts.forget(self.draft["id"])
        return redirect("dashboard:result", self.organisation.slug, recorded.inspection.uuid)

    def _change(self, form: LookOverForm, step: str) -> HttpResponseBase:
        """Keep what is typed so far, and go to another step."""
        form.is_valid()
        self.keep(**form.cleaned_data)
        if step in OTHER_STEPS:
            return self.step(step)
        links = [*stage_links(self.unit, self.draft), *together_links(self.unit, self.draft)]
        if step not in {link.key for link in links}:
            raise Http404
        return self.step("reading", step)

    def _fails_all_the_same(self) -> bool:
        """Tell whether what was read is outside limits, whatever was not read."""
        if not self.draft["readings"]:
            return False
        try:
            return assess(self.actor, judging_document(self.draft))["verdict"] in OUTSIDE
        except Refused:
            return False

    def _form(self, post: Any = None) -> LookOverForm:
        rows = open_defects(self.unit.installation)
        defects = [(str(defect.uuid), capfirst(defect_title(defect))) for defect in rows]
        first = "routine" if recent_checks(self.unit.installation) else "first"
        known = {
            key: self.draft[key] for key in ("purpose", "notes", "retest_of", "supersede_reason") if self.draft.get(key)
        }
        notes = {"notes": self.draft["stopped"]} if self.draft.get("stopped") else {}
        return LookOverForm(
            post,
            initial={"purpose": first, **notes, **known},
            defects=defects,
            replaces=bool(self.draft.get("supersedes")),
        )

    def _row(self, link: StageLink) -> dict[str, Any]:
        look = look_at(self.unit, self.draft, link.energised, link.reading) if link.reading else None
        return {"link": link, "look": look}

    def _with_step(self, fault: Fault) -> dict[str, Any]:
        """Return a fault and, where it is about a reading, the address of its step."""
        readings = recording_document(self.draft)["stage_readings"]
        if fault.path[:1] == ("stage_readings",) and len(fault.path) > 1:
            reading = readings[int(fault.path[1])]
            return {"fault": fault, "energised": "-".join(str(stage) for stage in reading["energised"])}
        return {"fault": fault, "energised": None}


class ThrowAway(StepView):
    """Lets a check on the way go; it takes a form, so that no address can do it."""

    http_method_names = ["post"]

    def take(self) -> Any:
        """Forget the draft; nothing of it was in the book."""
        self.drafts.forget(self.draft["id"])
        if replaced := self.draft.get("supersedes"):
            messages.info(self.request, _("The correction is dropped. The stored check stays."))
            return redirect("dashboard:result", self.organisation.slug, replaced)
        messages.info(self.request, _("Thrown away. Nothing of it was in the book."))
        return redirect("dashboard:check", self.organisation.slug)
