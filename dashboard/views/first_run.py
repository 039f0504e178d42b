"""The first run: a book of one's own, and in it the first check, judged first and filed second."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _

from accounts.errors import Refused
from accounts.identity import new_id
from accounts.models import Depot
from accounts.roles import Ability
from dashboard.checks import first_documents
from dashboard.checks.access import CaptureView
from dashboard.checks.first_forms import FilingForm, PlateForm
from dashboard.checks.limits import told_once
from dashboard.checks.results import sentences
from dashboard.checks.units import meters_in_use
from inspections.actions import ACTIONS
from inspections.limits import limits_in_force
from inspections.models import Inspection, Meter
from inspections.services.assess import assess
from inspections.services.first_run import file_first_check

USUAL_STAGES = 4
STAGE_COUNTS = range(1, 9)


class FirstCheck(CaptureView):
    """One page: plate, meters, temperature and readings; the verdict; then what it is filed under."""

    template_name = "dashboard/first_run/first_check.html"
    ability = Ability.MANAGE

    @cached_property
    def stages(self) -> int:
        """Return how many stages the page asks for."""
        wanted = self.request.GET.get("stages", "")
        return int(wanted) if wanted in [str(count) for count in STAGE_COUNTS] else USUAL_STAGES

    @cached_property
    def identified(self) -> bool:
        """Return whether there is a plate to read; without one the page asks what can be counted."""
        return self.request.GET.get("type") != "not-identified"

    @cached_property
    def depots(self) -> list[Depot]:
        """Return the depots there are already, the oldest first."""
        return list(Depot.objects.of(self.organisation).order_by("pk"))

    @cached_property
    def check_id(self) -> UUID:
        """Return the id that the page gave the check, so that filing it twice files it once."""
        try:
            return UUID(self.request.POST.get("check_id", ""))
        except ValueError:
            return new_id()

    @property
    def meters(self) -> QuerySet[Meter]:
        """Return the meters that need not be typed again."""
        return meters_in_use(self.organisation)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the page, empty or as far as it has come."""
        context = {
            "form": self._plate_form(),
            "identified": self.identified,
            "check_id": str(self.check_id),
            "stages": self.stages,
            "stage_counts": STAGE_COUNTS,
        }
        return super().get_context_data(**context | kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Judge what was typed; file it where that was asked for."""
        form = self._plate_form(request.POST)
        if not form.is_valid():
            return self.render_to_response(self.get_context_data(form=form))
        try:
            result = assess(self.actor, first_documents.assessment(form.cleaned_data))
        except Refused as refused:
            for fault in refused.faults:
                form.add_error(_field_of(form, fault.path), fault.detail)
            return self.render_to_response(self.get_context_data(form=form))
        if "file" in request.POST:
            return self._file(form, result)
        return self._judged(form, result, self._filing_form(initial=form.names_on_file()))

    def _plate_form(self, post: Any = None) -> PlateForm:
        return PlateForm(
            post,
            stages=self.stages,
            meters=self.meters,
            bounds_c=limits_in_force(self.organisation).bounds_c(),
            identified=self.identified,
        )

    def _filing_form(self, post: Any = None, initial: Mapping[str, str] | None = None) -> FilingForm:
        form = FilingForm(post, initial={"time_zone": "UTC", **(initial or {})})
        if not self.identified:
            del form.fields["type_designation"], form.fields["rating_source"]
            form.fields["serial_number"].label = _("Serial number of the retarder, or a mark of your own for it")
        form.keep_to(Depot.objects.of(self.organisation), self.depots)
        return form

    def _judged(self, form: PlateForm, result: dict[str, Any], filing: FilingForm) -> HttpResponseBase:
        context = {
            "form": form,
            "filing": filing,
            "result": result,
            "action": ACTIONS[result["action"]],
            "reasons": told_once(sentences(result["verdict_reasons"]), self.stages),
            "findings": sentences(result["findings"]),
        }
        return self.render_to_response(self.get_context_data(**context))

    def _file(self, form: PlateForm, result: dict[str, Any]) -> HttpResponseBase:
        check = self.check_id
        if Inspection.objects.of(self.organisation).filter(uuid=check).exists():
            return redirect("dashboard:result", self.organisation.slug, check)
        filing = self._filing_form(self.request.POST)
        if not filing.is_valid():
            return self._judged(form, result, filing)
        named = {**filing.cleaned_data, "plan_source": _("Entered with the first check")}
        depot = named.get("depot") or next(iter(self.depots), None)
        document = first_documents.filing(form.cleaned_data, named, check=check, depot=depot, now=timezone.now())
        try:
            recorded = file_first_check(self.actor, document)
        except Refused as refused:
            _show_filing_faults(filing, refused)
            return self._judged(form, result, filing)
        return redirect("dashboard:result", self.organisation.slug, recorded.inspection.uuid)


def _field_of(form: PlateForm, path: tuple[str | int, ...]) -> str | None:
    """Return the field of the reading that a fault is about."""
    if path[:1] != ("stage_readings",) or len(path) < 3:
        return None
    kind = "volts" if path[2] == "supply_voltage_v" else "amps"
    return f"{kind}_{int(path[1]) + 1}"


def _show_filing_faults(filing: FilingForm, refused: Refused) -> None:
    for fault in refused.faults:
        field = first_documents.FIELD_OF.get((str(fault.path[0]), str(fault.path[-1]))) if fault.path else None
        filing.add_error(field if field in filing.fields else None, fault.detail)
