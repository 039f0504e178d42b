"""What each installation in service needs: one answer each, the first that fits, so that counts add up."""

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import (
    Case,
    CharField,
    Count,
    Exists,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from accounts.models import Organisation
from inspections.models import Decline, Defect, Inspection
from schedules.queries import installations_in_service

NEEDS = [
    ("overdue", _("overdue")),
    ("due_this_week", _("due this week")),
    ("open_defect", _("open defect")),
    ("losing_current", _("losing current")),
    ("no_plan", _("no plan")),
    ("not_clear", _("not clear")),
    ("nothing", _("nothing to do")),
]
NEED_CODES = [code for code, _word in NEEDS]
WITHOUT_A_DATE = ["no_plan", "cannot_tell"]
OUTSIDE = ["fail", "conditional_fail"]
NOT_CLEAR = [*OUTSIDE, "undetermined"]


def end_of_week(today: dt.date) -> dt.date:
    """Return the Sunday that ends the week of a date; weeks begin on Monday (ISO 8601)."""
    return today + dt.timedelta(days=6 - today.weekday())


def installations_by_need(organisation: Organisation, *, today: dt.date) -> QuerySet[Any]:
    """Return the installations in service, each with the first `need` that fits it."""
    this_week = Q(due_date__state="due") | Q(due_date__due_on__lte=end_of_week(today))
    return installations_in_service(organisation).annotate(
        last_verdict=Subquery(_signed_checks_of_the_installation().values("verdict")[:1]),
        has_open_defect=Exists(Defect.objects.filter(installation=OuterRef("pk"), closed_at__isnull=True)),
        need=Case(
            When(due_date__state="overdue", then=Value("overdue")),
            When(this_week, then=Value("due_this_week")),
            When(has_open_defect=True, then=Value("open_defect")),
            When(_losing_current(), then=Value("losing_current")),
            When(Q(due_date__isnull=True) | Q(due_date__state__in=WITHOUT_A_DATE), then=Value("no_plan")),
            When(Q(last_verdict__isnull=True) | Q(last_verdict__in=NOT_CLEAR), then=Value("not_clear")),
            default=Value("nothing"),
            output_field=CharField(),
        ),
    )


def decisions_worst_first(organisation: Organisation, *, today: dt.date) -> QuerySet[Any]:
    """Return what needs a decision: the worst reading first, then open defects, then overdue, then the rest."""
    reading = Case(*_places("last_verdict", OUTSIDE), default=Value(len(OUTSIDE)), output_field=IntegerField())
    rank = Case(*_places("need", NEED_CODES), output_field=IntegerField())
    late = Coalesce(F("due_date__overdue_days"), 0, output_field=IntegerField())
    units = installations_by_need(organisation, today=today).exclude(need="nothing")
    newest = Subquery(_signed_checks_of_the_installation().values("uuid")[:1])
    ranked: QuerySet[Any] = units.annotate(reading=reading, rank=rank, days_late=late, last_check=newest)
    return ranked.order_by("reading", "-has_open_defect", "rank", "-days_late", "vehicle__fleet_number", "pk")


def needs_by_depot(organisation: Organisation, *, today: dt.date) -> list[dict[str, Any]]:
    """Return, for each depot with installations in service, how many have each need, and how many there are."""
    counts = installations_by_need(organisation, today=today).order_by()
    rows = counts.values("vehicle__depot__uuid", "vehicle__depot__name", "need").annotate(count=Count("pk"))
    depots: dict[object, dict[str, Any]] = {}
    for row in rows.order_by("vehicle__depot__name", "vehicle__depot__uuid"):
        depot = depots.setdefault(
            row["vehicle__depot__uuid"],
            {"uuid": row["vehicle__depot__uuid"], "name": row["vehicle__depot__name"], "counts": _none_yet()},
        )
        depot["counts"][row["need"]] = row["count"]
    return list(depots.values())


def open_defects(installation_ids: Iterable[int]) -> QuerySet[Defect]:
    """Return the open defects of installations, oldest first."""
    return Defect.objects.filter(installation__in=list(installation_ids), closed_at__isnull=True).order_by("opened_at")


def running_declines(installation_ids: Iterable[int]) -> QuerySet[Decline]:
    """Return the declines of installations that nothing has withdrawn or resolved."""
    return Decline.objects.filter(installation__in=list(installation_ids), ended_at__isnull=True).order_by("raised_at")


def _none_yet() -> dict[str, int]:
    return dict.fromkeys(NEED_CODES, 0)


def _places(column: str, values: Sequence[str]) -> list[When]:
    return [When(**{column: value}, then=Value(place)) for place, value in enumerate(values)]


def _signed_checks_of_the_installation() -> QuerySet[Inspection]:
    rows = Inspection.objects.filter(installation=OuterRef("pk"), superseded_by__isnull=True, signed_at__isnull=False)
    return rows.order_by("-performed_at", "-pk")


def _losing_current() -> Exists:
    return Exists(Decline.objects.filter(installation=OuterRef("pk"), ended_at__isnull=True))
