"""Working: every step from the reading to the verdict, with formula, numbers, units and source."""

from typing import Any

from django.views.generic import TemplateView

from calc.method import METHOD_VERSION
from calc.working import StageWorking, stage_workings
from dashboard.checks.access import StoredCheckMixin
from dashboard.checks.apart_results import found_apart
from dashboard.checks.headline import headline_of
from dashboard.checks.inputs import inputs_context
from dashboard.checks.limits import why_no_limits
from dashboard.checks.results import judgements_of, sources_of
from inspections.actions import parts_of
from inspections.sentences import SOURCES
from inspections.services.judging import full_result, stored_evidence


class Working(StoredCheckMixin, TemplateView):
    """How the newest verdict of a check came about."""

    template_name = "dashboard/working/working.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Pair each stage's steps with its judgement."""
        check = self.stored_check(self.kwargs["inspection"])
        judgement = judgements_of(check)[-1]
        result = full_result(check, judgement)
        evidence = stored_evidence(check, judgement)
        # Under another method version the steps of today would not be those of the verdict.
        same_method = judgement.method_version == METHOD_VERSION
        workings = {each.stage: each for each in stage_workings(evidence)} if same_method else {}
        return super().get_context_data(**kwargs) | {
            "check": check,
            "unit_name": check.installation.vehicle.fleet_number,
            "judgement": judgement,
            "result": result,
            "evidence": evidence,
            "headline": headline_of(check, result, len(judgement.rating_revision.rated_currents_a)),
            "no_limits": why_no_limits(result["stages"]),
            "inputs": inputs_context(check, evidence),
            "rating": judgement.rating_revision,
            "sources": sources_of(judgement.rating_revision),
            "stages": [_stage(stage, workings.get(stage["stage"])) for stage in result["stages"]],
            "same_method": same_method,
            "parts": parts_of(result),
            "apart": found_apart(check),
        }


def _stage(stage: dict[str, Any], working: StageWorking | None) -> dict[str, Any]:
    budget = [
        {**line, "word": SOURCES.get(line["source"], line["source"]), "percent": 100 * line["variance_share"]}
        for line in stage.get("budget") or []
    ]
    return {"judged": stage, "working": working, "budget": budget}
