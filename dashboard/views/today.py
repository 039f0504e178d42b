"""Today: what needs a decision, depot by depot."""

import datetime as dt
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from django.views.generic import TemplateView

from dashboard.access import MemberRequiredMixin
from dashboard.clamp_words import step_doubt_sentences
from dashboard.release_words import releases_to_say
from dashboard.unit_words import unit_states
from inspections.needs import NEED_CODES, NEEDS, decisions_worst_first, needs_by_depot

DECISIONS_SHOWN = 10


class Today(MemberRequiredMixin, TemplateView):
    """The first page at the desk."""

    template_name = "dashboard/today.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Count the installations in service by what they need, and show the worst."""
        now = timezone.now()
        depots = needs_by_depot(self.organisation, today=now.date())
        worst = list(self._worst_first(now.date())[: DECISIONS_SHOWN + 1])
        return super().get_context_data(**kwargs) | {
            "today": timezone.localdate(),
            "needs": [word for _code, word in NEEDS],
            "depots": [_row(depot) for depot in depots],
            "total": _total(depots),
            "decisions": unit_states(worst[:DECISIONS_SHOWN], now=now),
            "releases": releases_to_say(self.organisation, now=now),
            "doubts": step_doubt_sentences(self.organisation),
            "more_decisions": len(worst) > DECISIONS_SHOWN,
        }

    def _worst_first(self, today: dt.date) -> QuerySet[Any]:
        beside = ("vehicle__depot", "retarder__retarder_type", "due_date__plan", "due_date__depot")
        return decisions_worst_first(self.organisation, today=today).select_related(*beside)


def _row(depot: dict[str, Any]) -> dict[str, Any]:
    counts = depot["counts"]
    return {**depot, "cells": _cells(counts), "total": sum(counts.values())}


def _total(depots: list[dict[str, Any]]) -> dict[str, Any]:
    counts = {code: sum(depot["counts"][code] for depot in depots) for code in NEED_CODES}
    return {"cells": _cells(counts), "total": sum(counts.values())}


def _cells(counts: dict[str, int]) -> list[tuple[str, Any, int]]:
    return [(code, word, counts[code]) for code, word in NEEDS]
