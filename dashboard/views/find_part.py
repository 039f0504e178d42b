"""Find the part: the next reading with its drawing and one field, and the likely causes as they move."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.errors import Conflict, Fault, Refused
from accounts.roles import Ability
from calc.diagnosis.observations import ISOLATED_KINDS
from dashboard.checks.access import StoredCheckMixin
from dashboard.checks.results import judgements_of
from dashboard.defect_words import defect_title
from dashboard.part.forms import ChooseForm, TakenForm, fresh
from dashboard.part.picture import circuit_of, drawn_words, faults
from dashboard.part.reach import out_of_reach, pass_over, reach_again
from dashboard.part.words import CauseGroup, cause_groups, expected_lines, resistances, taken_readings
from inspections.models import Defect, Inspection
from inspections.sentences import sentence
from inspections.sentences_causes import NO_CAUSE_EXPLAINS
from inspections.sentences_readings import READING_WORDS, reading_title, state_words
from inspections.services.extra import add_extra_reading
from inspections.services.found_causes import open_found_cause
from inspections.services.part_search import PartSearch, refuse_unsafe, search_part

Asked = dict[str, Any]


class FindPart(StoredCheckMixin, TemplateView):
    """The search for the faulty part from one check's readings."""

    template_name = "dashboard/part/find_part.html"

    @cached_property
    def check(self) -> Inspection:
        """Return the check."""
        return self.stored_check(self.kwargs["inspection"])

    @cached_property
    def search(self) -> PartSearch:
        """Return what is known so far."""
        return search_part(self.check, judgements_of(self.check)[-1], self._passed_over())

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the next reading above, the likely causes below."""
        ranking, evidence = self.search.ranking, self.search.evidence
        groups = [] if ranking is None else cause_groups(ranking)
        asked = kwargs.get("asked") or self._chosen() or self._suggested()
        causes = [cause for group in groups for cause in group.causes]
        circuit = circuit_of(self.search, groups, asked)
        extra = evidence.extra_readings[: len(evidence.extra_readings) - len(self.search.added)]
        return super().get_context_data(**kwargs) | {
            "check": self.check,
            "search": self.search,
            "asked": asked,
            "form": kwargs.get("form") or (asked and self._form(asked)),
            "choose_form": ChooseForm(rating=evidence.rating, auto_id="other_%s"),
            "may_capture": self.actor.may(Ability.CAPTURE),
            "passed_over": [reading_title(*spot) for spot in sorted(self._passed_over(), key=str)],
            "circuit": circuit,
            "drawn_words": drawn_words(circuit, causes, asked),
            "groups": groups,
            "end": self._end(groups, asked),
            "resistances": None if ranking is None else resistances(ranking),
            "taken": taken_readings(extra, self.search.added),
            "defects": [(defect, defect_title(defect)) for defect in self._open_defects()],
        }

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Take a reading, pass one over, or open a defect."""
        if not self.actor.may(Ability.CAPTURE):
            raise PermissionDenied
        if "open_defect" in request.POST:
            return self._open_defect(request.POST["open_defect"])
        if "reach_again" in request.POST:
            reach_again(request.session, self.check.uuid)
            return self._back()
        form = TakenForm(request.POST, rating=self.search.evidence.rating, fixed_state="chosen" not in request.POST)
        if "cannot_reach" in request.POST:
            return self._pass_over(form)
        if form.is_valid() and self._stored(form):
            return self._back()
        return self.render_to_response(self.get_context_data(form=form, asked=self._asked_again(form)))

    def _stored(self, form: TakenForm) -> bool:
        document = form.document()
        try:
            refuse_unsafe(self.search, document)
            add_extra_reading(self.actor, self.check.uuid, document)
        except (Refused, Conflict) as refusal:
            form.add_error(None, str(refusal))
            return False
        return True

    def _pass_over(self, form: TakenForm) -> HttpResponseBase:
        form.is_valid()
        data = form.cleaned_data
        if data.get("kind"):
            pass_over(self.request.session, self.check.uuid, (data["kind"], data.get("stage"), data.get("coil")))
        return self._back()

    def _open_defect(self, named: str) -> HttpResponseBase:
        ranked = () if self.search.ranking is None else self.search.ranking.hypotheses
        found = next((each for each in ranked if named == f"{each.cause}:{each.stage or ''}"), None)
        try:
            if found is None:
                raise Refused(Fault((), "not_ranked", _("That is none of the likely causes.")))
            defect = open_found_cause(self.actor, self.check, cause=found.cause, stage=found.stage)
        except Refused as refusal:
            messages.warning(self.request, str(refusal))
            return self._back()
        return redirect("dashboard:defect", self.organisation.slug, defect.uuid)

    def _back(self) -> HttpResponseBase:
        return redirect("dashboard:find-part", self.organisation.slug, self.check.uuid)

    def _passed_over(self) -> set[Any]:
        return out_of_reach(self.request.session, UUID(str(self.kwargs["inspection"])))

    def _suggested(self) -> Asked | None:
        reading = self.search.ranking and self.search.ranking.next_reading
        if not reading:
            return None
        asked = _asked(reading.kind, reading.stage, reading.coil, list(reading.energised))
        return asked | {
            "why": sentence(reading.why, {}),
            "expected": expected_lines(reading.kind, reading.expected),
            "chosen": False,
        }

    def _chosen(self) -> Asked | None:
        """Return the reading that the address names, taken in the usual state: all stages on that may be."""
        if "kind" not in self.request.GET:
            return None
        form = ChooseForm(self.request.GET, rating=self.search.evidence.rating)
        if not form.is_valid():
            messages.info(self.request, " ".join(str(error) for errors in form.errors.values() for error in errors))
            return None
        data = form.cleaned_data
        return _asked(data["kind"], data["stage"], data["coil"], self._usual_state(data["kind"])) | {"chosen": True}

    def _usual_state(self, kind: str) -> list[int]:
        if kind in ISOLATED_KINDS or kind == "quiescent_current":
            return []
        stages = range(1, self.search.evidence.rating.stages + 1)
        return [stage for stage in stages if stage not in self.search.hot_stages]

    def _asked_again(self, form: TakenForm) -> Asked | None:
        kind = form["kind"].value()
        if kind not in READING_WORDS:
            raise Http404
        suggested = self._suggested()
        data = form.cleaned_data
        energised = [int(stage) for stage in form["energised"].value() or [] if str(stage).isdecimal()]
        asked = _asked(kind, data.get("stage"), data.get("coil"), energised)
        if suggested is not None and [suggested[key] for key in PLACE] == [asked[key] for key in PLACE]:
            return suggested
        return asked | {"chosen": "chosen" in self.request.POST}

    def _form(self, asked: Asked) -> TakenForm:
        initial = fresh(asked["kind"], asked["stage"], asked["coil"], asked["energised"])
        return TakenForm(initial=initial, rating=self.search.evidence.rating, fixed_state=not asked["chosen"])

    def _open_defects(self) -> list[Defect]:
        rows = Defect.objects.of(self.organisation).filter(
            installation=self.check.installation_id, closed_at__isnull=True
        )
        return list(rows.order_by("opened_at", "pk")[:20])

    def _end(self, groups: list[CauseGroup], asked: Asked | None) -> dict[str, Any]:
        """Return what is to be said where no reading is asked for, and the causes that a defect may be opened for."""
        if not self.search.evidence.rating.identified:
            return {"words": _("The type is not identified, so nobody knows the circuit: no causes are ranked.")}
        if not groups:
            return {"words": _("This drive's amps and volts are not related by resistance: no causes are ranked.")}
        first = groups[0].causes
        if first[0].cause == "none_of_these":
            return {"words": NO_CAUSE_EXPLAINS}
        if first[0].cause == "healthy":
            return {"words": _("A sound unit explains every reading."), "causes": []}
        words = "" if asked else _("No further reading that is safe and within reach would tell more.")
        return {"words": words, "causes": faults(first)}


PLACE = ("kind", "stage", "coil")


def _asked(kind: str, stage: int | None, coil: int | None, energised: list[int]) -> Asked:
    isolated = kind in ISOLATED_KINDS
    return {
        "kind": kind,
        "stage": stage,
        "coil": coil,
        "energised": energised,
        "title": reading_title(kind, stage, coil),
        "where": READING_WORDS[kind].where,
        "isolated": isolated,
        "live": not isolated and kind != "quiescent_current",
        "state": state_words(energised, isolated=isolated),
    }
