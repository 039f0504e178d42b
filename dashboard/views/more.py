"""More: what the night did and told, and what is on file."""

import datetime as dt
from typing import Any

from django.conf import settings
from django.db.models import Case, CharField, Prefetch, Q, QuerySet, Value, When
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.generic import TemplateView

from accounts.models import Member, WorkRun
from accounts.roles import ABILITIES, Role
from dashboard.access import MemberRequiredMixin, MemberView
from dashboard.filters import MemberFilter, MeterFilter, RatingFilter, ReminderFilter
from dashboard.lists import BookListView
from dashboard.menu import DESK, MORE
from fleet.models import RatingRevision, RetarderType
from inspections.models import Calibration, Meter
from schedules.models import Reminder
from schedules.services.outbox import mark_seen

RUNS_SHOWN = 30
# How many organisations share the server is nobody's business but its keeper's.
COUNTED = {
    "installations": _("units gone through"),
    "due_dates_changed": _("due dates changed"),
    "trends_fitted": _("trends fitted"),
    "declines_changed": _("declines raised or ended"),
    "reminders_queued": _("reminders queued"),
    "reminders_sent": _("reminders sent"),
}


class More(MemberRequiredMixin, TemplateView):
    """Every page that the menu has no room for; on the phone, all of them."""

    template_name = "dashboard/more.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """List the pages."""
        desk = [page for page in DESK if page.name != "more"]
        return super().get_context_data(**kwargs) | {"desk": desk, "pages": MORE}


class Told(BookListView):
    """Reminders, grouped by the check cycle they belong to."""

    template_name = "dashboard/told.html"
    filter_class = ReminderFilter
    order = ("-due_on", "-installation_id", "-cycle_began_by", "-pk")

    def rows(self) -> QuerySet[Reminder]:
        """Return the reminders with vehicle and person."""
        return Reminder.objects.of(self.organisation).select_related("installation__vehicle__depot", "person__user")


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

    def rows(self) -> QuerySet[Meter]:
        """Return the meters with their calibrations, newest first."""
        newest_first = Prefetch("calibrations", queryset=Calibration.objects.order_by("-performed_on"))
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

    def rows(self) -> QuerySet[RetarderType]:
        """Return the types with their revisions, newest first."""
        revisions = RatingRevision.objects.select_related("entered_by").order_by("-number")
        return RetarderType.objects.of(self.organisation).prefetch_related(Prefetch("revisions", queryset=revisions))


class People(BookListView):
    """Who belongs to the organisation."""

    template_name = "dashboard/people.html"
    filter_class = MemberFilter
    order = ("user__username", "pk")

    def rows(self) -> QuerySet[Member]:
        """Return the members."""
        return Member.objects.of(self.organisation).select_related("user")

    def shown(self, rows: list[Any]) -> Any:
        """Return each member with what the role may do."""
        return [(member, sorted(ABILITIES[Role(member.role)])) for member in rows]


class Night(MemberRequiredMixin, TemplateView):
    """When the book was last gone through, how long it took, and what failed."""

    template_name = "dashboard/night.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the newest runs and when the next one is."""
        runs = list(WorkRun.objects.order_by("-queued_at", "-pk")[:RUNS_SHOWN])
        return super().get_context_data(**kwargs) | {
            "runs": [{"run": run, "seconds": _seconds(run), "done": _done(run)} for run in runs],
            "last": next((run for run in runs if run.state == "done"), None),
            "next_at": _next_run_at(timezone.now()),
        }


def _done(run: WorkRun) -> list[tuple[int, Any]]:
    return [(run.counts[name], words) for name, words in COUNTED.items() if run.counts.get(name)]


def _seconds(run: WorkRun) -> float | None:
    return (run.finished_at - run.claimed_at).total_seconds() if run.finished_at and run.claimed_at else None


def _next_run_at(now: dt.datetime) -> dt.datetime:
    schedule = settings.CELERY_BEAT_SCHEDULE["night"]["schedule"]
    wait: dt.timedelta = schedule.remaining_estimate(now)
    at = now + wait + dt.timedelta(seconds=59)
    return at.replace(second=0, microsecond=0)
