"""The record of one check, whole, as a sheet of paper."""

from typing import Any

from django.http import Http404
from django.utils import timezone
from django.views.generic import TemplateView

from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.checks.inputs import inputs_context
from dashboard.checks.results import result_context, sources_of
from dashboard.records.entry_rows import entry_rows
from inspections.cautions import KEPT_IN_MIND, MADE_SAFE_WORDS, PUT_BACK
from inspections.sentences_record import (
    FIGURES_MEAN,
    ONLY_IN_FULL,
    RESULTS_RELATE,
    SIGNATURE_MEANING,
    SUPPLIED_BY_OTHERS,
)
from inspections.services.judging import stored_evidence
from inspections.whole_record import inspection_with_everything, whole_record


class RecordPage(MemberRequiredMixin, TemplateView):
    """Everything that belongs to one check, to be printed or read."""

    template_name = "dashboard/records/record.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Gather the record with what stands on the pages of the check."""
        check = inspection_with_everything(self.organisation, self.kwargs["inspection"])
        if check is None:
            raise Http404
        record = whole_record(check)
        evidence = stored_evidence(check, record.newest)
        context = result_context(check) | {
            "record": record,
            "vehicle": check.installation.vehicle,
            "unit": check.installation.retarder,
            "inputs": inputs_context(check, evidence),
            "ratings": _ratings(record.judgements),
            "history": entry_rows(self.organisation, record.entries, check.depot.zone),
            # From a hash and all the rest the address that its entry covers is found by trying each.
            "hashes_told": self.actor.may(Ability.MANAGE),
            "zone": check.depot.zone,
            "issued_at": timezone.now(),
            "made_safe": MADE_SAFE_WORDS,
            "cautions": KEPT_IN_MIND,
            "put_back": [words for _code, words in PUT_BACK],
            "figures_mean": FIGURES_MEAN,
            "results_relate": RESULTS_RELATE,
            "only_in_full": ONLY_IN_FULL,
            "supplied_by_others": SUPPLIED_BY_OTHERS,
            "signature_meaning": SIGNATURE_MEANING,
        }
        return super().get_context_data(**context | kwargs)


def _ratings(judgements: Any) -> list[dict[str, Any]]:
    """Return each rating revision that a judgement was given on, once, with its sources."""
    revisions = {each.rating_revision_id: each.rating_revision for each in judgements}
    return [{"rating": revision, "sources": sources_of(revision)} for revision in revisions.values()]
