"""Lists of what was found: checks, defects, what loses current."""

from typing import Any

from django.db.models import DateField, QuerySet, Value
from django.db.models.functions import Coalesce
from django.utils import timezone

from dashboard.clamp_words import unit_doubt_sentence
from dashboard.defect_steps import closing_steps
from dashboard.defect_words import defect_words
from dashboard.filters import DeclineFilter, DefectFilter, InspectionFilter
from dashboard.history import fitted_stages
from dashboard.lists import BookListView
from dashboard.trend_words import WHY_ENDED, flags_sentences
from dashboard.unit_words import decline_place
from inspections.models import Decline, Defect, Inspection
from inspections.queries import inspections_with_names
from inspections.releases import has_run_out
from inspections.step_doubts import StepDoubt, doubts_by_unit, step_doubts
from inspections.trend_expectations import flag_counts
from inspections.usage import km_since
from schedules.models import NEVER


class Checks(BookListView):
    """Every check, newest first."""

    template_name = "dashboard/checks.html"
    filter_class = InspectionFilter
    order = ("-performed_at", "-pk")

    def rows(self) -> QuerySet[Inspection]:
        """Return the checks with what a row shows."""
        return inspections_with_names(self.organisation).defer("evidence")


class Defects(BookListView):
    """Open defects, in service and oldest first."""

    template_name = "dashboard/defects.html"
    filter_class = DefectFilter
    order = ("opened_at", "pk")

    def rows(self) -> QuerySet[Defect]:
        """Return the defects with their vehicles."""
        rows = Defect.objects.of(self.organisation)
        return rows.select_related("installation__vehicle__depot", "found_by")

    def shown(self, rows: list[Any]) -> Any:
        """Return each defect with its words and the days it has been open."""
        now, closing, km = timezone.now(), closing_steps(rows), km_since(rows)
        return [
            {
                "defect": row,
                "what": defect_words(row),
                "days": ((row.closed_at or now) - row.opened_at).days,
                "km": km.get(row.pk),
                "run_out": row.closed_at is None and has_run_out(row, now=now),
                "closing": closing.get(row.pk),
            }
            for row in rows
        ]


class Declines(BookListView):
    """What loses current, the one that is to be looked at earliest first."""

    template_name = "dashboard/declines.html"
    filter_class = DeclineFilter
    order = ("sorts_on", "-raised_at", "-pk")

    def rows(self) -> QuerySet[Any]:
        """Return the declines with their vehicles and trends; what has no forecast comes last."""
        rows = Decline.objects.of(self.organisation).select_related("installation__vehicle__depot", "raised_by")
        look_on = Coalesce("installation__trend__next_check_on", Value(NEVER), output_field=DateField())
        return rows.annotate(sorts_on=look_on).select_related("installation__trend")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say also what the flags are worth."""
        counts = flag_counts(self.organisation, now=timezone.now())
        return super().get_context_data(**kwargs) | {"worth": flags_sentences(counts)}

    def shown(self, rows: list[Any]) -> Any:
        """Return each decline with place, slope, when it reaches the lower limit, and which clamp is in doubt."""
        open_ones = {row.installation.retarder_id for row in rows if row.ended_at is None}
        doubts = doubts_by_unit(step_doubts(self.organisation), open_ones) if open_ones else {}
        return [
            {
                "decline": row,
                "where": decline_place(row),
                "fitted": _fitted(row),
                "why": WHY_ENDED.get(row.reason, row.reason),
                "doubts": _doubts(row, doubts),
            }
            for row in rows
        ]


def _doubts(decline: Decline, by_unit: dict[int, list[StepDoubt]]) -> list[str]:
    """Return what is said of clamps that may have made up a decline, or hidden a rise."""
    doubts = [] if decline.ended_at else by_unit.get(decline.installation.retarder_id, [])
    return [unit_doubt_sentence(each) for each in doubts if each.doubt.reads_low != decline.rising]


def _fitted(decline: Decline) -> dict[str, Any]:
    return fitted_stages(getattr(decline.installation, "trend", None)).get(decline.stage or 0, {})
