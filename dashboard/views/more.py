"""More: what the night did and told, and what is on file."""

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.db.models import Case, CharField, Prefetch, Q, QuerySet, Value, When
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.generic import TemplateView

from accounts.models import Organisation, WorkRun
from accounts.roles import Ability
from accounts.services.record_checks import JOB as CHECK_JOB
from dashboard.access import MemberRequiredMixin, MemberView
from dashboard.filters import MeterFilter, RatingFilter, ReminderFilter
from dashboard.lists import BookListView
from dashboard.menu import DESK, MORE
from fleet.models import RatingRevision, RetarderType
from inspections.models import Calibration, DueDateChunk, Meter, ReleaseNotice, TrendChunk
from inspections.progress import Progress
from inspections.services.chunk_failures import units_failed
from inspections.services.chunks import progress_of
from inspections.services.due_date_chunks import installations_without_due_date
from inspections.services.trend_chunks import failed_units
from schedules.models import Reminder
from schedules.services.outbox import mark_seen

RUNS_SHOWN = 30
NOTICES_SHOWN = 30
FAILED_SHOWN = 20
# How many organisations share the server is nobody's business but its keeper's.
COUNTED = {
    "installations": _("units gone through"),
    "due_dates_changed": _("due dates changed"),
    "trends_fitted": _("trends fitted"),
    "declines_changed": _("declines raised or ended"),
    "reminders_queued": _("reminders queued"),
    "reminders_sent": _("reminders sent"),
    "releases_ended": _("release decisions run out"),
    "trends_failed": _("trends not fitted"),
    "due_dates_failed": _("due dates not worked out"),
    "steps_failed": _("steps failed"),
}
FAILURES = ("trends_failed", "due_dates_failed", "steps_failed")


class More(MemberRequiredMixin, TemplateView):
    """Every page that the menu has no room for; on the phone, all of them."""

    template_name = "dashboard/more.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """List the pages."""
        desk = [page for page in DESK if page.name != "more"]
        return super().get_context_data(**kwargs) | {
            "desk": desk,
            "pages": [page for page in MORE if self.actor.may(page.ability)],
        }


class Told(BookListView):
    """Reminders, grouped by the check cycle they belong to, and word of release decisions that ran out."""

    template_name = "dashboard/told.html"
    filter_class = ReminderFilter
    order = ("-due_on", "-installation_id", "-cycle_began_by", "-pk")

    def rows(self) -> QuerySet[Reminder]:
        """Return the reminders with vehicle and person."""
        return Reminder.objects.of(self.organisation).select_related("installation__vehicle__depot", "person__user")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the newest notices about release decisions."""
        notices = ReleaseNotice.objects.of(self.organisation).order_by("-queued_at", "-pk")
        joined = notices.select_related("defect__installation__vehicle__depot", "person__user")
        return super().get_context_data(**kwargs) | {
            "notices": joined[:NOTICES_SHOWN],
            "most_notices": NOTICES_SHOWN,
        }


class Seen(MemberView):
    """Takes a person's word that they have seen what they were told."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Mark the person's own reminder, once."""
        mine = Reminder.objects.of(self.organisation).filter(person=self.member)
        mark_seen(self.actor, get_object_or_404(mine, uuid=kwargs["reminder"]))
        return redirect("dashboard:told", organisation=self.organisation.slug)


class Meters(BookListView):
    """Test meters in use, with the state of their calibration."""

    template_name = "dashboard/meters.html"
    filter_class = MeterFilter
    order = ("kind", "designation", "pk")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say whether the person may add one."""
        return super().get_context_data(**kwargs) | {"may_manage": self.actor.may(Ability.MANAGE)}

    def rows(self) -> QuerySet[Meter]:
        """Return the meters with their calibrations, newest first."""
        newest_first = Prefetch(
            "calibrations", queryset=Calibration.objects.of(self.organisation).order_by("-performed_on")
        )
        meters = Meter.objects.of(self.organisation).filter(retired_on__isnull=True)
        return meters.annotate(calibration_state=_calibration_state(timezone.now().date())).prefetch_related(
            newest_first
        )


def _calibration_state(today: dt.date) -> Case:
    return Case(
        When(calibration_due_on__isnull=True, then=Value("none")),
        When(Q(calibration_due_on__lt=today), then=Value("lapsed")),
        default=Value("valid"),
        output_field=CharField(),
    )


class Ratings(BookListView):
    """Retarder types, every revision of their rating, and where each figure comes from."""

    template_name = "dashboard/ratings.html"
    filter_class = RatingFilter
    order = ("designation", "pk")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say whether the person may set limits."""
        return super().get_context_data(**kwargs) | {"may_manage": self.actor.may(Ability.MANAGE)}

    def rows(self) -> QuerySet[RetarderType]:
        """Return the types with their revisions, newest first."""
        revisions = RatingRevision.objects.of(self.organisation).select_related("entered_by").order_by("-number")
        return RetarderType.objects.of(self.organisation).prefetch_related(Prefetch("revisions", queryset=revisions))


class Night(MemberRequiredMixin, TemplateView):
    """When the book was last gone through, how long it took, and what failed."""

    template_name = "dashboard/night.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the newest runs and when the next one is."""
        runs = list(WorkRun.objects.exclude(job=CHECK_JOB).order_by("-queued_at", "-pk")[:RUNS_SHOWN])
        without_trend = failed_units(self.organisation, FAILED_SHOWN)
        without_due_date = installations_without_due_date(self.organisation, FAILED_SHOWN)
        return super().get_context_data(**kwargs) | {
            "runs": [_row(run, self.organisation) for run in runs],
            "last": next((run for run in runs if run.state == "done"), None),
            "next_at": _next_run_at(timezone.now()),
            "trends": _unfinished(progress_of(TrendChunk, self.organisation)),
            "due_dates": _unfinished(progress_of(DueDateChunk, self.organisation)),
            "without_trend": without_trend,
            "more_without_trend": units_failed(TrendChunk, self.organisation) - _units_among(without_trend),
            "without_due_date": without_due_date,
            "more_without_due_date": units_failed(DueDateChunk, self.organisation) - _units_among(without_due_date),
        }


def _units_among(shown: Sequence[tuple[object, int]]) -> int:
    return sum(units for _, units in shown)


def _unfinished(progress: Progress | None) -> Progress | None:
    # What failed stays on the list until the next night, but is done with until then.
    return progress if progress is not None and progress.done < progress.total else None


def _row(run: WorkRun, organisation: Organisation) -> dict[str, Any]:
    # Where several organisations share the server, how much was done is nobody's business either.
    alone = run.counts.get("organisations") == 1 and run.queued_at >= organisation.created_at
    counts = {name: run.counts.get(name, 0) for name in COUNTED} if alone else {}
    return {
        "run": run,
        "hour": _hour(run),
        "seconds": _seconds(run),
        "done": [(count, COUNTED[name]) for name, count in counts.items() if count],
        "changed_nothing": alone and not any(counts.values()),
        "left_undone": any(run.counts.get(name) for name in FAILURES),
    }


def _hour(run: WorkRun) -> dt.datetime:
    return dt.datetime.strptime(run.window, "%Y-%m-%dT%H").replace(tzinfo=dt.UTC)


def _seconds(run: WorkRun) -> float | None:
    return (run.finished_at - run.claimed_at).total_seconds() if run.finished_at and run.claimed_at else None


def _next_run_at(now: dt.datetime) -> dt.datetime:
    schedule = settings.CELERY_BEAT_SCHEDULE["night"]["schedule"]
    wait: dt.timedelta = schedule.remaining_estimate(now)
    at = now + wait + dt.timedelta(seconds=59)
    return at.replace(second=0, microsecond=0)
