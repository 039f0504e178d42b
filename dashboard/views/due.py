"""Due: the overdue column, then weeks by depots, then the list."""

import datetime as dt
from typing import Any

from django.db.models import Count, Q, QuerySet
from django.utils import timezone

from dashboard.filters import DueFilter, due_in_week
from dashboard.lists import BookListView
from dashboard.release_words import held_back
from inspections.needs import end_of_week
from inspections.releases import removed_units, with_release
from schedules.models import DueDate
from schedules.queries import due_dates

WEEKS = 6
WEEK = dt.timedelta(days=7)


class Due(BookListView):
    """Due dates of the installations in service, earliest first."""

    template_name = "dashboard/due.html"
    filter_class = DueFilter
    order = ("sorts_on", "pk")

    def rows(self) -> QuerySet[DueDate]:
        """Return the due dates with their vehicles."""
        return with_release(due_dates(self.organisation))

    def shown(self, rows: list[Any]) -> Any:
        """Return each due date with what the release decisions say of the unit."""
        for due in rows:
            due.held_back = held_back(due.release_decision, due.release_until)
        return rows

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Put the weeks above the list."""
        sunday = end_of_week(timezone.now().date())
        weeks = [
            {"ends_on": sunday + n * WEEK, "begins_on": sunday + n * WEEK - dt.timedelta(days=6)} for n in range(WEEKS)
        ]
        return super().get_context_data(**kwargs) | {
            "weeks": weeks,
            "removed": removed_units(self.organisation),
            "later_from": weeks[-1]["ends_on"] + dt.timedelta(days=1),
            "depots": _depot_rows(due_dates(self.organisation), weeks),
        }


def _depot_rows(rows: QuerySet[Any], weeks: list[dict[str, dt.date]]) -> list[dict[str, Any]]:
    counts = {
        f"week_{n}": Count("pk", filter=due_in_week(week["ends_on"], this_week=n == 0)) for n, week in enumerate(weeks)
    }
    counted: QuerySet[Any, dict[str, Any]] = (
        rows.order_by()
        .values("depot__uuid", "depot__name")
        .annotate(
            overdue=Count("pk", filter=Q(state="overdue")),
            later=Count("pk", filter=Q(due_on__gt=weeks[-1]["ends_on"]) & ~Q(state="overdue")),
            undated=Count("pk", filter=Q(due_on__isnull=True)),
            **counts,
        )
    )
    return [
        {**row, "cells": [(week, row[f"week_{n}"]) for n, week in enumerate(weeks)]}
        for row in counted.order_by("depot__name", "depot__uuid")
    ]
